-- 0009_signoffs.sql - audits signed off by named persons with the service's key, and the log of what was done.
-- Applied once and in one transaction by server/store, which then sets user_version = 9.
-- A released migration is never edited: a change is the next number.

-- The statement is what counts; the columns before it repeat of it what lists show.
CREATE TABLE signoff (
    id          INTEGER PRIMARY KEY,
    audit       INTEGER NOT NULL REFERENCES audit (id),
    signer      TEXT NOT NULL CHECK (length(signer) > 0),  -- the name as stated
    role        TEXT,
    note        TEXT,
    person      TEXT NOT NULL,                             -- the name without blanks and case: nobody signs twice
    created     TEXT NOT NULL,
    statement   TEXT NOT NULL,                             -- RFC 8785 JSON: exactly the bytes that are signed
    sha256      TEXT NOT NULL CHECK (length(sha256) = 64), -- of the statement
    signature   TEXT NOT NULL CHECK (length(signature) = 88),    -- Ed25519 (RFC 8032), base64
    public_key  TEXT NOT NULL,                             -- PEM of a SubjectPublicKeyInfo (RFC 8410)
    fingerprint TEXT NOT NULL CHECK (length(fingerprint) = 64),  -- SHA-256 of that SubjectPublicKeyInfo
    UNIQUE (audit, person)
) STRICT;
CREATE INDEX signoff_by_fingerprint ON signoff (fingerprint);
CREATE TRIGGER signoff_stays BEFORE UPDATE ON signoff
    BEGIN SELECT RAISE(ABORT, 'a sign-off is never changed'); END;
CREATE TRIGGER signoff_is_kept BEFORE DELETE ON signoff
    BEGIN SELECT RAISE(ABORT, 'a sign-off is never removed'); END;

-- What was done, by whom: rows are only ever added.
CREATE TABLE step (
    id       INTEGER PRIMARY KEY,
    created  TEXT NOT NULL,
    specimen INTEGER REFERENCES specimen (id),  -- NULL: of the whole service
    kind     TEXT NOT NULL CHECK (length(kind) > 0),  -- 'audit made', ...
    who      TEXT CHECK (length(who) > 0),      -- as stated; NULL: nobody was named
    text     TEXT NOT NULL,
    about    TEXT NOT NULL,                     -- a row of what: 'audit', 'spec', 'sign-off', ...
    about_id INTEGER NOT NULL
) STRICT;
CREATE INDEX step_by_specimen ON step (specimen, id);
CREATE INDEX step_by_about ON step (about, about_id);
CREATE TRIGGER step_stays BEFORE UPDATE ON step
    BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER step_is_kept BEFORE DELETE ON step
    BEGIN SELECT RAISE(ABORT, 'the log is never shortened'); END;

-- What was done before there was a log.
INSERT INTO step (created, specimen, kind, who, text, about, about_id)
SELECT * FROM (
    SELECT created, NULL, 'spec added', NULL, name || ' ' || version, 'spec', id FROM spec
    UNION ALL
    SELECT created, specimen, 'file added', nullif(uploader, ''), kind || ' ' || number || ': ' || file_name, 'version', id
        FROM version
    UNION ALL
    SELECT withdrawn_at, specimen, 'version withdrawn', nullif(withdrawn_by, ''),
           kind || ' ' || number || ': ' || withdrawn_reason, 'version', id
        FROM version WHERE withdrawn_at IS NOT NULL
    UNION ALL
    SELECT a.created, v.specimen, 'audit made', NULL,
           v.kind || ' ' || v.number || ' by ' || s.name || ' ' || s.version || ': ' || a.outcome, 'audit', a.id
        FROM audit a JOIN run r ON r.id = a.run JOIN version v ON v.id = r.version JOIN spec s ON s.id = a.spec
    UNION ALL
    SELECT created, specimen, 'waiver added', author,
           rule || ' of ' || spec_name || ' until ' || expires || ': ' || reason, 'waiver', id
        FROM waiver
    UNION ALL
    SELECT withdrawn_at, specimen, 'waiver withdrawn', NULL, rule || ' of ' || spec_name, 'waiver', id
        FROM waiver WHERE withdrawn_at IS NOT NULL
) ORDER BY 1;
