// places-figure.js - where the findings lie in the box of the version, seen along one axis; the list beside it is its text.
// The surface itself is not drawn here.
import { h, options, s } from '../dom.js';
import { formatValue, withUnit } from '../format.js';
import { say } from '../say.js';

const WIDTH = 480;
const HEIGHT = 400;
const ROOM = 44;
const TAGS = 24; // the first and the chosen one have a ring and a number, the others a dot
const RING_MOST = 80;
/** The two coordinates seen along each axis: to the right, and upward. */
const SEEN = { x: [1, 2], y: [0, 2], z: [0, 1] };

/**
 * @param {object} detail  { name, bounds, reference, places: [{ finding, number, key }], along, chosen, ruler, turn(axis), choose(key) }
 */
export function placesFigure(detail) {
  const { name, bounds, reference, places, along, chosen } = detail;
  const { unit, factor } = detail.ruler;
  const [right, up] = SEEN[along];
  const boxes = [bounds, reference].filter(Boolean);
  const low = (axis) => Math.min(...boxes.map((box) => box.min[axis]));
  const high = (axis) => Math.max(...boxes.map((box) => box.max[axis]));
  const span =
    Math.max((high(right) - low(right)) / (WIDTH - 2 * ROOM), (high(up) - low(up)) / (HEIGHT - 2 * ROOM)) || 1;
  const middle = (axis) => (low(axis) + high(axis)) / 2;
  const x = (value) => WIDTH / 2 + (value - middle(right)) / span;
  const y = (value) => HEIGHT / 2 - (value - middle(up)) / span;
  const box = ({ min, max }) =>
    `M${x(min[right]).toFixed(1)} ${y(min[up]).toFixed(1)}H${x(max[right]).toFixed(1)}V${y(max[up]).toFixed(1)}H${x(min[right]).toFixed(1)}z`;
  const bar = roundLength(span * WIDTH * 0.25 * factor);
  const there = places.filter(({ finding }) => finding.at);
  const shown = there.filter(({ key }, i) => i < TAGS || key === chosen);
  const dots = there.filter((place) => !shown.includes(place));
  const spots = placeTags(shown.map(({ finding }) => ({ x: x(finding.at[right]), y: y(finding.at[up]) })));

  const drawing = s(
    'svg',
    {
      class: 'plate-drawing',
      viewBox: `0 0 ${WIDTH} ${HEIGHT}`,
      role: 'img',
      'aria-label': say('figure.label', { version: name, n: there.length, axis: along }),
    },
    s('path', { class: 'ground', d: `M0 0h${WIDTH}v${HEIGHT}H0z` }),
    reference ? s('path', { class: 'box reference', d: box(reference) }) : null,
    s('path', { class: 'box', d: box(bounds) }),
    dots.map(({ finding }) => s('circle', { class: 'dot', cx: x(finding.at[right]), cy: y(finding.at[up]), r: 2.5 })),
    shown.map(({ finding }, i) => {
      const at = { x: x(finding.at[right]), y: y(finding.at[up]) };
      const radius = Math.max(4, (finding.radius ?? 0) / span);
      const ring = { cx: at.x, cy: at.y, r: radius > RING_MOST ? 4 : radius }; // one about everything tells no place
      const thread = `M${at.x.toFixed(1)} ${at.y.toFixed(1)}L${(spots[i].x + 9).toFixed(1)} ${(spots[i].y + 8).toFixed(1)}`;
      return [
        s('circle', { class: 'halo', ...ring }),
        s('path', { class: 'halo', d: thread }),
        s('circle', { class: 'ring', ...ring }),
        s('path', { class: 'thread', d: thread }),
      ];
    }),
    shown.map(({ number, key }, i) =>
      s(
        'g',
        {
          class: key === chosen ? 'tag now' : 'tag',
          transform: `translate(${spots[i].x.toFixed(1)} ${spots[i].y.toFixed(1)})`,
          on: { click: () => detail.choose(key) },
        },
        s('path', { d: tagPath(number) }),
        s('text', { x: number > 99 ? 17 : number > 9 ? 14 : 11.5, y: 12, text: String(number) }),
      ),
    ),
    s('path', { class: 'scale', d: `M16 ${HEIGHT - 20}v6h${(bar / factor / span).toFixed(1)}v-6` }),
    s('text', { class: 'scale-text', x: 16, y: HEIGHT - 26, text: withUnit(formatValue(bar), unit) }),
  );

  return h(
    'figure',
    { class: 'figure' },
    h('div', { class: 'plate' }, drawing),
    h(
      'figcaption',
      {},
      h('b', { text: say('figure.number', { number: '1' }) }),
      ' ',
      say(reference ? 'figure.caption.reference' : 'figure.caption', { version: name, axis: along, n: TAGS }),
    ),
    h(
      'label',
      { class: 'controls' },
      h('span', { text: say('figure.along') }),
      h(
        'select',
        { data: { key: 'along' }, on: { change: (event) => detail.turn(event.target.value) } },
        options(
          ['x', 'y', 'z'].map((axis) => [axis, axis]),
          along,
        ),
      ),
    ),
  );
}

/** A paper slip with cut corners and a hole, wide enough for its number. */
function tagPath(number) {
  const width = number > 99 ? 30 : number > 9 ? 24 : 18;
  return `M4 0H${width}V16H4L0 11V5z`;
}

/** The tag's corner beside its place: right and above where there is room, else the next free spot downward. */
function placeTags(points) {
  const taken = [];
  return points.map((point) => {
    const spot = { x: Math.min(WIDTH - 34, point.x + 12), y: Math.max(4, point.y - 24) };
    for (
      let tries = 0;
      tries < 40 && taken.some((other) => Math.abs(other.x - spot.x) < 28 && Math.abs(other.y - spot.y) < 18);
      tries += 1
    ) {
      spot.y += 18;
      if (spot.y > HEIGHT - 22) {
        spot.y = 4;
        spot.x = spot.x > WIDTH / 2 ? spot.x - 32 : Math.min(WIDTH - 34, spot.x + 32);
      }
    }
    taken.push(spot);
    return spot;
  });
}

/** The greatest of 1, 2, 5 times a power of ten that is not above `most`. */
function roundLength(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return [5, 2, 1].find((multiple) => multiple * power <= most * 1.000001) * power;
}
