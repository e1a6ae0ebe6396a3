// values.js - what a surface is coloured by: one number a vertex that is drawn, from the fields of a run. Pure.

/**
 * What can be shown: on which mesh it lies, which field of the run tells it, and whether it has a sign.
 * Lost lies on the reference: what is missing cannot be shown on the thing that misses it.
 */
export const SUBJECTS = {
  lost: { mesh: 'reference', field: 'reference_face_distance_upper', perFace: true, signed: false },
  invented: { mesh: 'subject', field: 'distance_upper', perFace: false, signed: false },
  signed: { mesh: 'subject', field: 'signed', perFace: false, signed: true },
  none: { mesh: 'subject', field: null, perFace: false, signed: false },
};

/** A field a vertex of the file, for the vertices of the surface. */
export function vertexValues(surface, field) {
  if (surface.sources === null) return Float32Array.from(field);
  return Float32Array.from(surface.sources, (source) => field[source]);
}

/**
 * A field a face of the file: each vertex has the mean of its faces'. NaN for vertices without faces, and for all where the
 * triangles are not the mesh's own.
 */
export function faceValues(surface, field) {
  const values = new Float32Array(surface.vertexCount).fill(NaN);
  if (surface.simplified) return values;
  const sums = new Float64Array(surface.vertexCount);
  const counts = new Uint32Array(surface.vertexCount);
  const { triangles, faces } = surface;
  for (let t = 0; t < surface.triangleCount; t += 1) {
    const value = field[faces === null ? t : faces[t]];
    for (let k = 3 * t; k < 3 * t + 3; k += 1) {
      sums[triangles[k]] += value;
      counts[triangles[k]] += 1;
    }
  }
  for (let v = 0; v < surface.vertexCount; v += 1) if (counts[v] > 0) values[v] = sums[v] / counts[v];
  return values;
}

/**
 * The share of the area in each of `count` equal parts of the map, and beyond its end: a histogram for the legend.
 * A triangle counts where the mean of its corners lies.
 */
export function areaShares(surface, values, range, signed, count) {
  const shares = new Float64Array(count + 1);
  const { corners } = surface;
  const triangles = surface.coarse ?? surface.triangles;
  let all = 0;
  for (let k = 0; k < triangles.length; k += 3) {
    const [a, b, c] = [triangles[k], triangles[k + 1], triangles[k + 2]];
    const value = (values[a] + values[b] + values[c]) / 3;
    const area = triangleArea(corners, a, b, c);
    if (!(area > 0) || Number.isNaN(value)) continue;
    const share = signed ? 0.5 + value / (2 * range) : value / range;
    shares[share >= 1 ? count : Math.max(0, Math.floor(share * count))] += area;
    all += area;
  }
  return all > 0 ? shares.map((area) => area / all) : shares;
}

function triangleArea(corners, a, b, c) {
  const [ax, ay, az] = [corners[4 * a], corners[4 * a + 1], corners[4 * a + 2]];
  const [bx, by, bz] = [corners[4 * b] - ax, corners[4 * b + 1] - ay, corners[4 * b + 2] - az];
  const [cx, cy, cz] = [corners[4 * c] - ax, corners[4 * c + 1] - ay, corners[4 * c + 2] - az];
  return Math.hypot(by * cz - bz * cy, bz * cx - bx * cz, bx * cy - by * cx) / 2;
}

/** The largest value that is a number, and the least. */
export function extent(values) {
  let least = Infinity;
  let most = -Infinity;
  for (const value of values) {
    if (value < least) least = value;
    if (value > most) most = value;
  }
  return { least, most };
}
