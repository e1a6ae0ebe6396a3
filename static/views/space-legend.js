// space-legend.js - the colours of the figures: a bar with ticks in units, over it the share of the area per colour; or the classes, by
// name and number. Pure.
import { h, s } from '../dom.js';
import { linearTicks, logTicks } from '../axes.js';
import { formatCount, formatValue, withUnit } from '../format.js';
import { say } from '../say.js';
import { SHELL_CLASSES, VALENCE_CLASSES, shellClass, valenceCounts } from '../space/form.js';
import { areaShares } from '../space/values.js';

const STOPS = 9;
const LEFT = 12;
const WIDTH = 306;
const BAR = 58;
const BAR_HEIGHT = 16;
const TOP = 8;
const SHARE_LEAST = 0.001; // the log scale of shares begins here
const ASPECT_GOOD = 1.3; // "acceptable" up to here: C. J. Stimpson et al. 2007, as metric-definitions has it
const ASPECT_NEEDLE = 1e6; // more are warned of as needles
const SHELLS_LISTED = 12;

/** @param {object} state  of joins/space.js @param {(box: { min, max }) => void} see  flies to a box */
export function spaceLegend(state, see) {
  const coloured = state.figures.filter(({ values }) => values !== null);
  if (coloured.length === 0) return null;
  if (coloured[0].map === 'valence') return valenceLegend(coloured);
  if (coloured[0].map === 'shell') return shellLegend(state, coloured, see);
  return barLegend(state, coloured, state.colour === 'aspect' ? aspectScale(state) : lengthScale(state, coloured));
}

/** Where a bar has its ticks and marks, as shares of it, and what it says. */
function lengthScale(state, coloured) {
  const isSigned = coloured[0].map === 'div';
  const { range, factor, unit } = state;
  const at = (value) => (isSigned ? 0.5 + value / (2 * range) : value / range);
  const values = isSigned ? [-1, -0.5, 0, 0.5, 1].map((share) => share * range * factor) : linearTicks(range * factor, 5);
  const tolerances = (coloured[0].record.engine.settings.tolerances ?? []).filter((tolerance) => tolerance < range);
  return {
    map: isSigned ? 'div' : 'seq',
    isSigned,
    title: say(isSigned ? 'space.legend.signed' : 'space.legend.title', { range: state.lengthText(range) }),
    ticks: values.map((value) => ({ at: at(value / factor), text: formatValue(value, 3) })),
    unit,
    marks: tolerances.flatMap((tolerance) => (isSigned ? [-tolerance, tolerance] : [tolerance])).map(at),
    marksText: tolerances.length > 0 ? say('space.legend.tolerances', { values: tolerances.map((tolerance) => state.lengthText(tolerance)).join(', ') }) : null,
  };
}

function aspectScale({ range }) {
  const most = 2 ** range;
  const limits = [ASPECT_GOOD, ASPECT_NEEDLE].filter((limit) => limit < most);
  return {
    map: 'seq',
    isSigned: false,
    title: say('space.legend.aspect', { range: formatValue(most, 4) }),
    ticks: logTicks(1, most).map((value) => ({ at: Math.log2(value) / range, text: formatValue(value, 3) })),
    unit: '',
    marks: limits.map((limit) => Math.log2(limit) / range),
    marksText: limits.map((limit) => say(limit === ASPECT_GOOD ? 'space.legend.good' : 'space.legend.needle', { limit: formatValue(limit, 3) })).join(' '),
  };
}

function barLegend(state, coloured, { map, isSigned, title, ticks, unit, marks, marksText }) {
  const step = WIDTH / STOPS;
  const high = (share) =>
    share > SHARE_LEAST ? ((BAR - 4 - TOP) * Math.log(share / SHARE_LEAST)) / Math.log(1 / SHARE_LEAST) : 0;
  const outline = (shares) =>
    shares
      .slice(0, STOPS)
      .map((share, i) => `${i === 0 ? `M${LEFT} ${BAR - 4}` : ''}V${(BAR - 4 - high(share)).toFixed(1)}h${step.toFixed(2)}`)
      .join('') + `V${BAR - 4}`;
  const shares = coloured.map((figure) => [...areaShares(figure, state.range, STOPS)]);
  const x = (share) => (LEFT + WIDTH * share).toFixed(1);
  const inside = ticks.filter(({ at }) => at <= 1.002);
  return h(
    'figure',
    { class: 'legend' },
    s(
      'svg',
      { viewBox: '0 0 344 96', role: 'img', 'aria-label': title },
      s('path', { class: 'fillbar', d: `${outline(shares.at(-1))}z` }),
      shares.length > 1 ? s('path', { class: 'outline', d: outline(shares[0]) }) : null,
      Array.from({ length: STOPS }, (_, i) =>
        s('rect', { x: LEFT + i * step, y: BAR, width: step + 0.3, height: BAR_HEIGHT, style: { fill: `var(--${map}-${i})` } }),
      ),
      s('path', { class: 'ax', d: `M${LEFT} ${BAR}h${WIDTH}v${BAR_HEIGHT}H${LEFT}z` }),
      s('path', { d: `M${LEFT + WIDTH} ${BAR}l13 8-13 8z`, class: 'ax', style: { fill: `var(--${map}-8)` } }),
      isSigned ? s('path', { d: `M${LEFT} ${BAR}l-10 8 10 8z`, class: 'ax', style: { fill: `var(--${map}-0)` } }) : null,
      inside.flatMap(({ at, text }, i) => [
        s('path', { class: 'ax', d: `M${x(at)} 74v5` }),
        s('text', { class: 'mid', x: x(at), y: 91, text: i === inside.length - 1 ? withUnit(text, unit) : text }),
      ]),
      marks.map((at) => s('path', { class: 'wedge', d: `M${x(at)} 57l-5-8h10z` })),
    ),
    h(
      'figcaption',
      { class: 'key' },
      h('span', { text: title }),
      h('span', {
        text:
          coloured.length > 1
            ? say('space.legend.shares', { outline: coloured[0].name, filled: coloured.at(-1).name })
            : say('space.legend.share'),
      }),
      marksText ? h('span', { text: marksText }) : null,
    ),
  );
}

const patch = (name, i) => h('i', { class: 'patch', style: { background: `var(--${name}-${i})` } });

function table(caption, head, rows) {
  return h(
    'figure',
    { class: 'legend classes' },
    h(
      'table',
      {},
      h('caption', { text: caption }),
      h('thead', {}, h('tr', {}, head.map((text, i) => h('th', { scope: 'col', class: i > 0 ? 'n' : null, text })))),
      h('tbody', {}, rows.map(([name, ...cells]) => h('tr', {}, h('th', { scope: 'row' }, name), cells.map((cell) => h('td', { class: 'n' }, cell))))),
    ),
  );
}

/** Edges at vertices: how many more or fewer than is regular, and how many vertices of each figure. */
function valenceLegend(coloured) {
  const counts = coloured.map(({ record }) => valenceCounts(record));
  const kinds = new Set(coloured.map(({ source }) => source.kind));
  const rows = VALENCE_CLASSES.map((name, i) => [[patch('valence', i), say(`space.valence.${name}`)], ...counts.map((each) => (each ? formatCount(each[i]) : '—'))]);
  return table(
    [...kinds].map((kind) => say(`space.legend.valence.${kind}`)).join(' '),
    [say('space.legend.vertices'), ...coloured.map(({ name }) => name)],
    rows,
  );
}

/** Shells by size, each figure's own; one leads to its place. */
function shellLegend(state, coloured, see) {
  const rows = coloured.flatMap((figure) => {
    const { shell_list: list, shells } = figure.record.subject.topology;
    const listed = list.slice(0, SHELLS_LISTED).map((shell, i) => [
      [
        patch('shell', shellClass(i)),
        h('button', {
          type: 'button',
          class: 'plain link',
          data: { key: `shell ${figure.run} ${i}` },
          text: say('space.shell', { number: formatCount(i + 1), version: figure.name }),
          on: { click: () => see(shell.bounds) },
        }),
      ],
      formatCount(shell.faces),
      state.ruler.area(shell.area),
      formatCount(shell.open_edges),
    ]);
    return shells > listed.length
      ? [...listed, [[patch('shell', SHELL_CLASSES - 1), say('space.shell.more', { n: shells - listed.length, version: figure.name })], '', '', '']]
      : listed;
  });
  return table(
    say('space.legend.shell', { n: SHELL_CLASSES }),
    ['space.shell.head', 'space.shell.faces', 'space.shell.area', 'space.shell.open'].map((key) => say(key)),
    rows,
  );
}
