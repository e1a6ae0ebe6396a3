// growth.mjs - our own stages alone: how they grow with the scan, and how fast the readers are.
import { statSync } from 'node:fs';
import { growthExponent, makePairs, measure, medianTimings, settings } from './run.mjs';

const SCANS = [34000, 134000, 536000, 1000000, 2100000, 5000000];
const FIXED_CAGE = 12500; // quads; the other cage has one for twenty triangles
export const STAGES = ['process', 'read', 'topology', 'quality', 'index', 'hausdorff', 'statistics'];

const repeated = (run) => Array.from({ length: settings.runs }, run);

function scaleRow(scan, quads, cage) {
  const records = repeated(() => measure([cage, '--against', scan, '--threads', '2']));
  const timings = medianTimings(records), [record] = records;
  const triangles = record.reference.counts.faces + 2 * record.subject.counts.faces;
  return { scan: record.reference.counts.faces, quads: record.subject.counts.faces, triangles, timings,
    budget_exhausted: record.deviation.budget_exhausted,
    bytes_per_triangle: { anonymous: (timings.peak_anonymous_mib * 2 ** 20) / triangles, rss: (timings.peak_rss_mib * 2 ** 20) / triangles } };
}

/** OBJ scans from 34k to 5M triangles against one cage, and against cages that grow with them. */
export function benchScale(tell) {
  const series = { fixed: [], proportional: [] };
  for (const triangles of SCANS.filter((n) => n <= settings.largest)) {
    const growing = Math.round(triangles / 20);
    const pairs = makePairs(triangles, ['scan', `cage:${FIXED_CAGE}`, `cage:${growing}`]);
    for (const [name, quads] of [['fixed', FIXED_CAGE], ['proportional', growing]]) {
      const row = scaleRow(pairs.obj.subject, quads, pairs[`cage:${quads}`].subject);
      series[name].push(row);
      tell(name, row);
    }
  }
  const exponents = Object.fromEntries(Object.entries(series).filter(([, rows]) => rows.length > 1).map(([name, rows]) =>
    [name, Object.fromEntries(STAGES.map((stage) => [stage, growthExponent(rows.map((r) => [r.triangles, r.timings[stage]]))]))]));
  return { series, exponents };
}

/** Each format by one and by two threads, with what follows the reading of a mesh alone. Pages are in the cache. */
export function benchReaders(tell) {
  const triangles = Math.min(1000000, settings.largest);
  const files = makePairs(triangles, ['scan']), rows = [];
  for (const format of ['obj', 'ply', 'stl', 'off']) {
    const file = files[format].subject, bytes = statSync(file).size;
    measure([file, '--threads', '1']);
    for (const threads of [1, 2]) {
      const records = repeated(() => measure([file, '--threads', String(threads)]));
      const timings = medianTimings(records);
      const row = { format, bytes, threads, triangles: records[0].subject.counts.faces, mb_per_s: bytes / 1e6 / timings.read, timings };
      rows.push(row);
      tell(row);
    }
  }
  return rows;
}
