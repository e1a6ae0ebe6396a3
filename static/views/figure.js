// figure.js - one view of a surface: a canvas that is turned by mouse, touch and keys. Mounted on a .plate.
//   down: 'draw', detail = { figures, camera, stage, colours, moving, divider, tags, named, unit, factor }; figures: one, or two with a divider;
//         'aim', detail = { camera }: what is drawn next, so that movements add up in between
//   up:   'wish.camera', detail = { camera }; 'wish.pick', detail = { figure, ray }; 'wish.finding', detail = { finding }
import { TURN_STEP, pan, project, rayThrough, turn, zoom } from '../space/camera.js';
import { drawMarks, drawRing } from '../space/overlay.js';
import { placeTags } from '../space/tags.js';
import { h, tell } from '../dom.js';
import { formatValue, withUnit } from '../format.js';

const DEGREES_A_PIXEL = 0.4;
const CLICK = 4; // pixels: less is no drag
const PAN_STEP = 0.2;
const THREAD = { x: 16, y: 12 }; // pixels from the corner of a tag to the end of its thread

/** @param {HTMLElement} el  a focusable group */
export function Figure(el) {
  const canvas = h('canvas', { 'aria-hidden': 'true' });
  const tags = h('div', { class: 'tags' });
  const bar = h('span', { class: 'scalebar' });
  const names = h('div', { class: 'names', 'aria-hidden': 'true' }); // of what lies on each side of the divider
  const context = canvas.getContext('2d', { willReadFrequently: true });
  const pointers = new Map();
  let state = null;
  let travelled = 0;
  el.append(canvas, tags, bar, names);

  el.addEventListener('draw', (event) => {
    state = event.detail;
    update();
  });

  el.addEventListener('aim', (event) => {
    if (state !== null) state = { ...state, camera: event.detail.camera };
  });

  function update() {
    const width = Math.max(1, Math.round(el.clientWidth * devicePixelRatio));
    const height = Math.max(1, Math.round(el.clientHeight * devicePixelRatio));
    if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
    const { figures, stage, camera, moving } = state;
    const divided = figures.length > 1 ? Math.round(width * state.divider) : width;
    figures.forEach((figure, i) => {
      const from = i === 0 ? 0 : divided; // the second figure lies to the right of the divider
      const isLast = i === figures.length - 1;
      const then = () => {
        if (!moving) overlay(figure, from);
        if (isLast) drawOver(divided, figures.length > 1);
      };
      stage.draw(figure, camera, context, { moving, from, then });
    });
  }

  function overlay(figure, from) {
    if (!figure.marks) return;
    const { width, height } = canvas;
    const depths = state.stage.depths(figure, state.camera, width, height);
    context.save();
    context.beginPath();
    context.rect(from, 0, width - from, height);
    context.clip();
    drawMarks(context, figure.surface, figure.marks, state.camera, depths, state.colours, figure.plane);
    context.restore();
  }

  function drawOver(divided, hasDivider) {
    if (hasDivider) drawDivider(divided, canvas.height);
    drawTags();
    drawBar();
  }

  function drawDivider(x, height) {
    context.fillStyle = state.colours.halo;
    context.fillRect(x - 3, 0, 6, height);
    context.fillStyle = state.colours.mark;
    context.fillRect(x - 1, 0, 2, height);
  }

  /**
   * Tags hang outside the middle, on threads to their rings; where there is no room for one its ring stands alone. They stand by shares
   * of the picture that was drawn: where the plate has another size by now, both are stretched alike until it is drawn again.
   */
  function drawTags() {
    const [width, height] = [canvas.width / devicePixelRatio, canvas.height / devicePixelRatio];
    const seen = state.tags
      .map((tag) => ({ tag, at: project(state.camera, tag.at, width, height) }))
      .filter(({ at }) => at.x >= 0 && at.y >= 0 && at.x <= width && at.y <= height);
    const spots = placeTags(seen.map(({ at }) => outside(at, width, height)), width, height);
    const nodes = seen.map(({ tag, at }, i) => {
      const spot = spots[i];
      const [x, y] = spot ? [spot.x + THREAD.x, spot.y + THREAD.y] : [at.x, at.y];
      if (!state.moving)
        drawRing(context, state.colours, state.camera, tag.at, tag.chosen ? tag.radius : 0, {
          x: x * devicePixelRatio,
          y: y * devicePixelRatio,
        });
      return spot && tagNode(tag, { x: x / width, y: y / height });
    });
    tags.replaceChildren(...nodes.filter((node) => node !== null));
  }

  function outside(at, width, height) {
    const off = [at.x - width / 2, at.y - height / 2];
    const [dx, dy] = Math.hypot(...off) < CLICK ? [CLICK, -CLICK] : off; // of the middle: to the right and up, not over its place
    const length = Math.hypot(dx, dy);
    const reach = Math.max(length + 46, Math.min(width, height) * 0.36);
    return { x: width / 2 + (reach * dx) / length - THREAD.x, y: height / 2 + (reach * dy) / length - THREAD.y };
  }

  /** A tag whose thread ends at these shares of the picture. */
  function tagNode(tag, { x, y }) {
    return h('button', {
      class: `tag ${tag.kind}`,
      style: { '--x': `calc(${100 * x}% - ${THREAD.x}px)`, '--y': `calc(${100 * y}% - ${THREAD.y}px)` },
      'aria-label': tag.label,
      'aria-current': tag.chosen ? 'true' : null,
      tabindex: '-1',
      text: String(tag.number),
      on: { click: () => tell(el, 'wish.finding', { finding: tag.id }) },
    });
  }

  /** A round length of some fifth of the width. */
  function drawBar() {
    const scale = el.clientHeight / 2 / state.camera.half; // pixels a unit of the file
    const rough = (el.clientWidth / 5 / scale) * state.factor;
    const power = 10 ** Math.floor(Math.log10(rough));
    const length = [5, 2, 1].map((times) => times * power).find((each) => each <= rough) ?? power;
    bar.style.setProperty('--bar', `${(length / state.factor) * scale}px`);
    bar.textContent = withUnit(formatValue(length, 2), state.unit);
    names.replaceChildren(...(state.named ? state.figures.map(({ name }) => h('span', { text: name })) : []));
  }

  const move = (camera) => tell(el, 'wish.camera', { camera });
  const shares = (event) => {
    const box = canvas.getBoundingClientRect();
    return {
      right: (event.clientX - box.left - box.width / 2) / (box.height / 2),
      up: (box.height / 2 - (event.clientY - box.top)) / (box.height / 2),
    };
  };

  canvas.addEventListener('pointerdown', (event) => {
    canvas.setPointerCapture(event.pointerId);
    pointers.set(event.pointerId, event);
    travelled = 0;
    el.focus({ preventScroll: true });
  });
  canvas.addEventListener('pointermove', (event) => {
    const before = pointers.get(event.pointerId);
    if (before === undefined || state === null) return;
    const [dx, dy] = [event.clientX - before.clientX, event.clientY - before.clientY];
    travelled += Math.abs(dx) + Math.abs(dy);
    const box = canvas.getBoundingClientRect();
    const step = { right: (2 * dx) / box.height, up: (-2 * dy) / box.height };
    if (pointers.size === 2) {
      const [other] = [...pointers.values()].filter((each) => each.pointerId !== event.pointerId);
      const apart = (a) => Math.hypot(a.clientX - other.clientX, a.clientY - other.clientY) || 1;
      const nearer = Math.log(apart(event) / apart(before)) / Math.log(1.25);
      move(zoom(pan(state.camera, step.right / 2, step.up / 2), nearer));
    } else if (event.shiftKey || before.button === 2) move(pan(state.camera, step.right, step.up));
    else move(turn(state.camera, -dx * DEGREES_A_PIXEL, dy * DEGREES_A_PIXEL));
    pointers.set(event.pointerId, Object.assign(event, {}));
  });
  const up = (event) => {
    if (!pointers.delete(event.pointerId) || travelled > CLICK || event.type !== 'pointerup' || state === null) return;
    const box = canvas.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    const figure = state.figures[1] && x > box.width * state.divider ? state.figures[1] : state.figures[0];
    const far = 4 * figure.ball.radius + Math.hypot(...figure.ball.centre.map((c, i) => c - state.camera.target[i]));
    tell(el, 'wish.pick', { figure, ray: rayThrough(state.camera, x, y, box.width, box.height, far) });
  };
  canvas.addEventListener('pointerup', up);
  canvas.addEventListener('pointercancel', up);
  canvas.addEventListener('contextmenu', (event) => event.preventDefault());
  canvas.addEventListener(
    'wheel',
    (event) => {
      if (state === null) return;
      event.preventDefault();
      const at = shares(event);
      move(zoom(state.camera, -Math.sign(event.deltaY) * Math.min(2, Math.abs(event.deltaY) / 100), at.right, at.up));
    },
    { passive: false },
  );

  el.addEventListener('keydown', (event) => {
    if (state === null || event.target !== el || event.ctrlKey || event.metaKey || event.altKey) return;
    const next = keyed(event);
    if (next === null) return;
    event.preventDefault();
    move(next);
  });

  function keyed({ key, shiftKey }) {
    const { camera } = state;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    if (key in arrows) {
      const [x, y] = arrows[key];
      return shiftKey ? pan(camera, -x * PAN_STEP, -y * PAN_STEP) : turn(camera, x * TURN_STEP, y * TURN_STEP);
    }
    if (key === '+' || key === '=') return zoom(camera, 1);
    if (key === '-') return zoom(camera, -1);
    return null;
  }
}
