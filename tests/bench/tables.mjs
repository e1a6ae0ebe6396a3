// tables.mjs - the results as lines for the terminal and as Markdown ready for the README.
import { geometricMean } from './run.mjs';
import { STAGES } from './growth.mjs';
import { pageRows } from './page.mjs';

export function seconds(value) {
  if (value >= 1) return `${value.toFixed(2)} s`;
  return `${(1000 * value).toFixed(value < 0.01 ? 2 : 0)} ms`;
}
const ENOUGH = 1; // us a triangle
const count = (n) => (n < 1e6 ? `${Math.round(n / 1000)}k` : `${(n / 1e6).toFixed(n < 1e7 ? 1 : 0)}M`);
const times = (ratio) => `${ratio.toPrecision(ratio < 100 ? 2 : 3)}×`;

/** True where a peer was started and did not end within its limit. */
const isCutOff = ({ unfinished }) => unfinished?.startsWith('not in') ?? false;

/** How many times as long a peer took; where it did not end, at least how many. */
function ratio(row, peer, limit) {
  const answer = row.peers[peer];
  if (!answer) return '';
  if (!answer.unfinished) return times(answer.seconds / row.seconds);
  if (isCutOff(answer)) return `> ${times(limit / row.seconds)}`;
  return answer.unfinished.replace(/[:(].*/, '').trim(); // "failed", "not started"
}

/** A sampled distance as a share of the certified one: the worse direction, of those that are not about 0. */
function sampledShare(answer, { directions, error }) {
  if (!answer || answer.unfinished) return '';
  const shares = Object.entries(directions).filter(([, interval]) => interval.lower > error)
    .map(([direction, interval]) => answer[direction] / interval.lower);
  return shares.length ? `${Math.round(100 * Math.min(...shares))} %` : '';
}

function remarks(row) {
  return [row.budget_exhausted && 'budget ended', row.width > row.error * (1 + 1e-9) && `width ${times(row.width / row.error)}`,
    row.contradictions.length && 'CONTRADICTION'].filter(Boolean).join(', ');
}

/** A pair at one tolerance as a line. */
export function pairLine(row, limit) {
  const peers = Object.keys(row.peers).map((peer) => `${peer} ${ratio(row, peer, limit) || '-'}`).join('  ');
  return `${row.class.padEnd(10)} ${count(row.triangles.reference).padStart(5)} / ${count(row.triangles.subject).padEnd(5)} ${row.certify}  `
    + `${seconds(row.seconds).padStart(8)}  statistics ${seconds(row.timings.statistics).padStart(8)}  ${peers}  ${remarks(row)}`;
}

/** How many times as long a peer took, over all pairs that it was given: the geometric mean and the least of those that it
 *  finished, and the mean of these and of those cut off at the limit, each of which counts as the limit: so it is at least
 *  that. Pairs not started, and those where the peer failed, count nowhere. */
export function summary(rows, peer, limit) {
  const asked = rows.filter((row) => row.peers[peer]);
  const done = asked.filter((row) => !row.peers[peer].unfinished), cutOff = asked.filter((row) => isCutOff(row.peers[peer]));
  if (!done.length && !cutOff.length) return null;
  const ratios = done.map((row) => row.peers[peer].seconds / row.seconds), least = Math.min(...ratios);
  const worst = done[ratios.indexOf(least)], bounds = cutOff.map((row) => limit / row.seconds);
  return { finished: done.length, cut_off: cutOff.length, not_counted: asked.length - done.length - cutOff.length,
    geometric_mean_at_least: geometricMean([...ratios, ...bounds]),
    ...(worst && { geometric_mean_of_finished: geometricMean(ratios), least,
      least_at: `${worst.class} ${count(worst.scan)} at ${worst.certify}` }) };
}

function table(head, rows) {
  const line = (cells) => `| ${cells.join(' | ')} |`;
  return [head, head.map((_, i) => (i ? '---:' : '---')), ...rows].map(line).join('\n');
}

const perTriangle = ({ timings, triangles }) => (1e6 * timings.statistics) / (triangles.subject + triangles.reference);

/** What the statistics take, in microseconds a triangle of both meshes, over all pairs: at most ENOUGH of each is the aim. */
export function statisticsSummary(rows) {
  if (!rows.length) return null;
  const each = rows.map(perTriangle), most = Math.max(...each), worst = rows[each.indexOf(most)];
  return { geometric_mean: geometricMean(each), most, most_at: `${worst.class} ${count(worst.scan)} at ${worst.certify}`,
    enough: each.filter((us) => us <= ENOUGH).length, pairs: rows.length };
}

export const statisticsLine = (of) => `Statistics, us a triangle of both: ${of.geometric_mean.toFixed(2)} as a geometric mean, at most `
  + `${of.most.toFixed(2)} (${of.most_at}); ${ENOUGH} or less for ${of.enough} of ${of.pairs}.`;

function pairsTable(rows, limit) {
  const head = ['pair', 'triangles', '1e-4', 'CGAL', '1e-6', 'CGAL', 'statistics', 'a triangle', 'Embree', 'VTK', 'VTK finds', ''];
  const loose = rows.filter((row) => row.certify === 1e-4);
  return table(head, loose.map((row) => {
    const strict = rows.find((r) => r.certify !== row.certify && r.class === row.class && r.scan === row.scan);
    return [row.class, `${count(row.triangles.reference)}, ${count(row.triangles.subject)}`,
      seconds(row.seconds), ratio(row, 'cgal', limit), seconds(strict.seconds), ratio(strict, 'cgal', limit),
      seconds(row.timings.statistics), `${perTriangle(row).toFixed(2)} us`, ratio(row, 'embree', limit),
      ratio(row, 'vtk_cell', limit), sampledShare(row.peers.vtk_cell, strict), remarks(strict) || remarks(row)];
  }));
}

function scaleTable({ series, exponents }) {
  const head = ['scan, cage', ...STAGES, 'index of 1M', 'bytes a triangle', 'with the mapped file'];
  const line = (row) => [`${count(row.scan)}, ${count(row.quads)} quads`, ...STAGES.map((s) => seconds(row.timings[s])),
    seconds((row.timings.index / row.triangles) * 1e6), row.bytes_per_triangle.anonymous.toFixed(0), row.bytes_per_triangle.rss.toFixed(0)];
  const last = (name) => (exponents[name] ? [['exponent', ...STAGES.map((s) => exponents[name][s].toFixed(2)), '', '', '']] : []);
  return Object.entries(series)
    .map(([name, rows]) => `Cage ${name}:\n\n${table(head, [...rows.map(line), ...last(name)])}`).join('\n\n');
}

export const rateText = ({ median, best }) => `${median.toFixed(0)} (${best.toFixed(0)})`;

function readersTable(rows) {
  const head = ['format', 'MB', 'reader, one thread', 'reader, two threads', 'digest', 'both, one thread', 'both, two threads',
    'topology and quality, two threads'];
  return table(head, rows.filter((r) => r.threads === 1).flatMap((one) => {
    const two = rows.find((r) => r.format === one.format && r.threads === 2);
    const { reader, digest, both, unmerged } = one.mb_per_s;
    return [
      [one.format, (one.bytes / 1e6).toFixed(0), rateText(reader), rateText(two.mb_per_s.reader), rateText(digest), rateText(both),
        rateText(two.mb_per_s.both), seconds(two.timings.topology + two.timings.quality)],
      ...(unmerged ? [[`${one.format}, not merged`, '', rateText(unmerged), '', '', '', '', '']] : [])];
  }));
}

function mendTable(row) {
  const stages = ['process', 'read', 'topology', 'quality', 'mend', 'index', 'hausdorff', 'statistics'];
  return table(['triangles', 'shared', 'regions', ...stages],
    [[count(row.triangles), row.shared_faces, row.regions, ...stages.map((s) => seconds(row.timings[s]))]]);
}

const PEER_NAMES = { cgal: 'CGAL, bounded error', embree: 'Embree, vertices only', vtk_cell: 'VTK, vertices to faces',
  vtk_point: 'VTK, vertices to vertices' };

export function summaryTable(summaries) {
  const rows = Object.entries(summaries).filter(([, of]) => of);
  if (!rows.length) return 'Against no peer.';
  const head = ['against', 'geometric mean', 'pairs', 'of these cut off', 'mean of the finished', 'least of the finished', 'at',
    'not counted'];
  return table(head, rows.map(([peer, of]) => [
    PEER_NAMES[peer], `${of.cut_off ? 'at least ' : ''}${times(of.geometric_mean_at_least)}`, of.finished + of.cut_off, of.cut_off,
    ...(of.finished ? [times(of.geometric_mean_of_finished), times(of.least), of.least_at] : ['', '', '']), of.not_counted]));
}

const memory = (name, { data_bytes: bytes, held_over_data: held, tab_over_data: tab, gpu_process_over_data: gpu }) =>
  `${name}: ${(bytes / 2 ** 20).toFixed(1)} MiB of data; its scripts and their workers hold ${held.toFixed(2)} times as much, their process grew by ${tab.toFixed(2)}, the one that draws by ${gpu.toFixed(2)} times`;

export function markdown(results) {
  const { machine: m, versions: v, runs, limit, pairs, summaries, statistics, scale, readers, mend, page } = results;
  const parts = [`${m.cpu}, ${m.cores} cores, ${m.memory_gib} GiB, ${m.system}, Linux ${m.kernel}, ${m.compiler}; `
    + `fettle ${m.fettle} with two threads; medians of ${runs}; CGAL ${v.cgal}, Embree ${v.embree}, VTK ${v.vtk}.`];
  if (pairs)
    parts.push('Two certified maxima, index included, and how many times as long each peer takes at its best setting '
      + `(>: it was cut off at ${limit} s, and counts as if it had ended then, so that the mean is at least what is said. `
      + 'Not counted: pairs that it was not given, since it was cut off at an easier one, and those where it failed):',
    summaryTable(summaries), ...(statistics ? [statisticsLine(statistics)] : []), pairsTable(pairs, limit));
  if (scale?.series.fixed.length) parts.push('`fettle measure` of a cage against an OBJ scan, as the scan grows:', scaleTable(scale));
  if (readers)
    parts.push(`Reading ${count(readers[0].triangles)} triangles, MB/s, file in the page cache, median (best) of ${readers[0].runs}: `
      + 'the reader alone, the digest (SHA-256) alone, and both as a measurement does them:', readersTable(readers));
  if (mend) parts.push(`A mended scan against the scan before, ${mend.holes_filled} holes filled and one place moved:`, mendTable(mend));
  if (page) {
    parts.push(`The page in Chromium ${page.browser} without a GPU, against the service on the same machine, from what the reader does to the frame that shows it:`,
      table(['', 'median', 'most'], pageRows(page).map(([what, half, most]) => [what, seconds(half), seconds(most)])));
    if (page.space) parts.push(`${memory('One figure', page.space.one)}. ${memory('Four', page.space.four)}. ${memory('One that is simplified', page.space.simplified)}.`);
  }
  return `${parts.join('\n\n')}\n`;
}
