// dialogs.js - what cannot be undone, or starts a measurement: withdraw a version, change its reference, measure the cages again.
import { h, openDialog, options } from '../dom.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';
import { readSetting, writeSetting } from '../settings.js';
import { versionName } from '../specimen-state.js';

/** A dialog whose form does one thing; the safe choice comes first and has the focus. */
function ask({ title, body, keep, go, act }) {
  const fault = h('p', { class: 'fault', role: 'alert' });
  const send = h('button', { type: 'submit', text: go });
  const dialog = openDialog({
    title,
    body: [body, fault],
    buttons: [h('button', { type: 'button', autofocus: true, text: keep, on: { click: () => dialog.close() } }), send],
  });
  dialog.querySelector('form').addEventListener('submit', async (event) => {
    send.disabled = true;
    try {
      await act(Object.fromEntries(new FormData(event.target)));
      dialog.close();
    } catch (problem) {
      const { what, todo } = problemText(problem);
      fault.textContent = `${what} ${todo}`;
    }
    send.disabled = false;
  });
}

export function askWithdraw(version, act) {
  ask({
    title: say('withdraw.title', { version: versionName(version) }),
    body: [
      h('p', { text: say('withdraw.what') }),
      h(
        'div',
        { class: 'fields one' },
        h(
          'label',
          { class: 'field' },
          h('span', { text: say('withdraw.reason') }),
          h('input', { name: 'reason', required: true, maxlength: 500, autocomplete: 'off' }),
        ),
        h(
          'label',
          { class: 'field' },
          h('span', { text: say('version.by') }),
          h('input', { name: 'by', required: true, maxlength: 100, value: readSetting('by'), autocomplete: 'name' }),
        ),
      ),
    ],
    keep: say('withdraw.keep'),
    go: say('do.withdraw'),
    act: (values) => {
      writeSetting('by', values.by);
      return act(values);
    },
  });
}

/** @param {(values: object) => Promise} act  { device, operator, date, resolution, uncertainty, by } */
export function askIntake(version, act) {
  const field = (name, props = {}) =>
    h(
      'label',
      { class: 'field' },
      h('span', { text: say(`intake.${name}`) }),
      h('input', { name, maxlength: 200, autocomplete: 'off', value: version.intake?.[name] ?? '', ...props }),
    );
  ask({
    title: say('intake.title', { version: versionName(version) }),
    body: [
      h('p', { text: say('intake.what') }),
      h(
        'div',
        { class: 'fields one' },
        field('device'),
        field('operator'),
        field('date', { type: 'date' }),
        field('resolution', { placeholder: say('intake.length') }),
        field('uncertainty', { placeholder: say('intake.length') }),
        h(
          'label',
          { class: 'field' },
          h('span', { text: say('version.by') }),
          h('input', { name: 'by', maxlength: 100, value: readSetting('by'), autocomplete: 'name' }),
        ),
      ),
    ],
    keep: say('intake.keep'),
    go: say('intake.do'),
    act: (values) => {
      writeSetting('by', values.by);
      return act(values);
    },
  });
}

/** @param {object[]} references  the versions it could be measured against, newest first */
export function askAgainst(version, references, act) {
  ask({
    title: say('against.title', { version: versionName(version) }),
    body: [
      h('p', { text: say('against.what') }),
      h(
        'div',
        { class: 'fields one' },
        h(
          'label',
          { class: 'field' },
          h('span', { text: say('version.against') }),
          h(
            'select',
            { name: 'against' },
            options(
              [...references.map((each) => [each.id, versionName(each)]), ['', say('versions.alone')]],
              version.against ?? '',
            ),
          ),
        ),
      ),
    ],
    keep: say('do.leave'),
    go: say('against.do'),
    act: (values) => act(values.against === '' ? null : values.against),
  });
}

export function askClear(busy, act) {
  ask({
    title: say('clear.title'),
    body: h('p', { text: say('clear.what', { n: busy }) }),
    keep: say('clear.keep'),
    go: say('clear.do'),
    act,
  });
}
