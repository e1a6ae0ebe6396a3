// ruler.js - lengths, areas, volumes and points of one specimen, printed in the unit and with the decimals that the reader chose. Pure.
import { formatFaceSize, formatFixed, formatInterval, formatSafeEnd, formatValue, roundUp, unitFor, withUnit } from './format.js';
import { say } from './say.js';

/**
 * What prints what is measured in the unit of the files: each function takes it so, and gives it back with the unit shown.
 * @param {string} fileUnit  of the specimen @param {string} shown  the unit to print in @param {number|null} decimals  null: as many as known
 */
export function rulerOf(fileUnit, shown, decimals = null) {
  const scales = Object.fromEntries(['length', 'area', 'volume'].map((kind) => [kind, unitFor(kind, fileUnit, shown, decimals)]));
  const { factor, unit } = scales.length;
  const number = (x, digits) => (decimals === null ? formatValue(x, digits) : formatFixed(x, decimals));
  const print = (kind) => (x, digits = 3) => withUnit(number(x * scales[kind].factor, digits), scales[kind].unit);
  return {
    factor,
    unit,
    decimals,
    scales,
    length: print('length'),
    area: print('area'),
    /** A certified distance, printed so that it still holds the true one. */
    interval: ({ lower, upper }) => withUnit(formatInterval(lower * factor, upper * factor, say('interval.to'), decimals), unit),
    /** The same in a sentence: one number where three digits tell no more, else both ends of those. */
    about: ({ lower, upper }) => {
      const [low, high] = [lower, upper].map((x) => number(x * factor, 3));
      return withUnit(low === high ? low : formatInterval(lower * factor, upper * factor, say('interval.to'), decimals ?? placesOf(upper * factor, 3)), unit);
    },
    /** Its upper end where there is no room for both: `≤ 0.628 mm`. */
    most: (x) => withUnit(formatSafeEnd(x * factor, '≤', decimals), unit),
    /** Two digits, rounded up: for `at most …`. */
    bound: (x) => withUnit(formatValue(roundUpTo(x * factor, 2), 2), unit),
    /** A place, or the sides of a box: `1.2, 3.4, 5.6 mm`. */
    point: (at, between = ', ', digits = 4) => withUnit(at.map((x) => number(x * factor, digits)).join(between), unit),
    /** What was aimed at when a cage was made: as it was said, whatever decimals are wanted of what is measured. */
    faceSize: (length, share = null) => formatFaceSize(length * factor, share, unit),
  };
}

/** The places after the point that so many significant digits of x reach. */
function placesOf(x, digits) {
  return Math.max(0, Math.min(12, digits - 1 - Math.floor(Math.log10(x))));
}

/** x rounded up to so many significant digits. */
function roundUpTo(x, digits) {
  return x > 0 ? roundUp(x, placesOf(x, digits)) : 0;
}
