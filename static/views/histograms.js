// histograms.js - valence and the shapes of faces in shares: the chosen version as bars, up to three others as stepped outlines over them.
//   down: 'show', detail = { chosen: { id, name, record } or null, others: the same, three at most, metric, offered: [{ id, name }] }
//   up:   'wish.query' { chart, beside }
import { edgeTicks, linearTicks } from '../axes.js';
import { choice, h, redraw, s, tell } from '../dom.js';
import { formatValue, withUnit } from '../format.js';
import { filledRange, METRICS, metricShares, valenceShares } from '../histogram.js';
import { say } from '../say.js';

const MOST = 4;
const DASHES = ['', 'second', 'third'];
const BOX = { width: 340, height: 216, left: 44, right: 328, top: 14, floor: 180 };

/** @param {HTMLElement} el */
export function Histograms(el) {
  let state = null;
  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
  });

  function update() {
    const { chosen } = state;
    if (chosen === null) return redraw(el);
    return redraw(el, valenceFigure(), metricFigure());
  }

  /** The histograms to overlay, the chosen version's first; null where it has none. */
  function overlay(sharesOf) {
    const all = [state.chosen, ...state.others].map(({ name, record }) => ({ name, of: sharesOf(record) }));
    return all[0].of === null ? null : all.filter((each) => each.of !== null);
  }

  /** Which versions are laid over the chosen one. */
  function besidePicker() {
    const others = state.offered.filter(({ id }) => id !== state.chosen.id);
    if (others.length === 0) return null;
    const shown = state.others.map(({ id }) => id);
    return h(
      'details',
      { class: 'pick', data: { open: 'beside' } },
      h('summary', { data: { key: 'beside' }, text: say('chart.beside', { n: shown.length + 1 }) }),
      h(
        'ul',
        {},
        others.map(({ id, name }) =>
          h(
            'li',
            {},
            h(
              'label',
              {},
              h('input', {
                type: 'checkbox',
                checked: shown.includes(id),
                disabled: !shown.includes(id) && shown.length + 1 >= MOST,
                data: { key: `beside ${id}` },
                on: {
                  change: () => {
                    const kept = shown.includes(id) ? shown.filter((each) => each !== id) : [...shown, id];
                    tell(el, 'wish.query', { beside: kept.join(',') || 'none' });
                  },
                },
              }),
              h('span', { text: name }),
            ),
          ),
        ),
      ),
    );
  }

  function valenceFigure() {
    const layers = overlay((record) => valenceShares(record));
    const [bars, outline] = layers.map((layer) => layer.of);
    const labels = bars.labels.map((valence) =>
      valence === bars.last ? say('chart.andMore', { valence: String(valence) }) : String(valence),
    );
    const percent = (share) => (share === null ? '—' : withUnit(formatValue(share * 100, 3), '%'));
    const regular = state.chosen.record.kind === 'cage' ? '4' : '6';
    const caption = outline
      ? say('chart.valence.two', {
          regular,
          a: percent(outline.regularShare),
          baseline: layers[1].name,
          b: percent(bars.regularShare),
          version: state.chosen.name,
        })
      : say('chart.valence.one', { regular, b: percent(bars.regularShare), version: state.chosen.name });
    return figure(
      say('chart.valence'),
      caption,
      say('chart.axis.irregular'),
      layers,
      0,
      labels.length,
      labels.map((text, i) => ({ at: i + 0.5, text })),
      labels,
      besidePicker(),
    );
  }

  function metricFigure() {
    const kind = state.chosen.record.kind === 'cage' ? 'quad' : 'tri';
    const metric = METRICS[kind].includes(state.metric) ? state.metric : 'aspect_ratio';
    const picker = choice({
      label: say('chart.metric'),
      name: 'metric',
      chosen: metric,
      entries: METRICS[kind].map((name) => [name, say(`metric.${name}`)]),
      change: (value) => tell(el, 'wish.query', { chart: value }),
    });
    const layers = overlay((record) => metricShares(record, `${kind}.${metric}`));
    const title = say(`chart.metric.${kind}`, { metric: say(`metric.${metric}`) });
    if (layers === null)
      return h(
        'figure',
        { class: 'chart' },
        h('h3', { text: title }),
        picker,
        h('p', { class: 'quiet', text: say('chart.metric.none', { version: state.chosen.name }) }),
      );
    const [bars, outline] = layers.map((layer) => layer.of);
    const [first, end] = filledRange(layers.map((layer) => layer.of));
    const ticks = edgeTicks(bars.edges.slice(first, end + 1));
    const caption = outline
      ? say('chart.median.two', {
          a: formatValue(outline.median, 3),
          baseline: layers[1].name,
          b: formatValue(bars.median, 3),
          version: state.chosen.name,
        })
      : say('chart.median.one', { b: formatValue(bars.median, 3), version: state.chosen.name });
    const names = bars.shares
      .slice(first, end)
      .map((_, i) =>
        say('chart.bin', {
          from: formatValue(bars.edges[first + i], 3),
          to: formatValue(bars.edges[first + i + 1], 3),
        }),
      );
    return figure(title, caption, say(`chart.axis.${kind}`), layers, first, end, ticks, names, picker);
  }

  function figure(title, caption, axisText, layers, first, end, ticks, names, picker) {
    const shares = layers.map(({ of }) => of.shares.slice(first, end));
    const [barShares, ...outlines] = shares;
    const most = Math.max(...shares.flat(), 0.001) * 100;
    const levels = linearTicks(most, 4);
    const x = (i) => BOX.left + (i * (BOX.right - BOX.left)) / barShares.length;
    const y = (share) => BOX.floor - ((BOX.floor - BOX.top) * share * 100) / levels.at(-1);
    const steps = (outline) => outline.map((share, i) => `V${y(share).toFixed(1)}H${x(i + 1).toFixed(1)}`).join('');
    const drawing = s(
      'svg',
      {
        class: 'drawing',
        viewBox: `0 0 ${BOX.width} ${BOX.height}`,
        role: 'img',
        'aria-label': `${title}. ${caption}`,
      },
      levels.map((level) => [
        s('path', { class: 'grid', d: `M${BOX.left} ${y(level / 100)}H${BOX.right}` }),
        s('text', { class: 'end', x: BOX.left - 6, y: y(level / 100) + 4, text: formatValue(level) }),
      ]),
      s('path', {
        class: 'bars',
        d: barShares
          .map(
            (share, i) =>
              `M${x(i).toFixed(1)} ${BOX.floor}V${y(share).toFixed(1)}H${x(i + 1).toFixed(1)}V${BOX.floor}z`,
          )
          .join(''),
      }),
      outlines.map((outline, i) =>
        s('path', { class: `outline ${DASHES[i]}`, d: `M${BOX.left} ${BOX.floor}${steps(outline)}V${BOX.floor}` }),
      ),
      s('path', { class: 'axis', d: `M${BOX.left} ${BOX.floor}H${BOX.right}` }),
      ticks.map((tick) => s('text', { class: 'mid', x: x(tick.at), y: BOX.floor + 16, text: tick.text })),
    );
    return h(
      'figure',
      { class: 'chart' },
      h('h3', { text: title }),
      h('figcaption', { text: caption }),
      picker,
      h(
        'ul',
        { class: 'key' },
        h('li', {}, h('span', { class: 'swatch bar' }), layers[0].name),
        layers.slice(1).map(({ name }, i) => h('li', {}, h('span', { class: `swatch stepped ${DASHES[i]}` }), name)),
      ),
      h('p', { class: 'readout quiet', text: axisText }),
      drawing,
      numbers(title, names, layers, shares),
    );
  }

  function numbers(title, names, layers, shares) {
    const print = (share) => withUnit(formatValue(share * 100, 3), '%');
    return h(
      'details',
      { data: { open: title } },
      h('summary', { text: say('chart.numbers') }),
      h(
        'table',
        { class: 'ledger small' },
        h('caption', { class: 'hide', text: title }),
        h(
          'thead',
          {},
          h(
            'tr',
            {},
            h('th', { scope: 'col', text: say('chart.range') }),
            layers.map(({ name }) => h('th', { scope: 'col', class: 'n', text: name })),
          ),
        ),
        h(
          'tbody',
          {},
          names.map((name, i) =>
            h(
              'tr',
              {},
              h('th', { scope: 'row', text: name }),
              shares.map((share) => h('td', { class: 'n', text: print(share[i]) })),
            ),
          ),
        ),
      ),
    );
  }
}
