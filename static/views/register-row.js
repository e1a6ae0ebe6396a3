// register-row.js - specimens as the rows of a register (views/register.js).
import { h, stateMark, timeMark } from '../dom.js';
import { formatCount } from '../format.js';
import { rulerOf } from '../ruler.js';
import { say } from '../say.js';
import { shownDecimals, shownUnit } from '../settings.js';
import { spark } from '../spark.js';
import { specimenState } from '../specimen-state.js';
import { picturedVersion, thumbnail } from '../thumbnail.js';

const known = (value) => value !== null && value !== undefined;

/**
 * @param {object} specimen  as the API gives it
 * @param {number} at        its place in the whole list, from 0
 * @param {{ paper?: boolean }} options  for paper: without pictures, of which a long list would have thousands
 */
export function registerRow(specimen, at, { paper = false } = {}) {
  const cages = specimen.trend.filter((point) => point.kind === 'cage' && !point.withdrawn);
  const scan = specimen.trend.findLast((point) => point.kind === 'scan' && !point.withdrawn) ?? null;
  const cage = cages.findLast((point) => point.run !== null) ?? cages.at(-1) ?? null;
  const state = specimenState(specimen);
  const latest = cage ?? scan;
  const trend = (key) => (paper ? [] : cages.map((point) => point[key]));
  const share = cage?.face_size && specimen.scan_diagonal ? cage.face_size / specimen.scan_diagonal : null;
  const ruler = rulerOf(specimen.units, shownUnit('', specimen.units), shownDecimals());
  return h(
    'tr',
    { 'aria-rowindex': at + 2, data: { at } },
    paper ? null : h('td', { class: 'picture' }, thumbnail(picturedVersion(specimen.trend))),
    h(
      'th',
      { scope: 'row' },
      h('span', { class: 'no', text: specimen.catalogue_number }),
      h('a', {
        class: 'what',
        href: `#/specimen/${specimen.id}`,
        tabindex: '-1',
        data: { key: `open ${specimen.id}` },
        text: specimen.title,
      }),
    ),
    h('td', { class: 'mid', text: scan ? say('version.scan', { number: scan.number }) : '—' }),
    h(
      'td',
      { class: 'mid' },
      cage ? say('version.cage', { number: cage.number }) : '—',
      cage?.face_size ? h('small', { class: 'below', text: ruler.faceSize(cage.face_size, share) }) : null,
    ),
    h('td', { class: 'st' }, stateMark(state.kind, state.text)),
    trendCell('column.openEdges.short', 'spark.openEdges', trend('open_edges'), cage?.open_edges, formatCount),
    trendCell('column.loss.short', 'spark.loss', trend('lost'), cage?.lost, ruler.most),
    h('td', {
      class: 'n counts',
      data: { label: say('column.findings.short') },
      text: known(latest?.faults) ? `${formatCount(latest.faults)} / ${formatCount(latest.warnings ?? 0)}` : '—',
    }),
    h('td', { class: 'st quiet' }, timeMark(specimen.changed)),
  );
}

function trendCell(name, label, values, latest, print) {
  const text = known(latest) ? print(latest) : '—';
  return h(
    'td',
    { class: 'n' },
    h(
      'div',
      { class: 'pair', data: { label: say(name) } },
      spark(values, say(label, { latest: text })),
      h('span', { class: 'v', text }),
    ),
  );
}

/** What views/register.js takes. */
export const SPECIMENS = {
  caption: 'collection.title',
  name: 'specimens',
  before: 'column.picture',
  columns: [
    { name: 'column.number', key: 'number', first: 'asc' },
    { name: 'column.scan', key: 'scans', first: 'desc' },
    { name: 'column.cage', key: 'cages', first: 'desc' },
    { name: 'column.state', key: 'state', first: 'asc' },
    { name: 'column.openEdges', key: 'open_edges', first: 'desc', number: true },
    { name: 'column.loss', key: 'lost', first: 'desc', number: true },
    { name: 'column.findings', key: 'faults', first: 'desc', number: true },
    { name: 'column.changed', key: 'changed', first: 'desc' },
  ],
  sort: 'changed',
  order: 'desc',
  idOf: (specimen) => specimen.id,
  row: registerRow,
};
