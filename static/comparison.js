// comparison.js - what the version table shows: columns in order, rows that count, the words of a cell. Pure.
import {
  formatCount,
  formatDifference,
  formatFixed,
  formatInterval,
  formatPlusMinus,
  formatValue,
  unitFor,
  withUnit,
} from './format.js';
import { say } from './say.js';

/** The newest run of a version, or the run that the address asks for where the version has it. */
export function runOf(version, wanted) {
  return wanted && version.runs.includes(wanted) ? wanted : version.latest_run;
}

const ORDERS = {
  newest: (version) => -version.number,
  number: (version) => version.number,
  face_size: (version) => version.face_size ?? Infinity,
};

/** Versions as columns: cages before scans, newest first, by number or by face size; the withdrawn stand last in their kind. */
export function orderVersions(versions, sort) {
  const key = ORDERS[sort] ?? ORDERS.newest;
  return [...versions].sort((a, b) => byKind(a, b) || key(a) - key(b) || b.number - a.number);
}

function byKind(a, b) {
  if (a.kind !== b.kind) return a.kind === 'cage' ? -1 : 1;
  return Number(a.withdrawn !== null) - Number(b.withdrawn !== null);
}

/** Columns by a row's values, the best first (the least where neither is better); those without a value last in their kind. */
export function orderByRow(columns, row) {
  const sign = row.direction === 'higher' ? -1 : 1;
  const value = ({ runIndex }) => (runIndex === null ? null : (row.values[runIndex] ?? null));
  const key = (column) => (value(column) === null ? Infinity : sign * value(column));
  const order = (a, b) => (a === b ? 0 : a < b ? -1 : 1);
  return [...columns].sort((a, b) => byKind(a.version, b.version) || order(key(a), key(b)));
}

/** The newest version that counts: a measured cage, else a measured scan, else null. */
export function latestMeasured(versions) {
  const counted = orderVersions(versions, 'newest').filter(
    (version) => version.latest_run !== null && version.withdrawn === null,
  );
  return counted[0] ?? null;
}

/** The baseline where none was chosen: the measured version of the same kind before the latest one, else the latest. */
export function defaultBaseline(versions) {
  const latest = latestMeasured(versions);
  if (latest === null) return null;
  const before = orderVersions(versions, 'newest').filter(
    (version) =>
      version.kind === latest.kind &&
      version.latest_run !== null &&
      version.withdrawn === null &&
      version.number < latest.number,
  );
  return before[0] ?? latest;
}

const given = (value) => value !== null && value !== undefined;
/** Of a value that is summed over the faces: what arithmetic in double may leave (server/json/api_compare.h). */
const ROUNDING = 1e-9;

/** Whether a row says something that differs between the columns shown. */
export function rowDiffers(row, columns) {
  return columns.some(({ runIndex }) => ['better', 'worse', 'differs'].includes(row.verdicts[runIndex]));
}

/** Whether any column has a value: a cage has no measures of triangles, a scan none of quads. */
export function rowSpeaks(row, columns) {
  return columns.some(({ runIndex }) => runIndex !== null && given(row.values[runIndex]));
}

/** Half the width of what is known about one value of a row; 0 where it is exact. */
function halfwidth(row, i) {
  return given(row.lower?.[i]) && given(row.upper?.[i]) ? (row.upper[i] - row.lower[i]) / 2 : 0;
}

/** Whether the row's values are the upper ends of intervals (not values in the middle of one). */
function isInterval(row, i) {
  return given(row.upper?.[i]) && row.values[i] === row.upper[i] && row.lower[i] !== row.upper[i];
}

/**
 * The ends between which a value of a row is known to lie; null where there is no value, or where it rests on samples and nothing
 * tells how far it may be off.
 */
export function endsOf(row, i) {
  const value = row.values[i];
  if (!given(value)) return null;
  const ends = given(row.lower?.[i]) && given(row.upper?.[i]) ? { lower: row.lower[i], upper: row.upper[i] } : null;
  if (row.sampled?.[i] && !(ends?.upper > ends?.lower)) return null;
  if (ends) return ends;
  const rounding = row.unit === 'count' ? 0 : ROUNDING * Math.abs(value);
  return { lower: value - rounding, upper: value + rounding };
}

/** Whether column a is certainly better than column b in a row that has a direction; as the server's verdict against the baseline. */
export function isBetter(row, a, b) {
  return areBetterEnds(row, endsOf(row, a), endsOf(row, b));
}

/** The same of ends that are known already. */
export function areBetterEnds({ direction }, one, other) {
  if (one === null || other === null) return false;
  if (direction === 'lower') return one.upper < other.lower;
  return direction === 'higher' && one.lower > other.upper;
}

/** The printed value of a cell, without its unit; null where there is none. `scale` is that of unitFor. */
export function cellText(row, i, measure, scale) {
  const value = row.values[i];
  if (!given(value)) return null;
  const times = scale.factor;
  const decimals = scale.decimals ?? null;
  if (isInterval(row, i))
    return sampled(
      formatInterval(row.lower[i] * times, row.upper[i] * times, say('interval.to'), decimals),
      row,
      i,
      measure,
    );
  const half = halfwidth(row, i);
  if (half > 0) {
    return sampled(formatPlusMinus(value * times, half * times, decimals), row, i, measure);
  }
  const text =
    decimals !== null
      ? formatFixed(value * times, decimals)
      : Number.isInteger(value * times)
        ? formatCount(value * times)
        : formatValue(value * times);
  return sampled(text, row, i, measure);
}

/** How a cell's value is known: `exact`, `certified` or `sampled`, which one run may be and another not. */
export function certaintyOf(row, i, measure) {
  return row.sampled?.[i] ? 'sampled' : (measure?.certified ?? 'exact');
}

function sampled(text, row, i, measure) {
  return certaintyOf(row, i, measure) === 'sampled' ? say('value.sampled', { value: text }) : text;
}

/** The printed value with its unit. */
export function cellSentence(row, i, measure, scale) {
  const text = cellText(row, i, measure, scale);
  return text === null ? say('value.none') : withUnit(text, scale.unit);
}

/** The change of a cell against the baseline: its verdict and the words for it; null where nothing is differenced. */
export function changeText(row, i, baselineIndex, scale) {
  const verdict = row.verdicts[i];
  if (!given(verdict) || i === baselineIndex) return null;
  if (verdict === 'no change' || verdict === 'not told apart') return { verdict, text: say(`verdict.${verdict}`) };
  const known = (halfwidth(row, i) + halfwidth(row, baselineIndex)) * scale.factor;
  const difference = formatDifference(row.differences[i] * scale.factor, known, scale.decimals ?? null);
  return { verdict, text: say(`verdict.${verdict}`, { difference }) };
}

/** How many measures got better, worse, or cannot be told apart in one column, and the rows that got worse. */
export function summarize(rows, runIndex) {
  const count = (verdict) => rows.filter((row) => row.verdicts[runIndex] === verdict).length;
  return {
    better: count('better'),
    worse: count('worse'),
    same: count('not told apart'),
    unchanged: count('no change'),
    worseRows: rows.filter((row) => row.verdicts[runIndex] === 'worse'),
  };
}

/** Rows in their groups, in the order in which the measures are defined. */
export function groupRows(rows, groups) {
  const title = new Map(groups.map((group) => [group.id, group.title]));
  const found = new Map();
  for (const row of rows) {
    if (!found.has(row.group)) found.set(row.group, []);
    found.get(row.group).push(row);
  }
  return [...found].map(([id, members]) => ({ id, title: title.get(id) ?? id, rows: members }));
}

/** What a record has at a dotted path; undefined where it does not lead anywhere. */
export function recordAt(record, path) {
  return path.split('.').reduce((node, key) => node?.[key], record);
}

/** Where a measure was found: a point of its interval, or the worst face of its metric; null where it has no place. */
export function placeOf(record, path) {
  for (let parts = path.split('.').slice(0, -1); parts.length > 1; parts = parts.slice(0, -1)) {
    const node = recordAt(record, parts.join('.'));
    if (Array.isArray(node?.at)) return { at: node.at };
    if (given(node?.worst_face)) return { face: node.worst_face };
  }
  return null;
}

/** How many samples a measure of a deviation rests on; null where it is certified or exact. */
export function samplesOf(record, path, measure) {
  const [deviation, part] = path.split('.');
  const side = recordAt(record, `${deviation}.${part === 'signed' ? 'subject_to_reference' : part}`);
  return (measure?.certified === 'sampled' ? side?.normal_angle?.N : measure?.halfwidth && side?.sampled?.N) || null;
}

/** The certified ends of a statistic that is shown as sampled; null where it is not, or in a record of before these were kept. */
export function certifiedOf(record, path) {
  const [place, tolerance] = path.split('@');
  const parts = place.split('.');
  const side = recordAt(record, parts.slice(0, -1).join('.'));
  const known = side?.sampled && side.certified?.[parts.at(-1)];
  const ends = tolerance === undefined ? known : known?.find((each) => each.tolerance === Number(tolerance))?.share;
  return given(ends?.lower) ? ends : null;
}

/** The printing of each row: factor and unit, by the measure's unit. */
export function scaleOf(row, fileUnit, shownUnit, decimals = null) {
  return unitFor(row.unit, fileUnit, shownUnit, decimals);
}
