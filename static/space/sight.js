// sight.js - the side from which a place of a surface is seen best: free of what stands before it, and as much from
// the front as may be. Pure. Looked at on a coarse level, so that a million triangles cost no more than some thousand;
// Moeller and Trumbore 1997 for each ray. That the two are added up as they are is common practice, no source.
import { levelFor, nearestVertex, normalOf, placeOf, vertexOf } from './surface.js';

const LOOKED_AT = 12000; // triangles
const POINTS = 16;
const TILTS = [0, 30, 60]; // degrees from the normal, and at each but the first so many around:
const AROUND = 8;
const FRONT = 0.25; // what to see a place from the front is worth, beside seeing all of it
const OFF = 0.004; // a ray begins so much of the surface's half diagonal before it: a coarse level is that far off

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (a) => a.map((x) => x / Math.hypot(...a));

/** Directions about a unit normal, that one first. */
function directionsAbout(normal) {
  const across = unit(cross(normal, Math.abs(normal[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0]));
  const other = cross(normal, across);
  return TILTS.flatMap((tilt) =>
    Array.from({ length: tilt === 0 ? 1 : AROUND }, (_, k) => {
      const [a, b] = [(tilt * Math.PI) / 180, (2 * Math.PI * k) / AROUND];
      return normal.map((x, i) => Math.cos(a) * x + Math.sin(a) * (Math.cos(b) * across[i] + Math.sin(b) * other[i]));
    }),
  );
}

/**
 * The unit direction from a place towards the eye.
 * @param {number[]} at      in the units of the file
 * @param {number} radius    of the place
 * @param {Float32Array|null} distances  of the vertices, where they are known: what is far is what is to be seen
 */
export function freeSight(surface, at, radius, distances = null) {
  const normal = normalOf(surface, nearestVertex(surface, at));
  const triangles = trianglesOf(surface);
  const points = pointsNear(surface, at, radius, distances);
  const worth = (direction) => {
    const free = points.filter((point) => !isHidden(triangles, point.map((x, i) => x + OFF * surface.ball.radius * direction[i]), direction));
    return free.length / points.length + FRONT * dot(normal, direction);
  };
  let best = { direction: normal, worth: -Infinity };
  for (const direction of directionsAbout(normal)) {
    const found = worth(direction);
    if (found > best.worth + 1e-9) best = { direction, worth: found };
  }
  return best.direction;
}

function trianglesOf(surface) {
  const level = levelFor(surface, LOOKED_AT);
  const every = Math.max(1, Math.ceil(level.length / 3 / LOOKED_AT)); // where there is no level so coarse
  const corners = new Float64Array(9 * Math.ceil(level.length / 3 / every));
  for (let k = 0, to = 0; k < level.length; k += 3 * every)
    for (let c = 0; c < 3; c += 1) for (const x of placeOf(surface, vertexOf(surface, level[k + c]))) corners[to++] = x;
  return corners;
}

/** The place itself, as it lies on the surface, and some vertices near it: of those that are far from the other surface, where that is known. */
function pointsNear(surface, at, radius, distances) {
  const { corners, origin, step } = surface;
  const [px, py, pz] = at.map((x, axis) => (step > 0 ? (x - origin[axis]) / step : 0));
  const nearness = (v) => (corners[4 * v] - px) ** 2 + (corners[4 * v + 1] - py) ** 2 + (corners[4 * v + 2] - pz) ** 2;
  const most = step > 0 ? (radius / step) ** 2 : 0;
  const within = [];
  for (let v = 0; v < surface.vertexCount; v += 1) if (nearness(v) <= most) within.push(v);
  const far = within.reduce((greatest, v) => Math.max(greatest, Math.abs(distances?.[v] ?? 0)), 0) / 2;
  const wanted = within.filter((v) => Math.abs(distances?.[v] ?? 0) >= far);
  // a place may be long and bent: what lies about its middle, wide enough for some points, is what it was named for
  const near = [1 / 64, 1 / 16, 1 / 4, 1].map((share) => wanted.filter((v) => nearness(v) <= share * most)).find((found) => found.length >= POINTS) ?? wanted;
  const every = Math.max(1, Math.ceil(near.length / POINTS));
  return [nearestVertex(surface, at), ...near.filter((_, i) => i % every === 0)].map((v) => placeOf(surface, v));
}

function isHidden(corners, [ox, oy, oz], [dx, dy, dz]) {
  for (let k = 0; k < corners.length; k += 9) {
    const [ax, ay, az] = [corners[k], corners[k + 1], corners[k + 2]];
    const [ex, ey, ez] = [corners[k + 3] - ax, corners[k + 4] - ay, corners[k + 5] - az];
    const [fx, fy, fz] = [corners[k + 6] - ax, corners[k + 7] - ay, corners[k + 8] - az];
    const [px, py, pz] = [dy * fz - dz * fy, dz * fx - dx * fz, dx * fy - dy * fx];
    const det = ex * px + ey * py + ez * pz;
    if (det === 0) continue;
    const [tx, ty, tz] = [ox - ax, oy - ay, oz - az];
    const u = (tx * px + ty * py + tz * pz) / det;
    if (u < 0 || u > 1) continue;
    const [qx, qy, qz] = [ty * ez - tz * ey, tz * ex - tx * ez, tx * ey - ty * ex];
    const v = (dx * qx + dy * qy + dz * qz) / det;
    if (v >= 0 && u + v <= 1 && (fx * qx + fy * qy + fz * qz) / det > 0) return true;
  }
  return false;
}
