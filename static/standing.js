// standing.js - how specimens stand by a spec: marks, reasons and days, from the fields of the API. Pure.
import { formatDay } from './format.js';
import { say, sayOr } from './say.js';

/** In the order of what asks for somebody; the keys of the API's counts. */
export const STANDINGS = ['blocked', 'undecided', 'not audited', 'not measured', 'waived', 'ready'];

const SHAPES = {
  blocked: 'not',
  undecided: 'undecided',
  'not audited': 'work',
  'not measured': 'new',
  waived: 'waived',
  ready: 'conforms',
};

/** Shape and word. */
export function standingMark(standing) {
  return { kind: SHAPES[standing] ?? 'undecided', word: sayOr(`standing.${standing}`, standing) };
}

export const countOf = (counts, standing) => counts[standing.replace(' ', '_')];

export const countAll = (counts) => STANDINGS.reduce((sum, standing) => sum + countOf(counts, standing), 0);

/** Why, in a few words; '' where the standing says it all. */
export function becauseText(item) {
  const parts = [];
  if (item.standing === 'waived' && item.waived_until) {
    // the moment it ends is the day after its last
    const last = new Date(Date.parse(item.waived_until) - 1000).toISOString();
    parts.push(say('standing.because.waived', { day: formatDay(last, new Date(), 'UTC') }));
  }
  if (item.cause) parts.push(sayOr(`standing.because.${item.cause}`, item.cause));
  return parts.join('; ');
}

/** How far it is on its way out: signed off, handed over; '' where it is not. */
export function leavingText(item) {
  if (item.handed_over) return say('standing.handedOver', { day: formatDay(item.handed_over) });
  if (!item.signed_off) return '';
  const { persons, needed, last } = item.signed_off;
  return persons >= needed
    ? say('standing.signedOff', { day: formatDay(last) })
    : say('standing.signedByPart', { persons: String(persons), needed: String(needed) });
}

/** Names of the rules that hold it up; of one that stands thanks to waivers, the waived ones. */
export function holdTexts(item) {
  const named = item.standing === 'waived' ? item.holds : item.holds.filter((hold) => !hold.waived);
  return named.map((hold) => (hold.waived ? say('standing.isWaived', { rule: hold.name }) : hold.name));
}

/** How long, in whole days. */
export function lastsText(since, now = new Date()) {
  const days = Math.floor((now - new Date(since)) / 86400e3);
  return days < 1 ? say('standing.today') : say('standing.days', { n: days });
}

/** What became of auditing all of them. @param {object} sum  counts of every piece, and what was refused */
export function auditedText(sum) {
  const what = say('standing.outcomes', {
    what: say('standing.audited', { n: sum.audited }),
    ready: String(sum.conforms),
    blocked: String(sum.does_not_conform),
    undecided: String(sum.undecided),
  });
  if (sum.refused.length === 0) return what;
  const [first] = sum.refused;
  const one = say('standing.refusedOne', { number: first.catalogue_number, reason: first.reason });
  return `${what} ${say('standing.refused', { n: sum.refused.length, first: one })}`;
}
