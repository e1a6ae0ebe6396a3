// same-place.js - findings of two versions matched by kind and place: which are gone, which are new, which are still there. Pure.
//
// The rule (common practice, no source). Two findings of one kind, on one mesh, are one place
//   1. where they lie at the same point and reach as far: a part of the mesh that was left alone keeps both. Such pairs are made
//      first and take no part in what follows, so that a hole that was closed is not taken for its untouched neighbour;
//   2. of the rest, where the point of one lies in the ball of the other: `at` and `radius` as the record has them, the radius no
//      less than the median edge of its version, by which a remesh may move a point. So one place may go on in several, or several in one.
// What is matched is still there; what is not is gone, or new, but only where that is certain:
//   - places of deviation are listed beyond a level which each run has of its own. One is gone only if its certified distance exceeds
//     the level of the later run (else it may be there and not be listed), and new only if it exceeds that of the earlier run;
//   - against another reference nothing is said of places of deviation;
//   - a list that was cut may lack the counterpart.
// Everything else is not told apart.
import { recordAt } from './comparison.js';

/** Of the box's diagonal: what writing coordinates as text may move a point by. */
const ROUNDING = 1e-6;
const OF_DEVIATION = ['lost', 'invented'];

/**
 * What matching needs of one run.
 * @param {object} record  a run record
 * @param {{ items: object[] }} findings  of that run, in the order of the record
 */
export function placesOf(record, findings) {
  const listed = new Map();
  findings.items.forEach(({ kind }) => listed.set(kind, (listed.get(kind) ?? 0) + 1));
  return {
    items: findings.items,
    edge: recordAt(record, 'subject.edge_length.median') ?? 0,
    diagonal: recordAt(record, 'subject.bounds.diagonal') ?? 0,
    reference: recordAt(record, 'reference.file.sha256') ?? null,
    level: (kind) => recordAt(record, `deviation.places.${kind}.level`) ?? null,
    isCut: (kind) => (recordAt(record, `findings_by_kind.${kind}`) ?? 0) > (listed.get(kind) ?? 0),
  };
}

/**
 * @param {object} before  @param {object} after  placesOf two runs
 * @returns {{ before: object[], after: object[] }} one entry a finding, in the order of its list: { state, with }
 *   state: 'still', 'open' (not told apart), 'gone' (before only) or 'new' (after only); with: indices into the other list
 */
export function matchPlaces(before, after) {
  const result = {
    before: before.items.map(() => ({ state: 'gone', with: [] })),
    after: after.items.map(() => ({ state: 'new', with: [] })),
  };
  const pair = (b, a) => {
    result.before[b].with.push(a);
    result.after[a].with.push(b);
  };
  const near = ROUNDING * Math.max(before.diagonal, after.diagonal);
  const alike = (x, y) => x.kind === y.kind && x.mesh === y.mesh && x.at && y.at;
  after.items.forEach((finding, a) => {
    const b = before.items.findIndex(
      (other, i) =>
        result.before[i].with.length === 0 &&
        alike(other, finding) &&
        distance(other.at, finding.at) <= near &&
        Math.abs(radius(other) - radius(finding)) <= near,
    );
    if (b >= 0) pair(b, a);
  });
  const left = (side, items) => items.map((_, i) => i).filter((i) => result[side][i].with.length === 0);
  const [leftBefore, leftAfter] = [left('before', before.items), left('after', after.items)];
  for (const a of leftAfter)
    for (const b of leftBefore) {
      const [old, now] = [before.items[b], after.items[a]];
      if (alike(old, now) && distance(old.at, now.at) <= Math.max(radius(old), radius(now), before.edge, after.edge))
        pair(b, a);
    }
  const settle = (side, own, other) =>
    result[side].forEach((entry, i) => {
      if (entry.with.length > 0) entry.state = 'still';
      else if (!isCertain(own.items[i], own, other)) entry.state = 'open';
    });
  settle('before', before, after);
  settle('after', after, before);
  return result;
}

/** Whether a finding without counterpart would have one if its place were the same in the other run. */
function isCertain(finding, own, other) {
  if (!finding.at || other.isCut(finding.kind)) return false;
  if (!OF_DEVIATION.includes(finding.kind)) return true;
  const level = other.level(finding.kind);
  return (
    own.reference !== null && own.reference === other.reference && level !== null && finding.distance?.lower > level
  );
}

/**
 * How many places are gone, new, still there and not told apart, of those that `counts` accepts; and of those still there, how many
 * are certainly less far than any they go on from, and how many certainly farther.
 * What is not told apart is counted on both sides.
 */
export function countPlaces(match, before, after, counts = () => true) {
  const count = (side, places, state) =>
    match[side].filter((entry, i) => entry.state === state && counts(places.items[i])).length;
  return {
    gone: count('before', before, 'gone'),
    fresh: count('after', after, 'new'),
    still: count('after', after, 'still'),
    ...changedPlaces(match, before, after, counts),
    open: count('before', before, 'open') + count('after', after, 'open'),
  };
}

/** By certified distances that have no point in common. */
function changedPlaces(match, before, after, counts) {
  const changes = match.after.map((entry, i) => {
    const now = after.items[i].distance;
    const old = entry.with.map((b) => before.items[b].distance);
    if (entry.state !== 'still' || !counts(after.items[i]) || !now || old.some((distance) => !distance)) return 0;
    if (now.upper < Math.min(...old.map(({ lower }) => lower))) return -1;
    return now.lower > Math.max(...old.map(({ upper }) => upper)) ? 1 : 0;
  });
  return { less: changes.filter((change) => change < 0).length, more: changes.filter((change) => change > 0).length };
}

const radius = (finding) => finding.radius ?? 0;
const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
