// help.js - every measure with its definition and source, the shapes and what they say, the keys.
//   down: 'show', detail = { definitions, measure, keys, problem }     up: 'wish.keys' (on or off)
import { errorBox, h, redraw, shape, tell } from '../dom.js';
import { problemText } from '../problem.js';
import { say, sayOr } from '../say.js';

const SHAPES = [
  'conforms',
  'running',
  'waiting',
  'failed',
  'undecided',
  'new',
  'work',
  'ready',
  'retired',
  'better',
  'worse',
  'same',
  'fault',
  'warning',
  'note',
];
const WORDS = [
  'scanAndCage',
  'shell',
  'baseline',
  'lost',
  'invented',
  'certified',
  'sampled',
  'notToldApart',
  'faceSize',
  'finding',
  'samePlace',
  'beaten',
  'run',
];
const KEYS = [
  ['Tab', 'tab'],
  ['/', 'search'],
  ['← → ↑ ↓ Home End', 'move'],
  ['↑ ↓ PageUp PageDown', 'rows'],
  ['Enter', 'enter'],
  ['b', 'baseline'],
  ['f', 'fold'],
  ['← → ↑ ↓ + −', 'turn'],
  ['1 … 6 0', 'sides'],
  ['n p', 'step'],
  ['x [ ]', 'divider'],
  ['Escape', 'escape'],
  ['?', 'help'],
];

/** @param {HTMLElement} el */
export function HelpView(el) {
  el.addEventListener('show', (event) => update(event.detail));

  function update({ definitions, measure: row, keys, problem }) {
    const measure = row?.replace(/@.*/, ''); // of a row of one tolerance
    redraw(
      el,
      h('h1', { class: 'plain', text: say('help.title') }),
      h(
        'div',
        { class: 'columns' },
        h(
          'section',
          { 'aria-labelledby': 'h-words' },
          h('h2', { id: 'h-words', text: say('help.words') }),
          h(
            'dl',
            { class: 'glossary' },
            WORDS.map((word) =>
              h('div', {}, h('dt', { text: say(`word.${word}`) }), h('dd', { text: say(`word.${word}.means`) })),
            ),
          ),
        ),
        h(
          'section',
          { 'aria-labelledby': 'h-shapes' },
          h('h2', { id: 'h-shapes', text: say('help.shapes') }),
          h('p', { text: say('help.shapes.rule') }),
          h(
            'ul',
            { class: 'shapes' },
            SHAPES.map((name) => h('li', { class: name }, shape(name), h('span', { text: say(`shape.${name}`) }))),
          ),
        ),
        h(
          'section',
          { 'aria-labelledby': 'h-keys' },
          h('h2', { id: 'h-keys', tabindex: '-1', text: say('help.keys') }),
          h(
            'table',
            { class: 'ledger small' },
            h('caption', { class: 'hide', text: say('help.keys') }),
            h(
              'thead',
              {},
              h(
                'tr',
                {},
                h('th', { scope: 'col', text: say('help.key') }),
                h('th', { scope: 'col', text: say('help.does') }),
              ),
            ),
            h(
              'tbody',
              {},
              KEYS.map(([key, name]) =>
                h(
                  'tr',
                  {},
                  h(
                    'th',
                    { scope: 'row' },
                    key.split(' ').flatMap((each) => [h('kbd', { text: each }), ' ']),
                  ),
                  h('td', { text: say(`key.${name}`) }),
                ),
              ),
            ),
          ),
          h(
            'p',
            { class: 'controls' },
            h(
              'label',
              {},
              h('input', {
                type: 'checkbox',
                checked: keys === 'on',
                on: { change: (event) => tell(el, 'wish.keys', event.target.checked ? 'on' : 'off') },
              }),
              h('span', { text: say('help.keys.on') }),
            ),
          ),
        ),
      ),
      h('h2', { id: 'h-measures', text: say('help.measures') }),
      problem
        ? errorBox(problemText(problem))
        : definitions === null
          ? h('p', { class: 'quiet', text: say('loading') })
          : groups(definitions, measure),
    );
    if (measure && definitions !== null) {
      const target = document.getElementById(`measure-${measure}`);
      target?.scrollIntoView({ block: 'center' });
      target?.focus({ preventScroll: true });
    }
  }

  function groups({ groups: list, measures, definitions }, chosen) {
    return [
      h('p', { class: 'quiet', text: say('help.measures.note', { definitions: String(definitions) }) }),
      list.map((group) =>
        h(
          'section',
          { 'aria-labelledby': `g-${group.id}` },
          h('h3', { id: `g-${group.id}`, class: 'group-name', text: group.title }),
          h(
            'dl',
            { class: 'definitions' },
            measures
              .filter((measure) => measure.group === group.id)
              .map((measure) =>
                h(
                  'div',
                  { id: `measure-${measure.path}`, tabindex: '-1', class: measure.path === chosen ? 'now' : null },
                  h(
                    'dt',
                    {},
                    measure.name,
                    h('small', { class: 'below' }, h('code', { class: 'break', text: measure.path })),
                  ),
                  h(
                    'dd',
                    {},
                    h('p', { text: measure.definition }),
                    h('p', {
                      class: 'quiet',
                      text: [
                        sayOr(`help.unit.${measure.unit}`, ''),
                        say(`help.direction.${measure.direction}`),
                        say(`certainty.${measure.certified}`),
                      ].join(' '),
                    }),
                    h('p', { class: 'quiet break', text: say('help.source', { source: measure.source }) }),
                  ),
                ),
              ),
          ),
        ),
      ),
    ];
  }
}
