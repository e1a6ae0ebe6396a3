// format.js - numbers, units, times and sizes as the page prints them. Pure: no document, no state but the language.
//   Counts are grouped by a narrow no-break space; minus is U+2212; a value and its unit are joined by a no-break space.
//   A certified interval is printed so that it still holds the true value: lower end rounded down, upper end up.

const THIN = '\u202f';
const NBSP = '\u00a0';
const MINUS = '\u2212';
const DASH = '\u2013';
const MOST_DECIMALS = 12;

/** Millimetres in one of each unit of length. */
const MILLIMETRES = { mm: 1, cm: 10, m: 1000, in: 25.4 };
export const UNITS = Object.keys(MILLIMETRES);

/** Prints `x` with `decimals` digits after the point: grouped thousands, true minus, no minus before zero. */
export function formatFixed(x, decimals) {
  const text = Math.abs(x).toFixed(Math.max(0, Math.min(MOST_DECIMALS, decimals)));
  const [whole, part] = text.split('.');
  const grouped = whole.length < 4 ? whole : whole.replace(/\B(?=(\d{3})+$)/g, THIN);
  const sign = x < 0 && Number(text) !== 0 ? MINUS : '';
  return sign + grouped + (part === undefined ? '' : `.${part}`);
}

/** A count, or any whole number. */
export function formatCount(n) {
  return formatFixed(n, 0);
}

/** Decimals that show `digits` significant digits of x, none below the point for large numbers. */
function decimalsFor(x, digits) {
  if (x === 0) return 0;
  return Math.max(0, Math.min(MOST_DECIMALS, digits - 1 - Math.floor(Math.log10(Math.abs(Number(x.toPrecision(12)))))));
}

/** A measured value to `digits` significant digits (four unless told), without trailing zeros. */
export function formatValue(x, digits = 4) {
  const size = Math.abs(x);
  if (size !== 0 && (size < TINY || size >= 1e9)) return formatPower(x, digits);
  const text = formatFixed(x, decimalsFor(x, digits));
  return text.includes('.') ? text.replace(/\.?0+$/, '') : text;
}

const RAISED = { '-': '⁻', 0: '⁰', 1: '¹', 2: '²', 3: '³', 4: '⁴', 5: '⁵', 6: '⁶', 7: '⁷', 8: '⁸', 9: '⁹' };

function formatPower(x, digits) {
  if (x === 0) return '0';
  const [mantissa, exponent] = Math.abs(x)
    .toExponential(digits - 1)
    .split('e');
  const shown = mantissa.replace(/\.?0+$/, '');
  const raised = [...String(Number(exponent))].map((c) => RAISED[c]).join('');
  return `${x < 0 ? MINUS : ''}${shown}${NBSP}×${NBSP}10${raised}`;
}

/** x as a decimal of so many places, never above x. */
export function roundDown(x, decimals) {
  const near = Number(x.toFixed(decimals));
  return near <= x ? near : Number((near - 10 ** -decimals).toFixed(decimals));
}

/** x as a decimal of so many places, never below x. */
export function roundUp(x, decimals) {
  return -roundDown(-x, decimals);
}

/** The most digits an end of an interval is printed with, and what is too small to be printed digit by digit. */
const END_DIGITS = 6;
const TINY = 1e-6;

/** Places after the point at which two numbers of one sign first differ. */
function differAt(lower, upper) {
  let decimals = 0;
  while (decimals < MOST_DECIMALS && Math.floor(lower * 10 ** decimals) === Math.floor(upper * 10 ** decimals))
    decimals += 1;
  return decimals;
}

/**
 * A certified interval, without its unit: `0.616–0.628`, or `−0.003 to +0.004` where a sign occurs. Printed to the digit where
 * its ends differ and one more, or to the first digit of its width where that is later (0.4999–0.5001) or a sign occurs; never
 * to more than six digits; always outward. Ends that agree in all digits printed give one number, and an interval that is no
 * more than what arithmetic leaves gives its upper end. `to` is the word between two signed ends. `wanted` decimals, where
 * the reader chose them, take the place of all that, but for rounding outward.
 */
export function formatInterval(lower, upper, to = 'to', wanted = null) {
  if (wanted !== null) return formatEnds(roundDown(lower, wanted), roundUp(upper, wanted), wanted, to);
  if (lower >= 0 && upper < TINY) return upper === 0 ? '0' : formatSafeEnd(upper);
  const most = decimalsFor(Math.max(Math.abs(lower), Math.abs(upper)), END_DIGITS);
  const wide = lower === upper ? most : firstPlace(upper - lower);
  let decimals = Math.min(most, lower < 0 ? wide : Math.max(wide, differAt(lower, upper) + 1));
  if (Number.isInteger(lower) && Number.isInteger(upper)) decimals = 0;
  const low = roundDown(lower, decimals);
  const high = roundUp(upper, decimals);
  if (low === high) return formatValue(low, END_DIGITS);
  return formatEnds(low, high, decimals, to);
}

function formatEnds(low, high, decimals, to) {
  if (low === high) return formatFixed(low, decimals);
  if (low >= 0) return `${formatFixed(low, decimals)}${DASH}${formatFixed(high, decimals)}`;
  return `${formatSigned(low, decimals)} ${to} ${formatSigned(high, decimals)}`;
}

/** The place of the first digit of x: 0.00056 gives 4, 23 gives 0 (digits left of the point are kept). */
function firstPlace(x) {
  return Math.max(0, Math.min(MOST_DECIMALS, -Math.floor(Math.log10(x))));
}

/**
 * A value with its half-width: `0.0414 ± 0.0006`. The half-width has one digit and is rounded up, and also covers
 * what rounding the value to the same place moved, so that the printed range holds the measured one. Six digits at most.
 */
export function formatPlusMinus(value, halfwidth, wanted = null) {
  if (!(halfwidth > 0)) return wanted === null ? formatValue(value) : formatFixed(value, wanted);
  if (wanted !== null) return formatCovered(value, halfwidth, wanted);
  if (Math.abs(value) + halfwidth < TINY) return formatPower(value, 2);
  let decimals = firstPlace(halfwidth);
  const up = roundUp(halfwidth, decimals);
  if (up >= 10 ** (1 - decimals)) decimals = Math.max(0, decimals - 1);
  return formatCovered(
    value,
    halfwidth,
    Math.min(decimals, decimalsFor(Math.max(Math.abs(value), halfwidth), END_DIGITS)),
  );
}

/** The half-width printed covers what rounding the value moved. */
function formatCovered(value, halfwidth, decimals) {
  const shown = Number(value.toFixed(decimals));
  const covered = roundUp(Number((halfwidth + Math.abs(shown - value)).toPrecision(12)), decimals);
  return `${formatFixed(shown, decimals)} ±${NBSP}${formatFixed(covered, decimals)}`;
}

/** The safe end where there is no room for an interval: `≤ 0.628`, `≥ 93.2`. Three digits unless told, rounded to the safe side. */
export function formatSafeEnd(x, side = '≤', wanted = null) {
  if (x === 0 && wanted === null) return `${side}${NBSP}0`;
  if (Math.abs(x) < TINY && wanted === null)
    return `${side}${NBSP}${formatPower(x * (side === '≤' ? 1.05 : 0.95), 2)}`;
  const decimals = wanted ?? decimalsFor(x, 3);
  return `${side}${NBSP}${formatFixed(side === '≤' ? roundUp(x, decimals) : roundDown(x, decimals), decimals)}`;
}

/** A number that always carries its sign, zero excepted. */
export function formatSigned(x, decimals) {
  const text = formatFixed(x, decimals);
  return Number(Math.abs(x).toFixed(decimals)) === 0 ? text.replace(MINUS, '') : x > 0 ? `+${text}` : text;
}

/** A difference, to the place that its own half-width (that of both values added) can tell; four digits at most. */
export function formatDifference(difference, halfwidth = 0, wanted = null) {
  if (wanted !== null && Number(Math.abs(difference).toFixed(wanted)) !== 0) return formatSigned(difference, wanted);
  if (difference !== 0 && Math.abs(difference) + halfwidth < TINY)
    return (difference > 0 ? '+' : '') + formatPower(difference, 2);
  if (halfwidth > 0 && difference !== 0)
    return formatSigned(difference, Math.min(firstPlace(halfwidth), decimalsFor(difference, 4)));
  if (Number.isInteger(difference)) return formatSigned(difference, 0);
  const text = formatValue(difference, 3);
  return difference > 0 ? `+${text}` : text;
}

/** `value unit`, or the value alone where it has none. Percent and degree follow their own habit. */
export function withUnit(text, unit) {
  if (!unit) return text;
  return unit === '°' ? `${text}°` : `${text}${NBSP}${unit}`;
}

/** Factor that takes a length in `from` to `to`; 1 where either is not a unit of length we know. */
export function lengthFactor(from, to) {
  return MILLIMETRES[from] && MILLIMETRES[to] ? MILLIMETRES[from] / MILLIMETRES[to] : 1;
}

/**
 * How a measure of the given unit is printed for a specimen.
 * @param {string} unit  'length', 'area', 'volume', 'degree', 'share', or anything else: no unit
 * @param {number|null} decimals  wanted of lengths, areas and volumes; null for as many as a value can tell
 * @returns {{ factor: number, unit: string, decimals: number|null }} what to multiply by, and the unit to print
 */
export function unitFor(unit, fileUnit, shownUnit, decimals = null) {
  const factor = lengthFactor(fileUnit, shownUnit);
  const name = MILLIMETRES[fileUnit] ? shownUnit : fileUnit === 'unknown' ? '' : fileUnit;
  switch (unit) {
    case 'length':
      return { factor, unit: name, decimals };
    case 'area':
      return { factor: factor ** 2, unit: name && `${name}²`, decimals };
    case 'volume':
      return { factor: factor ** 3, unit: name && `${name}³`, decimals };
    case 'degree':
      return { factor: 1, unit: '°', decimals: null };
    case 'share':
      return { factor: 100, unit: '%', decimals: null };
    case 'second':
      return { factor: 1, unit: 's', decimals: null };
    default:
      return { factor: 1, unit: '', decimals: null };
  }
}

/** A face size: the length once, its share of the scan's diagonal in parentheses where that is known. */
export function formatFaceSize(length, share, unit) {
  const text = withUnit(formatValue(length, 3), unit);
  return share === null || share === undefined ? text : `${text} (${withUnit(formatValue(share * 100, 2), '%')})`;
}

/** Bytes in binary units: `4.2 MiB`. */
export function formatBytes(bytes) {
  const units = ['B', 'KiB', 'MiB', 'GiB', 'TiB'];
  let power = 0;
  let size = bytes;
  while (size >= 1024 && power < units.length - 1) {
    size /= 1024;
    power += 1;
  }
  return withUnit(power === 0 ? formatCount(size) : formatFixed(size, size < 100 ? 1 : 0), units[power]);
}

/** A share of work done, for a bar: whole per cent, 100 only when it is all done. */
export function formatProgress(share) {
  return withUnit(String(Math.floor(Math.max(0, Math.min(1, share)) * 100)), '%');
}

/** Seconds left in plain words of length: `9 s`, `4 min`, `2 h`. */
export function formatSeconds(seconds) {
  if (seconds < 90) return withUnit(String(Math.max(1, Math.ceil(seconds))), 's');
  if (seconds < 5400) return withUnit(String(Math.round(seconds / 60)), 'min');
  return withUnit(String(Math.round(seconds / 3600)), 'h');
}

/** `12 Sep 2026, 17:40` in the given zone (the reader's own unless told). */
export function formatTime(iso, zone) {
  const parts = timeParts(iso, zone);
  return `${parts.day}${NBSP}${parts.month}${NBSP}${parts.year}, ${parts.hour}:${parts.minute}`;
}

/** `12 Sep`, with the year where it is not that of `now`. */
export function formatDay(iso, now = new Date(), zone) {
  const parts = timeParts(iso, zone);
  const year = timeParts(now.toISOString(), zone).year;
  return `${parts.day}${NBSP}${parts.month}${parts.year === year ? '' : NBSP + parts.year}`;
}

/** Made once for a zone: making one takes longer than all else in a row of the collection. */
const timeFormats = new Map();
function timeFormat(zone) {
  if (!timeFormats.has(zone)) {
    const format = new Intl.DateTimeFormat('en-US', {
      day: 'numeric',
      month: 'short',
      year: 'numeric',
      hour: '2-digit',
      minute: '2-digit',
      hourCycle: 'h23',
      timeZone: zone,
    });
    timeFormats.set(zone, format);
  }
  return timeFormats.get(zone);
}

function timeParts(iso, zone) {
  return Object.fromEntries(timeFormat(zone).formatToParts(new Date(iso)).map((part) => [part.type, part.value]));
}
