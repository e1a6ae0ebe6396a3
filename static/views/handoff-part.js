// handoff-part.js - what was handed over of an audit, and handing it over. Part of the audit's view.
//   up (from the view's element): 'wish.handOver'
import { h, tell, timeMark } from '../dom.js';
import { formatBytes } from '../format.js';
import { writeRoute } from '../route.js';
import { say } from '../say.js';

/** @param {HTMLElement} el  the view's @param {{ audit: object|null, handoffs: object[], handoffAddress: (id: string) => string }} state */
export function handoffPart(el, state) {
  if (state.audit === null) return null;
  return [
    h('h2', { text: say('handoff.title') }),
    h('p', { class: 'quiet', text: say('handoff.what') }),
    h(
      'p',
      { class: 'acts noprint' },
      h('button', {
        data: { key: 'handOver' },
        text: say(state.handoffs.length > 0 ? 'handoff.again' : 'handoff.do'),
        on: { click: () => tell(el, 'wish.handOver') },
      }),
      h('a', { href: writeRoute({ view: 'verify' }), text: say('handoff.verify') }),
    ),
    state.handoffs.length > 0 ? h('ul', { class: 'waivers handoffs' }, state.handoffs.map((each) => entryOf(each, state))) : null,
  ];
}

function entryOf(handoff, state) {
  return h(
    'li',
    {},
    timeMark(handoff.created),
    ` ${say('handoff.by', { by: handoff.by })} `,
    h('a', {
      href: state.handoffAddress(handoff.id),
      download: `${handoff.name}.zip`,
      text: say('handoff.download', { name: `${handoff.name}.zip`, size: formatBytes(handoff.file.bytes) }),
    }),
    h('small', { class: 'quiet' }, `${say('handoff.seal')} `, h('code', { class: 'break', text: handoff.seal })),
  );
}
