// glance.js - a few facts by which versions of one kind are told apart at a glance: which has the least of what, and which none beats.
// Only what is counted or certified is weighed; what was sampled is shown and not weighed, and there is no score. Pure.
import { areBetterEnds, endsOf, isBetter } from './comparison.js';

/** The facts, in the order shown; the last two are said and not judged. */
export const FACTS = [
  'subject.topology.open_edges',
  'subject.topology.nonmanifold_edges',
  'findings_of_subject.fault',
  'deviation.reference_to_subject.max.upper',
  'deviation.reference_to_subject.mean',
  'deviation.subject_to_reference.max.upper',
  'deviation.subject_to_reference.mean',
  'subject.topology.genus',
  'subject.counts.faces',
];

export const given = (value) => value !== null && value !== undefined;

/** Whether column a is better than column b, and neither value rests on samples. */
const isCertainlyBetter = (row, a, b) => !row.sampled?.[a] && !row.sampled?.[b] && isBetter(row, a, b);

/** The columns that can be weighed against the chosen one: same kind, measured alike against the same reference, not withdrawn. */
export function weighable(columns, chosen) {
  return columns.filter(
    ({ version, run }) =>
      version === chosen.version ||
      (run !== null &&
        version.withdrawn === null &&
        run.comparable &&
        chosen.run.comparable &&
        run.kind === chosen.run.kind &&
        run.reference_sha256 === chosen.run.reference_sha256),
  );
}

/** The rows of the comparison that are facts here and have a value in one of the columns. */
export function factRows(rows, columns) {
  return FACTS.map((path) => rows.find((row) => row.measure === path)).filter(
    (row) => row !== undefined && columns.some(({ runIndex }) => given(row.values[runIndex])),
  );
}

/**
 * The columns that have the least of a row (the most, where more is better): those than which none is certainly better.
 * @returns {object[]|null} null where the row is not weighed, or where that is all of them
 */
export function leastOf(row, columns) {
  if (!isWeighed(row, columns)) return null;
  const known = columns.filter(({ runIndex }) => given(row.values[runIndex]));
  const ends = known.map(({ runIndex }) => endsOf(row, runIndex));
  const best = row.direction === 'lower' ? Math.min(...ends.map((each) => each.upper)) : Math.max(...ends.map((each) => each.lower));
  const least = known.filter((_, i) => (row.direction === 'lower' ? ends[i].lower <= best : ends[i].upper >= best));
  if (known.length < 2 || least.length === known.length) return null;
  return least;
}

/** The columns that none beats: another beats one where it is certainly better in a row, and certainly worse in none. */
export function unbeaten(rows, columns) {
  const ends = rows.map((row) =>
    columns.map(({ runIndex }) => (row.sampled?.[runIndex] ? null : endsOf(row, runIndex))),
  );
  const isBetterInOne = (a, b) => rows.some((row, r) => areBetterEnds(row, ends[r][a], ends[r][b]));
  const beats = (b, a) => isBetterInOne(b, a) && !isBetterInOne(a, b);
  return columns.filter((_, a) => !columns.some((__, b) => beats(b, a)));
}

/** What a column is told by among those that none beats: the rows whose least it has and another of them has not. */
export function merits(rows, column, best, columns) {
  return rows.filter((row) => {
    const least = leastOf(row, columns);
    return least?.includes(column) && best.some((other) => !least.includes(other));
  });
}

/**
 * The first of the places that are apart: of those of one kind whose points lie in the ball of an earlier one, none; and among them one
 * of the mesh itself, if there is one.
 * @param {{ finding: object, number: number }[]} places  the worst first
 */
export function fewPlaces(places, most) {
  const isOneWith = (a, b) =>
    a.finding.kind === b.finding.kind &&
    a.finding.at &&
    b.finding.at &&
    Math.hypot(...a.finding.at.map((x, axis) => x - b.finding.at[axis])) <= Math.max(a.finding.radius ?? 0, b.finding.radius ?? 0);
  const few = [];
  for (const place of places) if (!few.some((other) => isOneWith(other, place))) few.push(place);
  const first = few.slice(0, most);
  const own = few.find(({ finding }) => finding.mesh === 'subject');
  return own && !first.includes(own) ? [...first.slice(0, most - 1), own] : first;
}

/** Whether all values of a row are weighed. */
export function isWeighed(row, columns) {
  return row.direction !== 'none' && !columns.some(({ runIndex }) => row.sampled?.[runIndex]);
}

/** The rows in which column a is certainly better, and certainly worse, than column b. */
export function changed(rows, a, b) {
  return {
    better: rows.filter((row) => isCertainlyBetter(row, a.runIndex, b.runIndex)),
    worse: rows.filter((row) => isCertainlyBetter(row, b.runIndex, a.runIndex)),
  };
}
