// surface.js - the bytes of server/picture/surface.h as typed arrays, and what follows from them. Pure.

const MAGIC = 'fettleS3';
const SIMPLIFIED = 1;
const FACES = 2;
const SOURCES = 4;
const SECTIONS = 11;
const CLUSTER = 72;
export const HEAD_BYTES = 184;
export const STEPS = 65535;

/** Reads the head: enough to know where everything is. */
export function readHead(buffer) {
  const view = new DataView(buffer);
  const magic = buffer.byteLength < HEAD_BYTES ? '' : String.fromCharCode(...new Uint8Array(buffer, 0, 8));
  if (magic !== MAGIC) throw new Error('not a surface');
  const u32 = (at) => view.getUint32(at, true);
  const f64 = (at) => view.getFloat64(at, true);
  const u64 = (at) => Number(view.getBigUint64(at, true));
  const flags = u32(12);
  const [vertices, coarsest, coarse, triangles, faces, sources, aspects, shells, edges, clusters, end] = Array.from(
    { length: SECTIONS },
    (_, i) => u64(96 + 8 * i),
  );
  return {
    simplified: (flags & SIMPLIFIED) !== 0,
    hasFaces: (flags & FACES) !== 0,
    hasSources: (flags & SOURCES) !== 0,
    vertexCount: u32(16),
    triangleCount: u32(20),
    coarseCount: u32(24),
    coarsestCount: u32(28),
    clusterCount: u32(32),
    origin: [f64(40), f64(48), f64(56)],
    step: f64(64),
    quantisationError: f64(72),
    simplificationError: f64(80),
    faceCount: u64(88),
    sections: { vertices, coarsest, coarse, triangles, faces, sources, aspects, shells, edges, clusters, end },
  };
}

/** Where the bytes lie of what a whole view needs: vertices; triangles, and their faces where they are the mesh's own; else what each
 *  vertex is in the mesh. What faces and vertices are, and the clusters, lie behind. */
export function viewParts({ simplified, sections: { vertices, coarsest, faces, aspects } }) {
  return simplified ? [[vertices, coarsest], [coarsest, faces], [faces, aspects]] : [[vertices, coarsest], [coarsest, aspects]];
}

/** The surface over the buffers of viewParts(head), without copying. */
export function readSurface(head, [corners, levels, origins]) {
  const { simplified, vertexCount, sections } = head;
  const level = (name, count) => (count > 0 ? new Uint32Array(levels, sections[name] - sections.coarsest, 3 * count) : null);
  return {
    ...head,
    corners: new Uint16Array(corners, 0, 4 * vertexCount), // x, y, z, normal
    triangles: level('triangles', head.triangleCount),
    coarse: level('coarse', head.coarseCount),
    coarsest: level('coarsest', head.coarsestCount),
    faces: !simplified && head.hasFaces ? new Uint32Array(levels, sections.faces - sections.coarsest, head.triangleCount) : null, // of triangles
    vertexFaces: simplified && head.hasFaces ? new Uint32Array(origins, 0, vertexCount) : null,
    sources: head.hasSources ? new Uint32Array(origins, sections.sources - sections.faces, vertexCount) : null,
  };
}

/** The finest triangles of a surface that are no more than so many, else the fewest that there are. */
export function levelFor({ triangles, coarse, coarsest }, most) {
  const levels = [triangles, coarse, coarsest].filter((level) => level);
  return levels.find((level) => level.length <= 3 * most) ?? levels.at(-1);
}

/** Where the bytes lie that tell what faces and vertices are. */
export const formBytes = (head) => [head.sections.aspects, head.sections.clusters];

/** Aspect ratios, shells (null: there is one) and edges, over a buffer of formBytes(head). */
export function readForm(head, buffer) {
  const { aspects, shells, edges } = head.sections;
  const count = head.simplified ? head.vertexCount : head.faceCount;
  return {
    aspects: new Uint16Array(buffer, 0, count),
    shells: edges > shells ? new Uint16Array(buffer, shells - aspects, count) : null,
    edges: new Uint8Array(buffer, edges - aspects, head.vertexCount),
  };
}

/** Where the table of clusters lies. */
export const tableBytes = (head) => [head.sections.clusters, head.sections.clusters + CLUSTER * head.clusterCount];

/** The table of clusters: boxes, and where their bytes lie. */
export function readTable(head, buffer) {
  const view = new DataView(buffer);
  return Array.from({ length: head.clusterCount }, (_, k) => {
    const at = CLUSTER * k;
    const floats = (from) => [0, 4, 8].map((i) => view.getFloat32(at + from + i, true));
    const [vertexCount, triangleCount] = [64, 68].map((from) => view.getUint32(at + from, true));
    const begin = Number(view.getBigUint64(at + 56, true));
    const parts = clusterParts(vertexCount, triangleCount);
    return {
      low: floats(0),
      high: floats(12),
      origin: [24, 32, 40].map((from) => view.getFloat64(at + from, true)),
      step: view.getFloat64(at + 48, true),
      vertexCount,
      triangleCount,
      begin,
      end: begin + parts.end,
    };
  });
}

const align = (bytes) => 8 * Math.ceil(bytes / 8);
function clusterParts(vertexCount, triangleCount) {
  const triangles = align(8 * vertexCount);
  const faces = align(triangles + 6 * triangleCount);
  const sources = align(faces + 4 * triangleCount);
  const aspects = align(sources + 4 * vertexCount);
  const shells = align(aspects + 2 * triangleCount);
  const edges = align(shells + 2 * triangleCount);
  return { triangles, faces, sources, aspects, shells, edges, end: align(edges + vertexCount) };
}

/** One cluster over its bytes: a surface of its own, and its form. */
export function readCluster(entry, buffer) {
  const { vertexCount, triangleCount, origin, step } = entry;
  const at = clusterParts(vertexCount, triangleCount);
  return {
    vertexCount,
    triangleCount,
    origin,
    step,
    simplified: false,
    isCluster: true,
    corners: new Uint16Array(buffer, 0, 4 * vertexCount),
    triangles: new Uint16Array(buffer, at.triangles, 3 * triangleCount),
    coarse: null,
    coarsest: null,
    faces: new Uint32Array(buffer, at.faces, triangleCount),
    sources: new Uint32Array(buffer, at.sources, vertexCount),
    form: {
      aspects: new Uint16Array(buffer, at.aspects, triangleCount),
      shells: new Uint16Array(buffer, at.shells, triangleCount),
      edges: new Uint8Array(buffer, at.edges, vertexCount),
    },
  };
}

/** The clusters that a ball meets, nearest first, as many as have `most` triangles; and how far they reach: all of the mesh within
 *  `radius` of the place is in them. */
export function clustersNear(table, at, radius, most) {
  const apart = ({ low, high }) => Math.hypot(...at.map((x, i) => Math.max(low[i] - x, 0, x - high[i])));
  const byDistance = table.map((entry) => ({ entry, far: apart(entry) })).sort((a, b) => a.far - b.far);
  const taken = [];
  let triangles = 0;
  for (const { entry, far } of byDistance) {
    if (far > radius) break;
    if (taken.length > 0 && triangles + entry.triangleCount > most) return { taken, radius: far };
    triangles += entry.triangleCount;
    taken.push(entry);
  }
  return { taken, radius };
}

/**
 * Gives every triangle a corner of its own, its last: so that a number a triangle can be drawn sharply. Triangles are turned in place;
 * where all corners of one are taken, one is doubled.
 * @returns {Uint32Array} what each doubled one, behind the others, doubles: the last corner of a triangle, and of no other
 */
export function ownCorners({ triangles, vertexCount }) {
  const twins = new Uint32Array(triangles.length / 3);
  const settled = new Uint8Array(vertexCount);
  let count = 0;
  for (let k = 0; k < triangles.length; k += 3) {
    const [a, b, c] = [triangles[k], triangles[k + 1], triangles[k + 2]];
    let own = c;
    if (settled[c] === 0) own = c;
    else if (settled[a] === 0) {
      own = a;
      triangles[k] = b;
      triangles[k + 1] = c;
    } else if (settled[b] === 0) {
      own = b;
      triangles[k] = c;
      triangles[k + 1] = a;
    } else {
      own = vertexCount + count;
      twins[count] = c;
      count += 1;
    }
    triangles[k + 2] = own;
    if (own < vertexCount) settled[own] = 1;
  }
  return twins.slice(0, count);
}

/** All corners, as they are drawn: those that are doubled behind the vertices. */
export function drawnCorners({ corners, twins, vertexCount }) {
  const all = new Uint16Array(4 * (vertexCount + twins.length));
  all.set(corners);
  twins.forEach((source, i) => all.copyWithin(4 * (vertexCount + i), 4 * source, 4 * source + 4));
  return all;
}

/** The vertex of the surface that corner v is, or doubles. */
export const vertexOf = (surface, v) => (v < surface.vertexCount ? v : surface.twins[v - surface.vertexCount]);

/** The place of vertex v, in the units of the file. */
export function placeOf(surface, v) {
  return [0, 1, 2].map((axis) => surface.origin[axis] + surface.step * surface.corners[4 * v + axis]);
}

/** The face of the mesh that triangle t belongs to; null where the triangles are not the mesh's own. */
export function faceOf(surface, t) {
  if (surface.simplified) return null;
  return surface.faces === null ? t : surface.faces[t];
}

/** The unit normal of vertex v, as surface_corner.c writes it. */
export function normalOf(surface, v) {
  const packed = surface.corners[4 * v + 3];
  const signed = (byte) => (byte > 127 ? byte - 256 : byte) / 127;
  const [a, b] = [signed(packed & 255), signed(packed >> 8)];
  const z = 1 - Math.abs(a) - Math.abs(b);
  const fold = (p, q) => (1 - Math.abs(q)) * (p < 0 ? -1 : 1);
  const [x, y] = z < 0 ? [fold(a, b), fold(b, a)] : [a, b];
  const length = Math.hypot(x, y, z);
  return [x / length, y / length, z / length];
}

/** The middle and half the diagonal of what is drawn, and its eight corners. */
export function ballOf(surface) {
  const low = [STEPS, STEPS, STEPS];
  const high = [0, 0, 0];
  for (const v of surface.coarse ?? surface.triangles)
    for (let axis = 0; axis < 3; axis += 1) {
      const q = surface.corners[4 * vertexOf(surface, v) + axis];
      if (q < low[axis]) low[axis] = q;
      if (q > high[axis]) high[axis] = q;
    }
  const at = (q, axis) => surface.origin[axis] + surface.step * q;
  const centre = [0, 1, 2].map((axis) => (at(low[axis], axis) + at(high[axis], axis)) / 2);
  const radius = (surface.step * Math.hypot(...[0, 1, 2].map((axis) => high[axis] - low[axis]))) / 2;
  const corners = Array.from({ length: 8 }, (_, i) => [0, 1, 2].map((axis) => at(((i >> axis) & 1 ? high : low)[axis], axis)));
  return { centre, radius: radius > 0 ? radius : 1, corners };
}

/** The vertex nearest to a point, for the way that the surface faces there. */
export function nearestVertex(surface, point) {
  const { corners, origin, step } = surface;
  const [px, py, pz] = [0, 1, 2].map((axis) => (step > 0 ? (point[axis] - origin[axis]) / step : 0));
  let nearest = 0;
  let least = Infinity;
  for (let v = 0; v < surface.vertexCount; v += 1) {
    const dx = corners[4 * v] - px;
    const dy = corners[4 * v + 1] - py;
    const dz = corners[4 * v + 2] - pz;
    const far = dx * dx + dy * dy + dz * dz;
    if (far < least) {
      least = far;
      nearest = v;
    }
  }
  return nearest;
}

/** The sides of the mesh's faces as pairs of vertices: a cut through a polygon is a side of two triangles of one face. */
export function faceSides(surface) {
  const { triangles, faces, triangleCount } = surface;
  const pairs = new Uint32Array(2 * triangles.length);
  let count = 0;
  let begin = 0;
  while (begin < triangleCount) {
    let end = begin + 1;
    if (faces !== null) while (end < triangleCount && faces[end] === faces[begin]) end += 1;
    for (let k = 3 * begin; k < 3 * end; k += 1) {
      const a = vertexOf(surface, triangles[k]);
      const b = vertexOf(surface, triangles[k % 3 === 2 ? k - 2 : k + 1]);
      if (end > begin + 1 && hasSide(surface, begin, end, b, a)) continue;
      pairs[count] = a;
      pairs[count + 1] = b;
      count += 2;
    }
    begin = end;
  }
  return pairs.slice(0, count);
}

function hasSide(surface, begin, end, from, to) {
  const { triangles } = surface;
  for (let k = 3 * begin; k < 3 * end; k += 1)
    if (vertexOf(surface, triangles[k]) === from && vertexOf(surface, triangles[k % 3 === 2 ? k - 2 : k + 1]) === to) return true;
  return false;
}
