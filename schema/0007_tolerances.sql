-- 0007_tolerances.sql - the tolerances of a specimen, which each of its runs against a reference is measured with.
-- Applied once and in one transaction by server/store, which then sets user_version.
-- A released migration is never edited: a change is the next number.

-- Lengths in the specimen's unit, ascending, parted by blanks; '' for none (server/store/tolerances.h).
ALTER TABLE specimen ADD COLUMN tolerances TEXT NOT NULL DEFAULT '';
-- Those the job was started with, whatever the specimen says when it ends.
ALTER TABLE job ADD COLUMN tolerances TEXT NOT NULL DEFAULT '';
