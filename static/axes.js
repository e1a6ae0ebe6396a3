// axes.js - round numbers for the axes of charts. Pure.

import { formatValue } from './format.js';

const MULTIPLES = [1, 2, 5];
const MOST_TICKS = 8;

/** Round values 1, 2, 5 times a power of ten from low to high; the powers alone where there are many. */
export function logTicks(low, high) {
  const ticks = [];
  for (let power = Math.floor(Math.log10(low)) - 1; power <= Math.ceil(Math.log10(high)); power += 1) {
    for (const multiple of MULTIPLES) ticks.push(Number(`${multiple}e${power}`));
  }
  const inside = ticks.filter((tick) => tick >= low * 0.999999 && tick <= high * 1.000001);
  if (inside.length > MOST_TICKS) {
    const powers = inside.filter((tick) => tick.toExponential().startsWith('1e'));
    return powers.filter((_, i) => i % Math.ceil(powers.length / MOST_TICKS) === 0);
  }
  return inside.length >= 2 ? inside : [low, high].map((end) => Number(end.toPrecision(2)));
}

/** A range for a logarithmic axis that leaves room beside its first and last point. */
export function logRange(values) {
  const low = Math.min(...values);
  const high = Math.max(...values);
  const room = Math.max(1.25, (high / low) ** 0.12);
  return [low / room, high * room];
}

/** A step of 1, 2 or 5 times a power of ten that divides `most` into at most `count` parts; whole where asked. */
export function linearStep(most, count, whole = false) {
  const rough = Math.max(most / count, Number.MIN_VALUE);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [...MULTIPLES, 10].find((multiple) => multiple * power >= rough * 0.999999) * power;
  return whole ? Math.max(1, Math.ceil(step)) : step;
}

/** Round values along bins of any widths: where each stands, counted in bins from the first edge, and its text. */
export function edgeTicks(edges) {
  const [low, high] = [edges[0], edges.at(-1)];
  const step = linearStep(high - low, 6);
  const ticks = [];
  for (let i = Math.ceil(low / step - 1e-9); i * step <= high * (1 + 1e-9) + 1e-12; i += 1) {
    const value = Number((i * step).toPrecision(12));
    const bin = Math.min(
      edges.length - 2,
      Math.max(
        0,
        edges.findLastIndex((edge) => edge <= value + 1e-9),
      ),
    );
    ticks.push({ at: bin + (value - edges[bin]) / (edges[bin + 1] - edges[bin]), text: formatValue(value, 3) });
  }
  return ticks;
}

/** Ticks from 0 that reach `most`; to 1 where that is 0. */
export function linearTicks(most, count, whole = false) {
  const reach = most > 0 ? most : 1;
  const step = linearStep(reach, count, whole);
  const ticks = [0];
  for (let i = 1; ticks.at(-1) < reach * 0.999999; i += 1) ticks.push(Number((i * step).toPrecision(12)));
  return ticks;
}
