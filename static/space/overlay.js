// overlay.js - marks over a figure, drawn in the plane of the picture: a dark core on a white halo, so that they stand out on any colour.
import { project } from './camera.js';
import { placeOf } from './surface.js';

const HALO = 5;
const CORE = 2;
const TOOTH = 5; // pixels
const TOOTH_GAP = 12;
const CROSS = 4;
const POLYGON = 6;
const IRREGULAR_MOST = 400; // in view: more would hide what they stand on
const SEEN_SHARE = 0.01; // of half the height: a mark so little behind the surface is seen

/** A pen that draws everything twice: first the halo, then the core. */
export function strokeTwice(context, { mark, halo }, path) {
  for (const [colour, width] of [
    [halo, HALO],
    [mark, CORE],
  ]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineJoin = 'round';
    context.lineCap = 'round';
    context.beginPath();
    path(context);
    context.stroke();
  }
}

/**
 * @param {object} marks  of findMarks
 * @param {(x: number, y: number) => number} depths  of the stage
 */
export function drawMarks(context, surface, marks, view, depths, colours, plane) {
  const { width, height } = context.canvas;
  const cut = (point) => plane && plane[0] * point[0] + plane[1] * point[1] + plane[2] * point[2] > plane[3];
  const seen = (v) => {
    const point = placeOf(surface, v);
    const at = project(view, point, width, height);
    return !cut(point) && depths(at.x, at.y) - at.near < SEEN_SHARE * view.half ? at : null;
  };
  const segments = (pairs) => {
    const found = [];
    for (let k = 0; k < pairs.length; k += 2) {
      const [a, b] = [seen(pairs[k]), seen(pairs[k + 1])];
      if (a && b) found.push([a, b]);
    }
    return found;
  };
  const open = segments(marks.open);
  const crowded = segments(marks.crowded);
  if (open.length > 0) strokeTwice(context, colours, (pen) => open.forEach(([a, b]) => cliff(pen, a, b)));
  if (crowded.length > 0) strokeTwice(context, colours, (pen) => crowded.forEach(([a, b]) => crossed(pen, a, b)));
  const inView = marks.irregular.filter(({ vertex }) => {
    const at = project(view, placeOf(surface, vertex), width, height);
    return at.x >= 0 && at.y >= 0 && at.x < width && at.y < height;
  });
  if (inView.length > IRREGULAR_MOST) return;
  for (const { vertex, edges } of inView) {
    const at = seen(vertex);
    if (at) irregular(context, colours, at, edges);
  }
}

/** A line with teeth on the side of the gap: the face lies to the left of an open edge as it is listed, the gap to the right. */
function cliff(pen, a, b) {
  const [dx, dy] = [b.x - a.x, b.y - a.y];
  const length = Math.hypot(dx, dy);
  pen.moveTo(a.x, a.y);
  pen.lineTo(b.x, b.y);
  if (length < TOOTH) return;
  const teeth = Math.max(1, Math.round(length / TOOTH_GAP));
  for (let i = 0; i < teeth; i += 1) {
    const share = (i + 0.5) / teeth;
    const [x, y] = [a.x + share * dx, a.y + share * dy];
    pen.moveTo(x, y);
    pen.lineTo(x - (TOOTH * dy) / length, y + (TOOTH * dx) / length);
  }
}

function crossed(pen, a, b) {
  pen.moveTo(a.x, a.y);
  pen.lineTo(b.x, b.y);
  for (const { x, y } of [a, b]) {
    pen.moveTo(x - CROSS, y - CROSS);
    pen.lineTo(x + CROSS, y + CROSS);
    pen.moveTo(x - CROSS, y + CROSS);
    pen.lineTo(x + CROSS, y - CROSS);
  }
}

/** As many sides as edges; a lens for two; from seven on a circle with the number. */
function irregular(context, colours, { x, y }, edges) {
  strokeTwice(context, colours, (pen) => {
    if (edges >= 7) pen.arc(x, y, POLYGON + 2, 0, 2 * Math.PI);
    else if (edges === 2) {
      pen.moveTo(x - POLYGON, y);
      pen.quadraticCurveTo(x, y - POLYGON, x + POLYGON, y);
      pen.quadraticCurveTo(x, y + POLYGON, x - POLYGON, y);
    } else
      for (let i = 0; i <= edges; i += 1) {
        const angle = (2 * Math.PI * i) / edges - Math.PI / 2;
        const [px, py] = [x + POLYGON * Math.cos(angle), y + POLYGON * Math.sin(angle)];
        if (i === 0) pen.moveTo(px, py);
        else pen.lineTo(px, py);
      }
  });
  if (edges < 7) return;
  context.fillStyle = colours.mark;
  context.font = '600 11px system-ui, sans-serif';
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  context.fillText(String(edges), x, y);
}

/** The ring of a finding, and the thread to its tag. Returns where the tag begins. */
export function drawRing(context, colours, view, point, radius, tag) {
  const { width, height } = context.canvas;
  const at = project(view, point, width, height);
  const r = Math.max(8, (radius * height) / 2 / view.half);
  const [dx, dy] = [tag.x - at.x, tag.y - at.y];
  const length = Math.hypot(dx, dy);
  strokeTwice(context, colours, (pen) => {
    pen.arc(at.x, at.y, r, 0, 2 * Math.PI);
    if (length > r) {
      pen.moveTo(at.x + (r * dx) / length, at.y + (r * dy) / length);
      pen.lineTo(tag.x, tag.y);
    }
  });
}
