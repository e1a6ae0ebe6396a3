// trend-charts.js - open edges and greatest deviation over the cages of a specimen, and over their face sizes.
//   down: 'show', detail = { points, unit, latest }: points oldest first { name, size, openEdges, lost, invented }, in the unit shown
// uPlot draws on a canvas; each figure has its sentence and its numbers as a table beside it.
import uPlot from 'uplot';
import { linearTicks, logRange, logTicks } from '../axes.js';
import { tradeOffFront } from '../comparison.js';
import { h, redraw } from '../dom.js';
import { formatCount, formatSafeEnd, formatValue, withUnit } from '../format.js';
import { say } from '../say.js';

const HEIGHT = 250;
/** Of the greatest loss: less is what arithmetic leaves, and has no place on a logarithmic axis. */
const NEGLIGIBLE = 1e-6;
const given = (value) => value !== null && value !== undefined;

/** @param {HTMLElement} el */
export function TrendCharts(el) {
  let state = null;
  let plots = [];

  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
  });
  const resize = new ResizeObserver(() =>
    plots.forEach(({ plot, box }) => {
      if (box.clientWidth > 0 && box.clientWidth !== plot.width)
        plot.setSize({ width: box.clientWidth, height: HEIGHT });
    }),
  );

  function update() {
    plots.forEach(({ plot }) => plot.destroy());
    plots = [];
    resize.disconnect();
    const figures = [
      overVersions('openEdges'),
      overVersions('deviation'),
      overSize('lost'),
      overSize('openEdges'),
    ].filter((figure) => figure !== null);
    redraw(
      el,
      figures.map((figure) => figure.el),
    );
    for (const figure of figures) {
      const plot = new uPlot(
        { ...figure.options, width: Math.max(240, figure.box.clientWidth), height: HEIGHT },
        figure.data,
        figure.box,
      );
      plots.push({ plot, box: figure.box });
      resize.observe(figure.box);
    }
  }

  /** Lines over the cages in the order they came. */
  function overVersions(what) {
    const counts = what === 'openEdges';
    const points = state.points.filter((point) => given(counts ? point.openEdges : point.lost));
    if (points.length < 2) return null;
    const series = counts
      ? [{ key: 'openEdges', dash: false }]
      : [
          { key: 'lost', dash: false },
          { key: 'invented', dash: true },
        ];
    const most = Math.max(...series.flatMap(({ key }) => points.map((point) => point[key] ?? 0)));
    const ticks = linearTicks(most, 5, counts);
    const ink = colour('--ink');
    return figure({
      title: say(counts ? 'chart.openEdges' : 'chart.deviation'),
      caption: say(counts ? 'chart.openEdges.caption' : 'chart.deviation.caption'),
      head: counts ? ['openEdges'] : ['lost', 'invented'],
      points,
      keys: series.map(({ key, dash }) => [dash ? 'dashed' : 'solid', say(`chart.key.${key}`)]),
      axis: counts ? say('chart.axis.openEdges') : say('chart.axis.deviation', { unit: state.unit }),
      data: [points.map((_, i) => i), ...series.map(({ key }) => points.map((point) => point[key] ?? null))],
      options: {
        scales: { x: { time: false, range: [-0.4, points.length - 0.6] }, y: { range: [0, ticks.at(-1)] } },
        axes: [
          axis({
            splits: () => points.map((_, i) => i).filter((i) => i % Math.ceil(points.length / 8) === 0),
            values: (_, at) => at.map((i) => points[i].name),
          }),
          axis({ splits: () => ticks, values: (_, at) => at.map((value) => formatValue(value)), size: 52 }),
        ],
        series: [
          {},
          ...series.map(({ dash }) => ({
            stroke: ink,
            width: 1.5,
            dash: dash ? [5, 4] : undefined,
            points: { show: true, size: dash ? 6 : 7, fill: dash ? colour('--sheet') : ink, stroke: ink, width: 1.5 },
          })),
        ],
      },
    });
  }

  /** Points over face size: the trade-off front filled and joined by a staircase, the beaten ones hollow. */
  function overSize(what) {
    const counts = what === 'openEdges';
    const all = state.points.filter((point) => given(point.size) && given(point[what]));
    const least = NEGLIGIBLE * Math.max(...all.map((point) => point[what]));
    const points = counts ? all : all.filter((point) => point.lost > least);
    if (points.length < 2) return null;
    const front = new Set(
      tradeOffFront(points.map((point) => ({ size: point.size, loss: point[what], point }))).map((each) => each.point),
    );
    const sorted = [...points].sort((a, b) => a.size - b.size);
    const xRange = logRange(sorted.map((point) => point.size));
    const ticks = counts ? linearTicks(Math.max(...sorted.map((point) => point.openEdges)), 5, true) : null;
    const yRange = counts ? [0, ticks.at(-1) * 1.08] : logRange(sorted.map((point) => point.lost));
    const yTicks = counts ? ticks : logTicks(...yRange);
    return figure({
      title: say(counts ? 'chart.openEdgesBySize' : 'chart.lossBySize'),
      caption: [
        say('chart.front.caption'),
        all.length > points.length ? say('chart.front.leftOut', { n: all.length - points.length }) : '',
      ]
        .join(' ')
        .trim(),
      head: [what],
      points: sorted,
      keys: [
        ['filled', say('chart.key.front')],
        ['hollow', say('chart.key.beaten')],
      ],
      axis: `${counts ? say('chart.axis.openEdges') : say('chart.axis.loss', { unit: state.unit })} ${say('chart.axis.over', { unit: state.unit })}`,
      data: [sorted.map((point) => point.size), sorted.map((point) => point[what])],
      options: {
        scales: { x: { time: false, distr: 3, range: xRange }, y: { distr: counts ? 1 : 3, range: yRange } },
        axes: [
          axis({
            splits: () => logTicks(...xRange),
            values: (_, at) => at.map((value) => formatValue(value, 2)),
            filter: (_, at) => at,
          }),
          axis({
            splits: () => yTicks,
            values: (_, at) => at.map((value) => formatValue(value, 3)),
            filter: (_, at) => at,
            size: 52,
          }),
        ],
        series: [{}, { paths: () => null, points: { show: false } }],
        hooks: { draw: [(plot) => drawFront(plot, sorted, what, front, state.latest)] },
      },
    });
  }

  function figure({ title, caption, head, points, keys, axis: axisText, data, options }) {
    const box = h('div', { class: 'plot', 'aria-hidden': 'true' });
    const readout = h('p', { class: 'readout quiet', 'aria-hidden': 'true', text: axisText });
    const words = (point) =>
      say('chart.readout', {
        version: point.name,
        values: head.map((key) => `${say(`chart.key.${key}`)} ${printed(point, key)}`).join(', '),
      });
    const hover = (plot) => {
      readout.textContent = given(plot.cursor.idx) ? words(points[plot.cursor.idx]) : axisText;
    };
    const el = h(
      'figure',
      { class: 'chart' },
      h('h3', { text: title }),
      h('figcaption', { text: caption }),
      keys.length < 2
        ? null
        : h(
            'ul',
            { class: 'key' },
            keys.map(([form, text]) => h('li', {}, h('span', { class: `swatch ${form}` }), text)),
          ),
      readout,
      box,
      numbers(title, head, points),
    );
    return {
      el,
      box,
      data,
      options: {
        ...options,
        hooks: { ...options.hooks, setCursor: [hover] },
        legend: { show: false },
        cursor: { drag: { x: false, y: false }, y: false, points: { show: false } },
        padding: [8, 12, 0, 0],
      },
    };
  }

  function numbers(title, head, points) {
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
            h('th', { scope: 'col', text: say('chart.version') }),
            h('th', { scope: 'col', class: 'n', text: say('version.faceSize') }),
            head.map((key) => h('th', { scope: 'col', class: 'n', text: say(`chart.key.${key}`) })),
          ),
        ),
        h(
          'tbody',
          {},
          points.map((point) =>
            h(
              'tr',
              {},
              h('th', { scope: 'row', text: point.name }),
              h('td', { class: 'n', text: given(point.size) ? withUnit(formatValue(point.size, 3), state.unit) : '—' }),
              head.map((key) => h('td', { class: 'n', text: printed(point, key) })),
            ),
          ),
        ),
      ),
    );
  }

  function printed(point, key) {
    if (!given(point[key])) return '—';
    return key === 'openEdges' ? formatCount(point[key]) : withUnit(formatSafeEnd(point[key]), state.unit);
  }
}

/** The colour of a token as the canvas wants it. */
function colour(token) {
  const probe = h('span', { style: { color: `var(${token})` } });
  document.body.append(probe);
  const value = getComputedStyle(probe).color;
  probe.remove();
  return value;
}

function axis(options) {
  return {
    stroke: colour('--ink-2'),
    font: `11px ${getComputedStyle(document.body).fontFamily}`,
    gap: 4,
    size: 28,
    grid: { stroke: colour('--rule'), width: 1 },
    ticks: { stroke: colour('--ink-3'), width: 1, size: 4 },
    ...options,
  };
}

/** Draws the staircase of the front, its points filled, the others hollow, and the names where they find room. */
function drawFront(plot, points, what, front, latest) {
  const { ctx } = plot;
  const ratio = devicePixelRatio;
  const at = (point) => ({ x: plot.valToPos(point.size, 'x', true), y: plot.valToPos(point[what], 'y', true) });
  ctx.save();
  ctx.strokeStyle = colour('--ink');
  ctx.fillStyle = colour('--ink');
  ctx.lineWidth = 1.5 * ratio;
  ctx.beginPath();
  [...front].forEach((point, i) => {
    const { x, y } = at(point);
    if (i === 0) ctx.moveTo(x, y);
    else {
      ctx.lineTo(x, at([...front][i - 1]).y);
      ctx.lineTo(x, y);
    }
  });
  ctx.stroke();
  const taken = points.map((point) => ({
    x: at(point).x - 6 * ratio,
    y: at(point).y - 6 * ratio,
    w: 12 * ratio,
    h: 12 * ratio,
  }));
  [...front].slice(1).forEach((point, i) => {
    const from = at([...front][i]);
    const to = at(point);
    taken.push(
      { x: Math.min(from.x, to.x), y: from.y - 1, w: Math.abs(from.x - to.x), h: 2 },
      { x: to.x - 1, y: Math.min(from.y, to.y), w: 2, h: Math.abs(from.y - to.y) },
    );
  });
  for (const point of [...points].sort((a, b) => front.has(a) - front.has(b))) {
    const { x, y } = at(point);
    ctx.beginPath();
    ctx.arc(x, y, 4.5 * ratio, 0, 2 * Math.PI);
    ctx.fillStyle = colour(front.has(point) ? '--ink' : '--sheet');
    ctx.fill();
    ctx.stroke();
  }
  ctx.textBaseline = 'middle';
  ctx.textAlign = 'left';
  for (const point of [...points].reverse()) {
    const newest = point.name === latest;
    ctx.font = `${newest ? '600 ' : ''}${11 * ratio}px ${getComputedStyle(document.body).fontFamily}`;
    ctx.fillStyle = colour(newest ? '--ink' : '--ink-2');
    const w = ctx.measureText(point.name).width;
    const { x, y } = at(point);
    const half = 7 * ratio;
    const spots = [
      [9, 0],
      [-9 - w / ratio, 0],
      [8, 11],
      [-8 - w / ratio, -11],
      [8, -11],
      [-8 - w / ratio, 11],
      [-w / ratio / 2, -14],
      [-w / ratio / 2, 14],
    ].map(([dx, dy]) => ({ x: x + dx * ratio, y: y + dy * ratio - half, w, h: 2 * half }));
    const spot = spots.find((box) => inside(plot, box) && !taken.some((other) => overlap(box, other)));
    if (!spot) continue;
    ctx.strokeStyle = colour('--paper');
    ctx.lineWidth = 4 * ratio;
    ctx.strokeText(point.name, spot.x, spot.y + half);
    ctx.fillText(point.name, spot.x, spot.y + half);
    taken.push(spot);
  }
  ctx.restore();
}

const overlap = (a, b) => a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
const inside = (plot, box) =>
  box.x >= plot.bbox.left &&
  box.x + box.w <= plot.bbox.left + plot.bbox.width &&
  box.y >= plot.bbox.top &&
  box.y + box.h <= plot.bbox.top + plot.bbox.height;
