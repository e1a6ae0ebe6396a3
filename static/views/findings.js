// findings.js - the places of the chosen version that somebody may want to mend, facing a figure of where they lie.
//   down: 'show', detail = { name, findings: { items, total } or null, bounds, reference, unit, factor, faceSize, pointText, waiting }
import { emptyBox, choice, h, redraw } from '../dom.js';
import { formatCount, formatValue, withUnit } from '../format.js';
import { canSay, say } from '../say.js';
import { LEVELS, findingRow, kindName } from './finding-row.js';
import { placesFigure } from './places-figure.js';

const PAGE = 60;

/** @param {HTMLElement} el */
export function Findings(el) {
  let state = null;
  let kind = '';
  let level = 'warning';
  let along = 'z';
  let chosen = null;
  let shown = PAGE;

  el.addEventListener('show', (event) => {
    if (event.detail.run !== state?.run) {
      chosen = null;
      shown = PAGE;
    }
    state = event.detail;
    update();
  });

  function update() {
    if (state.findings === null) {
      redraw(el, h('p', { class: 'quiet', text: say(state.waiting ? 'findings.waiting' : 'findings.unmeasured') }));
      return;
    }
    const all = state.findings.items.map((finding, i) => ({ finding, number: i + 1 }));
    const kinds = [...new Set(all.map(({ finding }) => finding.kind))];
    const wanted = all.filter(
      ({ finding }) => LEVELS[level].includes(finding.severity) && (kind === '' || finding.kind === kind),
    );
    redraw(
      el,
      h(
        'div',
        { class: 'facing' },
        h(
          'div',
          {},
          all.length === 0
            ? emptyBox(say('findings.none', { version: state.name }), say('findings.none.next'))
            : [
                h(
                  'form',
                  {
                    class: 'controls',
                    'aria-label': say('findings.filter'),
                    on: { submit: (event) => event.preventDefault() },
                  },
                  choice({
                    label: say('findings.kind'),
                    name: 'kind',
                    chosen: kind,
                    entries: [['', say('findings.allKinds')], ...kinds.map((each) => [each, kindName(each)])],
                    change: (value) => {
                      kind = value;
                      shown = PAGE;
                      update();
                    },
                  }),
                  choice({
                    label: say('findings.show'),
                    name: 'level',
                    chosen: level,
                    entries: Object.keys(LEVELS).map((each) => [each, say(`findings.level.${each}`)]),
                    change: (value) => {
                      level = value;
                      shown = PAGE;
                      update();
                    },
                  }),
                ),
                wanted.length === 0 ? h('p', { class: 'quiet', text: say('findings.noneShown') }) : null,
                h('ol', { class: 'findings' }, wanted.slice(0, shown).map(row)),
                wanted.length > shown
                  ? h('button', {
                      data: { key: 'more findings' },
                      text: say('findings.more', { n: wanted.length - shown }),
                      on: {
                        click: () => {
                          shown += PAGE;
                          update();
                        },
                      },
                    })
                  : null,
                state.findings.total > all.length
                  ? h('p', {
                      class: 'quiet',
                      text: say('findings.cut', { n: all.length, total: formatCount(state.findings.total) }),
                    })
                  : null,
              ],
        ),
        state.bounds
          ? placesFigure({
              ...state,
              places: wanted.slice(0, shown),
              along,
              chosen,
              turn: (axis) => {
                along = axis;
                update();
              },
              choose,
            })
          : null,
      ),
    );
  }

  function row({ finding, number }) {
    const size = sizeText(finding);
    return findingRow({
      number,
      finding,
      now: chosen === number,
      head: h('button', {
        class: 'plain head',
        'aria-pressed': String(chosen === number),
        data: { key: `finding ${number}` },
        text: kindName(finding.kind),
        on: { click: () => choose(number) },
      }),
      facts: [
        size ? h('span', { text: size }) : null,
        h('span', { class: 'n', text: say('findings.at', { place: state.pointText(finding.at) }) }),
      ],
      more:
        state.spaceAddress && finding.at
          ? h('p', {}, h('a', { href: state.spaceAddress(finding, number), data: { key: `space ${number}` }, text: say('findings.space') }))
          : null,
    });
  }

  function choose(number) {
    chosen = chosen === number ? null : number;
    update();
    if (chosen !== null) document.getElementById(`finding-${chosen}`)?.scrollIntoView({ block: 'nearest' });
  }

  function sizeText({ size, unit, faces_total: faces }) {
    if (size === null || size === undefined) return faces ? say('findings.faces', { n: faces }) : '';
    const lengthUnits = ['length', 'mm', 'cm', 'm', 'in', 'unknown'];
    if (lengthUnits.includes(unit)) {
      const text = withUnit(formatValue(size * state.factor, 3), state.unit);
      return state.faceSize
        ? say('findings.inFaceSizes', { size: text, times: formatValue(size / state.faceSize, 2) })
        : text;
    }
    return canSay(`findings.unit.${unit}`)
      ? say(`findings.unit.${unit}`, { n: size })
      : withUnit(formatValue(size, 3), unit);
  }
}
