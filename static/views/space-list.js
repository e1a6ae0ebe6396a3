// space-list.js - the findings beside the figures in space: the text that tells what they show. Mounted on a section.
//   down: 'show', detail = { state, run, chosen, filter }; filter { level, kind, mesh }
//   up:   'wish.finding', detail = { finding }; 'wish.filter', detail = changes; 'wish.of', detail = { run }; 'wish.step', detail = { by }
import { choice, h, redraw, tell } from '../dom.js';
import { findingText, kindName } from '../finding-text.js';
import { say } from '../say.js';
import { writeRoute } from '../route.js';
import { LEVELS, findingRow } from './finding-row.js';

export const LIST_MOST = 40;

/** Those of a figure's findings that are asked for, and the chosen one; each with its number and its address' name. */
export function listedFindings(figure, filter, chosen) {
  return figure.findings
    .map((finding, i) => ({ finding, number: i + 1, id: `${figure.run}.${i + 1}` }))
    .filter(
      ({ finding, id }) =>
        id === chosen ||
        (LEVELS[filter.level].includes(finding.severity) &&
          (filter.kind === '' || finding.kind === filter.kind) &&
          (filter.mesh === '' || finding.mesh === filter.mesh)),
    );
}

/** @param {HTMLElement} el */
export function SpaceList(el) {
  el.addEventListener('show', ({ detail }) => update(detail));

  function update({ state, run, chosen, filter }) {
    const figure = state.figures.find((each) => each.run === run) ?? state.figures.at(-1);
    const rows = listedFindings(figure, filter, chosen);
    const begin = Math.max(0, Math.min(rows.findIndex(({ id }) => id === chosen) - LIST_MOST / 2, rows.length - LIST_MOST));
    const shown = rows.slice(begin, begin + LIST_MOST);
    redraw(
      el,
      h(
        'h2',
        { id: 'explanation', class: 'top' },
        say('space.explanation'),
        h('small', { text: say('space.findingsOf', { n: figure.findings.length, version: figure.name }) }),
      ),
      filters(state, figure, filter),
      h(
        'p',
        { class: 'acts' },
        ...[-1, 1].map((by) =>
          h('button', {
            type: 'button',
            data: { key: by < 0 ? 'previous' : 'next' },
            text: say(by < 0 ? 'space.previous' : 'space.next'),
            disabled: rows.length === 0,
            on: { click: () => tell(el, 'wish.step', { by }) },
          }),
        ),
      ),
      rows.length === 0
        ? h('p', { class: 'quiet', text: figure.findings.length === 0 ? say('findings.none', { version: figure.name }) : say('findings.noneShown') })
        : h('ol', { class: 'findings' }, shown.map((each) => row(state, figure, each, each.id === chosen))),
      rows.length > shown.length ? h('p', { class: 'quiet', text: say('space.moreFindings', { n: rows.length - shown.length }) }) : null,
    );
  }

  function filters(state, figure, filter) {
    const kinds = [...new Set(figure.findings.map(({ kind }) => kind))];
    const select = (name, label, entries) =>
      choice({ label: say(label), name, chosen: filter[name], entries, change: (value) => tell(el, 'wish.filter', { [name]: value }) });
    return h(
      'form',
      { class: 'controls', 'aria-label': say('findings.filter'), on: { submit: (event) => event.preventDefault() } },
      state.figures.length > 1
        ? choice({
            label: say('space.of'),
            name: 'of',
            chosen: figure.run,
            entries: state.figures.map(({ run, name }) => [run, name]),
            change: (run) => tell(el, 'wish.of', { run }),
          })
        : null,
      select('kind', 'findings.kind', [['', say('findings.allKinds')], ...kinds.map((kind) => [kind, kindName(kind)])]),
      select('level', 'findings.show', Object.keys(LEVELS).map((level) => [level, say(`findings.level.${level}`)])),
      select('mesh', 'space.mesh', ['', 'subject', 'reference'].map((mesh) => [mesh, say(`space.mesh.${mesh || 'both'}`)])),
    );
  }

  function row(state, figure, { finding, number, id }, now) {
    const { distance } = finding;
    return findingRow({
      number,
      finding,
      now,
      head: h('a', {
        class: 'head',
        href: writeRoute({ view: 'space', id: state.specimen.id, query: { ...state.query, view: null, finding: id } }),
        'aria-current': now ? 'true' : null,
        data: { key: `finding ${id}` },
        text: kindName(finding.kind),
        on: {
          click: (event) => {
            event.preventDefault();
            tell(el, 'wish.finding', { finding: id });
          },
        },
      }),
      facts: [
        distance ? h('span', { text: state.ruler.interval(distance) }) : null,
        finding.faces_total ? h('span', { text: say('findings.faces', { n: finding.faces_total }) }) : null,
      ],
      text: findingText(finding, { version: figure.name, reference: state.nameOf(figure.against), ruler: state.ruler }),
    });
  }
}
