-- 0006_collection.sql - what a long collection is ordered and counted by, ready in indexes.
-- Applied once and in one transaction by server/store, which then sets user_version = 6.
-- A released migration is never edited: a change is the next number.

ALTER TABLE specimen ADD COLUMN faults REAL;  -- of the run that open_edges is of; kept in step by server/store/summary.c
UPDATE specimen SET faults =
    (SELECT m.value FROM version v JOIN run_measure m ON m.run = v.latest_run AND m.measure = 5
     WHERE v.id = coalesce(specimen.latest_cage, specimen.latest_scan));
CREATE INDEX specimen_by_faults ON specimen (coalesce(faults, -1), id);
CREATE INDEX specimen_by_state ON specimen (state);
CREATE INDEX specimen_by_scans ON specimen (scan_count, id);
CREATE INDEX specimen_by_cages ON specimen (cage_count, id);
