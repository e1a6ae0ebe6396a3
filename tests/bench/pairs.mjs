// pairs.mjs - the certified distances of every pair, both ways, at both tolerances, against the peers in the same round.
// A peer's best setting counts. What a peer did not end within its limit, it is not given again at a larger size.
import { makePairs, measure, median, medianTimings, runPeer, settings } from './run.mjs';

const SMALL = ['decimated', 'rescan', 'near6', 'near7', 'hole', 'bridge', 'tip', 'smoothed', 'midpoint', 'plate', 'cube', 'limit', 'spheres', 'tube'];
const LARGE = ['near6', 'hole', 'bridge', 'tip', 'smoothed', 'limit'];
const SIZES = [
  { triangles: 30000, classes: ['cage:1500', ...SMALL] },
  { triangles: 100000, classes: ['cage:6000', ...SMALL] },
  { triangles: 268000, classes: ['cage:12000', ...SMALL] },
  { triangles: 1000000, classes: ['cage:50000', ...LARGE] },
  { triangles: 4000000, classes: ['cage:12500', 'hole'] },
];
const TOLERANCES = [1e-4, 1e-6];
const ENOUGH_SECONDS = 20; // a peer that took as long in all is not run again for a median

// The settings of each peer; whether its answer depends on the tolerance; what its command line takes.
const PEERS = {
  cgal: { variants: ['sequential', 'parallel'], program: 'bench-cgal', certified: true,
    args: (pair, error, variant) => [pair.subject, pair.reference, error, settings.limit, variant] },
  embree: { variants: ['low', 'medium'], program: 'bench-embree', certified: false,
    args: (pair, error, variant) => [pair.subject, pair.reference, 2, settings.limit, variant] },
  vtk_cell: { variants: ['cell'], program: 'vtk.py', certified: false,
    args: (pair, error, variant) => [pair.subject, pair.reference, settings.limit, variant] },
  vtk_point: { variants: ['point'], program: 'vtk.py', certified: false,
    args: (pair, error, variant) => [pair.subject, pair.reference, settings.limit, variant] },
};

/** What is known of a peer on one class from smaller sizes: the settings worth trying. */
const worthTrying = new Map();

function startPeer(name, key) {
  const tried = worthTrying.get(`${name} ${key}`) ?? PEERS[name].variants;
  return { name, key, variants: tried, runs: Object.fromEntries(tried.map((v) => [v, []])),
    unfinished: tried.length ? null : 'not started: a smaller pair was not finished' };
}

const fastest = (peer) => peer.variants.reduce((a, b) => (median(peer.runs[b].map((r) => r.seconds)) < median(peer.runs[a].map((r) => r.seconds)) ? b : a));

function runRound(peer, pair, error) {
  for (const variant of [...peer.variants]) {
    const done = peer.runs[variant];
    if (done.reduce((total, run) => total + run.seconds, 0) > ENOUGH_SECONDS) continue;
    const answer = runPeer(PEERS[peer.name].program, PEERS[peer.name].args(pair, error, variant));
    if (!answer.unfinished) {
      done.push(answer);
      continue;
    }
    peer.variants = peer.variants.filter((v) => v !== variant);
    if (variant === PEERS[peer.name].variants[0] || !peer.variants.length) {
      peer.unfinished = answer.unfinished; // the first setting is the plain one: where it does not end, the others are spared
      peer.variants = [];
      return;
    }
  }
  if (peer.variants.length > 1) peer.variants = [fastest(peer)];
}

function endPeer(peer) {
  worthTrying.set(`${peer.name} ${peer.key}`, peer.variants);
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

function benchPair(name, pair, certify, peerNames) {
  const records = [], peers = peerNames.map((peer) => startPeer(peer, `${name.replace(/:.*/, '')} ${certify}`));
  let error;
  for (let round = 0; round < settings.runs; round++) {
    records.push(measure([pair.subject, '--against', pair.reference, '--threads', '2', '--certify', String(certify)]));
    error = certify * records[0].reference.bounds.diagonal;
    for (const peer of peers) if (peer.variants.length) runRound(peer, pair, error);
  }
  const { deviation } = records[0], timings = medianTimings(records);
  const answers = Object.fromEntries(peers.map((peer) => [peer.name, endPeer(peer)]));
  return {
    class: name.replace(/:.*/, ''), certify, error, seconds: timings.index + timings.hausdorff, timings,
    faces: { subject: records[0].subject.counts.faces, reference: records[0].reference.counts.faces },
    triangles: { subject: trianglesOf(records[0].subject), reference: trianglesOf(records[0].reference) },
    budget_exhausted: deviation.budget_exhausted, hausdorff: deviation.hausdorff,
    width: Math.max(...DIRECTIONS.map((d) => deviation[d].max.upper - deviation[d].max.lower)),
    directions: Object.fromEntries(DIRECTIONS.map((d) => [d, { lower: deviation[d].max.lower, upper: deviation[d].max.upper }])),
    peers: answers,
    contradictions: Object.entries(answers).flatMap(([peer, answer]) => contradictions(peer, answer, deviation, error, records[0].reference.bounds.diagonal)),
  };
}

const trianglesOf = (report) => report.counts.triangles + 2 * report.counts.quads;

/** All rows, smallest size first; `tell` is called with each as it is known. */
export function benchPairs(tell) {
  const rows = [], peers = settings.peers ?? Object.keys(PEERS);
  for (const size of SIZES.filter((s) => s.triangles <= settings.largest)) {
    const pairs = makePairs(size.triangles, size.classes);
    for (const name of size.classes.filter((n) => !settings.classes || settings.classes.includes(n.replace(/:.*/, ''))))
      for (const certify of TOLERANCES) {
        // what samples vertices does not know a tolerance: once is enough
        const row = { scan: size.triangles, ...benchPair(name, pairs[name], certify, peers.filter((peer) => PEERS[peer].certified || certify === TOLERANCES[0])) };
        rows.push(row);
        tell(row);
      }
  }
  return rows;
}
