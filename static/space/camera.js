// camera.js - where the views are seen from: one camera for all of them, by parallel rays, so that lengths can be compared. Pure.
//   { yaw, pitch }  degrees; yaw 0 and pitch 0 look along +y with z up
//   target          the point in the middle, in the units of the file
//   half            half the height of a view, in the units of the file

const RADIANS = Math.PI / 180;
const PITCH_MOST = 90;
export const TURN_STEP = 15;
const ZOOM_STEP = 1.25;

/** Six sides, by their keys 1 to 6: front, back, left, right, top, bottom. */
export const SIDES = [
  { name: 'front', yaw: 0, pitch: 0 },
  { name: 'back', yaw: 180, pitch: 0 },
  { name: 'left', yaw: -90, pitch: 0 },
  { name: 'right', yaw: 90, pitch: 0 },
  { name: 'top', yaw: 0, pitch: 90 },
  { name: 'bottom', yaw: 0, pitch: -90 },
];

const MARGIN = 1.12;
/** The width of a view beside its height, as figures.css has it. */
export const ASPECT = 1.2;

/**
 * The whole of what has its corners within the given ones, from a side: from the front, the left and above, as the thumbnails are,
 * unless told.
 */
export function wholeView({ centre, radius, corners }, { yaw, pitch } = { yaw: -35.5, pitch: 30 }) {
  const { right, up } = axesOf({ yaw, pitch });
  const along = (axis) => corners.map((corner) => corner.reduce((sum, x, i) => sum + (x - centre[i]) * axis[i], 0));
  const [across, high] = [along(right), along(up)];
  const span = (values) => Math.max(...values) - Math.min(...values);
  const middle = (values) => (Math.max(...values) + Math.min(...values)) / 2;
  const target = centre.map((x, i) => x + middle(across) * right[i] + middle(high) * up[i]);
  return { yaw, pitch, target, half: (MARGIN * Math.max(span(high), span(across) / ASPECT)) / 2 || radius };
}

/** The axes of a view: right, up, and towards the eye; orthonormal. */
export function axesOf({ yaw, pitch }) {
  const [sy, cy] = [Math.sin(yaw * RADIANS), Math.cos(yaw * RADIANS)];
  const [sp, cp] = [Math.sin(pitch * RADIANS), Math.cos(pitch * RADIANS)];
  return { right: [cy, sy, 0], up: [-sy * sp, cy * sp, cp], towards: [sy * cp, -cy * cp, sp] };
}

export function turn(camera, yaw, pitch) {
  const wrapped = ((((camera.yaw + yaw + 180) % 360) + 360) % 360) - 180;
  return { ...camera, yaw: wrapped, pitch: Math.max(-PITCH_MOST, Math.min(PITCH_MOST, camera.pitch + pitch)) };
}

/** Moves what is seen by shares of half the height. */
export function pan(camera, right, up) {
  const axes = axesOf(camera);
  const target = camera.target.map(
    (x, i) => x - camera.half * (right * axes.right[i] + up * axes.up[i]),
  );
  return { ...camera, target };
}

/** Nearer by steps; the point at (right, up), in shares of half the height, stays where it is. */
export function zoom(camera, steps, right = 0, up = 0) {
  const half = camera.half / ZOOM_STEP ** steps;
  const axes = axesOf(camera);
  const moved = camera.half - half;
  const target = camera.target.map((x, i) => x + moved * (right * axes.right[i] + up * axes.up[i]));
  return { ...camera, half, target };
}

/** Looks at a point along a unit direction towards the eye, so near that `radius` fills a good part of the view. */
export function lookAt(point, direction, radius) {
  const [x, y, z] = direction;
  return {
    yaw: Math.hypot(x, y) > 1e-6 ? Math.atan2(x, -y) / RADIANS : 0,
    pitch: Math.max(-75, Math.min(75, Math.asin(Math.max(-1, Math.min(1, z))) / RADIANS)),
    target: [...point],
    half: radius,
  };
}

/** Between two cameras, the short way round; share from 0 to 1. */
export function between(from, to, share) {
  const part = Math.max(0, Math.min(1, share));
  const eased = part * part * (3 - 2 * part);
  const around = ((((to.yaw - from.yaw + 180) % 360) + 360) % 360) - 180;
  return {
    yaw: from.yaw + eased * around,
    pitch: from.pitch + eased * (to.pitch - from.pitch),
    target: from.target.map((x, i) => x + eased * (to.target[i] - x)),
    half: from.half * (to.half / from.half) ** eased,
  };
}

/** A point as a view of the given size sees it: pixels from the left and the top, and how near it is. */
export function project(camera, point, width, height) {
  const { right, up, towards } = axesOf(camera);
  const from = point.map((x, i) => x - camera.target[i]);
  const along = (axis) => from[0] * axis[0] + from[1] * axis[1] + from[2] * axis[2];
  const scale = height / 2 / camera.half;
  return { x: width / 2 + along(right) * scale, y: height / 2 - along(up) * scale, near: along(towards) };
}

/** The ray through a pixel: from far outside towards the scene. */
export function rayThrough(camera, x, y, width, height, far) {
  const { right, up, towards } = axesOf(camera);
  const scale = (2 * camera.half) / height;
  const [a, b] = [(x - width / 2) * scale, (height / 2 - y) * scale];
  const origin = camera.target.map((t, i) => t + a * right[i] + b * up[i] + far * towards[i]);
  return { origin, direction: towards.map((t) => -t) };
}

/** A camera as the address keeps it, and back; null for what is none. */
export function cameraText({ yaw, pitch, target, half }) {
  return [yaw, pitch, ...target, half].map((x) => Number(x.toPrecision(6))).join('_');
}
export function readCamera(text) {
  const parts = (text ?? '').split('_').map(Number);
  if (parts.length !== 6 || parts.some((part) => !Number.isFinite(part)) || !(parts[5] > 0)) return null;
  return { yaw: parts[0], pitch: parts[1], target: parts.slice(2, 5), half: parts[5] };
}
