// standing-row.js - how a specimen stands by a spec, as a row of a register (views/register.js).
import { h, stateMark, timeMark } from '../dom.js';
import { writeRoute } from '../route.js';
import { becauseText, holdTexts, lastsText, leavingText, standingMark } from '../standing.js';

/** Where the work on it goes on: its audit; a specimen that is not measured has none. */
function addressOf(item) {
  if (item.version === null) return writeRoute({ view: 'specimen', id: item.specimen });
  return writeRoute({ view: 'audit', id: item.specimen, query: { version: item.version, spec: item.spec } });
}

function standingRow(item, at) {
  const { kind, word } = standingMark(item.standing);
  const notes = [becauseText(item), leavingText(item)].filter((text) => text !== '');
  const holds = holdTexts(item);
  return h(
    'tr',
    { 'aria-rowindex': at + 2, data: { at } },
    h(
      'th',
      { scope: 'row' },
      h('span', { class: 'no', text: item.catalogue_number }),
      h('a', { class: 'what', href: addressOf(item), tabindex: '-1', data: { key: `open ${item.specimen}` }, text: item.title }),
    ),
    h('td', { class: 'mid', text: item.label ?? '—' }),
    h('td', { class: 'st' }, stateMark(kind, word), notes.map((text) => h('small', { class: 'below', text }))),
    h('td', { class: 'lasts' }, timeMark(item.since, true), h('small', { class: 'below', text: lastsText(item.since) })),
    h(
      'td',
      { class: 'holds' },
      holds.length === 0 ? null : h('ul', {}, holds.map((text) => h('li', { text }))),
    ),
  );
}

/** What views/register.js takes. */
export const STANDINGS_OF_SPECIMENS = {
  caption: 'standing.title',
  name: 'stands',
  before: null,
  columns: [
    { name: 'column.number', key: 'number', first: 'asc' },
    { name: 'standing.column.version', key: null },
    { name: 'standing.column.standing', key: 'standing', first: 'asc' },
    { name: 'standing.column.since', key: 'since', first: 'asc' },
    { name: 'standing.column.holds', key: null },
  ],
  sort: 'standing',
  order: 'asc',
  idOf: (item) => item.specimen,
  row: standingRow,
};
