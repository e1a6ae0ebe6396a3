// pairs.mjs - the certified distances of every pair, both ways, at both tolerances, against the peers in the same round.
// Each round takes all pairs of a size once, after the first in an order of chance, so that what slows the machine down for a
// minute falls on few runs of any pair: randomized multiple interleaved trials (A. Abedi, T. Brecht, Conducting Repeatable
// Experiments in Highly Variable Cloud Computing Environments, ICPE 2017).
// A peer's best setting counts, of those that ended. Where none ended within the limit, the peer is not given that class again
// at a larger size, nor at a smaller tolerance.
import { chosen, isWanted, makePairs, measure, median, medianTimings, runPeer, settings } from './run.mjs';

const SMALL = ['decimated', 'rescan', 'near6', 'near7', 'hole', 'bridge', 'tip', 'smoothed', 'relisted', 'midpoint', 'plate',
  'cube', 'limit', 'spheres', 'tube'];
const LARGE = ['near6', 'hole', 'bridge', 'tip', 'smoothed', 'limit'];
const SCANS = [
  { triangles: 30000, classes: ['cage:1500', ...SMALL] },
  { triangles: 100000, classes: ['cage:6000', ...SMALL] },
  { triangles: 268000, classes: ['cage:12000', ...SMALL] },
  { triangles: 1000000, classes: ['cage:50000', ...LARGE] },
  { triangles: 4000000, classes: ['cage:12500', 'hole'] },
];
const TOLERANCES = [1e-4, 1e-6];
const ENOUGH_SECONDS = 8; // a peer that took as long in all is not run again for a median

// The settings of each peer; whether its answer depends on the tolerance; what its command line takes.
export const PEERS = {
  cgal: { variants: ['sequential', 'parallel'], program: 'bench-cgal', certified: true,
    args: (pair, error, variant) => [pair.subject, pair.reference, error, settings.limit, variant] },
  embree: { variants: ['low', 'medium'], program: 'bench-embree', certified: false,
    args: (pair, error, variant) => [pair.subject, pair.reference, 2, settings.limit, variant] },
  vtk_cell: { variants: ['cell'], program: 'vtk.py', certified: false,
    args: (pair, error, variant) => [pair.subject, pair.reference, settings.limit, variant] },
  vtk_point: { variants: ['point'], program: 'vtk.py', certified: false,
    args: (pair, error, variant) => [pair.subject, pair.reference, settings.limit, variant] },
};

const kindOf = (name) => name.replace(/:.*/, '');
const KINDS = chosen('CLASSES', ['cage', ...SMALL]);
const ASKED = chosen('PEERS', [...Object.keys(PEERS), 'none']).filter((name) => name !== 'none');

/** The settings worth trying of a peer on a class at a tolerance, as smaller pairs and looser tolerances have shown. */
const worthTrying = new Map();
const trial = (peer, kind, certify) => `${peer} ${kind} ${certify}`;

function startPeer(name, kind, certify) {
  const looser = worthTrying.get(trial(name, kind, TOLERANCES[0]));
  const tried = looser?.length === 0 ? [] : worthTrying.get(trial(name, kind, certify)) ?? PEERS[name].variants;
  return { name, key: trial(name, kind, certify), variants: tried, ended: tried, runs: Object.fromEntries(tried.map((v) => [v, []])),
    unfinished: tried.length ? null : 'not started: an easier pair was not finished' };
}

function fastest({ variants, runs }) {
  const typical = (variant) => median(runs[variant].map((run) => run.seconds));
  return variants.reduce((a, b) => (typical(b) < typical(a) ? b : a));
}

function runRound(peer, pair, error) {
  for (const variant of [...peer.variants]) {
    const done = peer.runs[variant];
    if (done.reduce((total, run) => total + run.seconds, 0) > ENOUGH_SECONDS) continue;
    const answer = runPeer(PEERS[peer.name].program, PEERS[peer.name].args(pair, error, variant));
    if (!answer.unfinished) {
      done.push(answer);
      continue;
    }
    peer.variants = peer.ended = peer.variants.filter((v) => v !== variant);
    peer.unfinished = answer.unfinished;
  }
  if (peer.variants.length > 1) peer.variants = [fastest(peer)];
  worthTrying.set(peer.key, peer.ended);
}

function endPeer(peer) {
  if (!peer.variants.length) return { unfinished: peer.unfinished };
  const [variant] = peer.variants, runs = peer.runs[variant], [{ subject_to_reference, reference_to_subject }] = runs;
  return { setting: variant, runs: runs.length, seconds: median(runs.map((r) => r.seconds)),
    cpu_seconds: median(runs.map((r) => r.cpu_seconds)), subject_to_reference, reference_to_subject };
}

const DIRECTIONS = ['subject_to_reference', 'reference_to_subject'];

/** Everything that contradicts a peer, in words. CGAL's answer is within the error on either side; VTK's distance from
 *  vertex to face is no more than the truth, up to the floats of its points. Embree's floats prove nothing: in needles
 *  they are off by far more. */
function contradictions(name, answer, deviation, error, diagonal) {
  if (answer.unfinished || (name !== 'cgal' && name !== 'vtk_cell')) return [];
  const slack = name === 'cgal' ? error : 1e-5 * diagonal;
  return DIRECTIONS.flatMap((direction) => {
    const { lower, upper } = deviation[direction].max, told = answer[direction];
    const low = told - slack > upper, high = name === 'cgal' && told + slack < lower;
    return low || high ? [`${name} says ${told} ± ${slack}, we say ${lower} to ${upper} (${direction})`] : [];
  });
}

const trianglesOf = (report) => report.counts.triangles + 2 * report.counts.quads;

/** A pair at one tolerance, and what its rounds tell. */
function openCase(kind, pair, certify, peerNames) {
  return { kind, pair, certify, records: [], peers: peerNames.map((peer) => startPeer(peer, kind, certify)) };
}

const errorOf = ({ certify, records: [{ reference }] }) => certify * reference.bounds.diagonal;

function runCase(one) {
  const { pair, certify, records, peers } = one;
  records.push(measure([pair.subject, '--against', pair.reference, '--threads', '2', '--surface', 'control', '--certify', String(certify)]));
  for (const peer of peers) if (peer.variants.length) runRound(peer, pair, errorOf(one));
}

function describe(one) {
  const { kind, certify, records, peers } = one, [{ subject, reference, deviation }] = records, timings = medianTimings(records);
  const error = errorOf(one), answers = Object.fromEntries(peers.map((peer) => [peer.name, endPeer(peer)]));
  const intervals = DIRECTIONS.map((d) => [d, { lower: deviation[d].max.lower, upper: deviation[d].max.upper }]);
  return {
    class: kind, certify, error, seconds: timings.index + timings.hausdorff, timings, peers: answers,
    triangles: { subject: trianglesOf(subject), reference: trianglesOf(reference) },
    hausdorff: deviation.hausdorff, directions: Object.fromEntries(intervals), budget_exhausted: deviation.budget_exhausted,
    width: Math.max(...intervals.map(([, interval]) => interval.upper - interval.lower)),
    contradictions: Object.entries(answers)
      .flatMap(([peer, answer]) => contradictions(peer, answer, deviation, error, reference.bounds.diagonal)),
  };
}

function shuffled(list) {
  const left = [...list], order = [];
  while (left.length) order.push(...left.splice(Math.floor(Math.random() * left.length), 1));
  return order;
}

/** All rows of a size. Its first round is in order: it tells whether a peer is worth trying at the smaller tolerance. */
function benchSize({ triangles, classes }) {
  const pairs = makePairs(triangles, classes), cases = [];
  const begin = (round) => process.stderr.write(`pairs of ${triangles} triangles, round ${round} of ${settings.runs}\n`);
  begin(1);
  for (const name of classes.filter((c) => KINDS.includes(kindOf(c))))
    for (const certify of TOLERANCES) {
      // what samples vertices does not know a tolerance: once is enough
      const peers = ASKED.filter((peer) => PEERS[peer].certified || certify === TOLERANCES[0]);
      cases.push(openCase(kindOf(name), pairs[name], certify, peers));
      runCase(cases.at(-1));
    }
  for (let round = 2; round <= settings.runs; round++) {
    begin(round);
    shuffled(cases).forEach(runCase);
  }
  return cases.map((one) => ({ scan: triangles, ...describe(one) }));
}

/** All rows, smallest size first. */
export function* benchPairs() {
  for (const size of SCANS.filter((s) => isWanted(s.triangles))) yield* benchSize(size);
}
