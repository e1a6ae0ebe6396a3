-- 0012_certify.sql - a measurement may be asked for with a narrower certified interval than the service's own.
-- Applied once and in one transaction by server/store, which then sets user_version = 12.
-- A released migration is never edited: a change is the next number.

-- The wanted width of the interval as a share of the reference's box diagonal; NULL: the service's own.
ALTER TABLE job ADD COLUMN certify REAL CHECK (certify > 0 AND certify <= 1);
