// picking.js - the first triangle of a surface that a ray meets. Pure; a look at a million triangles takes some 30 ms.
// Moeller and Trumbore 1997, "Fast, minimum storage ray-triangle intersection".

import { vertexOf } from './surface.js';

/**
 * @param {{ origin: number[], direction: number[] }} ray  in the units of the file
 * @param {number[]|null} plane  [a, b, c, d]: what has a x + b y + c z > d is cut away
 * @returns {{ triangle: number, at: number[], along: number }|null}
 */
export function firstHit(surface, ray, plane = null) {
  const { corners, triangles, origin, step } = surface;
  if (!(step > 0)) return null;
  const o = ray.origin.map((x, i) => (x - origin[i]) / step);
  const [dx, dy, dz] = ray.direction;
  let along = Infinity;
  let triangle = -1;
  for (let k = 0; k < triangles.length; k += 3) {
    const [a, b, c] = [4 * triangles[k], 4 * triangles[k + 1], 4 * vertexOf(surface, triangles[k + 2])]; // only the last is ever a double
    const [ax, ay, az] = [corners[a], corners[a + 1], corners[a + 2]];
    const [ex, ey, ez] = [corners[b] - ax, corners[b + 1] - ay, corners[b + 2] - az];
    const [fx, fy, fz] = [corners[c] - ax, corners[c + 1] - ay, corners[c + 2] - az];
    const [px, py, pz] = [dy * fz - dz * fy, dz * fx - dx * fz, dx * fy - dy * fx];
    const det = ex * px + ey * py + ez * pz;
    if (det === 0) continue;
    const [tx, ty, tz] = [o[0] - ax, o[1] - ay, o[2] - az];
    const u = (tx * px + ty * py + tz * pz) / det;
    if (u < 0 || u > 1) continue;
    const [qx, qy, qz] = [ty * ez - tz * ey, tz * ex - tx * ez, tx * ey - ty * ex];
    const v = (dx * qx + dy * qy + dz * qz) / det;
    if (v < 0 || u + v > 1) continue;
    const t = (fx * qx + fy * qy + fz * qz) / det;
    if (t < 0 || t >= along || isCut(plane, o, ray.direction, t, origin, step)) continue;
    along = t;
    triangle = k / 3;
  }
  if (triangle < 0) return null;
  const at = ray.direction.map((d, i) => origin[i] + step * (o[i] + along * d));
  return { triangle, at, along: along * step };
}

function isCut(plane, o, direction, t, origin, step) {
  if (plane === null) return false;
  const side = (i) => plane[i] * (origin[i] + step * (o[i] + t * direction[i]));
  return side(0) + side(1) + side(2) > plane[3];
}
