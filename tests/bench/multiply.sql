-- multiply.sql - makes a folder's specimens many, for the bench of the page: each with its versions, runs, audits and numbers once for
-- every k of 1 .. :copies, over the same blobs. The service must not run. Copies differ in number, title, state, time and size of
-- their greatest distances, so that every order of the collection has something to do.
--   sqlite3 -cmd '.parameter set :copies 999' DIR/fettle.db < tests/bench/multiply.sql
PRAGMA foreign_keys = off;
PRAGMA synchronous = off;
BEGIN;
CREATE TEMP TABLE copy (k INTEGER PRIMARY KEY);
WITH RECURSIVE upto(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM upto WHERE k < :copies) INSERT INTO copy SELECT k FROM upto;
CREATE TEMP TABLE stride AS
    SELECT (SELECT max(id) FROM specimen) AS s, (SELECT max(id) FROM version) AS v, (SELECT max(id) FROM run) AS r,
           (SELECT coalesce(max(id), 0) FROM audit) AS a;

INSERT INTO specimen (id, catalogue_number, title, units, state, note, created, changed, revision, scan_count, cage_count,
                      latest_scan, latest_cage, open_edges, lost, faults)
    SELECT id + k * s, printf('NH-%06d', 100 + id + k * s), title || printf(', tray %d', k), units,
           CASE (id + k) % 4 WHEN 0 THEN 'new' WHEN 1 THEN 'in work' WHEN 2 THEN 'ready' ELSE 'retired' END, note, created,
           strftime('%Y-%m-%dT%H:%M:%SZ', changed, printf('-%d minutes', k * 7)), revision, scan_count, cage_count,
           latest_scan + k * v, latest_cage + k * v, open_edges, lost * (1 + k * 7919 % 1000 / 1000.0), faults
    FROM specimen, copy, stride;
INSERT INTO version (id, specimen, kind, number, blob, made_from, against, face_size, face_size_share, file_name, format,
                     uploader, note, created, withdrawn_reason, withdrawn_by, withdrawn_at, latest_run, revision)
    SELECT id + k * v, specimen + k * s, kind, number, blob, made_from + k * v, against + k * v, face_size, face_size_share,
           file_name, format, uploader, note, created, withdrawn_reason, withdrawn_by, withdrawn_at, latest_run + k * r, revision
    FROM version, copy, stride;
INSERT INTO run (id, version, against, engine, created, request_key)
    SELECT id + k * r, version + k * v, against + k * v, engine, created, request_key FROM run, copy, stride;
INSERT INTO run_record (run, base, bytes, sha256, packed)
    SELECT run + k * r, base + k * r, bytes, sha256, packed FROM run_record, copy, stride;
INSERT INTO run_measure (run, measure, value)
    SELECT run + k * r, measure,
           CASE measure WHEN 2 THEN value * (1 + k * 7919 % 1000 / 1000.0) ELSE value END
    FROM run_measure, copy, stride;
INSERT INTO job (specimen, version, against, state, background, again, attempt, run, reason_code, reason_text, reason_format,
                 reason_line, reason_byte, created, started, ended, revision)
    SELECT specimen + k * s, version + k * v, against + k * v, state, background, again, attempt, run + k * r, reason_code,
           reason_text, reason_format, reason_line, reason_byte, created, started, ended, revision
    FROM job, copy, stride WHERE state IN ('done', 'failed', 'cancelled');
INSERT INTO audit (id, run, spec, outcome, waived, sha256, body, created, revision, specimen)
    SELECT id + k * a, run + k * r, spec, CASE k % 3 WHEN 0 THEN 'conforms' WHEN 1 THEN 'undecided' ELSE outcome END, waived, sha256,
           body, strftime('%Y-%m-%dT%H:%M:%SZ', created, printf('-%d minutes', k * 7)), revision, specimen + k * s
    FROM audit, copy, stride WHERE k % 5 > 0;
INSERT INTO audit_hold (audit, place, rule, name, outcome, waived)
    SELECT audit + k * a, place, rule, name, outcome, waived FROM audit_hold, copy, stride WHERE k % 5 > 0;
COMMIT;
PRAGMA optimize;
