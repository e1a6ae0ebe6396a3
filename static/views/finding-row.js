// finding-row.js - one finding of a list, and what the lists of findings share.
import { h, shape } from '../dom.js';
import { say } from '../say.js';

/** Which severities are shown, by the choice of the reader. */
export const LEVELS = { fault: ['fault'], warning: ['fault', 'warning'], note: ['fault', 'warning', 'note'] };

/** @param {{ id?: string, number: number, finding: object, now: boolean, head: Node|(Node|null)[], facts: (Node|null)[], text: string, more?: Node|null }} row */
export function findingRow({ id = null, number, finding, now, head, facts, text, more = null }) {
  return h(
    'li',
    { id: id ?? `finding-${number}`, class: now ? 'now' : null },
    h('b', { text: String(number) }),
    h(
      'div',
      {},
      head,
      h(
        'p',
        { class: 'meta' },
        h(
          'span',
          {},
          shape(finding.severity),
          say(`severity.${finding.severity}`),
          finding.certainty === 'likely' ? ` ${say('findings.likely')}` : '',
        ),
        facts,
        finding.mesh === 'reference' && finding.kind !== 'lost' ? h('span', { text: say('findings.onReference') }) : null,
      ),
      h('p', { class: 'break', text }),
      more,
    ),
  );
}
