// sign-off-part.js - the parts of an audit's page that tell who signed it off, and what was done with the specimen.
//   state: signOffs (GET /audits/{id}/sign-offs, or null), steps ({ items, next, total }), statementAddress
//   up:    'wish.signOff', 'wish.earlier'
import { entry, h, stateMark, tell, timeMark } from '../dom.js';
import { say } from '../say.js';
import { changedText, keysOf, signedMark, signerText, stepText } from '../sign-off-rules.js';

/** @param {HTMLElement} el  that the wishes go up from @param {object} state  of joins/audit.js */
export function signOffPart(el, { signOffs, statementAddress }) {
  if (signOffs === null) return null;
  const { items, persons, refusal, state } = signOffs;
  const mark = signedMark(signOffs);
  return [
    h('h2', {}, say('sign.title'), h('small', { text: ` ${say('sign.stated')}` })),
    h(
      'p',
      { class: 'signed', role: 'status' },
      stateMark(mark.kind, mark.word),
      persons.needed === 2 ? h('small', { text: ` ${say('sign.two')}` }) : null,
    ),
    items.length === 0 ? null : h('ul', { class: 'waivers' }, items.map((item) => signOff(item, statementAddress(item.id)))),
    items.length === 0 ? null : h('dl', { class: 'facts break' }, keysOf(items).map(key)),
    refusal === null
      ? h(
          'p',
          { class: 'noprint' },
          h('button', {
            class: state === 'signed off' ? null : 'first',
            data: { key: 'signOff' },
            text: say(items.length === 0 ? 'sign.do' : 'sign.doToo'),
            on: { click: () => tell(el, 'wish.signOff') },
          }),
        )
      : h('p', { class: 'quiet', text: say('sign.refused', { reason: refusal }) }),
  ];
}

function signOff(item, address) {
  const changed = changedText(item);
  return h(
    'li',
    {},
    h('strong', { text: signerText(item) }),
    ', ',
    timeMark(item.created),
    ' ',
    stateMark(item.holds ? 'conforms' : 'not', say(item.holds ? 'sign.holds' : 'sign.broken')),
    ' ',
    h('a', { class: 'noprint', href: address, text: say('sign.statement') }),
    item.note === null ? null : h('span', { class: 'note', text: item.note }),
    changed === '' ? null : h('strong', { class: 'told', text: changed }),
  );
}

function key({ fingerprint, ofService }) {
  return entry(say('sign.key'), h('code', { text: fingerprint }), ofService ? null : h('strong', { class: 'told', text: say('sign.otherKey') }));
}

/** The log of the specimen, newest step first. */
export function logPart(el, { steps }) {
  if (steps.total === 0) return null;
  return h(
    'details',
    { data: { open: 'log' } },
    h('summary', { text: say('step.title', { n: steps.total }) }),
    h(
      'ol',
      { class: 'waivers log' },
      steps.items.map((step) => h('li', {}, timeMark(step.created), ` ${stepText(step)}: `, h('span', { text: step.text }))),
    ),
    steps.next === null
      ? null
      : h('button', { class: 'plain', data: { key: 'earlier' }, text: say('step.earlier'), on: { click: () => tell(el, 'wish.earlier') } }),
  );
}
