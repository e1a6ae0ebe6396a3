// space-picked.js - what is known of the face that was pointed at. Mounted on the status under the figures.
//   down: 'show', detail = { state, figure, ray, plane }
import { h, redraw } from '../dom.js';
import { formatCount, formatValue } from '../format.js';
import { say } from '../say.js';
import { firstHit } from '../space/picking.js';
import { faceForm } from '../space/form.js';
import { faceOf, vertexOf } from '../space/surface.js';

/** @param {HTMLElement} el */
export function SpacePicked(el) {
  let asked = 0;

  el.addEventListener('show', async ({ detail: { state, figure, ray, plane } }) => {
    const mine = (asked += 1);
    const hit = hitOf(figure, ray, plane);
    if (hit === null) {
      redraw(el);
      return;
    }
    tell([place(state, figure, hit)]);
    const face = faceOf(hit.surface, hit.triangle);
    if (face === null) return;
    const corners = [0, 1, 2].map((i) => vertexOf(hit.surface, hit.surface.triangles[3 * hit.triangle + i]));
    const [form, distance] = await Promise.all([
      formOf(state, figure, hit, face, corners).catch(() => null),
      state.distanceOf(figure, face).catch(() => null),
    ]);
    if (mine !== asked) return;
    tell([place(state, figure, hit), distanceText(state, figure, distance), ...formTexts(form), areaText(state, figure, hit)]);
  });

  function tell(texts) {
    redraw(el, h('p', { text: texts.filter((text) => text !== null).join(' ') }));
  }

  /** The nearest of the surface and of what is drawn in its place. */
  function hitOf(figure, ray, plane) {
    const { detail } = figure;
    const inside = ({ at }) => Math.hypot(...at.map((x, i) => x - detail.at[i])) <= detail.radius;
    const hits = [figure.surface, ...(detail?.pieces ?? [])]
      .map((surface) => {
        const hit = firstHit(surface, ray, plane);
        return hit && { ...hit, surface };
      })
      .filter((hit) => hit !== null && (!detail || (hit.surface !== figure.surface) === inside(hit)));
    return hits.length === 0 ? null : hits.reduce((a, b) => (b.along < a.along ? b : a));
  }

  function place(state, figure, { surface, triangle, at }) {
    const face = faceOf(surface, triangle);
    const version = figure.onReference ? state.nameOf(figure.against) : figure.name;
    return [
      face === null ? say('space.picked.simplified') : say('space.picked.face', { face: formatCount(face), version }),
      say('space.picked.at', { place: state.ruler.point(at) }),
    ].join(' ');
  }

  function distanceText(state, figure, distance) {
    if (distance === null) return null;
    const value = state.ruler.interval(distance);
    const other = figure.onReference ? figure.name : state.nameOf(figure.against);
    return say('space.picked.distance', { value, other });
  }

  function formOf(state, figure, { surface, triangle }, face, corners) {
    if (surface.form) return Promise.resolve(faceForm(surface.form, triangle, corners, figure.source.kind));
    return state.loader.faceOf(figure.source.version, face, cornersOfFace(surface, triangle, corners), figure.source.kind);
  }

  function formTexts(form) {
    if (form === null) return [];
    const { aspect, most, shell, valences } = form;
    return [
      say('space.picked.aspect', {
        value: Number.isNaN(aspect) ? say('space.picked.undefined') : most ? say('space.picked.atLeast', { value: formatCount(65528) }) : formatValue(aspect, 4),
      }),
      say('space.picked.valences', { values: valences.map(valenceText).join(', ') }),
      say('space.picked.shell', { shell: formatCount(shell + 1) }),
    ];
  }

  function valenceText({ edges, place: where, off }) {
    if (where === 'corner' || where === 'nonmanifold') return say(`space.picked.valence.${where}`, { edges });
    return off === 0 ? String(edges) : say('space.picked.valence.irregular', { edges });
  }

  /** The area as the page has it, in the unit of lengths squared. */
  function areaText(state, figure, { surface, triangle }) {
    const [begin, end] = trianglesOfFace(surface, triangle);
    let sum = 0;
    for (let t = begin; t < end; t += 1) sum += triangleArea(surface, t);
    return say('space.picked.area', { value: state.ruler.area(sum) });
  }
}

/** Triangles of one face follow each other. */
function trianglesOfFace({ faces, triangleCount }, triangle) {
  if (!faces) return [triangle, triangle + 1];
  let [begin, end] = [triangle, triangle + 1];
  while (begin > 0 && faces[begin - 1] === faces[triangle]) begin -= 1;
  while (end < triangleCount && faces[end] === faces[triangle]) end += 1;
  return [begin, end];
}

/** All corners of the face of a triangle, each once, in the order met. */
function cornersOfFace(surface, triangle) {
  const [begin, end] = trianglesOfFace(surface, triangle);
  const met = new Set();
  for (let k = 3 * begin; k < 3 * end; k += 1) met.add(vertexOf(surface, surface.triangles[k]));
  return [...met];
}

function triangleArea(surface, t) {
  const { corners, triangles, step } = surface;
  const [a, b, c] = [0, 1, 2].map((i) => 4 * vertexOf(surface, triangles[3 * t + i]));
  const side = (from, to) => [0, 1, 2].map((axis) => step * (corners[to + axis] - corners[from + axis]));
  const [u, v] = [side(a, b), side(a, c)];
  return Math.hypot(u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]) / 2;
}
