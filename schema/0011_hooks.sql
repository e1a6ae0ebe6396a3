-- 0011_hooks.sql - what of an audit a long collection is told by, and addresses that are told of what happens.
-- Applied once and in one transaction by server/store, which then sets user_version = 11.
-- A released migration is never edited: a change is the next number.

ALTER TABLE audit ADD COLUMN specimen INTEGER REFERENCES specimen (id);  -- of the run's version; kept by server/store/audits.c
UPDATE audit SET specimen =
    (SELECT v.specimen FROM run r JOIN version v ON v.id = r.version WHERE r.id = audit.run);
-- What the standing of a collection looks at, so that no row is read: beyond its body lie pages of their own.
CREATE INDEX audit_by_specimen ON audit (specimen, id, run, spec, outcome, waived, created);
CREATE INDEX audit_newest ON audit (run, spec, id, outcome, waived, created);
CREATE INDEX version_measured ON version (specimen, id, kind, number, latest_run, withdrawn_at)
    WHERE withdrawn_at IS NULL AND latest_run IS NOT NULL;

-- The required rules of an audit that do not conform or are undecided, in the order of the spec.
CREATE TABLE audit_hold (
    audit   INTEGER NOT NULL REFERENCES audit (id),
    place   INTEGER NOT NULL,
    rule    TEXT NOT NULL,
    name    TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('does not conform', 'undecided')),
    waived  INTEGER NOT NULL CHECK (waived IN (0, 1)),
    PRIMARY KEY (audit, place)
) STRICT, WITHOUT ROWID;
INSERT INTO audit_hold (audit, place, rule, name, outcome, waived)
    SELECT a.id, j.key, j.value ->> 'id', j.value ->> 'name', j.value ->> 'outcome', j.value ->> 'waiver' IS NOT NULL
    FROM audit a, json_each(a.body, '$.rules') j
    WHERE j.value ->> 'need' = 'required' AND j.value ->> 'outcome' <> 'conforms';

-- What tells this collection from every other, for the ids of its feed (RFC 9562, version 4).
CREATE TABLE collection (
    id   INTEGER PRIMARY KEY CHECK (id = 1),
    uuid TEXT NOT NULL CHECK (length(uuid) = 36)
) STRICT;
INSERT INTO collection (id, uuid) VALUES (1, lower(
    hex(randomblob(4)) || '-' || hex(randomblob(2)) || '-4' || substr(hex(randomblob(2)), 2) || '-'
    || substr('89AB', 1 + (random() & 3), 1) || substr(hex(randomblob(2)), 2) || '-' || hex(randomblob(6))));

-- An address that is told of events.
CREATE TABLE hook (
    id              INTEGER PRIMARY KEY,
    url             TEXT NOT NULL CHECK (length(url) > 0),
    events          TEXT NOT NULL,  -- words with a blank before and after each: ' audit sign-off '
    secret          TEXT NOT NULL CHECK (length(secret) > 0),
    created         TEXT NOT NULL,
    failing_since   TEXT,  -- no delivery has been accepted since
    disabled_at     TEXT,
    disabled_reason TEXT,
    withdrawn_at    TEXT,
    revision        INTEGER NOT NULL,
    CHECK ((disabled_at IS NULL) = (disabled_reason IS NULL))
) STRICT;

-- What a hook has to be told: made in the transaction of what it tells of, so that neither is there without the other.
CREATE TABLE delivery (
    id          INTEGER PRIMARY KEY,
    hook        INTEGER NOT NULL REFERENCES hook (id),
    uid         TEXT NOT NULL UNIQUE,              -- the same at every attempt
    event       TEXT NOT NULL,
    step        INTEGER REFERENCES step (id),      -- what it tells of; NULL: a test
    state       TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'delivered', 'failed')),
    attempts    INTEGER NOT NULL DEFAULT 0,
    due_ms      INTEGER NOT NULL,                  -- since 1970: when it is tried next
    last_status INTEGER,
    last_error  TEXT,
    last_answer TEXT,
    created     TEXT NOT NULL,
    ended       TEXT,
    CHECK ((state = 'waiting') = (ended IS NULL)),
    CHECK ((event = 'test') = (step IS NULL))
) STRICT;
CREATE INDEX delivery_due ON delivery (due_ms, id) WHERE state = 'waiting';
CREATE INDEX delivery_by_hook ON delivery (hook, id);

-- The log itself tells hooks of a step, whoever writes it.
CREATE TRIGGER step_is_told AFTER INSERT ON step WHEN NEW.kind IN ('audit made', 'signed off', 'handed over')
BEGIN
    INSERT INTO delivery (hook, uid, event, step, due_ms, created)
        SELECT h.id, lower(hex(randomblob(16))), NEW.about, NEW.id, 0, NEW.created
        FROM hook h
        WHERE h.withdrawn_at IS NULL AND h.disabled_at IS NULL AND instr(h.events, ' ' || NEW.about || ' ');
END;
