// marks.js - what of a surface's structure is drawn over it: open edges, edges of three and more faces, irregular vertices. Pure.
import { valenceOf } from './form.js';

/**
 * @returns {{ open: Uint32Array, crowded: Uint32Array }} pairs of vertices: of sides with one face, as that lists them, and
 *   with more than two
 */
export function findMarks(surface, sides) {
  const keys = sideKeys(sides);
  keys.sort();
  const lone = new Set();
  const crowded = [];
  for (let begin = 0; begin < keys.length; ) {
    let end = begin + 1;
    while (end < keys.length && keys[end] === keys[begin]) end += 1;
    if (end - begin === 1) lone.add(keys[begin]);
    else if (end - begin > 2) crowded.push(...endsOf(keys[begin]));
    begin = end;
  }
  const open = [];
  if (lone.size > 0)
    sideKeys(sides).forEach((key, k) => {
      if (lone.has(key)) open.push(sides[2 * k], sides[2 * k + 1]);
    });
  return { open: Uint32Array.from(open), crowded: Uint32Array.from(crowded) };
}

/** Each side once. */
export function uniqueSides(sides) {
  const keys = sideKeys(sides).sort();
  const pairs = new Uint32Array(sides.length);
  let count = 0;
  for (let k = 0; k < keys.length; k += 1)
    if (k === 0 || keys[k] !== keys[k - 1]) {
      pairs.set(endsOf(keys[k]), count);
      count += 2;
    }
  return pairs.slice(0, count);
}

/** The vertices that do not have the regular number of edges, from the bytes of all. */
export function irregularVertices(edges, kind) {
  const found = [];
  for (let v = 0; v < edges.length; v += 1) {
    const { edges: count, off } = valenceOf(edges[v], kind);
    if (off) found.push({ vertex: v, edges: count });
  }
  return found;
}

const endsOf = (key) => [Math.floor(key / 2 ** 32), key % 2 ** 32];

/** Each side as one number, the same from both of its faces. Exact below 2^53: vertices are below 2^21 here. */
function sideKeys(sides) {
  const keys = new Float64Array(sides.length / 2);
  for (let k = 0; k < keys.length; k += 1) {
    const a = sides[2 * k];
    const b = sides[2 * k + 1];
    keys[k] = Math.min(a, b) * 2 ** 32 + Math.max(a, b);
  }
  return keys;
}
