// findings.js - the places of the chosen version that somebody may want to mend, facing a figure of where they lie.
// Beside a baseline each is marked as new or still there, and those that are gone can be listed (same-place.js says by what rule).
//   down: 'show', detail = { run, name, against, findings: { items, total } or null, since, bounds, reference, ruler, faceSize, waiting }
//           name, against: of the version and of its reference; since: { name, against, items, match, spaceAddress } of the baseline, or null
//         'choose', detail = { number }: that finding; { number: null, since }: those with that state since the baseline, '' for all
import { emptyBox, choice, h, redraw, shape } from '../dom.js';
import { findingText, kindName, sizeText } from '../finding-text.js';
import { formatCount } from '../format.js';
import { say } from '../say.js';
import { LEVELS, findingRow } from './finding-row.js';
import { placesFigure } from './places-figure.js';

const PAGE = 60;
const STATES = ['new', 'still', 'gone', 'open'];
const MARKS = { new: 'worse', gone: 'better', open: 'same' };

/** @param {HTMLElement} el */
export function Findings(el) {
  let state = null;
  let kind = '';
  let level = 'warning';
  let since = '';
  let along = 'z';
  let chosen = null; // the key of an entry
  let shown = PAGE;

  el.addEventListener('show', (event) => {
    if (event.detail.run !== state?.run) {
      chosen = null;
      shown = PAGE;
    }
    state = event.detail;
    update();
  });

  el.addEventListener('choose', (event) => {
    const { number } = event.detail;
    if (number === null && state !== null) {
      since = event.detail.since;
      shown = PAGE;
      update();
    }
    const entry = state?.findings?.items[number - 1];
    if (entry === undefined) return;
    kind = '';
    since = '';
    if (!LEVELS[level].includes(entry.severity)) level = 'note';
    shown = Math.max(shown, number);
    chosen = String(number);
    update();
    goToChosen();
  });

  /** The findings of the version, and those of the baseline that have no counterpart; each with its state since the baseline. */
  function entries() {
    const own = state.findings.items.map((finding, i) => ({
      finding,
      number: i + 1,
      key: String(i + 1),
      since: state.since?.match.after[i].state ?? null,
      was: state.since?.match.after[i].with.map((at) => state.since.items[at]) ?? [],
      own: true,
    }));
    const left = (state.since?.items ?? []).map((finding, i) => ({
      finding,
      number: i + 1,
      key: `before ${i + 1}`,
      since: state.since.match.before[i].state,
      was: [],
      own: false,
    }));
    return [...own, ...left.filter((entry) => entry.since !== 'still')];
  }

  function update() {
    if (state.findings === null) {
      redraw(el, h('p', { class: 'quiet', text: say(state.waiting ? 'findings.waiting' : 'findings.unmeasured') }));
      return;
    }
    const all = entries();
    const own = all.filter((entry) => entry.own);
    const kinds = [...new Set(all.map(({ finding }) => finding.kind))];
    const filtered = all.filter(
      ({ finding }) => LEVELS[level].includes(finding.severity) && (kind === '' || finding.kind === kind),
    );
    const wanted = filtered.filter((entry) =>
      since === '' || state.since === null ? entry.own : entry.since === since,
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
                  state.since ? sinceChoice(filtered) : null,
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
                state.findings.total > own.length
                  ? h('p', {
                      class: 'quiet',
                      text: say('findings.cut', { n: own.length, total: formatCount(state.findings.total) }),
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

  function sinceChoice(filtered) {
    const count = (which) => filtered.filter((entry) => entry.since === which).length;
    return choice({
      label: say('findings.since', { baseline: state.since.name }),
      name: 'since',
      chosen: since,
      entries: [
        ['', say('findings.since.any', { version: state.name })],
        ...STATES.map((which) => [which, say(`since.${which}`, { n: count(which) })]),
      ],
      change: (value) => {
        since = value;
        shown = PAGE;
        chosen = null;
        update();
      },
    });
  }

  function row(entry) {
    const { finding, number, key, own } = entry;
    const size = sizeText(finding, state);
    const address = own ? state.spaceAddress : state.since.spaceAddress;
    return findingRow({
      id: `finding-${key.replace(' ', '-')}`,
      number,
      finding,
      now: chosen === key,
      head: [
        h('button', {
          class: 'plain head',
          'aria-pressed': String(chosen === key),
          data: { key: `finding ${key}` },
          text: kindName(finding.kind),
          on: { click: () => choose(key) },
        }),
        sinceMark(entry),
      ],
      facts: [
        size ? h('span', { text: size }) : null,
        finding.at ? h('span', { class: 'n', text: say('findings.at', { place: state.ruler.point(finding.at) }) }) : null,
      ],
      text: findingText(finding, {
        version: own ? state.name : state.since.name,
        reference: own ? state.against : state.since.against,
        ruler: state.ruler,
      }),
      more:
        address && finding.at
          ? h(
              'p',
              {},
              h('a', { href: address(finding, number), data: { key: `space ${key}` }, text: say('findings.space') }),
            )
          : null,
    });
  }

  /** New, gone, not told apart, or still there and what it was. */
  function sinceMark({ finding, since: which, was, own }) {
    if (which === null) return null;
    const before = [...new Set(was.map((old) => sizeText(old, state)))].filter((text) => text !== '');
    const grew = which === 'still' && !(before.length === 1 && before[0] === sizeText(finding, state));
    return h(
      'span',
      { class: `since ${MARKS[which] ?? ''}` },
      MARKS[which] ? shape(MARKS[which]) : null,
      own
        ? say(`findings.mark.${which}`, { baseline: state.since.name })
        : say(`findings.mark.${which}.before`, { baseline: state.since.name, version: state.name }),
      grew && before.length > 0 && before.length <= 3
        ? ` ${say('findings.was', { baseline: state.since.name, sizes: before.join('; ') })}`
        : null,
    );
  }

  function choose(key) {
    chosen = chosen === key ? null : key;
    update();
    if (chosen !== null)
      document.getElementById(`finding-${chosen.replace(' ', '-')}`)?.scrollIntoView({ block: 'nearest' });
  }

  function goToChosen() {
    const item = document.getElementById(`finding-${chosen}`);
    item?.scrollIntoView({ block: 'center' });
    item?.querySelector('button').focus({ preventScroll: true });
  }
}
