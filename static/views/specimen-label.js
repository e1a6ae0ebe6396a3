// specimen-label.js - the label of a specimen: number, title, state, dotted entries.
//   down: 'show', detail = the state of joins/specimen.js      up: 'wish.label' (change it)
import { entry, h, redraw, stateMark, tell, timeMark } from '../dom.js';
import { formatCount, formatTime, formatValue, withUnit } from '../format.js';
import { say, sayList } from '../say.js';
import { specimenState, versionName } from '../specimen-state.js';
import { picturedVersion, thumbnail } from '../thumbnail.js';

/** @param {HTMLElement} el */
export function SpecimenLabel(el) {
  el.addEventListener('show', (event) => update(event.detail));

  function update(state) {
    const { specimen, latest, ruler } = state;
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
            diagonal ? entry(say('label.diagonal'), ruler.length(diagonal, 4)) : null,
            entry(
              say('label.tolerances'),
              specimen.tolerances.length > 0
                ? withUnit(specimen.tolerances.map((length) => formatValue(length * ruler.factor)).join(', '), ruler.unit)
                : say('label.tolerances.none'),
            ),
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
              ? entry(say('label.lost'), ruler.most(point.lost))
              : null,
            point && point.open_edges !== null && point.open_edges !== undefined
              ? entry(say('label.openEdges'), formatCount(point.open_edges))
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

/** The latest version that has one, with the size of the box of the version that the page is about. */
function picture({ box, ruler, specimen }) {
  const pictured = thumbnail(picturedVersion(specimen.trend));
  if (box === null) return h('div', { class: 'picture' }, pictured);
  const sides = ruler.point(box.max.map((end, axis) => end - box.min[axis]), ' × ', 3);
  return h('figure', { class: 'picture' }, pictured, h('figcaption', { text: say('label.box', { sides }) }));
}
