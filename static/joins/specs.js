// specs.js - joins the list of specs and the one that is looked at or written to the server.
import * as api from '../api.js';
import { give } from '../dom.js';
import { say } from '../say.js';
import { problemText } from '../problem.js';
import { SpecsView } from '../views/specs.js';

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinSpecs(el, page) {
  let query = {};
  let asked = 0;
  let state = null;
  SpecsView(el);

  async function load() {
    const mine = (asked += 1);
    try {
      const specs = await api.listSpecs();
      const chosen = specs.find((spec) => spec.id === query.spec) ?? specs.find((spec) => spec.latest);
      const whole = chosen ? await api.readSpec(chosen.id) : null;
      if (mine !== asked) return;
      state = { specs, whole, draft: null, fault: null, problem: null };
      give(el, 'show', state);
    } catch (problem) {
      if (mine === asked) give(el, 'show', { problem });
    }
  }

  const show = (change) => give(el, 'show', (state = { ...state, ...change }));

  async function save(text) {
    let body;
    try {
      body = JSON.parse(text);
    } catch (error) {
      show({ draft: text, fault: say('specs.notJson', { what: error.message }) });
      return;
    }
    try {
      const saved = await api.addSpec(body);
      page.tell(say('specs.saved', { name: saved.name, n: saved.version }));
      page.go({ view: 'specs', query: { spec: saved.id } }, true);
    } catch (problem) {
      if (!(problem instanceof api.Problem)) throw problem;
      show({ draft: text, fault: problemText(problem).what });
    }
  }

  el.addEventListener('wish.edit', () => show({ draft: JSON.stringify(withoutVersion(state.whole.spec), null, 2), fault: null }));
  el.addEventListener('wish.leave', () => show({ draft: null, fault: null }));
  el.addEventListener('wish.save', (event) => save(event.detail));
  el.addEventListener('wish.retry', load);

  return {
    visit(next) {
      query = next.query;
      return load();
    },
  };
}

/** The service gives the next version its number. */
function withoutVersion(spec) {
  return { ...spec, version: undefined };
}
