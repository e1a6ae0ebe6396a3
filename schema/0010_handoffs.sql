-- 0010_handoffs.sql - what was handed over, and how files were made, as whoever adds them states.
-- Applied once and in one transaction by server/store, which then sets user_version = 10.
-- A released migration is never edited: a change is the next number.

-- '' for what is not said.
ALTER TABLE version ADD COLUMN intake_device TEXT NOT NULL DEFAULT '';
ALTER TABLE version ADD COLUMN intake_operator TEXT NOT NULL DEFAULT '';
ALTER TABLE version ADD COLUMN intake_date TEXT NOT NULL DEFAULT '';         -- a day, such as 2026-11-28
ALTER TABLE version ADD COLUMN intake_resolution TEXT NOT NULL DEFAULT '';   -- with its unit, such as 0.05 mm
ALTER TABLE version ADD COLUMN intake_uncertainty TEXT NOT NULL DEFAULT '';  -- likewise

-- A handoff stays as it was handed over: the zip is a blob.
CREATE TABLE handoff (
    id      INTEGER PRIMARY KEY,
    audit   INTEGER NOT NULL REFERENCES audit (id),
    blob    INTEGER NOT NULL REFERENCES blob (id),
    name    TEXT NOT NULL CHECK (length(name) > 0),  -- of the zip, without ".zip", and of the folder in it
    by      TEXT NOT NULL CHECK (length(by) > 0),    -- the name as stated
    seal    TEXT NOT NULL CHECK (length(seal) = 64), -- fingerprint of the key that sealed it
    created TEXT NOT NULL
) STRICT;
CREATE INDEX handoff_by_audit ON handoff (audit);
CREATE INDEX handoff_by_blob ON handoff (blob);
CREATE TRIGGER handoff_stays BEFORE UPDATE ON handoff
    BEGIN SELECT RAISE(ABORT, 'a handoff is never changed'); END;
CREATE TRIGGER handoff_is_kept BEFORE DELETE ON handoff
    BEGIN SELECT RAISE(ABORT, 'a handoff is never removed'); END;
