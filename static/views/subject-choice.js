// subject-choice.js - what a rule is about, found by typing: a combobox with a list (WAI-ARIA Authoring Practices 1.2, "combobox").
import { h } from '../dom.js';
import { findSubjects, subjectName } from '../spec-form.js';
import { say } from '../say.js';

const SHOWN_MOST = 60;

/** @param {{ key, label, describedBy, subjects, chosen, fallback, choose }} given  chosen: a subject or null; choose is told another */
export function subjectChoice({ key, label, describedBy, subjects, chosen, fallback, choose }) {
  const name = key.replaceAll(' ', '-');
  const shown = chosen === null ? fallback : subjectName(chosen);
  let found = [];
  let at = -1;
  const list = h('ul', { role: 'listbox', id: `list-${name}`, 'aria-label': label, hidden: true, on: { pointerdown: (event) => event.preventDefault() } });
  const input = h('input', {
    type: 'text',
    role: 'combobox',
    autocomplete: 'off',
    spellcheck: 'false',
    value: shown,
    placeholder: say('specs.about.search'),
    'aria-expanded': 'false',
    'aria-autocomplete': 'list',
    'aria-controls': `list-${name}`,
    'aria-describedby': describedBy,
    data: { key },
    on: { input: () => open(input.value), click: () => open(''), focus: () => input.select(), blur: close, keydown: press },
  });

  function open(typed) {
    found = findSubjects(subjects, typed).slice(0, SHOWN_MOST);
    at = found.findIndex((each) => each.value === chosen?.value);
    if (typed !== '' && found.length > 0) at = 0;
    list.replaceChildren(
      ...(found.length === 0 ? [h('li', { role: 'option', 'aria-disabled': 'true', 'aria-selected': 'false', text: say('specs.about.none') })] : found.map(item)),
    );
    list.hidden = false;
    input.setAttribute('aria-expanded', 'true');
    mark();
  }

  function item(subject, i) {
    return h(
      'li',
      { role: 'option', id: `list-${name}-${i}`, 'aria-selected': 'false', on: { click: () => take(i) } },
      h('b', { text: subjectName(subject) }),
      ' ',
      h('small', { class: 'quiet', text: subject.group }),
      h('small', { class: 'what', text: subject.definition }),
    );
  }

  function mark() {
    [...list.children].forEach((each, i) => each.setAttribute('aria-selected', String(i === at)));
    if (at < 0) input.removeAttribute('aria-activedescendant');
    else {
      input.setAttribute('aria-activedescendant', `list-${name}-${at}`);
      list.children[at].scrollIntoView({ block: 'nearest' });
    }
  }

  function close() {
    list.hidden = true;
    input.setAttribute('aria-expanded', 'false');
    input.removeAttribute('aria-activedescendant');
    input.value = shown;
  }

  function take(i) {
    const subject = found[i];
    close();
    if (subject.value !== chosen?.value) choose(subject);
  }

  function press(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const step = { ArrowDown: 1, ArrowUp: -1, PageDown: 8, PageUp: -8 }[event.key];
    if (step !== undefined) {
      event.preventDefault();
      if (list.hidden) open('');
      else if (found.length > 0) {
        at = Math.min(found.length - 1, Math.max(0, at + step));
        mark();
      }
    } else if (event.key === 'Enter') {
      event.preventDefault();
      if (!list.hidden && at >= 0) take(at);
      else if (list.hidden) open('');
    } else if (event.key === 'Escape' && !list.hidden) {
      event.preventDefault();
      close();
    }
  }

  return h('div', { class: 'combobox' }, h('label', {}, h('span', { text: label }), input), list);
}
