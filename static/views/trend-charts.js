// trend-charts.js - one measure over the versions of a kind, what was lost and invented over them, and two costs weighed against
// each other. Whiskers are the ends of what is certified, drawn where they are wide enough to see.
//   down: 'show', detail = { state of joins/specimen.js, over, x, y: what is drawn, or undefined }
//   up:   'wish.query' { over, x, y, version }
// Each figure has its sentence, and its numbers as a table whose buttons choose a version, as a click on its point does.
import { linearTicks, logRange, logTicks } from '../axes.js';
import { cellText, endsOf, scaleOf } from '../comparison.js';
import { choice, h, hidden, redraw, s, tell } from '../dom.js';
import { formatValue, withUnit } from '../format.js';
import { say, sayList } from '../say.js';
import { versionName } from '../specimen-state.js';
import { tradeOff, turned } from '../trade-off.js';

const BOX = { width: 360, height: 250, left: 50, right: 346, top: 14, floor: 214 };
const LOST = 'deviation.reference_to_subject.max.upper';
const INVENTED = 'deviation.subject_to_reference.max.upper';
const FACE_SIZE = 'face_size';
/** Less of these is less work to mend and to carry; they have no direction of their own. */
const COUNTS = ['subject.counts.faces', 'subject.counts.vertices', 'subject.counts.edges'];
/** Of the whole axis: a shorter whisker would not be seen. */
const SEEN = 0.008;
/** A logarithmic axis where the greatest is so many times the least. */
const LOG_FROM = 8;
/** Of the greatest: less is what arithmetic leaves, and has no place on a logarithmic axis. */
const NEGLIGIBLE = 1e-6;
const NAMES = 8;

const given = (value) => value !== null && value !== undefined;

/** @param {HTMLElement} el */
export function TrendCharts(el) {
  let state = null;
  let wanted = {};

  el.addEventListener('show', (event) => {
    ({ state, ...wanted } = event.detail);
    update();
  });

  function update() {
    if (state.comparison === null) return redraw(el);
    return redraw(el, overVersions(), deviation(), weighing());
  }

  const rowOf = (path) => state.comparison.rows.find((row) => row.measure === path);
  const scale = (row) => scaleOf(row, state.specimen.units, state.unit, state.decimals);
  const withUnitOf = (row) => withUnit(row.name, scale(row).unit && `(${scale(row).unit})`);
  const printed = (row, column) =>
    row === FACE_SIZE
      ? state.ruler.faceSize(column.version.face_size)
      : (cellText(row, column.runIndex, state.measures.get(row.measure), scale(row)) ?? '—');

  /** What is known of a column: the value drawn and the ends of its interval, in the unit shown; null where there is nothing. */
  function known(row, column) {
    if (row === FACE_SIZE) {
      const size = column.version.face_size;
      return given(size) ? exactly(size * state.ruler.factor) : null;
    }
    const i = column.runIndex;
    if (!given(row.values[i]) || (row.comparable[i] === false && column.runIndex !== state.baselineIndex)) return null;
    const { factor } = scale(row);
    const value = row.values[i] * factor;
    const ends = endsOf(row, i);
    return ends === null ? exactly(value) : { value, lower: ends.lower * factor, upper: ends.upper * factor };
  }

  const exactly = (value) => ({ value, lower: value, upper: value });

  /** Rows that can be drawn over the versions, in their groups, for a select. */
  function groups(accepts, ...first) {
    const found = new Map();
    for (const row of state.comparison.rows) {
      if (!accepts(row) || !state.trendColumns.some((column) => known(row, column) !== null)) continue;
      found.set(row.group, [...(found.get(row.group) ?? []), [row.measure, row.name]]);
    }
    const title = new Map(state.groups.map((group) => [group.id, group.title]));
    return [...first, ...[...found].map(([id, entries]) => ({ title: title.get(id) ?? id, entries }))];
  }

  function pick(label, name, chosen, entries) {
    return choice({ label, name, chosen, entries, change: (value) => tell(el, 'wish.query', { [name]: value }) });
  }

  /** One measure, chosen from all, over the versions in the order they came. */
  function overVersions() {
    const row = rowOf(wanted.over) ?? rowOf('subject.topology.open_edges');
    if (row === undefined || state.trendColumns.length < 2) return null;
    return lines({
      id: 'over-versions',
      title: say('chart.over', { name: row.name }),
      caption: say('chart.over.caption'),
      picker: pick(
        say('chart.measure'),
        'over',
        row.measure,
        groups(() => true),
      ),
      axis: withUnitOf(row),
      series: [{ row, name: row.name }],
    });
  }

  /** What was lost and what was invented, greatest of each. */
  function deviation() {
    const series = [LOST, INVENTED].map(rowOf).filter((row) => row !== undefined);
    if (series.length < 2 || state.trendColumns.filter((column) => known(series[0], column) !== null).length < 2)
      return null;
    return lines({
      title: say('chart.deviation'),
      caption: say('chart.deviation.caption'),
      axis: say('chart.axis.deviation', { unit: scale(series[0]).unit }),
      series: series.map((row, i) => ({
        row,
        name: say(i === 0 ? 'chart.key.lost' : 'chart.key.invented'),
        dashed: i > 0,
      })),
    });
  }

  function lines({ id, title, caption, picker, axis, series }) {
    const columns = state.trendColumns.filter((column) => series.some(({ row }) => known(row, column) !== null));
    const values = series.flatMap(({ row }) =>
      columns.map((column) => known(row, column)).filter((each) => each !== null),
    );
    const whole = series.every(({ row }) => row.unit === 'count');
    const low = Math.min(0, ...values.map(({ lower }) => lower));
    const high = Math.max(...values.map(({ upper }) => upper));
    const ticks = low < 0 ? signedTicks(low, high) : linearTicks(high, 5, whole);
    const x = (i) =>
      BOX.left + 12 + ((BOX.right - BOX.left - 24) * (columns.length > 1 ? i : 0.5)) / Math.max(1, columns.length - 1);
    const y = linear(ticks[0], ticks.at(-1));
    const step = Math.ceil(columns.length / NAMES);
    const isDistance = series.every(({ row }) => row.unit === 'length' && row.measure.startsWith('deviation'));
    const tolerances = isDistance
      ? state.specimen.tolerances.map((length) => length * state.ruler.factor).filter((length) => length <= ticks.at(-1))
      : [];
    const drawing = plot(title, caption, [
      ticks.map((tick) => horizontal(y(tick), formatValue(tick))),
      tolerances.map((length) => [
        s('path', { class: 'wedge', d: `M${BOX.left} ${y(length).toFixed(1)}l-6-4v8z` }),
        s('path', { class: 'tolerance', d: `M${BOX.left} ${y(length).toFixed(1)}H${BOX.right}` }),
      ]),
      columns.map((column, i) =>
        i % step === 0
          ? s('text', { class: 'mid', x: x(i), y: BOX.floor + 16, text: String(column.version.number) })
          : null,
      ),
      s('text', {
        class: 'mid',
        x: (BOX.left + BOX.right) / 2,
        y: BOX.floor + 32,
        text: say(`chart.numbersOf.${columns[0]?.version.kind ?? 'cage'}`),
      }),
      series.map(({ row, dashed }) => {
        const points = columns.flatMap((column, i) => {
          const at = known(row, column);
          return at === null ? [] : [{ column, at, x: x(i) }];
        });
        return [
          s('path', {
            class: dashed ? 'line dashed' : 'line',
            d: path(points.map((point) => [point.x, y(point.at.value)])),
          }),
          points.map((point) => whisker(point.x, y(point.at.lower), point.x, y(point.at.upper))),
          points.map((point) =>
            dot(point.column, point.x, y(point.at.value), dashed ? 'hollow' : 'filled', printed(row, point.column)),
          ),
        ];
      }),
    ]);
    return figure({
      id,
      title,
      caption:
        tolerances.length > 0
          ? `${caption} ${say('chart.tolerances', { values: withUnit(tolerances.map((length) => formatValue(length)).join(', '), state.unit) })}`
          : caption,
      picker,
      axis,
      drawing,
      keys: series.length < 2 ? [] : series.map(({ name, dashed }) => [dashed ? 'dashed' : 'solid', name]),
      numbers: numbers(
        title,
        columns,
        series.map(({ row, name }) => ({
          name: withUnit(name, scale(row).unit && `(${scale(row).unit})`),
          text: (column) => printed(row, column),
        })),
      ),
    });
  }

  /** Two costs against each other: the front filled and joined by a staircase, the beaten hollow, what is not told apart a lozenge. */
  function weighing() {
    const costs = (row) => row.direction !== 'none' || COUNTS.includes(row.measure);
    const sized = state.trendColumns.some(({ version }) => given(version.face_size));
    const cost = (path, ...fallbacks) =>
      [path, ...fallbacks]
        .map((each) => (each === FACE_SIZE ? sized && FACE_SIZE : rowOf(each)))
        .find((row) => row && (row === FACE_SIZE || costs(row)));
    const across = cost(wanted.x, FACE_SIZE, COUNTS[0]);
    const up = cost(wanted.y, LOST, 'subject.topology.open_edges');
    if (!across || !up) return null;
    const both = state.trendColumns
      .map((column) => ({ column, x: known(across, column), y: known(up, column) }))
      .filter((point) => point.x !== null && point.y !== null);
    if (both.length < 2) return null;
    const [xAxis, yAxis] = [axisOf(both.map((point) => point.x)), axisOf(both.map((point) => point.y))];
    const points = both.filter((point) => xAxis.shows(point.x.value) && yAxis.shows(point.y.value));
    const less = (row, each) => (row === FACE_SIZE || row.direction === 'higher' ? turned(each) : each);
    const states = tradeOff(points.map((point) => ({ x: less(across, point.x), y: less(up, point.y) })));
    const name = (row) => (row === FACE_SIZE ? say('version.faceSize') : row.name);
    const title = say('chart.weigh', { x: name(across), y: name(up) });
    const caption = say('chart.weigh.caption', { x: better(across), y: better(up) });
    const x = (value) => BOX.left + (BOX.right - BOX.left) * xAxis.share(value);
    const y = (value) => BOX.floor - (BOX.floor - BOX.top) * yAxis.share(value);
    const front = points
      .filter((_, i) => states[i].state === 'front')
      .sort((a, b) => a.x.value - b.x.value || a.y.value - b.y.value);
    const forms = { front: 'filled', open: 'lozenge', beaten: 'hollow' };
    const drawing = plot(`${title}.`, frontText(points, states), [
      yAxis.ticks.map((tick) => horizontal(y(tick), formatValue(tick, 3))),
      xAxis.ticks.map((tick) => vertical(x(tick), formatValue(tick, 3))),
      s('path', { class: 'line', d: staircase(front, across === FACE_SIZE || across.direction === 'higher', x, y) }),
      points.map((point) => [
        whisker(x(point.x.lower), y(point.y.value), x(point.x.upper), y(point.y.value)),
        whisker(x(point.x.value), y(point.y.lower), x(point.x.value), y(point.y.upper)),
      ]),
      points.map((point, i) =>
        dot(
          point.column,
          x(point.x.value),
          y(point.y.value),
          forms[states[i].state],
          sayList([printed(across, point.column), printed(up, point.column)]),
        ),
      ),
      labels(points.map((point) => ({ column: point.column, x: x(point.x.value), y: y(point.y.value) }))),
    ]);
    return figure({
      id: 'trade-off',
      title,
      caption,
      picker: [
        pick(say('chart.cost.y'), 'y', up === FACE_SIZE ? FACE_SIZE : up.measure, groups(costs)),
        pick(
          say('chart.cost.x'),
          'x',
          across === FACE_SIZE ? FACE_SIZE : across.measure,
          groups(costs, ...(sized ? [[FACE_SIZE, say('version.faceSize')]] : [])),
        ),
      ],
      axis: say('chart.axis.weigh', { y: axisText(up, yAxis), x: axisText(across, xAxis) }),
      drawing,
      keys: ['front', 'beaten', ...(states.some((each) => each.state === 'open') ? ['open'] : [])].map((each) => [
        forms[each],
        say(`chart.key.${each}`),
      ]),
      after: [
        h('p', { class: 'told', text: frontText(points, states) }),
        both.length > points.length
          ? h('p', { class: 'quiet', text: say('chart.front.leftOut', { n: both.length - points.length }) })
          : null,
      ],
      numbers: numbers(
        title,
        points.map((point) => point.column),
        [
          ...[across, up].map((row) => ({
            name: name(row),
            text: (column) =>
              row === FACE_SIZE ? printed(row, column) : withUnit(printed(row, column), scale(row).unit),
          })),
          {
            name: say('chart.front'),
            text: (column) => {
              const { state: which, by } = states[points.findIndex((point) => point.column === column)];
              return by === null
                ? say('chart.key.front')
                : say(`chart.by.${which}`, { version: versionName(points[by].column.version) });
            },
          },
        ],
      ),
    });
  }

  const better = (row) =>
    say(row === FACE_SIZE || row.direction === 'higher' ? 'chart.more' : 'chart.less', {
      name: row === FACE_SIZE ? say('version.faceSize') : row.name,
    });
  const axisText = (row, { log }) => {
    const text =
      row === FACE_SIZE ? withUnit(say('version.faceSize'), state.unit && `(${state.unit})`) : withUnitOf(row);
    return log ? say('chart.log', { text }) : text;
  };

  function frontText(points, states) {
    const names = (which) =>
      points.filter((_, i) => states[i].state === which).map(({ column }) => versionName(column.version));
    const beaten = points
      .map(({ column }, i) => ({ column, ...states[i] }))
      .filter((each) => each.state === 'beaten')
      .map(({ column, by }) =>
        say('chart.front.by', { version: versionName(column.version), other: versionName(points[by].column.version) }),
      );
    return [
      say('chart.front.on', { versions: sayList(names('front')) }),
      beaten.length > 0 ? say('chart.front.beaten', { versions: sayList(beaten) }) : '',
      names('open').length > 0 ? say('chart.front.open', { versions: sayList(names('open')) }) : '',
    ]
      .join(' ')
      .trim();
  }

  function dot(column, x, y, form, text) {
    const chosen = column.isChosen;
    const shapes = {
      filled: () => s('circle', { cx: x, cy: y, r: 4 }),
      hollow: () => s('circle', { cx: x, cy: y, r: 4 }),
      lozenge: () => s('path', { d: `M${x} ${y - 5.5}l5.5 5.5-5.5 5.5-5.5-5.5z` }),
    };
    return s(
      'g',
      {
        class: ['dot', form, chosen && 'now'].filter(Boolean).join(' '),
        on: { click: () => tell(el, 'wish.query', { version: column.version.id }) },
      },
      s('title', { text: say('chart.readout', { version: versionName(column.version), values: text }) }),
      s('circle', { class: 'reach', cx: x, cy: y, r: 12 }),
      chosen ? s('circle', { class: 'ring', cx: x, cy: y, r: 8 }) : null,
      shapes[form](),
    );
  }

  /** The numbers of a figure, made when they are unfolded. */
  function numbers(title, columns, entries) {
    const fill = (part) => part.querySelector('table') ?? part.append(table(title, columns, entries));
    const part = h(
      'details',
      { data: { open: title }, on: { toggle: ({ target }) => target.open && fill(target) } },
      h('summary', { text: say('chart.numbers') }),
    );
    const isOpen = [...el.querySelectorAll('details[open]')].some(({ dataset }) => dataset.open === title);
    if (isOpen) fill(part);
    return part;
  }

  function table(title, columns, entries) {
    return h(
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
          entries.map(({ name }) => h('th', { scope: 'col', class: 'n', text: name })),
        ),
      ),
      h(
        'tbody',
        {},
        columns.map((column) =>
          h(
            'tr',
            {},
            h(
              'th',
              { scope: 'row' },
              column.isChosen
                ? h('b', {}, versionName(column.version), hidden(` ${say('versions.chosen')}`))
                : h('button', {
                    class: 'plain link',
                    data: { key: `${title} ${column.version.id}` },
                    text: versionName(column.version),
                    on: { click: () => tell(el, 'wish.query', { version: column.version.id }) },
                  }),
            ),
            entries.map(({ text }) => h('td', { class: 'n', text: text(column) })),
          ),
        ),
      ),
    );
  }
}

function figure({ id, title, caption, picker, axis, drawing, keys, after, numbers }) {
  return h(
    'figure',
    { class: 'chart', id: id ?? null },
    h('h3', { text: title }),
    h('figcaption', { text: caption }),
    picker ? h('div', { class: 'picks' }, picker) : null,
    keys.length === 0
      ? null
      : h(
          'ul',
          { class: 'key' },
          keys.map(([form, text]) => h('li', {}, h('span', { class: `swatch ${form}` }), text)),
        ),
    h('p', { class: 'readout quiet', text: axis }),
    drawing,
    after,
    numbers,
  );
}

function plot(title, caption, content) {
  return s(
    'svg',
    { class: 'drawing', viewBox: `0 0 ${BOX.width} ${BOX.height}`, role: 'img', 'aria-label': `${title} ${caption}` },
    s('path', { class: 'axis', d: `M${BOX.left} ${BOX.floor}H${BOX.right}` }),
    content.flat(Infinity),
  );
}

const horizontal = (y, text) => [
  s('path', { class: 'grid', d: `M${BOX.left} ${y.toFixed(1)}H${BOX.right}` }),
  s('text', { class: 'end', x: BOX.left - 6, y: y + 4, text }),
];
const vertical = (x, text) => [
  s('path', { class: 'grid', d: `M${x.toFixed(1)} ${BOX.top}V${BOX.floor}` }),
  s('text', { class: 'mid', x, y: BOX.floor + 16, text }),
];
const path = (points) =>
  points.length === 0 ? '' : `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join('L')}`;

function whisker(x1, y1, x2, y2) {
  if (Math.hypot(x2 - x1, y2 - y1) < SEEN * (BOX.right - BOX.left) || ![x1, y1, x2, y2].every(Number.isFinite))
    return null;
  const cap = x1 === x2 ? `M${x1 - 3} ${y1}h6M${x1 - 3} ${y2}h6` : `M${x1} ${y1 - 3}v6M${x2} ${y1 - 3}v6`;
  return s('path', { class: 'whisker', d: `M${x1} ${y1}L${x2} ${y2}${cap}` });
}

function linear(low, high) {
  return (value) => BOX.floor - ((BOX.floor - BOX.top) * (value - low)) / (high - low || 1);
}

/** Round values from below `low` to above `high`, 0 among them. */
function signedTicks(low, high) {
  const most = Math.max(-low, high, Number.MIN_VALUE);
  const positive = linearTicks(most, 4);
  const step = positive[1];
  return [
    ...positive
      .slice(1)
      .map((tick) => -tick)
      .reverse(),
    ...positive,
  ].filter((tick) => tick > low - step && tick < high + step);
}

/** A logarithmic axis where the values are spread widely and none is nothing, else one from 0. */
function axisOf(values) {
  const most = Math.max(...values.map(({ upper }) => upper));
  const counted = values.filter(({ value }) => value > NEGLIGIBLE * most);
  const least = Math.min(...counted.map(({ value }) => value));
  const nothing = counted.length < values.length;
  if (least > 0 && !nothing && most / least >= LOG_FROM) {
    const range = logRange(counted.map(({ value }) => value));
    return {
      log: true,
      ticks: logTicks(...range),
      shows: (value) => value > 0,
      share: (value) => Math.log(Math.max(value, range[0]) / range[0]) / Math.log(range[1] / range[0]),
    };
  }
  const low = Math.min(0, ...values.map(({ lower }) => lower));
  const ticks = low < 0 ? signedTicks(low, most) : linearTicks(most, 5);
  const [from, to] = [ticks[0], ticks.at(-1) * 1.06 || 1];
  return { log: false, ticks, shows: () => true, share: (value) => (value - from) / (to - from) };
}

/** Steps between the points of the front, from left to right; `more`: further right is better. */
function staircase(front, more, x, y) {
  return front
    .map((point, i) => {
      const [px, py] = [x(point.x.value).toFixed(1), y(point.y.value).toFixed(1)];
      if (i === 0) return `M${px} ${py}`;
      return more ? `V${py}H${px}` : `H${px}V${py}`;
    })
    .join('');
}

/** Names beside the points, where they find room; the others have theirs on hover and in the table. */
function labels(points) {
  const taken = points.map(({ x, y }) => ({ x: x - 6, y: y - 6, w: 12, h: 12 }));
  return [...points].reverse().map(({ column, x, y }) => {
    const text = versionName(column.version);
    const w = text.length * 6.4;
    const spots = [
      [9, 0],
      [-9 - w, 0],
      [-w / 2, -13],
      [-w / 2, 13],
      [8, -11],
      [-8 - w, -11],
      [8, 11],
      [-8 - w, 11],
    ].map(([dx, dy]) => ({ x: x + dx, y: y + dy - 6, w, h: 12 }));
    const spot = spots.find((box) => inside(box) && !taken.some((other) => overlap(box, other)));
    if (!spot) return null;
    taken.push(spot);
    return s('text', { class: column.isLatest ? 'name newest' : 'name', x: spot.x, y: spot.y + 10, text });
  });
}

const overlap = (a, b) => a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
const inside = (box) => box.x >= BOX.left && box.x + box.w <= BOX.right && box.y >= 0 && box.y + box.h <= BOX.floor;
