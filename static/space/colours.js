// colours.js - the maps of the deviation, and what a value looks like on them. Pure, but for reading the stops from tokens.css.

const STOPS = 9;
export const TABLE = 256;

/** A map's stops, 0 to 255 each, as tokens.css has them. */
export function readStops(name, style = getComputedStyle(document.documentElement)) {
  return Array.from({ length: STOPS }, (_, i) => parseHex(style.getPropertyValue(`--${name}-${i}`).trim()));
}

export function parseHex(text) {
  return [1, 3, 5].map((at) => Number.parseInt(text.slice(at, at + 2), 16));
}

/** The colour at a share of the way from the first stop to the last, linear in sRGB. */
export function colourAt(stops, share) {
  const place = Math.max(0, Math.min(1, share)) * (stops.length - 1);
  const stop = Math.min(stops.length - 2, Math.floor(place));
  return stops[stop].map((low, i) => low + (place - stop) * (stops[stop + 1][i] - low));
}

/** The map as a row of pixels. */
export function colourTable(stops) {
  const table = new Uint8Array(4 * TABLE);
  for (let i = 0; i < TABLE; i += 1) {
    const [r, g, b] = colourAt(stops, i / (TABLE - 1));
    table.set([Math.round(r), Math.round(g), Math.round(b), 255], 4 * i);
  }
  return table;
}

/** Colours of classes as a row of pixels, one a class. */
export function classTable(colours) {
  const table = new Uint8Array(4 * TABLE);
  colours.forEach((rgb, i) => table.set([...rgb, 255], 4 * i));
  return table;
}

/** Where a value lies on the map: 0 to range, or -range to range where it is signed. */
export function shareOf(value, range, signed) {
  return signed ? 0.5 + value / (2 * range) : value / range;
}

/** A range to begin with: a round number, at least the value. */
export function roundRange(value) {
  if (!(value > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(value));
  return [1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10].map((times) => Number((times * power).toPrecision(2))).find((range) => range >= value * 0.999999);
}
