// form.js - what a surface tells of its faces and vertices (server/picture/surface_form.h), and the classes that are coloured. Pure.

const ASPECT_MOST = 65534;
const ASPECT_NONE = 65535;
const EDGES = 31;
const ON_RIM = 32;
const CORNER = 64;
const NONMANIFOLD = 128;

/** The regular number of edges at a vertex, inside and on an open edge: as measure/valence.h has it. */
const REGULAR = { cage: { inside: 4, rim: 3 }, scan: { inside: 6, rim: 4 } };

const bits = new DataView(new ArrayBuffer(4));

/** An aspect ratio from its sixteen bits; NaN where it is not defined. */
export function aspectOf(code) {
  if (code === ASPECT_NONE) return NaN;
  bits.setUint32(0, 0x3f800000 + (code << 11));
  return bits.getFloat32(0);
}

/** Whether an aspect ratio is only known to be at least that. */
export const isMostAspect = (code) => code === ASPECT_MOST;

/**
 * A vertex from its byte. `off`: edges more than is regular there; null where that is not said: a corner, or where surfaces meet.
 * @returns {{ edges: number, place: 'inside'|'rim'|'corner'|'nonmanifold'|'unused', off: number|null }}
 */
export function valenceOf(code, kind) {
  const edges = code & EDGES;
  if (code === 0) return { edges, place: 'unused', off: null };
  if (code & NONMANIFOLD) return { edges, place: 'nonmanifold', off: null };
  if (code & CORNER) return { edges, place: 'corner', off: null };
  const place = code & ON_RIM ? 'rim' : 'inside';
  return { edges, place, off: edges - REGULAR[kind][place] };
}

/** The classes of vertices that are coloured, in the order of the legend. */
export const VALENCE_CLASSES = ['fewer2', 'fewer1', 'regular', 'more1', 'more2', 'corner', 'nonmanifold'];

export function valenceClass(code, kind) {
  const { place, off } = valenceOf(code, kind);
  if (place === 'unused') return NaN;
  if (place === 'nonmanifold') return 6;
  return place === 'corner' ? 5 : 2 + Math.max(-2, Math.min(2, off));
}

/** How many vertices of each class a run record counts; null where it has no such part. */
export function valenceCounts(record) {
  const valence = record.subject?.valence;
  if (!valence) return null;
  const counts = VALENCE_CLASSES.map(() => 0);
  for (const [where, place] of [['interior', 'inside'], ['boundary', 'rim']])
    for (const [edges, count] of Object.entries(valence[where] ?? {})) {
      const off = Number(edges) - REGULAR[record.kind][place];
      counts[2 + Math.max(-2, Math.min(2, off))] += count;
    }
  // corners are in the histogram of open edges, all with two edges: one fewer than is regular in a cage, two in a scan
  counts[2 + (2 - REGULAR[record.kind].rim)] -= valence.corners;
  counts[5] = valence.corners;
  counts[6] = valence.nonmanifold;
  return counts;
}

/** Shells with a colour of their own, largest first; the last class is all that are smaller. */
export const SHELL_CLASSES = 8;
export const shellClass = (shell) => Math.min(shell, SHELL_CLASSES - 1);

/**
 * What one face is: `element` of the aspect ratios and shells, the vertices among the edges.
 * @returns {{ aspect: number, most: boolean, shell: number, valences: object[] }}
 */
export function faceForm(form, element, vertices, kind) {
  return {
    aspect: aspectOf(form.aspects[element]),
    most: isMostAspect(form.aspects[element]),
    shell: form.shells?.[element] ?? 0,
    valences: vertices.map((v) => valenceOf(form.edges[v], kind)),
  };
}
