// histograms.js - valence, the shapes of faces and the deviation in shares: the chosen version as bars, up to three others as stepped outlines over them.
//   down: 'show', detail = { chosen: { id, name, record } or null, others: the same, three at most, metric, way, offered: [{ id, name }],
//         unit, lengthFactor }
//   up:   'wish.query' { chart, beside, way }
import { edgeTicks, linearTicks } from '../axes.js';
import { choice, h, redraw, s, tell } from '../dom.js';
import { formatPlusMinus, formatValue, withUnit } from '../format.js';
import {
  deviationShares,
  filledClasses,
  filledRange,
  METRICS,
  metricShares,
  placeInClasses,
  valenceShares,
  WAYS,
} from '../histogram.js';
import { say, sayList } from '../say.js';

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
    return redraw(el, deviationFigure(), valenceFigure(), metricFigure());
  }

  /** The histograms to overlay, the chosen version's first; null where it has none. */
  function overlay(sharesOf) {
    const all = [state.chosen, ...state.others].map(({ name, record }) => ({ name, of: sharesOf(record) }));
    return all[0].of === null ? null : all.filter((each) => each.of !== null);
  }

  /** Distances by class, one way. What is known of each share is a whisker on its bar; the table has it of every version. */
  function deviationFigure() {
    const { chosen, unit, lengthFactor } = state;
    if (chosen.record.deviation === null) return null;
    const way = WAYS[state.way] ? state.way : 'lost';
    const picker = choice({
      label: say('chart.way'),
      name: 'way',
      chosen: way,
      entries: Object.keys(WAYS).map((name) => [name, say(`chart.way.${name}.${chosen.record.kind}`)]),
      change: (value) => tell(el, 'wish.query', { way: value }),
    });
    const title = say(`chart.distances.${way}`);
    const all = overlay((record) => deviationShares(record, way));
    if (all === null)
      return h(
        'figure',
        { class: 'chart' },
        h('h3', { text: title }),
        picker,
        h('p', { class: 'quiet', text: say('chart.distances.none', { version: chosen.name }) }),
      );
    const layers = all.filter(({ of }) => of.reference === all[0].of.reference);
    const left = state.others.map(({ name }) => name).filter((name) => !layers.some((layer) => layer.name === name));
    const [bars] = layers.map((layer) => layer.of);
    const [first, end] = filledClasses(layers.map((layer) => layer.of));
    const length = (value) => formatValue(value * lengthFactor, 3);
    const named = (i) =>
      i === 0
        ? say('chart.class.first', { to: length(bars.edges[0]) })
        : i === bars.edges.length
          ? say('chart.class.last', { from: length(bars.edges[i - 1]) })
          : say('chart.bin', { from: length(bars.edges[i - 1]), to: length(bars.edges[i]) });
    const names = Array.from({ length: end - first }, (_, i) => named(first + i));
    const edges = bars.edges.map((edge, i) => ({ at: i + 1 - first, text: length(edge) }));
    const inside = edges.filter(({ at }) => at >= 0 && at <= end - first);
    const step = Math.ceil(inside.length / 7);
    const tolerances = chosen.record.engine.settings.tolerances;
    const marks = tolerances
      .map((tolerance) => placeInClasses(bars.edges, tolerance))
      .filter((place) => place !== null && place >= first && place <= end)
      .map((place) => place - first);
    const [, outline] = layers;
    const caption = outline
      ? say('chart.distances.two', {
          a: length(outline.of.median),
          baseline: outline.name,
          b: withUnit(length(bars.median), unit),
          version: chosen.name,
        })
      : say('chart.distances.one', { b: withUnit(length(bars.median), unit), version: chosen.name });
    const notes = [
      tolerances.length > 0
        ? say('space.legend.tolerances', { values: withUnit(tolerances.map(length).join(', '), unit) })
        : null,
      left.length > 0 ? say('chart.distances.left', { versions: sayList(left) }) : null,
      say(bars.sampled.some((each) => each) ? 'chart.distances.sampled' : 'chart.distances.certified', {
        version: chosen.name,
      }),
    ].filter((note) => note !== null);
    return figure(
      title,
      caption,
      unit ? say('chart.axis.distances', { unit }) : say('chart.axis.distances.noUnit'),
      layers,
      first,
      end,
      inside.filter((_, i) => i % step === 0),
      names,
      picker,
      { marks, notes },
    );
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
    const names = bars.shares.slice(first, end).map((_, i) =>
      say('chart.bin', {
        from: formatValue(bars.edges[first + i], 3),
        to: formatValue(bars.edges[first + i + 1], 3),
      }),
    );
    return figure(title, caption, say(`chart.axis.${kind}`), layers, first, end, ticks, names, picker);
  }

  function figure(title, caption, axisText, layers, first, end, ticks, names, picker, { marks = [], notes = [] } = {}) {
    const shares = layers.map(({ of }) => of.shares.slice(first, end));
    const [barShares, ...outlines] = shares;
    const ends = layers.map(({ of }) => of.ends?.slice(first, end));
    const known = ends[0] ?? [];
    const most = Math.max(...shares.flat(), ...known.flat(), 0.001) * 100;
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
      known.map(([lower, upper], i) =>
        y(lower) - y(upper) < 2
          ? null
          : s('path', {
              class: 'whisker',
              d: `M${x(i + 0.5).toFixed(1)} ${y(lower).toFixed(1)}V${y(upper).toFixed(1)}m-2 0h4m-4 ${(y(lower) - y(upper)).toFixed(1)}h4`,
            }),
      ),
      marks.map((at) => s('path', { class: 'wedge', d: `M${x(at).toFixed(1)} ${BOX.top + 4}l-4-7h8z` })),
      marks.map((at) => s('path', { class: 'tolerance', d: `M${x(at).toFixed(1)} ${BOX.top + 4}V${BOX.floor}` })),
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
      notes.map((note) => h('p', { class: 'readout quiet', text: note })),
      numbers(title, names, layers, shares, first),
    );
  }

  function numbers(title, names, layers, shares, first) {
    const print = (share) => withUnit(formatValue(share * 100, 3), '%');
    /** With what is known of it, where the record tells. */
    const told = ({ of }, share, i) => {
      if (of.ends === undefined) return print(share);
      const [lower, upper] = of.ends[first + i];
      const value = withUnit(formatPlusMinus(share * 100, (upper - lower) * 50), '%');
      return of.sampled[first + i] ? say('value.sampled', { value }) : value;
    };
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
              shares.map((share, l) => h('td', { class: 'n', text: told(layers[l], share[i], i) })),
            ),
          ),
        ),
      ),
    );
  }
}
