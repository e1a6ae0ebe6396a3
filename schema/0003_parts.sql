-- 0003_parts.sql - files that come in pieces: resumable uploads.
-- Applied once and in one transaction by server/store, which then sets user_version = 3.
-- A released migration is never edited: a change is the next number.

-- How much of a file has come is the length of uploads/part-<name>: it is never written here.
CREATE TABLE part (
    name            TEXT PRIMARY KEY CHECK (length(name) = 32),  -- random: the upload's address
    specimen        INTEGER NOT NULL REFERENCES specimen (id),
    bytes           INTEGER NOT NULL CHECK (bytes > 0),          -- of the whole file
    unsure_from     INTEGER,  -- a piece with a checksum began here and was not compared: what lies beyond does not count
    kind            TEXT NOT NULL CHECK (kind IN ('scan', 'cage')),
    made_from       INTEGER REFERENCES version (id),
    against_given   INTEGER NOT NULL CHECK (against_given IN (0, 1)),
    against         INTEGER REFERENCES version (id),
    face_size       REAL CHECK (face_size > 0),
    face_size_share REAL CHECK (face_size_share > 0),
    file_name       TEXT NOT NULL,
    uploader        TEXT NOT NULL,
    note            TEXT NOT NULL,
    metadata        TEXT NOT NULL,                               -- as the client gave it
    expires         TEXT NOT NULL,
    version         INTEGER REFERENCES version (id)              -- once the file is whole
) STRICT;
CREATE INDEX part_by_expires ON part (expires, name);
