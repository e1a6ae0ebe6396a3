// surface.js - the bytes of server/picture/surface.h as typed arrays, and what follows from them. Pure.

const HEAD = 144;
const MAGIC = 'fettleS1';
const SIMPLIFIED = 1;
const FACES = 2;
const SOURCES = 4;
export const STEPS = 65535;

/** Reads the head: enough to know where everything is. */
export function readHead(buffer) {
  const view = new DataView(buffer);
  const magic = buffer.byteLength < HEAD ? '' : String.fromCharCode(...new Uint8Array(buffer, 0, 8));
  if (magic !== MAGIC) throw new Error('not a surface');
  const u32 = (at) => view.getUint32(at, true);
  const f64 = (at) => view.getFloat64(at, true);
  const u64 = (at) => Number(view.getBigUint64(at, true));
  const flags = u32(12);
  return {
    simplified: (flags & SIMPLIFIED) !== 0,
    hasFaces: (flags & FACES) !== 0,
    hasSources: (flags & SOURCES) !== 0,
    vertexCount: u32(16),
    triangleCount: u32(20),
    coarseCount: u32(24),
    clusterCount: u32(28),
    origin: [f64(32), f64(40), f64(48)],
    step: f64(56),
    quantisationError: f64(64),
    simplificationError: f64(72),
    faceCount: u64(80),
    sections: Array.from({ length: 7 }, (_, i) => u64(88 + 8 * i)),
  };
}

/** The bytes that a whole view needs: all but the clusters. */
export const viewBytes = (head) => head.sections[5];

/** The surface over a buffer of at least viewBytes(head) bytes, without copying. */
export function readSurface(buffer) {
  const head = readHead(buffer);
  const [vertices, triangles, coarse, faces, sources] = head.sections;
  return {
    ...head,
    corners: new Uint16Array(buffer, vertices, 4 * head.vertexCount), // x, y, z, normal
    triangles: new Uint32Array(buffer, triangles, 3 * head.triangleCount),
    coarse: head.coarseCount > 0 ? new Uint32Array(buffer, coarse, 3 * head.coarseCount) : null,
    faces: head.hasFaces ? new Uint32Array(buffer, faces, head.triangleCount) : null,
    sources: head.hasSources ? new Uint32Array(buffer, sources, head.vertexCount) : null,
  };
}

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
      const q = surface.corners[4 * v + axis];
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
  const { triangles, faces } = surface;
  if (faces === null) return triangleSides(triangles);
  const pairs = [];
  let begin = 0;
  while (begin < surface.triangleCount) {
    let end = begin + 1;
    while (end < surface.triangleCount && faces[end] === faces[begin]) end += 1;
    for (let t = begin; t < end; t += 1)
      for (let i = 0; i < 3; i += 1) {
        const [a, b] = [triangles[3 * t + i], triangles[3 * t + ((i + 1) % 3)]];
        if (!hasSide(triangles, begin, end, b, a)) pairs.push(a, b);
      }
    begin = end;
  }
  return Uint32Array.from(pairs);
}

function triangleSides(triangles) {
  const pairs = new Uint32Array(2 * triangles.length);
  for (let k = 0; k < triangles.length; k += 1) {
    pairs[2 * k] = triangles[k];
    pairs[2 * k + 1] = triangles[k % 3 === 2 ? k - 2 : k + 1];
  }
  return pairs;
}

function hasSide(triangles, begin, end, from, to) {
  for (let k = 3 * begin; k < 3 * end; k += 1)
    if (triangles[k] === from && triangles[k % 3 === 2 ? k - 2 : k + 1] === to) return true;
  return false;
}
