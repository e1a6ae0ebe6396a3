// specimen-label.js - the label of a specimen: number, title, state, dotted entries.
//   down: 'show', detail = the state of joins/specimen.js      up: 'wish.label' (change it)
import { entry, h, redraw, s, stateMark, tell, timeMark } from '../dom.js';
import { formatSafeEnd, formatTime, formatValue, withUnit } from '../format.js';
import { say, sayList } from '../say.js';
import { specimenState, versionName } from '../specimen-state.js';
import { placeholder } from '../placeholder.js';

/** @param {HTMLElement} el */
export function SpecimenLabel(el) {
  el.addEventListener('show', (event) => update(event.detail));

  function update(state) {
    const { specimen, latest, unit, lengthFactor } = state;
    const named = specimenState(specimen);
    const diagonal = specimen.scan_diagonal;
    const last = [...state.versions].sort((a, b) => b.created.localeCompare(a.created))[0];
    const point = latest ? specimen.trend.find(({ version }) => version === latest.id) : null;
    redraw(
      el,
      h(
        'header',
        { class: 'label' },
        picture(state),
        h(
          'div',
          { class: 'what' },
          h('p', { class: 'no', text: specimen.catalogue_number }),
          h('h1', { tabindex: '-1', text: specimen.title }),
          h('p', { class: 'verdict' }, stateMark(named.kind, named.text)),
          specimen.note ? h('p', { class: 'break quiet', text: specimen.note }) : null,
          h(
            'dl',
            {},
            entry(say('label.units'), specimen.units),
            diagonal ? entry(say('label.diagonal'), withUnit(formatValue(diagonal * lengthFactor), unit)) : null,
            entry(
              say('label.versions'),
              sayList([
                say('count.scans', { n: specimen.versions.scan }),
                say('count.cages', { n: specimen.versions.cage }),
              ]),
            ),
            latest ? entry(say('label.latest'), versionName(latest)) : null,
            latest?.against ? entry(say('label.against'), state.nameOf(latest.against)) : null,
            point && point.lost !== null && point.lost !== undefined
              ? entry(say('label.lost'), withUnit(formatSafeEnd(point.lost * lengthFactor), unit))
              : null,
            point && point.open_edges !== null && point.open_edges !== undefined
              ? entry(say('label.openEdges'), formatValue(point.open_edges))
              : null,
            entry(say('label.created'), formatTime(specimen.created)),
            entry(say('label.changed'), timeMark(specimen.changed), last?.by ? `, ${last.by}` : ''),
          ),
        ),
        h(
          'p',
          { class: 'acts' },
          h('button', {
            data: { key: 'change label' },
            text: say('label.change'),
            on: { click: () => tell(el, 'wish.label') },
          }),
          h('a', {
            class: 'button first',
            data: { key: 'upload here' },
            href: `#/upload?specimen=${encodeURIComponent(specimen.catalogue_number)}`,
            text: say('label.upload'),
          }),
        ),
      ),
    );
  }
}

/** The box of the latest measured version in a slanted view, with its scale; an empty mount where nothing was measured. */
function picture({ box, unit, lengthFactor }) {
  if (box === null) return h('div', { class: 'picture' }, placeholder());
  const size = [0, 1, 2].map((axis) => box.max[axis] - box.min[axis]);
  const slant = 0.35;
  const scale = Math.min(176 / (size[0] + slant * size[1]), 126 / (size[2] + slant * size[1])) || 1;
  const [w, d, t] = size.map((length) => length * scale);
  const left = (208 - w - slant * d) / 2;
  const bottom = (156 + t + slant * d) / 2;
  const face = `M${left} ${bottom}h${w}v${-t}h${-w}z`;
  const back = `M${left} ${bottom - t}l${slant * d} ${-slant * d}h${w}l${-slant * d} ${slant * d}M${left + w + slant * d} ${bottom - t - slant * d}v${t}l${-slant * d} ${slant * d}`;
  const behind = `M${left + slant * d} ${bottom - t - slant * d}v${t}h${w}m${-w} 0l${-slant * d} ${slant * d}`;
  const sides = size.map((length) => formatValue(length * lengthFactor, 3)).join(' × ');
  return h(
    'figure',
    { class: 'picture' },
    s(
      'svg',
      { viewBox: '0 0 208 156', role: 'img', 'aria-label': say('label.box', { sides, unit }) },
      s('path', { class: 'plate', d: 'M0 0h208v156H0z' }),
      s('path', { class: 'behind', d: behind }),
      s('path', { class: 'edges', d: face + back }),
    ),
    h('figcaption', { text: say('label.box', { sides, unit }) }),
  );
}
