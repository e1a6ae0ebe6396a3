// collection.js - the register of specimens. Mounted on the main part of the page.
//   down: 'show', detail = { query, items, total, counts, loading, problem }: what the address asks for and what came
//   up:   'wish.query', detail = the changed parts of the query; 'wish.more'; 'wish.new'
import { choice, emptyBox, errorBox, h, hidden, redraw, stateMark, timeMark } from '../dom.js';
import { formatCount, formatFaceSize, formatSafeEnd, withUnit } from '../format.js';
import { picturedVersion, thumbnail } from '../thumbnail.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';
import { spark } from '../spark.js';
import { specimenState } from '../specimen-state.js';
import { tell } from '../dom.js';

const STATES = ['', 'new', 'in work', 'ready', 'retired'];
const ORDERS = ['changed desc', 'changed asc', 'number asc', 'title asc', 'open_edges desc', 'lost desc'];

/** @param {HTMLElement} el */
export function CollectionView(el) {
  let shown = null;
  el.addEventListener('show', (event) => {
    shown = event.detail;
    update();
  });

  const wish = (changes) => tell(el, 'wish.query', changes);

  function update() {
    redraw(el, h('h1', { class: 'hide', text: say('collection.title') }), filterForm(), body());
  }

  function filterForm() {
    const { query, counts } = shown;
    const state = query.state ?? '';
    return h(
      'form',
      { class: 'controls', 'aria-label': say('collection.filter'), on: { submit: (event) => event.preventDefault() } },
      h(
        'fieldset',
        {},
        h('legend', { text: say('collection.state') }),
        STATES.map((name) =>
          h(
            'label',
            {},
            h('input', {
              type: 'radio',
              name: 'state',
              value: name,
              checked: state === name,
              data: { key: `state ${name}` },
              on: { change: () => wish({ state: name }) },
            }),
            h(
              'span',
              {},
              say(`state.${name || 'all'}`),
              ' ',
              h('span', { class: 'n quiet', text: counts[name] === undefined ? '' : formatCount(counts[name]) }),
            ),
          ),
        ),
      ),
      choice({
        label: say('collection.sort'),
        name: 'sort',
        chosen: `${query.sort ?? 'changed'} ${query.order ?? 'desc'}`,
        entries: ORDERS.map((order) => [order, say(`sort.${order.replace(' ', '.')}`)]),
        change: (value) => wish({ sort: value.split(' ')[0], order: value.split(' ')[1] }),
      }),
      h(
        'span',
        { class: 'right acts' },
        h('button', {
          type: 'button',
          data: { key: 'new' },
          text: say('collection.new'),
          on: { click: () => tell(el, 'wish.new') },
        }),
        h('a', { class: 'button first', href: '#/upload', data: { key: 'upload' }, text: say('collection.upload') }),
      ),
    );
  }

  function body() {
    const { items, total, loading, problem, query } = shown;
    if (problem)
      return errorBox(problemText(problem), [h('button', { text: say('do.again'), on: { click: () => wish({}) } })]);
    if (loading && items.length === 0) return h('p', { class: 'quiet', text: say('loading') });
    if (items.length === 0 && (query.q || query.state)) {
      return emptyBox(
        say('collection.none'),
        h('button', { text: say('collection.clear'), on: { click: () => wish({ q: '', state: '' }) } }),
      );
    }
    if (items.length === 0) {
      return emptyBox(say('collection.empty'), h('a', { href: '#/upload', text: say('collection.empty.next') }));
    }
    return [register(items, query), foot(items, total)];
  }

  function register(items, query) {
    const column = (name, key, number) => {
      const sorted = key !== null && (query.sort ?? 'changed') === key;
      const order = query.order ?? 'desc';
      return h(
        'th',
        { scope: 'col', class: number ? 'n' : null, 'aria-sort': sorted ? `${order}ending` : null },
        key === null
          ? say(name)
          : h(
              'button',
              {
                class: 'plain',
                data: { key: `by ${key}` },
                on: {
                  click: () =>
                    wish({
                      sort: key,
                      order:
                        sorted && order === 'desc'
                          ? 'asc'
                          : sorted
                            ? 'desc'
                            : key === 'number' || key === 'title'
                              ? 'asc'
                              : 'desc',
                    }),
                },
              },
              say(name),
              sorted ? (order === 'asc' ? ' ↑' : ' ↓') : '',
            ),
      );
    };
    return h(
      'div',
      { class: 'scroll wide' },
      h(
        'table',
        { class: 'ledger register' },
        h('caption', { class: 'hide', text: say('collection.title') }),
        h(
          'thead',
          {},
          h(
            'tr',
            {},
            h('th', { scope: 'col' }, hidden(say('column.picture'))),
            column('column.number', 'number'),
            column('column.scan', null),
            column('column.cage', null),
            column('column.state', null),
            column('column.openEdges', 'open_edges', true),
            column('column.loss', 'lost', true),
            column('column.findings', null, true),
            column('column.changed', 'changed'),
          ),
        ),
        h('tbody', {}, items.map(row)),
      ),
    );
  }

  function foot(items, total) {
    const left = total - items.length;
    return h(
      'div',
      { class: 'controls' },
      h('p', {
        class: 'quiet',
        text: `${say('collection.shown', { n: items.length, total: formatCount(total) })} ${say('collection.basis')}`,
      }),
      left > 0
        ? h('button', {
            class: 'right',
            data: { key: 'more' },
            text: say('collection.more', { n: left }),
            on: { click: () => tell(el, 'wish.more') },
          })
        : null,
    );
  }
}

function latestOf(specimen, kind) {
  return specimen.trend.filter((point) => point.kind === kind && !point.withdrawn).at(-1) ?? null;
}

function row(specimen) {
  const cages = specimen.trend.filter((point) => point.kind === 'cage' && !point.withdrawn);
  const scan = latestOf(specimen, 'scan');
  const cage = cages.findLast((point) => point.run !== null) ?? cages.at(-1) ?? null;
  const state = specimenState(specimen);
  const address = `#/specimen/${specimen.id}`;
  const latest = cage ?? scan;
  const trend = (key) => cages.map((point) => point[key]);
  const share = cage?.face_size && specimen.scan_diagonal ? cage.face_size / specimen.scan_diagonal : null;
  const unit = specimen.units === 'unknown' ? '' : specimen.units;
  return h(
    'tr',
    {},
    h('td', { class: 'picture' }, thumbnail(picturedVersion(specimen.trend))),
    h(
      'th',
      { scope: 'row' },
      h('span', { class: 'no', text: specimen.catalogue_number }),
      h('a', { class: 'what', href: address, data: { key: `open ${specimen.id}` }, text: specimen.title }),
    ),
    h('td', { class: 'mid', text: scan ? say('version.scan', { number: scan.number }) : '—' }),
    h(
      'td',
      { class: 'mid' },
      cage ? say('version.cage', { number: cage.number }) : '—',
      cage?.face_size ? h('small', { class: 'below', text: formatFaceSize(cage.face_size, share, unit) }) : null,
    ),
    h('td', { class: 'st' }, stateMark(state.kind, state.text)),
    trendCell('column.openEdges.short', 'spark.openEdges', trend('open_edges'), cage?.open_edges, formatCount),
    trendCell('column.loss.short', 'spark.loss', trend('lost'), cage?.lost, (value) =>
      withUnit(formatSafeEnd(value), unit),
    ),
    h('td', {
      class: 'n counts',
      data: { label: say('column.findings.short') },
      text: known(latest?.faults) ? `${formatCount(latest.faults)} / ${formatCount(latest.warnings ?? 0)}` : '—',
    }),
    h('td', { class: 'st quiet' }, timeMark(specimen.changed)),
  );
}

const known = (value) => value !== null && value !== undefined;

function trendCell(name, label, values, latest, print) {
  const text = known(latest) ? print(latest) : '—';
  return h(
    'td',
    { class: 'n' },
    h(
      'div',
      { class: 'pair', data: { label: say(name) } },
      spark(values, say(label, { latest: text })),
      h('span', { class: 'v', text }),
    ),
  );
}
