// spec-form.js - a spec as a form: the whole, then one card a rule. views/specs.js mounts it; its text is the same document.
//   given: draft { spec, keys (a name for each rule, which stays when it moves), open (names of the cards that are open) }, subjects
//   up from el: 'wish.draft', detail = { spec, keys, open, redraw: whether fields come and go, focus: data-key or null },
//   'wish.open', detail = { key, open }
import { h, options, tell } from '../dom.js';
import { limitText } from '../audit-rules.js';
import { kindName } from '../finding-text.js';
import { say, sayOr } from '../say.js';
import * as form from '../spec-form.js';
import { subjectChoice } from './subject-choice.js';

/** Where a fault of a field stands; showFault fills it. */
const faultId = (key, name) => `fault-${key}-${name.replaceAll(' ', '-')}`;
const slot = (key, name) => h('span', { class: 'fault', id: faultId(key, name), data: { fault: '' } });

/** @param {HTMLElement} el  where the form stands @param {object} draft @param {string|null} text  the service's sentence */
export function showFault(el, draft, text) {
  for (const each of el.querySelectorAll('[data-fault]')) each.textContent = '';
  for (const each of el.querySelectorAll('[aria-invalid]')) each.removeAttribute('aria-invalid');
  for (const each of el.querySelectorAll('.cards > .faulty')) each.classList.remove('faulty');
  el.querySelector('#spec-fault').textContent = text ?? '';
  if (text === null) return;
  const { rule, field } = form.faultPlace(text, draft.spec);
  const key = rule === null ? 'spec' : draft.keys[rule];
  el.querySelector(`#card-${key}`)?.classList.add('faulty');
  const place = field === null ? null : el.querySelector(`#${faultId(key, field)}`);
  if (place === null) return;
  place.textContent = text.replace(/^rule \d+( \(.*?\))?: /, '');
  el.querySelector(`[aria-describedby="${place.id}"]`)?.setAttribute('aria-invalid', 'true');
}

/** A name for one more rule. */
export const nextKey = (keys) => `r${Math.max(0, ...keys.map((key) => Number(key.slice(1)))) + 1}`;

/** A labelled field; `name` is the key of the document that a fault names. */
function field(key, name, label, control, wide = false) {
  control.setAttribute('aria-describedby', faultId(key, name));
  return h('label', { class: wide ? 'wide' : null }, h('span', { text: label }), control, slot(key, name));
}

function line(key, name, value, change, more = {}) {
  return h('input', { type: 'text', autocomplete: 'off', value: value ?? '', data: { key: `${key} ${name}` }, on: { input: (event) => change(event.target.value) }, ...more });
}

function number(key, name, value, change) {
  return line(key, name, value === undefined ? '' : String(value), (typed) => change(form.numberTyped(typed)), { inputmode: 'decimal', class: 'n' });
}

function lines(key, name, value, change) {
  const area = h('textarea', { rows: 2, data: { key: `${key} ${name}` }, on: { input: (event) => change(event.target.value) } });
  area.value = value ?? '';
  return area;
}

function select(key, name, entries, chosen, change) {
  return h('select', { data: { key: `${key} ${name}` }, on: { change: (event) => change(event.target.value) } }, options(entries, chosen));
}

function tick(key, name, text, checked, change) {
  return h(
    'label',
    { class: 'tick' },
    h('input', { type: 'checkbox', checked, data: { key: `${key} ${name}` }, on: { change: (event) => change(event.target.checked) } }),
    h('span', { text }),
  );
}

const unitEntries = (units) => units.map((unit) => [unit, sayOr(`specs.unit.${unit}`, unit)]);

/** Standard uncertainty, its unit and where it is from. `edit` takes a function from the owner to the changed owner. */
function uncertainty(key, own, edit, legend, units) {
  const set = (part) => edit((owner) => form.withUncertainty(owner, part, units[0]));
  return h(
    'fieldset',
    { class: 'wide' },
    h('legend', { text: legend }),
    h(
      'div',
      { class: 'spec-fields' },
      field(key, 'standard', say('specs.form.standard'), number(key, 'standard', own?.standard, (standard) => set({ standard }))),
      units.length > 1
        ? field(key, 'uncertainty unit', say('specs.form.unit'), select(key, 'uncertainty unit', unitEntries(units), own?.unit ?? units[0], (unit) => set({ unit })))
        : null,
      field(key, 'uncertainty source', say('specs.form.uncertaintySource'), line(key, 'uncertainty source', own?.source, (source) => set({ source: source === '' ? undefined : source })), units.length === 1),
    ),
  );
}

/** @param {HTMLElement} el  that takes the wishes */
export function specForm(el, draft, subjects) {
  let { spec } = draft; // what was typed since it was drawn is in here
  const { keys, open } = draft;

  function edit(change, { redraw = false, focus = null, ...lists } = {}) {
    spec = change(spec);
    tell(el, 'wish.draft', { spec, keys, open, ...lists, redraw, focus });
  }

  function whole() {
    const kinds = spec.for ?? ['scan', 'cage'];
    const setKind = (kind, on) =>
      edit((now) => ({ ...now, for: ['scan', 'cage'].filter((each) => (each === kind ? on : (now.for ?? ['scan', 'cage']).includes(each))) }));
    const setPersons = (value) =>
      edit((now) => form.withKeys(now, { signatures: value === '1' && now.signatures === undefined ? undefined : Number(value) }));
    return h(
      'div',
      { class: 'spec-fields' },
      field('spec', 'name', say('specs.form.name'), line('spec', 'name', spec.name, (name) => edit((now) => ({ ...now, name })))),
      field(
        'spec',
        'signatures',
        say('specs.form.persons'),
        select('spec', 'signatures', [1, 2].map((n) => [String(n), say('specs.form.person', { n })]), String(spec.signatures ?? 1), setPersons),
      ),
      h(
        'fieldset',
        {},
        h('legend', { text: say('specs.form.for') }),
        ['scan', 'cage'].map((kind) => tick('spec', `for ${kind}`, say(`specs.kind.${kind}`), kinds.includes(kind), (on) => setKind(kind, on))),
        slot('spec', 'for'),
      ),
      field('spec', 'purpose', say('specs.form.purpose'), lines('spec', 'purpose', spec.purpose, (purpose) => edit((now) => ({ ...now, purpose }))), true),
      uncertainty('spec', spec.uncertainty, edit, say('specs.form.uncertaintyOfAll'), ['mm', 'cm', 'm', 'in']),
    );
  }

  function heading(rule, subject) {
    const name = nameOf(rule, subject);
    return [
      h('b', { text: name }),
      ' ',
      h('span', { class: 'limit', text: rule.limit === undefined ? say('specs.form.noLimit') : limitText({ unit: '', ...rule }) }),
      rule.need === 'advisory' ? h('small', { class: 'quiet', text: ` ${say('audit.advisory')}` }) : '',
      rule.decision === 'guarded' ? h('small', { class: 'quiet', text: ` ${say('specs.form.isGuarded')}` }) : '',
    ];
  }

  function nameOf(rule, subject) {
    if (rule.name) return rule.name;
    return subject === null ? rule.measure || say('specs.form.noMeasure') : form.subjectName(subject);
  }

  function card(rule, at) {
    const key = keys[at];
    const subject = form.subjectOf(subjects, rule);
    const head = h('span', {}, heading(rule, subject));
    const change = (make, redraw = false) => {
      edit((now) => form.changeRule(now, at, make(now.rules[at])), { redraw, focus: null });
      head.replaceChildren(...heading(spec.rules[at], subject));
    };
    const move = (by) => edit((now) => ({ ...now, rules: form.moved(now.rules, at, by) }), { redraw: true, keys: form.moved(keys, at, by) });
    const remove = () => {
      const left = form.without(keys, at);
      const focus = left.length === 0 ? 'add rule' : `${left[Math.min(at, left.length - 1)]} summary`;
      edit((now) => ({ ...now, rules: form.without(now.rules, at) }), { redraw: true, keys: left, focus });
    };
    const onKey = (event) => {
      const by = { ArrowUp: -1, ArrowDown: 1 }[event.key];
      if (!event.altKey || by === undefined) return;
      event.preventDefault();
      move(by);
    };
    const act = (word, sign, on, idle = false) =>
      h(
        'button',
        {
          type: 'button',
          title: say(`specs.form.${word}`),
          'aria-label': say(`specs.form.${word}Label`, { rule: nameOf(rule, subject) }),
          'aria-disabled': idle ? 'true' : null,
          data: { key: `${key} ${word}` },
          on: { click: () => (idle ? null : on()) },
        },
        h('span', { 'aria-hidden': 'true', text: sign }),
      );
    return h(
      'li',
      { id: `card-${key}`, on: { keydown: onKey } },
      h(
        'details',
        { open: open.includes(key), on: { toggle: (event) => event.target === event.currentTarget && tell(el, 'wish.open', { key, open: event.target.open }) } },
        h('summary', { data: { key: `${key} summary` } }, h('span', { class: 'n quiet', text: String(at + 1) }), ' ', head),
        open.includes(key) ? fields(rule, key, subject, change) : null,
      ),
      h('span', { class: 'acts' }, act('up', '↑', () => move(-1), at === 0), act('down', '↓', () => move(1), at === keys.length - 1), act('remove', '×', remove)),
    );
  }

  function fields(rule, key, subject, change) {
    const set = (name, redraw) => (value) => change((now) => form.withKeys(now, { [name]: value }), redraw);
    const statement = subject?.unit === 'statement';
    return h(
      'div',
      { class: 'spec-fields' },
      h(
        'div',
        { class: 'wide' },
        subjectChoice({
          key: `${key} measure`,
          label: say('specs.form.measure'),
          describedBy: faultId(key, 'measure'),
          subjects,
          chosen: subject,
          fallback: rule.measure ?? '',
          choose: (next) => change((now) => form.aboutAnother(now, next), true),
        }),
        slot(key, 'measure'),
        subject === null ? null : h('p', { class: 'quiet', text: subject.definition }),
      ),
      rule.findings ? findings(rule, key, change) : null,
      statement
        ? field(key, 'limit', say('specs.form.mustBe'), select(key, 'limit', ['true', 'false'].map((word) => [word, say(`audit.${word}`)]), String(rule.limit), (value) => set('limit')(value === 'true')))
        : limitFields(rule, key, subject, set),
      field(key, 'need', say('specs.head.need'), select(key, 'need', ['required', 'advisory'].map((word) => [word, say(`specs.need.${word}`)]), rule.need ?? 'required', set('need'))),
      statement ? null : decision(rule, key, subject, change, set),
      field(key, 'reason', say('specs.form.reason'), lines(key, 'reason', rule.reason, set('reason')), true),
      field(key, 'source', say('specs.form.source'), lines(key, 'source', rule.source, set('source')), true),
      field(key, 'id', say('specs.form.id'), line(key, 'id', rule.id, set('id'))),
      field(key, 'name', say('specs.form.shownAs'), line(key, 'name', rule.name, (name) => set('name')(name === '' ? undefined : name))),
    );
  }

  function limitFields(rule, key, subject, set) {
    const units = form.unitsFor(subject, rule);
    const unit = rule.findings ? 'count' : (subject?.unit ?? '');
    return [
      field(key, 'relation', say('specs.form.relation'), select(key, 'relation', form.RELATIONS.map((word) => [word, say(`specs.relation.${word}`)]), rule.relation, set('relation'))),
      field(
        key,
        'limit',
        units.length > 0 || !['degree', 'share'].includes(unit) ? say('specs.form.limit') : say('specs.form.limitIn', { unit: say(`specs.unit.${unit}`) }),
        number(key, 'limit', rule.limit, set('limit')),
      ),
      units.length > 0 ? field(key, 'unit', say('specs.form.unit'), select(key, 'unit', unitEntries(units), rule.unit, set('unit', true))) : null,
    ];
  }

  function decision(rule, key, subject, change, set) {
    const guarded = rule.decision === 'guarded';
    const words = ['simple', 'guarded'].map((word) => [word, say(`specs.decision.${word}`)]);
    return [
      field(key, 'decision', say('specs.form.decision'), select(key, 'decision', words, rule.decision ?? 'simple', (value) => change((now) => form.decidedBy(now, value), true))),
      guarded ? field(key, 'guard_factor', say('specs.form.guardFactor'), number(key, 'guard_factor', rule.guard_factor, set('guard_factor'))) : null,
      guarded || rule.uncertainty ? uncertainty(key, rule.uncertainty, change, say('specs.form.uncertainty'), form.uncertaintyUnits(subject, rule)) : null,
    ];
  }

  function findings(rule, key, change) {
    const part = (name, words, missing) =>
      field(
        key,
        name,
        say(`specs.form.${name}`),
        select(key, name, words.map((word) => [word, say(`specs.${name}.${word}`)]), rule.findings[name] ?? missing, (value) =>
          change((now) => form.withFindings(now, { [name]: value }), name === 'take'),
        ),
      );
    const setKind = (kind, on) =>
      change((now) => {
        const kinds = form.KINDS.filter((each) => (each === kind ? on : (now.findings.kinds ?? []).includes(each)));
        return form.withFindings(now, { kinds: kinds.length > 0 ? kinds : undefined });
      });
    return [
      part('take', form.TAKES, 'count'),
      part('severity', form.SEVERITIES, 'any'),
      part('mesh', form.MESHES, 'both'),
      h(
        'fieldset',
        { class: 'wide' },
        h('legend', { text: say('specs.form.kinds') }),
        form.KINDS.map((kind) => tick(key, `kind ${kind}`, kindName(kind), (rule.findings.kinds ?? []).includes(kind), (on) => setKind(kind, on))),
        slot(key, 'kinds'),
      ),
    ];
  }

  function add() {
    const choose = (subject) => {
      const key = nextKey(keys);
      edit((now) => form.addRule(now, subject), { redraw: true, keys: [...keys, key], open: [...open, key], focus: `${key} limit` });
    };
    return h(
      'div',
      { class: 'add' },
      subjectChoice({ key: 'add rule', label: say('specs.form.add'), describedBy: faultId('spec', 'rules'), subjects, chosen: null, fallback: '', choose }),
      slot('spec', 'rules'),
    );
  }

  return [whole(), h('h3', { text: say('audit.rules') }), h('p', { class: 'quiet', text: say('specs.form.rulesWhat') }), h('ol', { class: 'cards' }, spec.rules.map(card)), add()];
}
