// marks.js - what of a surface's structure is drawn over it: open edges, edges of three and more faces, irregular vertices. Pure.


/** The regular number of edges at a vertex inside a mesh of quads, and of triangles. */
const REGULAR = { quads: 4, triangles: 6 };

/**
 * @returns {{ open: Uint32Array, crowded: Uint32Array, irregular: { vertex: number, edges: number }[], irregularCount: number }}
 *   pairs of vertices: of sides with one face, and with more than two; vertices of another number of edges than is regular,
 *   none where there are more than `most`
 */
export function findMarks(surface, sides, most) {
  const keys = sideKeys(sides);
  keys.sort();
  const open = [];
  const crowded = [];
  const degree = new Uint16Array(surface.vertexCount);
  const onRim = new Uint8Array(surface.vertexCount);
  for (let begin = 0; begin < keys.length; ) {
    let end = begin + 1;
    while (end < keys.length && keys[end] === keys[begin]) end += 1;
    const a = Math.floor(keys[begin] / 2 ** 32);
    const b = keys[begin] % 2 ** 32;
    degree[a] += 1;
    degree[b] += 1;
    if (end - begin === 1) {
      open.push(a, b);
      onRim[a] = onRim[b] = 1;
    } else if (end - begin > 2) crowded.push(a, b);
    begin = end;
  }
  const quads = surface.faces !== null;
  const regular = quads ? REGULAR.quads : REGULAR.triangles;
  const irregular = [];
  let irregularCount = 0;
  for (let v = 0; v < surface.vertexCount; v += 1) {
    if (degree[v] === 0 || onRim[v] || degree[v] === regular) continue;
    irregularCount += 1;
    if (irregularCount <= most) irregular.push({ vertex: v, edges: degree[v] });
  }
  return {
    open: Uint32Array.from(open),
    crowded: Uint32Array.from(crowded),
    irregular: irregularCount <= most ? irregular : [],
    irregularCount,
  };
}

/** Each side as one number, the same from both of its faces. Exact below 2^53: vertices are below 2^21 here. */
function sideKeys(sides) {
  const keys = new Float64Array(sides.length / 2);
  for (let k = 0; k < keys.length; k += 1) {
    const [a, b] = [sides[2 * k], sides[2 * k + 1]];
    keys[k] = Math.min(a, b) * 2 ** 32 + Math.max(a, b);
  }
  return keys;
}
