// specs.js - the specs of the lab: one read as a table, or written as text; every change is its next version.
//   down: 'show', detail = { specs, whole: the one looked at, draft: null or { mode: 'form' or 'text', text, and what spec-form.js takes },
//         subjects, fault: the service's sentence or null, problem }; 'fault', detail = { draft, fault }: nothing else changed
//   up:   'wish.edit', 'wish.new', 'wish.leave', 'wish.save', 'wish.mode' (form or text), 'wish.text' (text), those of spec-form.js, 'wish.retry'
import { errorBox, h, redraw, tell, timeMark } from '../dom.js';
import { limitText } from '../audit-rules.js';
import { problemText } from '../problem.js';
import { writeRoute } from '../route.js';
import { say, sayList } from '../say.js';
import { showFault, specForm } from './spec-form.js';

/** @param {HTMLElement} el */
export function SpecsView(el) {
  let state = null;
  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
    if (state.draft?.mode === 'form') showFault(el, state.draft, state.fault);
  });
  el.addEventListener('fault', (event) => {
    state = { ...state, ...event.detail };
    if (state.draft.mode === 'form') showFault(el, state.draft, state.fault);
    else el.querySelector('#spec-fault').textContent = state.fault ?? '';
  });

  function update() {
    if (state.problem) {
      const { what, todo } = problemText(state.problem);
      redraw(
        el,
        errorBox({ title: say('specs.title'), what, todo }, [
          h('button', { text: say('do.again'), data: { key: 'again' }, on: { click: () => tell(el, 'wish.retry') } }),
        ]),
      );
      return;
    }
    redraw(
      el,
      h('h1', { tabindex: '-1', class: 'plain', text: say('specs.title') }),
      h('p', { class: 'summary', text: say('specs.what') }),
      list(),
      state.whole === null ? null : state.draft === null ? read(state.whole) : write(),
      h('p', { class: 'caution', text: `${say('caution')} ${say('audit.caution')}` }),
    );
  }

  function list() {
    return h(
      'nav',
      { 'aria-label': say('specs.list') },
      h(
        'ul',
        { class: 'waivers' },
        state.specs
          .filter((spec) => spec.latest || spec.id === state.whole?.id)
          .map((spec) =>
            h(
              'li',
              {},
              h('a', {
                href: writeRoute({ view: 'specs', query: { spec: spec.id } }),
                'aria-current': spec.id === state.whole?.id ? 'true' : null,
                data: { key: `spec ${spec.id}` },
                text: say('audit.specName', { name: spec.name, n: String(spec.version) }),
              }),
              ' ',
              h('span', { class: 'quiet' }, say('specs.used', { n: spec.audits }), ', ', timeMark(spec.created, true)),
            ),
          ),
      ),
    );
  }

  function read({ spec, version, name, id }) {
    const others = state.specs.filter((each) => each.name === name && each.id !== id);
    return [
      h('h2', { id: 'rules', text: say('audit.specName', { name, n: String(version) }) }),
      h('p', { class: 'summary', text: spec.purpose }),
      others.length > 0
        ? h(
            'p',
            { class: 'quiet' },
            say('specs.others'),
            ' ',
            others.map((each) => [h('a', { href: writeRoute({ view: 'specs', query: { spec: each.id } }), text: String(each.version) }), ' ']),
          )
        : null,
      h('p', {}, facts(spec)),
      h(
        'div',
        { class: 'scroll', role: 'region', 'aria-labelledby': 'rules', tabindex: '0', data: { scroll: 'rules' } },
        h(
          'table',
          { class: 'ledger rules' },
          h(
            'thead',
            {},
            h('tr', {}, ['rule', 'measure', 'limit', 'need'].map((each) => h('th', { scope: 'col', text: say(`specs.head.${each}`) }))),
          ),
          h('tbody', {}, spec.rules.map(row)),
        ),
      ),
      h(
        'p',
        { class: 'acts noprint' },
        h('button', { data: { key: 'edit' }, text: say('specs.edit'), on: { click: () => tell(el, 'wish.edit') } }),
        h('button', { data: { key: 'new' }, text: say('specs.new'), on: { click: () => tell(el, 'wish.new') } }),
        h('a', {
          class: 'button',
          download: `${name}-${version}.json`,
          href: `data:application/json,${encodeURIComponent(JSON.stringify(spec, null, 2))}`,
          text: say('specs.download'),
        }),
      ),
    ];
  }

  function facts(spec) {
    return sayList([
      say('specs.for', { kinds: sayList((spec.for ?? ['scan', 'cage']).map((kind) => say(`specs.kind.${kind}`))) }),
      spec.uncertainty
        ? say('specs.uncertainty', { standard: `${spec.uncertainty.standard} ${spec.uncertainty.unit}`, source: spec.uncertainty.source })
        : say('specs.noUncertainty'),
    ]);
  }

  function row(rule) {
    const label = (name) => ({ label: say(`specs.head.${name}`) });
    const about = rule.measure ?? say('specs.findings', { kinds: rule.findings.kinds ? sayList(rule.findings.kinds) : say('specs.everyKind') });
    return h(
      'tr',
      {},
      h(
        'th',
        { scope: 'row' },
        rule.id,
        h('span', { class: 'why', text: rule.reason }),
        h('span', { class: 'why', text: say('audit.source', { source: rule.source }) }),
      ),
      h('td', { class: 'break', data: label('measure') }, h('code', { text: about })),
      h('td', { data: label('limit'), text: limitText({ unit: '', ...rule }) }),
      h('td', { data: label('need'), text: say(`specs.need.${rule.need ?? 'required'}`) }),
    );
  }

  function write() {
    const { draft } = state;
    return h(
      'form',
      {
        class: 'write',
        novalidate: true,
        on: {
          submit: (event) => {
            event.preventDefault();
            tell(el, 'wish.save');
          },
        },
      },
      h('h2', { text: say(draft.begun ? 'specs.new' : 'specs.edit') }),
      h(
        'p',
        { class: 'acts', role: 'group', 'aria-label': say('specs.write') },
        ['form', 'text'].map((mode) =>
          h('button', {
            type: 'button',
            'aria-pressed': String(draft.mode === mode),
            data: { key: `mode ${mode}` },
            text: say(`specs.mode.${mode}`),
            on: { click: () => tell(el, 'wish.mode', mode) },
          }),
        ),
        h('span', { class: 'quiet', text: say(`specs.writeWhat.${draft.mode}`) }),
      ),
      draft.mode === 'form' ? specForm(el, draft, state.subjects) : text(draft),
      h('p', { id: 'spec-fault', class: 'fault', role: 'status', text: state.fault ?? '' }),
      h(
        'p',
        { class: 'acts' },
        h('button', { type: 'button', data: { key: 'leave' }, text: say('do.leave'), on: { click: () => tell(el, 'wish.leave') } }),
        h('button', { class: 'first', type: 'submit', data: { key: 'save' }, text: say(draft.begun ? 'specs.saveNew' : 'specs.save') }),
      ),
    );
  }

  function text(draft) {
    const area = h('textarea', {
      class: 'mono',
      rows: 28,
      spellcheck: 'false',
      'aria-label': say('specs.asText'),
      'aria-describedby': 'spec-fault',
      data: { key: 'spec text' },
      on: { input: () => tell(el, 'wish.text', area.value) },
    });
    area.value = draft.text;
    return area;
  }
}
