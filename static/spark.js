// spark.js - the small chart of 88 by 28 px: an ink line from 0, the last point a dot, no axis. Text says what it shows.
import { s } from './dom.js';

const WIDTH = 88;
const HEIGHT = 28;
const FLOOR = 24;
const CEILING = 4;
/** A shorter whisker is hidden by the line. */
const SEEN = 2.5;

/**
 * @param {Array<number|null>} values  oldest first; what is not known leaves no point
 * @param {string} label  what it shows, in a sentence
 * @param {Array<[number|null, number|null]>|null} ends  of the intervals; drawn where they are wide enough to see
 * @returns {SVGElement|null} nothing for fewer than two values
 */
export function spark(values, label, ends = null) {
  const given = (value) => value !== null && value !== undefined;
  const known = values.map((value, i) => ({ value, ends: ends?.[i] ?? [] })).filter(({ value }) => given(value));
  if (known.length < 2) return null;
  const reach = known.map((point) => (point.ends.every(given) && point.ends.length === 2 ? point.ends : [point.value, point.value]));
  const most = Math.max(...reach.map(([, upper]) => upper));
  const x = (i) => 4 + (i * (WIDTH - 8)) / (known.length - 1);
  const y = (value) => (most > 0 ? FLOOR - ((FLOOR - CEILING) * Math.max(0, value)) / most : FLOOR);
  const points = known.map(({ value }, i) => `${x(i).toFixed(1)} ${y(value).toFixed(1)}`);
  const whiskers = reach
    .map(([lower, upper], i) => ({ i, from: y(lower), to: y(upper) }))
    .filter(({ from, to }) => from - to > SEEN)
    .map(({ i, from, to }) => `M${x(i).toFixed(1)} ${from.toFixed(1)}V${to.toFixed(1)}`);
  return s(
    'svg',
    { class: 'spark', viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: 'img', 'aria-label': label },
    s('path', { class: 'ground', d: `M0 ${FLOOR}h${WIDTH}` }),
    whiskers.length > 0 ? s('path', { class: 'whisker', d: whiskers.join('') }) : null,
    s('path', { class: 'line', d: `M${points.join(' ')}` }),
    s('circle', { class: 'dot', cx: x(known.length - 1), cy: y(known.at(-1).value), r: 3 }),
  );
}
