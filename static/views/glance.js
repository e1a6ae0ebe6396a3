// glance.js - the first answers about a specimen: which version is best, whether the latest work helped, where it is still wrong.
// Facts that are counted or certified, side by side; no score.
//   down: 'show', detail = { state of joins/specimen.js, chosen, baseline: columns, since: counts of places or null, severities,
//           all: how many measures are better, worse and the same, or null }
//   up:   'wish.finding' { number, since }; 'wish.table'
import { cellSentence, cellText, scaleOf } from '../comparison.js';
import { changed, factRows, fewPlaces, given, isWeighed, leastOf, merits, unbeaten, weighable } from '../glance.js';
import { h, hidden, redraw, shape, stateMark, tell } from '../dom.js';
import { lineText } from '../finding-text.js';
import { say, sayList, sayWith } from '../say.js';
import { versionName } from '../specimen-state.js';
import { thumbnail } from '../thumbnail.js';

/** Versions shown beside each other; a narrow window shows the first three. */
const MOST = 5;
const MOST_NARROW = 3;
const PLACES = 3;
const NAMES = 4;

/** @param {HTMLElement} el */
export function Glance(el) {
  let detail = null;

  el.addEventListener('show', (event) => {
    detail = event.detail;
    update();
  });

  function update() {
    const { state, chosen, baseline } = detail;
    const weighed = weighable(state.columns, chosen);
    const rows = factRows(state.comparison.rows, weighed);
    const best = unbeaten(rows, weighed);
    const shown = pick([chosen, weighed.includes(baseline) ? baseline : null, ...best, ...weighed]);
    const inOrder = [...shown].sort((a, b) => b.version.number - a.version.number);
    const others = state.columns.filter(
      (column) =>
        column.run !== null &&
        column.run.kind === chosen.run.kind &&
        column.version.withdrawn === null &&
        !weighed.includes(column),
    );
    redraw(
      el,
      h(
        'div',
        { class: 'glance' },
        h(
          'dl',
          { class: 'answers' },
          weighed.length > 1 ? answer(say('glance.best'), bestText(best, weighed, rows)) : null,
          weighed.includes(baseline) && baseline !== chosen
            ? answer(sinceTitle(chosen, baseline), sinceText(rows, chosen, baseline))
            : null,
          answer(say('glance.wrong', { version: name(chosen) }), wrongText()),
          others.length > 0
            ? answer(say('glance.notWeighed'), h('p', { text: say('glance.others', { versions: names(others) }) }))
            : null,
        ),
        table(rows, inOrder, weighed, best, shown.slice(MOST_NARROW)),
      ),
    );
  }

  const name = ({ version }) => versionName(version);
  const names = (columns) =>
    columns.length > NAMES + 1
      ? sayList([...columns.slice(0, NAMES).map(name), say('glance.more', { n: columns.length - NAMES })])
      : sayList(columns.map(name));
  const pick = (columns) => [...new Set(columns.filter((column) => column !== null))].slice(0, MOST);

  function answer(term, ...content) {
    return h('div', {}, h('dt', { text: term }), h('dd', {}, ...content));
  }

  /** Which none beats, and of what each of these has the least. */
  function bestText(best, weighed, rows) {
    const { state } = detail;
    const n = weighed.length;
    const kind = say(`count.${detail.chosen.version.kind}s`, { n });
    if (best.length === 0) return h('p', {}, stateMark('undecided', say('glance.best.none', { kind })));
    if (best.length === n) return h('p', {}, stateMark('same', say('glance.best.all', { kind })));
    if (best.length === 1) {
      const facts = merits(rows, best[0], weighed, weighed).map((row) => fact(row, best[0]));
      return [
        h('p', {}, stateMark('better', say('glance.best.one', { version: name(best[0]), kind }))),
        facts.length === 0 ? null : h('ul', {}, h('li', { text: say('glance.best.least', { facts: sayList(facts) }) })),
      ];
    }
    const reasons = best.slice(0, NAMES).map((column) => {
      const facts = merits(rows, column, best, weighed).map((row) => fact(row, column));
      const size = column.version.face_size;
      const version = size
        ? say('glance.sized', {
            version: name(column),
            size: state.ruler.faceSize(size),
          })
        : name(column);
      return h('li', {
        text: facts.length === 0 ? version : say('glance.best.reason', { version, facts: sayList(facts) }),
      });
    });
    return [
      h('p', {}, stateMark('undecided', say('glance.best.some', { n: best.length, kind }))),
      h(
        'ul',
        {},
        reasons,
        best.length > NAMES ? h('li', { text: say('glance.more', { n: best.length - NAMES }) }) : null,
      ),
    ];
  }

  function fact(row, column) {
    const { unit } = scale(row);
    return say(unit ? 'glance.valued.unit' : 'glance.valued', { fact: row.name, value: text(row, column), unit });
  }

  function sinceTitle(chosen, baseline) {
    const later = chosen.version.number > baseline.version.number;
    return say(later ? 'glance.since' : 'glance.beside', { version: name(chosen), baseline: name(baseline) });
  }

  function sinceText(rows, chosen, baseline) {
    const { better, worse } = changed(rows, chosen, baseline);
    const { since, all } = detail;
    const good = better.length > 0 || since?.gone > 0;
    const bad = worse.length > 0 || since?.fresh > 0;
    const verdict = good && bad ? 'both' : good ? 'better' : bad ? 'worse' : 'same';
    const verdictText =
      verdict === 'both' && worse.length === 0 ? say('glance.since.fresh', { n: since.fresh }) : say(`glance.since.${verdict}`);
    const told = (row) => [...better, ...worse].includes(row);
    const same = rows.filter((row) => isWeighed(row, [chosen, baseline]) && !told(row));
    const list = (key, facts) => (facts.length === 0 ? null : h('li', { text: say(key, { facts: sayList(facts) }) }));
    const change = (row) => {
      const { unit } = scale(row);
      const key = unit ? 'glance.change.unit' : 'glance.change';
      return say(key, { fact: row.name, from: text(row, baseline), to: text(row, chosen), unit });
    };
    return [
      h('p', {}, stateMark(verdict === 'both' ? 'undecided' : verdict, verdictText)),
      h(
        'ul',
        {},
        list('glance.since.better.facts', better.map(change)),
        list('glance.since.worse.facts', worse.map(change)),
        list('glance.since.same.facts', same.map((row) => row.name)),
        since === null ? null : h('li', {}, sayWith('since.places', { counts: h('span', {}, placeLinks(since)) })),
        all === null ? null : h('li', {}, allLink(all)),
      ),
    ];
  }

  /** Each leads to the places it counts. */
  function placeLinks(since) {
    return sinceWords(since).flatMap(([which, n, words], i) => [
      i > 0 ? ', ' : '',
      n === 0
        ? words
        : h('button', {
            class: 'plain link',
            data: { key: `since ${which}` },
            text: words,
            on: { click: () => tell(el, 'wish.finding', { number: null, since: which }) },
          }),
    ]);
  }

  function allLink({ better, worse, same }) {
    const counts = { better, worse, same };
    const words = Object.entries(counts).map(([key, n]) => [key, say(`summary.${key}`, { n })]);
    return h('button', {
      class: 'plain link',
      data: { key: 'all measures' },
      text: say('glance.since.all', Object.fromEntries(words)),
      on: { click: () => tell(el, 'wish.table') },
    });
  }

  function goToFindings(event) {
    event.preventDefault();
    tell(el, 'wish.finding', { number: null });
  }

  /** The worst places of the chosen version, faults before warnings. */
  function wrongText() {
    const { places, severities, state } = detail;
    if (places.length === 0) return h('p', {}, stateMark('conforms', say('glance.wrong.nothing')));
    const few = fewPlaces(places, PLACES);
    return [
      h('p', { text: severities }),
      h(
        'ol',
        {},
        few.map(({ finding, number }) =>
          h(
            'li',
            {},
            shape(finding.severity),
            h('button', {
              class: 'plain link',
              data: { key: `glance ${number}` },
              text: lineText(finding, state),
              on: { click: () => tell(el, 'wish.finding', { number }) },
            }),
          ),
        ),
        places.length > few.length
          ? h(
              'li',
              {},
              h('a', {
                href: '#findings',
                text: say('glance.more', { n: places.length - few.length }),
                on: { click: goToFindings },
              }),
            )
          : null,
      ),
    ];
  }

  const scale = (row) => scaleOf(row, detail.state.specimen.units, detail.state.unit, detail.state.decimals);
  const text = (row, column) =>
    cellText(row, column.runIndex, detail.state.measures.get(row.measure), scale(row)) ?? '—';

  function table(rows, shown, weighed, best, more) {
    return h(
      'table',
      { class: 'ledger weighed' },
      h('caption', { class: 'hide', text: say('glance.caption') }),
      h(
        'thead',
        {},
        h(
          'tr',
          {},
          h('th', { scope: 'col', text: say('glance.fact') }),
          shown.map((column) =>
            h(
              'th',
              { scope: 'col', class: classOf(column, more) },
              thumbnail(column.version.has_pictures ? column.version.id : null),
              h('b', { text: name(column) }),
              h('span', {
                class: 'line',
                text: sayList(
                  [
                    column.isLatest && say('versions.latest'),
                    column.isBaseline && say('versions.baseline'),
                    best.includes(column) && best.length < weighed.length && say('glance.unbeaten'),
                  ].filter(Boolean),
                ),
              }),
            ),
          ),
        ),
      ),
      h(
        'tbody',
        {},
        rows.map((row) => factRow(row, shown, weighed, more)),
      ),
    );
  }

  function factRow(row, shown, weighed, more) {
    const least = leastOf(row, weighed);
    const { unit } = scale(row);
    const word = row.direction === 'higher' ? 'most' : 'least';
    return h(
      'tr',
      {},
      h(
        'th',
        { scope: 'row' },
        unit ? h('span', { class: 'unit', text: unit }) : null,
        h('a', { class: 'plain', href: `#/help?measure=${row.measure}`, text: row.name }),
        row.direction === 'none' ? ofReference(row) : null,
        weighed.length > 1 && row.direction !== 'none'
          ? h('small', {
              class: 'below',
              text: !isWeighed(row, weighed)
                ? say('glance.sampled')
                : least === null
                  ? say('glance.notApart')
                  : say(`glance.${word}`, { versions: names(least) }),
            })
          : null,
      ),
      shown.map((column) => {
        const isLeast = least?.includes(column);
        return h(
          'td',
          { class: classOf(column, more) },
          isLeast ? [h('span', { class: 'better' }, shape('better')), hidden(say(`glance.mark.${word}`))] : null,
          h('span', {
            class: 'num-text',
            title: cellSentence(row, column.runIndex, detail.state.measures.get(row.measure), scale(row)),
            text: text(row, column),
          }),
        );
      }),
    );
  }

  /** What the scan has of it, which the chosen version was measured against. */
  function ofReference(row) {
    const { state, chosen } = detail;
    const scan = state.columns.find(({ version, run }) => run !== null && version.id === chosen.run?.against);
    if (!scan || !given(row.values[scan.runIndex])) return null;
    return h('small', { class: 'below', text: say('glance.ofReference', { version: name(scan), value: text(row, scan) }) });
  }

  const classOf = (column, more) => ['n', column.isBaseline && 'base', more.includes(column) && 'more'].filter(Boolean).join(' ');
}

/** `4 gone, 2 new, 7 still there (1 less far)`, and what is not told apart: which, how many, in words. */
function sinceWords({ gone, fresh, still, less, more, open }) {
  const changes = [less > 0 && say('since.less', { n: less }), more > 0 && say('since.more', { n: more })].filter(Boolean);
  const stay = say('since.still', { n: still });
  return [
    ['gone', gone, say('since.gone', { n: gone })],
    ['new', fresh, say('since.new', { n: fresh })],
    ['still', still, changes.length > 0 ? say('since.still.changed', { still: stay, changes: sayList(changes) }) : stay],
    ...(open > 0 ? [['open', open, say('since.open', { n: open })]] : []),
  ];
}

export const sinceCounts = (since) => sayList(sinceWords(since).map(([, , words]) => words));
