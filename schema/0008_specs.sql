-- 0008_specs.sql - written acceptance rules, the runs judged by them, and the rules that were waived.
-- Applied once and in one transaction by server/store, which then sets user_version = 8.
-- A released migration is never edited: a change is the next number.

-- A spec is never changed: an edit is the next version of its name.
CREATE TABLE spec (
    id       INTEGER PRIMARY KEY,
    name     TEXT NOT NULL COLLATE NOCASE CHECK (length(name) > 0),
    version  INTEGER NOT NULL CHECK (version > 0),
    sha256   TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),  -- of the body
    body     TEXT NOT NULL,                                     -- RFC 8785 JSON, as schema/spec.schema.json says
    created  TEXT NOT NULL,
    revision INTEGER NOT NULL,
    UNIQUE (name, version)
) STRICT;

-- That a rule of a spec, in whatever version, need not hold for a specimen, to the end of a day.
CREATE TABLE waiver (
    id           INTEGER PRIMARY KEY,
    specimen     INTEGER NOT NULL REFERENCES specimen (id),
    spec_name    TEXT NOT NULL COLLATE NOCASE,
    rule         TEXT NOT NULL CHECK (length(rule) > 0),
    reason       TEXT NOT NULL CHECK (length(reason) > 0),
    author       TEXT NOT NULL CHECK (length(author) > 0),
    expires      TEXT NOT NULL CHECK (length(expires) = 10),
    created      TEXT NOT NULL,
    withdrawn_at TEXT,
    revision     INTEGER NOT NULL
) STRICT;
CREATE INDEX waiver_by_specimen ON waiver (specimen, id);

-- A run judged by a spec; judged again with the same outcome as the last time, nothing is added.
CREATE TABLE audit (
    id       INTEGER PRIMARY KEY,
    run      INTEGER NOT NULL REFERENCES run (id),
    spec     INTEGER NOT NULL REFERENCES spec (id),
    outcome  TEXT NOT NULL CHECK (outcome IN ('conforms', 'does not conform', 'undecided')),
    waived   INTEGER NOT NULL CHECK (waived >= 0),  -- rules
    sha256   TEXT NOT NULL CHECK (length(sha256) = 64),  -- of the body
    body     TEXT NOT NULL,                         -- as schema/audit.schema.json says
    created  TEXT NOT NULL,
    revision INTEGER NOT NULL
) STRICT;
CREATE INDEX audit_by_run ON audit (run, spec, id);
CREATE INDEX audit_by_spec ON audit (spec);
