// spark.js - the small chart of 88 by 28 px: an ink line from 0, the last point a dot, no axis. Text says what it shows.
import { s } from './dom.js';

const WIDTH = 88;
const HEIGHT = 28;
const FLOOR = 24;
const CEILING = 4;

/**
 * @param {Array<number|null>} values  oldest first; what is not known leaves no point
 * @param {string} label  what it shows, in a sentence
 * @returns {SVGElement|null} nothing for fewer than two values
 */
export function spark(values, label) {
  const known = values.filter((value) => value !== null && value !== undefined);
  if (known.length < 2) return null;
  const most = Math.max(...known);
  const x = (i) => 4 + (i * (WIDTH - 8)) / (known.length - 1);
  const y = (value) => (most > 0 ? FLOOR - ((FLOOR - CEILING) * Math.max(0, value)) / most : FLOOR);
  const points = known.map((value, i) => `${x(i).toFixed(1)} ${y(value).toFixed(1)}`);
  return s(
    'svg',
    { class: 'spark', viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: 'img', 'aria-label': label },
    s('path', { class: 'ground', d: `M0 ${FLOOR}h${WIDTH}` }),
    s('path', { class: 'line', d: `M${points.join(' ')}` }),
    s('circle', { class: 'dot', cx: x(known.length - 1), cy: y(known.at(-1)), r: 3 }),
  );
}
