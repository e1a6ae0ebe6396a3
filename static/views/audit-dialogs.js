// audit-dialogs.js - waiving a rule, signing off, handing over, and asking what another limit would have meant.
import { h, openDialog } from '../dom.js';
import { limitText } from '../audit-rules.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';
import { readSetting, writeSetting } from '../settings.js';

function field(label, input) {
  return h('label', { class: 'field' }, h('span', { text: label }), input);
}

/** A dialog with one form; what `act` throws is told in it, what it returns false for leaves it open. */
function ask({ title, body, keep, go, act }) {
  const told = h('p', { class: 'fault', role: 'alert' });
  const send = h('button', { type: 'submit', class: 'first', text: go });
  const dialog = openDialog({
    title,
    body: [body, told],
    buttons: [h('button', { type: 'button', text: keep, on: { click: () => dialog.close() } }), send],
  });
  dialog.querySelector('form').addEventListener('submit', async (event) => {
    send.disabled = true;
    told.textContent = '';
    try {
      if ((await act(Object.fromEntries(new FormData(event.target)))) !== false) dialog.close();
    } catch (problem) {
      const { what, todo } = problemText(problem);
      told.textContent = `${what} ${todo}`;
    }
    send.disabled = false;
  });
}

/** @param {object} rule  of an audit @param {(values: object) => Promise} act  { reason, author, expires } */
export function askWaiver(rule, act) {
  ask({
    title: say('audit.waive.title', { rule: rule.name }),
    body: [
      h('p', { text: say('audit.waive.what') }),
      h(
        'div',
        { class: 'fields one' },
        field(say('audit.waive.reason'), h('input', { name: 'reason', required: true, maxlength: 500, autocomplete: 'off' })),
        field(
          say('audit.waive.author'),
          h('input', { name: 'author', required: true, maxlength: 200, value: readSetting('by'), autocomplete: 'name' }),
        ),
        field(say('audit.waive.expires'), h('input', { name: 'expires', type: 'date', required: true })),
      ),
    ],
    keep: say('audit.waive.keep'),
    go: say('audit.waive.do'),
    act: (values) => {
      writeSetting('by', values.author);
      return act(values);
    },
  });
}

/** @param {(values: object) => Promise} act  { by } */
export function askHandOver(act) {
  ask({
    title: say('handoff.ask'),
    body: [
      h('p', { text: say('handoff.ask.what') }),
      h(
        'div',
        { class: 'fields one' },
        field(say('handoff.ask.by'), h('input', { name: 'by', required: true, maxlength: 200, value: readSetting('by'), autocomplete: 'name' })),
      ),
    ],
    keep: say('handoff.ask.keep'),
    go: say('handoff.do'),
    act: (values) => {
      writeSetting('by', values.by);
      return act(values);
    },
  });
}

/** @param {{ version: string, spec: string }} what  their names @param {(values: object) => Promise} act  { by, role, note } */
export function askSignOff(what, act) {
  ask({
    title: say('sign.ask.title', what),
    body: [
      h('p', { text: say('sign.ask.what') }),
      h(
        'div',
        { class: 'fields one' },
        field(say('sign.ask.by'), h('input', { name: 'by', required: true, maxlength: 200, value: readSetting('by'), autocomplete: 'name' })),
        field(say('sign.ask.role'), h('input', { name: 'role', maxlength: 200, autocomplete: 'organization-title' })),
        field(say('sign.ask.note'), h('textarea', { name: 'note', maxlength: 2000, rows: 2 })),
      ),
    ],
    keep: say('sign.ask.keep'),
    go: say('sign.ask.do'),
    act: (values) => {
      writeSetting('by', values.by);
      return act({ ...values, note: values.note.replaceAll('\r\n', '\n') });
    },
  });
}

/** @param {object} rule  of an audit @param {(limit: string) => Promise<object>} find */
export function askWhatIf(rule, find) {
  const answer = h('p', { role: 'status' });
  const word = (tally) =>
    say('audit.whatIf.tally', { conforms: tally.conforms, not: tally.does_not_conform, undecided: tally.undecided });
  ask({
    title: say('audit.whatIf.title', { rule: rule.name }),
    body: [
      h('p', { text: say('audit.whatIf.what', { limit: limitText(rule) }) }),
      h(
        'div',
        { class: 'fields one' },
        field(
          say('audit.whatIf.limit', { unit: rule.unit === '' ? say('audit.whatIf.plain') : rule.unit }),
          h('input', { name: 'limit', required: true, inputmode: 'decimal', autocomplete: 'off', value: String(rule.limit) }),
        ),
      ),
      answer,
    ],
    keep: say('audit.whatIf.close'),
    go: say('audit.whatIf.do'),
    act: async ({ limit }) => {
      const { runs, now, then } = await find(limit.trim());
      answer.textContent = say('audit.whatIf.answer', { n: runs, now: word(now), then: word(then) });
      return false;
    },
  });
}
