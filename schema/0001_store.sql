-- 0001_store.sql - specimens, their versions, the runs that measured them, the jobs that made the runs.
-- Applied once and in one transaction by server/store, which then sets user_version = 1.
-- A released migration is never edited: a change is the next number.
-- Times are RFC 3339 UTC text. `revision` is the store's counter at the row's last change: ETags are made of it.

CREATE TABLE counter (
    id       INTEGER PRIMARY KEY CHECK (id = 1),
    revision INTEGER NOT NULL
) STRICT;
INSERT INTO counter (id, revision) VALUES (1, 0);

CREATE TABLE specimen (
    id               INTEGER PRIMARY KEY,
    catalogue_number TEXT NOT NULL COLLATE NOCASE UNIQUE CHECK (length(catalogue_number) > 0),
    title            TEXT NOT NULL COLLATE NOCASE,
    units            TEXT NOT NULL CHECK (units IN ('mm', 'cm', 'm', 'in', 'unknown')),
    state            TEXT NOT NULL DEFAULT 'new'
                     CHECK (state IN ('new', 'in work', 'ready', 'handed over', 'retired')),
    note             TEXT NOT NULL DEFAULT '',
    created          TEXT NOT NULL,
    changed          TEXT NOT NULL,
    revision         INTEGER NOT NULL,
    -- what lists sort and show, kept in step by server/store/summary.c
    scan_count       INTEGER NOT NULL DEFAULT 0,
    cage_count       INTEGER NOT NULL DEFAULT 0,
    latest_scan      INTEGER REFERENCES version (id),
    latest_cage      INTEGER REFERENCES version (id),
    open_edges       REAL,  -- of the latest run of the latest cage, else of the latest scan
    lost             REAL
) STRICT;
CREATE INDEX specimen_by_changed ON specimen (changed, id);
CREATE INDEX specimen_by_title ON specimen (title, id);
CREATE INDEX specimen_by_open_edges ON specimen (coalesce(open_edges, -1), id);
CREATE INDEX specimen_by_lost ON specimen (coalesce(lost, -1), id);

CREATE TABLE blob (
    id     INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
    bytes  INTEGER NOT NULL CHECK (bytes >= 0)
) STRICT;

CREATE TABLE version (
    id               INTEGER PRIMARY KEY,
    specimen         INTEGER NOT NULL REFERENCES specimen (id),
    kind             TEXT NOT NULL CHECK (kind IN ('scan', 'cage')),
    number           INTEGER NOT NULL CHECK (number > 0),
    blob             INTEGER NOT NULL REFERENCES blob (id),
    made_from        INTEGER REFERENCES version (id),
    against          INTEGER REFERENCES version (id),
    face_size        REAL CHECK (face_size > 0),
    face_size_share  REAL CHECK (face_size_share > 0),  -- of the reference's box diagonal, where given as a share
    file_name        TEXT NOT NULL,
    format           TEXT,  -- known once a job has read it
    uploader         TEXT NOT NULL DEFAULT '',
    note             TEXT NOT NULL DEFAULT '',
    created          TEXT NOT NULL,
    withdrawn_reason TEXT,
    withdrawn_by     TEXT,
    withdrawn_at     TEXT,
    latest_run       INTEGER REFERENCES run (id),
    revision         INTEGER NOT NULL,
    UNIQUE (specimen, kind, number),
    UNIQUE (specimen, kind, blob),
    CHECK ((withdrawn_at IS NULL) = (withdrawn_reason IS NULL)),
    CHECK (against <> id AND made_from <> id)
) STRICT;
CREATE INDEX version_by_blob ON version (blob);

-- What a run was made with; few rows, so that a run carries one number.
CREATE TABLE engine (
    id          INTEGER PRIMARY KEY,
    version     TEXT NOT NULL,
    commit_id   TEXT NOT NULL,
    definitions INTEGER NOT NULL,
    settings    TEXT NOT NULL,
    UNIQUE (version, commit_id, definitions, settings)
) STRICT;

CREATE TABLE run (
    id          INTEGER PRIMARY KEY,
    version     INTEGER NOT NULL REFERENCES version (id),
    against     INTEGER REFERENCES version (id),
    engine      INTEGER NOT NULL REFERENCES engine (id),
    created     TEXT NOT NULL,
    request_key BLOB CHECK (length(request_key) = 32),  -- NULL once a later run of the same request replaced it
    UNIQUE (version, request_key)
) STRICT;
CREATE INDEX run_by_against ON run (against) WHERE against IS NOT NULL;

-- The record as JSON, packed with zstd; apart from run, so that lists do not read past it.
CREATE TABLE run_record (
    run    INTEGER PRIMARY KEY REFERENCES run (id),
    base   INTEGER REFERENCES run_record (run),      -- the record, without a base itself, it is packed against
    bytes  INTEGER NOT NULL,                         -- unpacked
    sha256 BLOB NOT NULL CHECK (length(sha256) = 32),  -- of the unpacked bytes
    packed BLOB NOT NULL
) STRICT;

CREATE TABLE measure (
    id   INTEGER PRIMARY KEY,
    path TEXT NOT NULL UNIQUE  -- the dotted path of schema/measures.json
) STRICT;
-- Numbers that queries of server/store name themselves; others are added as they come.
INSERT INTO measure (id, path) VALUES
    (1, 'subject.topology.open_edges'),
    (2, 'deviation.reference_to_subject.max.upper'),
    (3, 'deviation.subject_to_reference.max.upper'),
    (4, 'deviation.hausdorff.upper'),
    (5, 'findings_of_subject.fault'),
    (6, 'findings_of_subject.warning'),
    (7, 'subject.topology.genus'),
    (8, 'subject.topology.shells'),
    (9, 'subject.bounds.diagonal');

CREATE TABLE run_measure (
    run     INTEGER NOT NULL REFERENCES run (id),
    measure INTEGER NOT NULL REFERENCES measure (id),
    value   REAL,  -- NULL when not defined, such as the genus of a shell that is not a manifold
    PRIMARY KEY (run, measure)
) STRICT, WITHOUT ROWID;

CREATE TABLE run_field (
    run      INTEGER NOT NULL REFERENCES run (id),
    name     TEXT NOT NULL,
    per_face INTEGER NOT NULL CHECK (per_face IN (0, 1)),
    blob     INTEGER NOT NULL REFERENCES blob (id),
    PRIMARY KEY (run, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE job (
    id            INTEGER PRIMARY KEY,
    specimen      INTEGER NOT NULL REFERENCES specimen (id),
    version       INTEGER NOT NULL REFERENCES version (id),
    against       INTEGER REFERENCES version (id),
    state         TEXT NOT NULL DEFAULT 'queued'
                  CHECK (state IN ('queued', 'running', 'done', 'failed', 'cancelled')),
    background    INTEGER NOT NULL DEFAULT 0 CHECK (background IN (0, 1)),  -- after what somebody waits for
    again         INTEGER NOT NULL DEFAULT 0 CHECK (again IN (0, 1)),  -- measure even beside an identical run
    attempt       INTEGER NOT NULL DEFAULT 0,
    start_id      TEXT,  -- of the server that runs it: boot id and a random number
    cancel        INTEGER NOT NULL DEFAULT 0 CHECK (cancel IN (0, 1)),
    run           INTEGER REFERENCES run (id),
    reason_code   TEXT,
    reason_text   TEXT,
    reason_format TEXT,
    reason_line   INTEGER,
    reason_byte   INTEGER,
    created       TEXT NOT NULL,
    started       TEXT,
    ended         TEXT,
    revision      INTEGER NOT NULL,
    CHECK ((state = 'done') = (run IS NOT NULL)),
    CHECK ((state = 'running') = (start_id IS NOT NULL)),
    CHECK ((state IN ('failed', 'cancelled')) = (reason_code IS NOT NULL)),
    CHECK ((state IN ('done', 'failed', 'cancelled')) = (ended IS NOT NULL))
) STRICT;
CREATE UNIQUE INDEX job_live ON job (version, coalesce(against, 0)) WHERE state IN ('queued', 'running');
CREATE INDEX job_queue ON job (background, id) WHERE state = 'queued';
CREATE INDEX job_by_version ON job (version, id);
CREATE INDEX job_by_specimen ON job (specimen, state);
CREATE INDEX job_by_state ON job (state, id);
