// values.js - what a surface is coloured by: one number a corner that is drawn, from the fields of a run or from its form. Pure.
import { aspectOf, shellClass, valenceClass } from './form.js';
import { vertexOf } from './surface.js';

/**
 * What can be shown: on which mesh it lies, what tells it (a field of the run, or a part of the surface's form), and how it is drawn:
 *   map 'seq' from 0 (or 1) to the range, 'div' from -range to range, 'valence' and 'shell' by classes
 * Lost lies on the reference: what is missing cannot be shown on the thing that misses it.
 */
export const SUBJECTS = {
  lost: { mesh: 'reference', field: 'reference_face_distance_upper', per: 'face', map: 'seq' },
  invented: { mesh: 'subject', field: 'face_distance_upper', per: 'face', map: 'seq' },
  signed: { mesh: 'subject', field: 'signed', per: 'vertex', map: 'div' },
  aspect: { mesh: 'subject', form: 'aspects', per: 'face', map: 'seq' },
  valence: { mesh: 'subject', form: 'edges', per: 'vertex', map: 'valence' },
  shell: { mesh: 'subject', form: 'shells', per: 'face', map: 'shell' },
  none: { mesh: 'subject', map: null },
};

/** Whether the numbers of a surface are told for its vertices: else for its faces. */
const isOfVertices = (surface, subject) => subject.per === 'vertex' || surface.simplified;

/** Which elements of the mesh the vertices of a simplified surface take their numbers from, or the triangles or vertices of a cluster;
 *  null: all, in their order. */
export function picksOf(surface, subject) {
  if (subject.form) return null;
  if (subject.per === 'vertex') return surface.sources;
  return surface.simplified ? surface.vertexFaces : surface.isCluster ? surface.faces : null;
}

/** A number for each corner that is drawn: a face's where a triangle of it has a corner of its own. */
export function cornerValues(surface, subject, values) {
  const { triangles, vertexCount, twins } = surface;
  const spread = new Float32Array(vertexCount + twins.length);
  if (isOfVertices(surface, subject)) {
    spread.set(values);
    twins.forEach((v, i) => {
      spread[vertexCount + i] = values[v];
    });
    return spread;
  }
  const faces = surface.isCluster ? null : surface.faces;
  for (const last of [false, true]) // a corner that is no triangle's own has the number of one that meets there
    for (let k = 0, t = 0; k < triangles.length; k += 3, t += 1) {
      const value = values[faces === null ? t : faces[t]];
      if (last) spread[triangles[k + 2]] = value;
      else spread[triangles[k]] = spread[triangles[k + 1]] = value;
    }
  return spread;
}

/** The numbers of a form, as they are drawn: aspect ratios by their binary logarithm. */
export function formValues(form, name, kind) {
  const codes = form[name];
  const of = {
    aspects: (code) => Math.log2(aspectOf(code)),
    edges: (code) => valenceClass(code, kind),
    shells: shellClass,
  }[name];
  const values = new Float32Array((codes ?? form.aspects).length);
  if (codes !== null) for (let i = 0; i < codes.length; i += 1) values[i] = of(codes[i]);
  return values;
}

const WHOLE_MOST = 2 ** 22; // numbers that are kept while the wanted ones are taken from them

/** Takes the wanted ones of little-endian doubles that arrive in pieces. picks: below 2^21 of them where there are more than 2^22; null:
 *  all. */
export function pickDoubles(picks, count) {
  const whole = picks === null || count <= WHOLE_MOST ? new Float32Array(count) : null;
  const values = whole ? null : new Float32Array(picks.length);
  const wanted = whole ? null : Float64Array.from(picks, (pick, i) => pick * 2 ** 21 + i).sort();
  const carry = new Uint8Array(8);
  let carried = 0;
  let index = 0;
  let next = 0;

  function put(number) {
    if (whole) whole[index] = number;
    else
      while (next < wanted.length && Math.floor(wanted[next] / 2 ** 21) === index) {
        values[wanted[next] % 2 ** 21] = number;
        next += 1;
      }
    index += 1;
  }

  return {
    take(bytes) {
      let at = 0;
      while (carried > 0 && carried < 8 && at < bytes.length) carry[carried++] = bytes[at++];
      if (carried === 8) {
        put(new DataView(carry.buffer).getFloat64(0, true));
        carried = 0;
      }
      const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
      for (; at + 8 <= bytes.length; at += 8) put(view.getFloat64(at, true));
      while (at < bytes.length) carry[carried++] = bytes[at++];
    },
    values: () => (picks === null ? whole : whole ? Float32Array.from(picks, (pick) => whole[pick]) : values),
  };
}

/**
 * The share of the area in each of `count` equal parts of the map, and beyond its end: a histogram for the legend.
 * A triangle counts where its own corner lies, or the mean of its corners where the numbers are the vertices'.
 */
export function areaShares({ surface, values, map, per }, range, count) {
  const shares = new Float64Array(count + 1);
  const { corners, triangles } = surface;
  let all = 0;
  for (let k = 0; k < triangles.length; k += 3) {
    const a = triangles[k];
    const b = triangles[k + 1];
    const c = triangles[k + 2]; // only this one is ever a double
    const value = per === 'face' ? values[c] : (values[a] + values[b] + values[c]) / 3;
    const area = triangleArea(corners, a, b, vertexOf(surface, c));
    if (!(area > 0) || Number.isNaN(value)) continue;
    const share = map === 'div' ? 0.5 + value / (2 * range) : value / range;
    shares[share >= 1 ? count : Math.max(0, Math.floor(share * count))] += area;
    all += area;
  }
  return all > 0 ? shares.map((area) => area / all) : shares;
}

function triangleArea(corners, a, b, c) {
  const ax = corners[4 * a];
  const ay = corners[4 * a + 1];
  const az = corners[4 * a + 2];
  const bx = corners[4 * b] - ax;
  const by = corners[4 * b + 1] - ay;
  const bz = corners[4 * b + 2] - az;
  const cx = corners[4 * c] - ax;
  const cy = corners[4 * c + 1] - ay;
  const cz = corners[4 * c + 2] - az;
  const x = by * cz - bz * cy;
  const y = bz * cx - bx * cz;
  const z = bx * cy - by * cx;
  return Math.sqrt(x * x + y * y + z * z) / 2;
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
