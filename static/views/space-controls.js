// space-controls.js - what is shown in space, and how. Pure: wishes are functions.
import { choice, h, hidden } from '../dom.js';
import { UNITS, formatValue } from '../format.js';
import { say } from '../say.js';
import { writeSetting } from '../settings.js';
import { versionName } from '../specimen-state.js';
import { SIDES } from '../space/camera.js';
import { SUBJECTS } from '../space/values.js';

const AXES = ['x', 'y', 'z'];

/** Marks are drawn unless they are not wanted, sides where they are. */
export const isDrawn = (query, name) => (name === 'sides' ? query.sides === 'yes' : query[name] !== 'no');
export const cutAxis = (query) => (AXES.includes(query.cut?.[0]) ? query.cut[0] : null);
export const cutShare = (query) => Math.max(0, Math.min(1, Number(query.cut?.slice(1)) || 0));
export const isOver = (state) => state.query.beside === 'no' && state.figures.length === 2;

/**
 * @param {object} state  of joins/space.js
 * @param {{ query, moveCut, whole, side }} wishes  query: changes of the address
 */
export function spaceControls(state, { query, moveCut, whole, side }) {
  const axis = cutAxis(state.query);
  return h(
    'form',
    { class: 'controls', 'aria-label': say('space.controls'), on: { submit: (event) => event.preventDefault() } },
    versionChoice(state, query),
    state.figures.length === 2
      ? choice({
          label: say('space.arrangement'),
          name: 'beside',
          chosen: isOver(state) ? 'no' : 'yes',
          entries: ['yes', 'no'].map((value) => [value, say(`space.beside.${value}`)]),
          change: (value) => query({ beside: value === 'yes' ? null : value }),
        })
      : null,
    choice({
      label: say('space.colourBy'),
      name: 'colour',
      chosen: state.colour,
      entries: Object.keys(SUBJECTS).map((name) => [name, say(`space.colour.${name}`)]),
      change: (value) => query({ colour: value, range: null }),
    }),
    state.range === null ? null : rangeField(state, query),
    unitChoice(state, query),
    choice({
      label: say('space.section'),
      name: 'cut',
      chosen: axis ?? '',
      entries: [['', say('space.section.none')], ...AXES.map((each) => [each, say('space.section.across', { axis: each })])],
      change: (value) => query({ cut: value === '' ? null : `${value}0.5` }),
    }),
    axis === null
      ? null
      : h(
          'label',
          {},
          hidden(say('space.section.where')),
          h('input', {
            type: 'range',
            min: 0,
            max: 1,
            step: 0.01,
            value: cutShare(state.query),
            data: { key: 'cut share' },
            on: {
              input: (event) => moveCut(Number(event.target.value)),
              change: (event) => query({ cut: `${axis}${event.target.value}` }),
            },
          }),
        ),
    h(
      'fieldset',
      {},
      h('legend', { text: say('space.over') }),
      ['sides', 'open', 'irregular'].map((name) =>
        h(
          'label',
          {},
          h('input', {
            type: 'checkbox',
            data: { key: name },
            prop: { checked: isDrawn(state.query, name) },
            on: { change: ({ target }) => query({ [name]: target.checked === (name !== 'sides') ? null : target.checked ? 'yes' : 'no' }) },
          }),
          say(`space.over.${name}`),
        ),
      ),
    ),
    h(
      'div',
      { class: 'sides' },
      h('button', { type: 'button', data: { key: 'whole' }, text: say('space.whole'), on: { click: whole } }),
      choice({
        label: say('space.side'),
        name: 'side',
        chosen: '',
        entries: [['', say('space.side.any')], ...SIDES.map(({ name }, i) => [String(i), say(`space.side.${name}`)])],
        change: (value) => value !== '' && side(Number(value)),
      }),
    ),
  );
}

function versionChoice(state, query) {
  const shown = state.figures.map(({ version }) => version.id);
  const toggled = (id, on) => (on ? [...shown, id] : shown.filter((each) => each !== id)).join(',');
  return h(
    'details',
    { class: 'choose', data: { open: 'versions' } },
    h('summary', { text: say('space.choose', { n: shown.length }) }),
    h(
      'fieldset',
      {},
      h('legend', { class: 'hide', text: say('space.chooseTitle') }),
      state.versions.map((version) =>
        h(
          'label',
          {},
          h('input', {
            type: 'checkbox',
            data: { key: `version ${version.id}` },
            prop: { checked: shown.includes(version.id) },
            disabled: !shown.includes(version.id) && shown.length >= state.figuresMost,
            on: { change: (event) => query({ versions: toggled(version.id, event.target.checked) }) },
          }),
          versionName(version),
        ),
      ),
    ),
  );
}

/** The range as it is shown: a length in the reader's unit, or an aspect ratio. */
function rangeField(state, query) {
  const isAspect = state.colour === 'aspect';
  const shown = isAspect ? 2 ** state.range : state.range * state.factor;
  return h(
    'label',
    {},
    h('span', { text: say('space.range') }),
    h('input', {
      class: 'n',
      size: 6,
      inputmode: 'decimal',
      data: { key: 'range' },
      value: formatValue(shown, 4),
      on: {
        change: (event) => {
          const range = Number(event.target.value.replace(',', '.').replace(/\s/g, ''));
          const kept = isAspect ? range : Number((range / state.factor).toPrecision(12)); // the address has the unit of the file
          query({ range: range > (isAspect ? 1 : 0) ? String(kept) : null });
        },
      },
    }),
  );
}

/** The unit of all lengths shown here; files of no known unit have none to choose. */
function unitChoice(state, query) {
  if (state.unit === '') return null;
  return choice({
    label: say('versions.unit'),
    name: 'unit',
    chosen: state.unit,
    entries: UNITS.map((unit) => [unit, unit]),
    change: (unit) => {
      writeSetting('unit', unit);
      query({ unit });
    },
  });
}
