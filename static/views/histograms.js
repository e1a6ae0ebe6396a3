// histograms.js - valence and the shapes of faces, the baseline as a stepped outline over the chosen version's bars, in shares.
//   down: 'show', detail = { chosen, baseline: { name, record } or null, metric, kind }
//   up:   'wish.query' { chart }
import { edgeTicks, linearTicks } from '../axes.js';
import { choice, h, redraw, s, tell } from '../dom.js';
import { formatValue, withUnit } from '../format.js';
import { filledRange, METRICS, metricShares, valenceShares } from '../histogram.js';
import { say } from '../say.js';

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

  /** The two to overlay; only one where the baseline is the chosen version, or of another kind. */
  function pair(sharesOf) {
    const bars = sharesOf(state.chosen.record);
    const other =
      state.baseline && state.baseline.record.kind === state.chosen.record.kind
        ? sharesOf(state.baseline.record)
        : null;
    return bars === null ? null : { bars, outline: other };
  }

  function valenceFigure() {
    const both = pair((record) => valenceShares(record));
    const { bars, outline } = both;
    const labels = bars.labels.map((valence) =>
      valence === bars.last ? say('chart.andMore', { valence: String(valence) }) : String(valence),
    );
    const percent = (share) => (share === null ? '—' : withUnit(formatValue(share * 100, 3), '%'));
    const regular = state.chosen.record.kind === 'cage' ? '4' : '6';
    const caption = outline
      ? say('chart.valence.two', {
          regular,
          a: percent(outline.regularShare),
          baseline: state.baseline.name,
          b: percent(bars.regularShare),
          version: state.chosen.name,
        })
      : say('chart.valence.one', { regular, b: percent(bars.regularShare), version: state.chosen.name });
    return figure(
      say('chart.valence'),
      caption,
      say('chart.axis.irregular'),
      both,
      0,
      labels.length,
      labels.map((text, i) => ({ at: i + 0.5, text })),
      labels,
      null,
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
    const both = pair((record) => metricShares(record, `${kind}.${metric}`));
    const title = say(`chart.metric.${kind}`, { metric: say(`metric.${metric}`) });
    if (both === null)
      return h(
        'figure',
        { class: 'chart' },
        h('h3', { text: title }),
        picker,
        h('p', { class: 'quiet', text: say('chart.metric.none', { version: state.chosen.name }) }),
      );
    const { bars, outline } = both;
    const [first, end] = filledRange(outline ? [bars, outline] : [bars]);
    const ticks = edgeTicks(bars.edges.slice(first, end + 1));
    const caption = outline
      ? say('chart.median.two', {
          a: formatValue(outline.median, 3),
          baseline: state.baseline.name,
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
    return figure(title, caption, say(`chart.axis.${kind}`), both, first, end, ticks, names, picker);
  }

  function figure(title, caption, axisText, { bars, outline }, first, end, ticks, names, picker) {
    const barShares = bars.shares.slice(first, end);
    const outlineShares = outline?.shares.slice(first, end) ?? null;
    const most = Math.max(...barShares, ...(outlineShares ?? []), 0.001) * 100;
    const levels = linearTicks(most, 4);
    const x = (i) => BOX.left + (i * (BOX.right - BOX.left)) / barShares.length;
    const y = (share) => BOX.floor - ((BOX.floor - BOX.top) * share * 100) / levels.at(-1);
    const steps = outlineShares?.map((share, i) => `V${y(share).toFixed(1)}H${x(i + 1).toFixed(1)}`).join('');
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
      steps ? s('path', { class: 'outline', d: `M${BOX.left} ${BOX.floor}${steps}V${BOX.floor}` }) : null,
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
        outline ? h('li', {}, h('span', { class: 'swatch stepped' }), state.baseline.name) : null,
        h('li', {}, h('span', { class: 'swatch bar' }), state.chosen.name),
      ),
      h('p', { class: 'readout quiet', text: axisText }),
      drawing,
      numbers(title, names, barShares, outlineShares),
    );
  }

  function numbers(title, names, barShares, outlineShares) {
    const print = (share) => withUnit(formatValue(share * 100, 3), '%');
    return h(
      'details',
      {},
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
            outlineShares ? h('th', { scope: 'col', class: 'n', text: state.baseline.name }) : null,
            h('th', { scope: 'col', class: 'n', text: state.chosen.name }),
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
              outlineShares ? h('td', { class: 'n', text: print(outlineShares[i]) }) : null,
              h('td', { class: 'n', text: print(barShares[i]) }),
            ),
          ),
        ),
      ),
    );
  }
}
