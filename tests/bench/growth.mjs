// growth.mjs - our own stages alone: how they grow with the scan, how fast the readers are, what a mend costs.
import { statSync } from 'node:fs';
import { growthExponent, isWanted, makePairs, measure, medianTimings, oneSize, runOwn, settings } from './run.mjs';

const SCANS = [34000, 134000, 536000, 1000000, 2100000, 5000000];
const READINGS = 15; // of a file by the program that times readers
const FIXED_CAGE = 12500; // quads; the other cage has one for twenty triangles
export const STAGES = ['process', 'read', 'topology', 'quality', 'index', 'hausdorff', 'statistics'];

const repeated = (run) => Array.from({ length: settings.runs }, run);

function scaleRow(scan, quads, cage) {
  const records = repeated(() => measure([cage, '--against', scan, '--threads', '2', '--surface', 'control']));
  const timings = medianTimings(records), [record] = records;
  const scanned = record.reference.counts.faces, faces = record.subject.counts.faces, triangles = scanned + 2 * faces;
  const each = (mib) => (mib * 2 ** 20) / triangles;
  return { scan: scanned, quads: faces, triangles, timings, budget_exhausted: record.deviation.budget_exhausted,
    bytes_per_triangle: { anonymous: each(timings.peak_anonymous_mib), rss: each(timings.peak_rss_mib) } };
}

/** OBJ scans from 34k to 5M triangles against one cage, and against cages that grow with them. */
export function benchScale(tell) {
  const series = { fixed: [], proportional: [] };
  for (const triangles of SCANS.filter(isWanted)) {
    const growing = Math.round(triangles / 20);
    const pairs = makePairs(triangles, ['scan', `cage:${FIXED_CAGE}`, `cage:${growing}`]);
    for (const [name, quads] of [['fixed', FIXED_CAGE], ['proportional', growing]]) {
      const row = scaleRow(pairs.obj.subject, quads, pairs[`cage:${quads}`].subject);
      series[name].push(row);
      tell(name, row);
    }
  }
  const exponentsOf = (rows) => Object.fromEntries(
    STAGES.map((stage) => [stage, growthExponent(rows.map((row) => [row.triangles, row.timings[stage]]))]));
  const long = Object.entries(series).filter(([, rows]) => rows.length > 1);
  return { series, exponents: Object.fromEntries(long.map(([name, rows]) => [name, exponentsOf(rows)])) };
}

const perSecond = (bytes, { median, least, cpu_least }) => ({ median: bytes / 1e6 / median, best: bytes / 1e6 / least,
  best_by_cpu: bytes / 1e6 / cpu_least });

/** Each format by one and by two threads, in MB/s: the reader alone, the digest alone, both as a run does them; of STL also
 *  its facets, none merged. Then what follows the reading of a mesh alone. Pages are in the cache. */
export function benchReaders(tell) {
  const files = makePairs(oneSize(), ['scan']), rows = [];
  for (const format of ['obj', 'ply', 'stl', 'off']) {
    const file = files[format].subject, bytes = statSync(file).size;
    for (const threads of [1, 2]) {
      const { read, hash, both, facets } = runOwn('bench-readers', [file, threads, READINGS]);
      const records = repeated(() => measure([file, '--threads', String(threads)]));
      const row = { format, bytes, threads, runs: READINGS, triangles: records[0].subject.counts.faces, timings: medianTimings(records),
        mb_per_s: { reader: perSecond(bytes, read), digest: perSecond(bytes, hash), both: perSecond(bytes, both),
          ...(facets && { unmerged: perSecond(bytes, facets) }) } };
      rows.push(row);
      tell(row);
    }
  }
  return rows;
}

/** A mended scan against the scan before: eight holes filled, one place dented, all other faces shared. */
export function benchMend() {
  const { mend: { subject, reference } } = makePairs(oneSize(), ['mend']);
  const records = repeated(() => measure([subject, '--against', reference, '--threads', '2', '--surface', 'control']));
  const [{ mend, subject: { counts } }] = records;
  return { triangles: counts.faces, shared_faces: mend.shared_faces, holes_filled: mend.holes_filled, regions: mend.regions_total,
    largest_move: mend.largest_move, timings: medianTimings(records) };
}
