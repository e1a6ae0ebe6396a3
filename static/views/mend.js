// mend.js - what a mended scan changed against the scan before: a sentence, then its regions, largest first.
//   down: 'show', detail = { run, mend: of the record or null, ruler }
import { h, redraw } from '../dom.js';
import { formatCount, formatDifference, formatValue, withUnit } from '../format.js';
import { say, sayList } from '../say.js';

const PAGE = 20;

/** @param {HTMLElement} el */
export function Mend(el) {
  let state = null;
  let shown = PAGE;

  el.addEventListener('show', (event) => {
    if (event.detail.run !== state?.run) shown = PAGE;
    state = event.detail;
    update();
  });

  function update() {
    const { mend } = state;
    if (!mend) {
      redraw(el);
      return;
    }
    redraw(
      el,
      h('p', { class: 'summary', text: summary(mend) }),
      mend.regions.length > 0 ? h(
            'div',
            { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': say('mend.caption'), data: { scroll: 'mend' } },
            table(mend.regions.slice(0, shown)),
          ) : null,
      mend.regions.length > shown
        ? h('button', {
            data: { key: 'more regions' },
            text: say('mend.more', { n: mend.regions.length - shown }),
            on: {
              click: () => {
                shown += PAGE;
                update();
              },
            },
          })
        : null,
      mend.regions_total > mend.regions.length
        ? h('p', {
            class: 'quiet',
            text: say('mend.cut', { n: mend.regions.length, total: formatCount(mend.regions_total) }),
          })
        : null,
      mend.regions.some(({ kind }) => kind === 'filled')
        ? h('p', { class: 'quiet', text: say('mend.volume.note') })
        : null,
    );
  }

  function summary(mend) {
    if (mend.shared_faces === 0) return say('mend.anew');
    const turned = mend.turned_faces > 0 ? ` ${say('mend.turned', { n: mend.turned_faces })}` : '';
    if (mend.regions_total === 0) return say('mend.same') + turned;
    return (
      say('mend.summary', {
        share: withUnit(formatValue(100 * mend.subject_share, 3), '%'),
        added: areaText(mend.added_area),
        removed: areaText(mend.removed_area),
      }) + turned
    );
  }

  function table(regions) {
    const measured = regions.some((region) => region.move !== null);
    const head = (key, number) => h('th', { scope: 'col', class: number ? 'n' : null, text: say(`mend.head.${key}`) });
    return h(
      'table',
      { class: 'ledger' },
      h(
        'thead',
        {},
        h(
          'tr',
          {},
          head('change'),
          head('openings'),
          head('place'),
          head('added', true),
          head('removed', true),
          head('volume', true),
          measured ? head('move', true) : null,
        ),
      ),
      h('tbody', {}, regions.map((region) => row(region, measured))),
    );
  }

  function row(region, measured) {
    const number = (text) => h('td', { class: 'n', text });
    return h(
      'tr',
      {},
      h('th', { scope: 'row', text: say(`mend.kind.${region.kind}`) }),
      h('td', { text: openings(region) }),
      h('td', { text: state.ruler.point(region.centre) }),
      number(faces(region.added_faces, region.added_area)),
      number(faces(region.removed_faces, region.removed_area)),
      number(volume(region.volume)),
      measured ? number(move(region.move)) : null,
    );
  }

  function openings(region) {
    const words = [
      ['closed', region.holes_filled, region.open_edges_gone, 'fewer'],
      ['opened', region.holes_opened, region.open_edges_new, 'further'],
    ].map(([hole, holes, edges, open]) =>
      holes > 0
        ? say(`mend.${hole}`, { n: holes, edges: formatCount(edges) })
        : edges > 0
          ? say(`mend.${open}`, { n: edges })
          : null,
    );
    return sayList(words.filter((word) => word !== null)) || say('mend.none');
  }

  function faces(count, area) {
    return count === 0 ? say('mend.none') : say('mend.faces', { n: count, area: areaText(area) });
  }

  function volume(value) {
    if (value === null) return say('mend.volume.undefined');
    const { factor, unit, decimals } = state.ruler.scales.volume;
    return withUnit(formatDifference(value * factor, 0, decimals), unit);
  }

  function move(interval) {
    return interval === null ? say('mend.none') : state.ruler.interval(interval);
  }

  function areaText(value) {
    return value === null ? say('mend.none') : state.ruler.area(value);
  }
}
