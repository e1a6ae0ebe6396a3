// space-legend.js - the colours of the figures as a bar with ticks in units, over it the share of the area per colour. Pure.
import { h, s } from '../dom.js';
import { linearTicks } from '../axes.js';
import { formatValue, withUnit } from '../format.js';
import { say } from '../say.js';
import { areaShares } from '../space/values.js';

const STOPS = 9;
const LEFT = 12;
const WIDTH = 306;
const BAR = 58;
const BAR_HEIGHT = 16;
const TOP = 8;
const SHARE_LEAST = 0.001; // the log scale of shares begins here

/** @param {object} state  of joins/space.js */
export function spaceLegend(state) {
  const coloured = state.figures.filter(({ values }) => values !== null);
  if (coloured.length === 0) return null;
  const { signed } = coloured[0];
  const range = state.range;
  const step = WIDTH / STOPS;
  const map = signed ? 'div' : 'seq';
  const high = (share) =>
    share > SHARE_LEAST ? ((BAR - 4 - TOP) * Math.log(share / SHARE_LEAST)) / Math.log(1 / SHARE_LEAST) : 0;
  const outline = (shares) =>
    shares
      .slice(0, STOPS)
      .map((share, i) => `${i === 0 ? `M${LEFT} ${BAR - 4}` : ''}V${(BAR - 4 - high(share)).toFixed(1)}h${step.toFixed(2)}`)
      .join('') + `V${BAR - 4}`;
  const shares = coloured.map(({ surface, values }) => [...areaShares(surface, values, range, signed, STOPS)]);
  const ticks = signed ? [-1, -0.5, 0, 0.5, 1].map((share) => share * range * state.factor) : linearTicks(range * state.factor, 5);
  const x = (value) => LEFT + WIDTH * (signed ? 0.5 + value / state.factor / (2 * range) : value / state.factor / range);
  const tolerances = (coloured[0].record.settings?.tolerances ?? []).filter((tolerance) => tolerance < range);
  const title = say(signed ? 'space.legend.signed' : 'space.legend.title', { range: state.lengthText(range) });
  return h(
    'figure',
    { class: 'legend' },
    s(
      'svg',
      { viewBox: '0 0 344 96', role: 'img', 'aria-label': title },
      shares.length > 0 ? s('path', { class: 'fillbar', d: `${outline(shares.at(-1))}z` }) : null,
      shares.length > 1 ? s('path', { class: 'outline', d: outline(shares[0]) }) : null,
      Array.from({ length: STOPS }, (_, i) =>
        s('rect', { x: LEFT + i * step, y: BAR, width: step + 0.3, height: BAR_HEIGHT, style: { fill: `var(--${map}-${i})` } }),
      ),
      s('path', { class: 'ax', d: `M${LEFT} ${BAR}h${WIDTH}v${BAR_HEIGHT}H${LEFT}z` }),
      s('path', { d: `M${LEFT + WIDTH} ${BAR}l13 8-13 8z`, class: 'ax', style: { fill: `var(--${map}-8)` } }),
      signed ? s('path', { d: `M${LEFT} ${BAR}l-10 8 10 8z`, class: 'ax', style: { fill: `var(--${map}-0)` } }) : null,
      ticks
        .filter((tick) => x(tick) <= LEFT + WIDTH + 0.5)
        .flatMap((tick, i, all) => [
          s('path', { class: 'ax', d: `M${x(tick).toFixed(1)} 74v5` }),
          s('text', {
            class: 'mid',
            x: x(tick).toFixed(1),
            y: 91,
            text: i === all.length - 1 ? withUnit(formatValue(tick, 3), state.unit) : formatValue(tick, 3),
          }),
        ]),
      tolerances.flatMap((tolerance) => [
        s('path', { class: 'wedge', d: `M${x(tolerance * state.factor).toFixed(1)} 57l-5-8h10z` }),
      ]),
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
      tolerances.length > 0 ? h('span', { text: say('space.legend.tolerances', { values: tolerances.map(state.lengthText).join(', ') }) }) : null,
    ),
  );
}
