// specs.js - joins the list of specs and the one that is looked at or written to the server.
import * as api from '../api.js';
import { give } from '../dom.js';
import { say } from '../say.js';
import { problemText } from '../problem.js';
import { faultPlace, newSpec, readText, subjectsOfRules, writeText } from '../spec-form.js';
import { SpecsView } from '../views/specs.js';

const CHECK_AFTER_MS = 300;

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinSpecs(el, page) {
  let query = {};
  let asked = 0;
  let timer = null;
  let state = null;
  SpecsView(el);

  async function load() {
    const mine = (asked += 1);
    try {
      const specs = await api.listSpecs();
      const chosen = specs.find((spec) => spec.id === query.spec) ?? specs.find((spec) => spec.latest);
      const whole = chosen ? await api.readSpec(chosen.id) : null;
      if (mine !== asked) return;
      state = { specs, whole, draft: null, subjects: [], fault: null, problem: null };
      give(el, 'show', state);
    } catch (problem) {
      if (mine === asked) give(el, 'show', { problem });
    }
  }

  const show = (change) => give(el, 'show', (state = { ...state, ...change }));

  /** The document as it is now; null, with the fault shown, where a text is none. */
  function written() {
    if (state.draft.mode === 'form') return state.draft.spec;
    try {
      return JSON.parse(state.draft.text);
    } catch (error) {
      tellFault(say('specs.notJson', { what: error.message }));
      return null;
    }
  }

  function tellFault(fault) {
    state = { ...state, fault };
    give(el, 'fault', { draft: state.draft, fault });
  }

  /** What the service would say of it, asked once nothing was typed for a moment. */
  function checkSoon() {
    clearTimeout(timer);
    timer = setTimeout(check, CHECK_AFTER_MS);
  }

  async function check() {
    const { draft } = state;
    const body = draft === null ? null : written();
    if (body === null) return;
    try {
      const { detail } = await api.checkSpec(body);
      if (state.draft === draft) tellFault(detail);
    } catch (problem) {
      if (state.draft === draft) tellFault(problemText(problem).what);
    }
  }

  async function save() {
    clearTimeout(timer);
    const body = written();
    if (body === null) return;
    try {
      const saved = await api.addSpec(body);
      page.tell(say('specs.saved', { name: saved.name, n: saved.version }));
      page.go({ view: 'specs', query: { spec: saved.id } }, true);
    } catch (problem) {
      if (!(problem instanceof api.Problem)) throw problem;
      tellFault(problemText(problem).what);
      openFaulty();
    }
  }

  /** The card of the rule with the fault is opened, and its field has the focus. */
  function openFaulty() {
    const { draft, fault } = state;
    if (draft.mode !== 'form') return;
    const { rule } = faultPlace(fault, draft.spec);
    const key = rule === null ? null : draft.keys[rule];
    if (key && !draft.open.includes(key)) show({ draft: { ...draft, open: [...draft.open, key] } });
    el.querySelector('[aria-invalid]')?.focus();
  }

  const drafted = (spec) => ({ mode: 'form', text: '', spec, keys: spec.rules.map((_, i) => `r${i + 1}`), open: [] });

  async function write(spec, begun) {
    try {
      const subjects = subjectsOfRules(await api.readMeasures());
      show({ draft: { ...drafted(spec), begun }, subjects, fault: null });
      el.querySelector('[data-key="spec name"]').focus();
    } catch (problem) {
      page.tellProblem(problem);
    }
  }

  function setMode(mode) {
    const { draft } = state;
    if (mode === draft.mode) return;
    if (mode === 'text') show({ draft: { ...draft, mode, text: writeText(draft.spec) } });
    else {
      const { spec, fault } = readText(draft.text);
      if (spec === undefined) {
        clearTimeout(timer);
        state = { ...state, draft: { ...draft } }; // what the service has still to say is of less use now
        tellFault(fault);
      } else show({ draft: { ...drafted(spec), begun: draft.begun } });
    }
  }

  el.addEventListener('wish.edit', () => write(withoutVersion(state.whole.spec), false));
  el.addEventListener('wish.new', () => write(newSpec(), true));
  el.addEventListener('wish.leave', () => show({ draft: null, fault: null }));
  el.addEventListener('wish.mode', (event) => setMode(event.detail));
  el.addEventListener('wish.save', save);
  el.addEventListener('wish.retry', load);
  el.addEventListener('wish.text', (event) => {
    state = { ...state, draft: { ...state.draft, text: event.detail } };
    checkSoon();
  });
  el.addEventListener('wish.draft', ({ detail: { redraw, focus, ...change } }) => {
    state = { ...state, draft: { ...state.draft, ...change } };
    if (redraw) show({});
    if (focus !== null) el.querySelector(`[data-key="${focus}"]`)?.focus();
    checkSoon();
  });
  el.addEventListener('wish.open', ({ detail: { key, open } }) => {
    const { draft } = state;
    if (draft.open.includes(key) === open) return;
    show({ draft: { ...draft, open: open ? [...draft.open, key] : draft.open.filter((each) => each !== key) } });
  });

  return {
    visit(next) {
      query = next.query;
      return load();
    },
  };
}

/** The service gives the next version its number. */
function withoutVersion(spec) {
  const { version: _, ...rest } = spec;
  return rest;
}
