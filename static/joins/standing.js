// standing.js - joins the standing of the collection to the server: the list its address asks for, what changes in it, auditing all.
import * as api from '../api.js';
import { latestSpecs } from '../audit-rules.js';
import { give } from '../dom.js';
import { readSetting, writeSetting } from '../settings.js';
import { auditedText } from '../standing.js';
import { StandingView } from '../views/standing.js';
import { BLOCK, MOST_PRINTED } from '../views/register.js';

/** While audits are made many events come together: the list is asked for once, so long after the first. */
const GATHER_MS = 700;
/** Blocks of the register that come with one answer: the server looks at the whole collection for each. */
const BLOCKS_AN_ANSWER = 8;
const ROWS = BLOCK * BLOCKS_AN_ANSWER;

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinStanding(el, page) {
  let query = {};
  let state = { specs: null, spec: null, counts: null, toAudit: 0, total: 0, loading: false, problem: null, moved: false, auditing: null };
  let list = 0; // counts the lists asked for: an answer for an earlier one is dropped
  let drawn = null; // what the list that is shown was asked by
  let first = ''; // its first rows, to tell whether others are first by now
  let timer = null;
  const wanted = new Set(); // parts of the list, of ROWS rows each, that are being asked for

  const viewOf = ({ standing, q, sort, order }) => ({ standing, q, sort, order });
  const { register, isNear, refocus } = StandingView(el, ({ spec, format, ...rest }) =>
    api.standingFile({ spec, ...viewOf(rest), format }),
  );
  el.addEventListener('wish.query', ({ detail }) => page.go({ view: 'standing', query: { ...query, ...detail } }, detail.q !== undefined));
  el.addEventListener('wish.block', ({ detail }) => readPart(Math.floor(detail.block / BLOCKS_AN_ANSWER)));
  el.addEventListener('wish.order', () => read());
  el.addEventListener('wish.again', () => read());
  el.addEventListener('wish.audit', () => auditAll());
  el.addEventListener('wish.stop', () => show({ auditing: null }));
  el.addEventListener('wish.print', print);

  const show = (rest = {}) => {
    state = { ...state, ...rest };
    give(el, 'show', { query, ...state });
  };
  const ask = (values, cursor) => api.listStanding({ ...values, limit: ROWS, cursor });

  /** What the address names, else what the reader chose last, else the first. */
  function chooseSpec(specs) {
    return specs.find((each) => each.id === query.spec) ?? specs.find((each) => each.name === readSetting('spec')) ?? specs[0] ?? null;
  }

  async function read() {
    const mine = (list += 1);
    try {
      const all = await api.listSpecs();
      const specs = latestSpecs(all);
      const older = all.find((each) => each.id === query.spec && !each.latest);
      if (older) specs.push(older);
      const spec = chooseSpec(specs);
      if (mine !== list) return;
      if (spec === null) return show({ specs, spec: null, loading: false, problem: null });
      const asked = { spec: spec.id, ...viewOf(query) };
      const answer = await ask(asked, null);
      if (mine !== list) return;
      state = { ...state, specs, spec };
      take(answer, asked);
    } catch (problem) {
      if (mine === list) show({ problem, loading: false });
    }
  }

  const withSpec = (items, asked) => items.map((item) => ({ ...item, spec: asked.spec }));
  const firstOf = (items) => JSON.stringify(items.slice(0, BLOCK).map((item) => [item.specimen, item.standing, item.since]));

  function take(answer, asked) {
    const other = JSON.stringify(asked) !== JSON.stringify(drawn);
    drawn = asked;
    first = firstOf(answer.items);
    wanted.clear();
    const items = withSpec(answer.items, asked);
    show({ total: answer.total, counts: answer.counts, toAudit: answer.to_audit, loading: false, problem: null, moved: false });
    give(register, 'list', { total: answer.total, query: asked, items: items.slice(0, BLOCK), other });
    giveBlocks(0, items);
  }

  function giveBlocks(part, items) {
    for (let i = 0; i * BLOCK < items.length; i += 1)
      give(register, 'block', { id: part * BLOCKS_AN_ANSWER + i, items: items.slice(i * BLOCK, (i + 1) * BLOCK) });
  }

  async function readPart(part) {
    if (wanted.has(part) || drawn === null) return;
    wanted.add(part);
    const mine = list;
    try {
      await new Promise(requestAnimationFrame); // what is only passed by is not asked for
      if (!blocksOf(part).some(isNear)) return;
      const { items } = await ask(drawn, part === 0 ? null : String(part * ROWS));
      if (mine === list) giveBlocks(part, withSpec(items, drawn));
    } catch (problem) {
      if (mine === list) show({ problem });
    } finally {
      wanted.delete(part);
    }
  }

  const blocksOf = (part) => Array.from({ length: BLOCKS_AN_ANSWER }, (_, i) => part * BLOCKS_AN_ANSWER + i);

  /** After events: counts are always the present ones; rows are drawn anew where nobody is at work in them, else it is offered. */
  async function follow() {
    timer = null;
    if (state.loading) {
      timer = setTimeout(follow, GATHER_MS); // the list that is shown is not the one that is asked for
      return;
    }
    if (drawn === null) return;
    const mine = list;
    let answer;
    try {
      answer = await ask(drawn, null);
    } catch {
      return; // that the server is silent is told elsewhere
    }
    if (mine !== list) return;
    const moved = answer.total !== state.total || firstOf(answer.items) !== first;
    const { counts, to_audit: toAudit } = answer;
    if (!moved) show({ counts, toAudit });
    else if (isFree()) {
      list += 1;
      take(answer, drawn);
    } else show({ counts, toAudit, moved: true });
  }

  function isFree() {
    return register.getBoundingClientRect().top >= 0 && !register.matches(':hover, :focus-within');
  }

  /** Piece by piece, so that the server goes on answering others and the reader sees how far it is. */
  async function auditAll() {
    const spec = state.spec.id;
    const all = state.toAudit;
    const sum = { audited: 0, conforms: 0, does_not_conform: 0, undecided: 0, refused: [] };
    let after = null;
    show({ auditing: { done: 0, all } });
    try {
      do {
        const piece = await api.auditAll(spec, after);
        for (const key of ['audited', 'conforms', 'does_not_conform', 'undecided']) sum[key] += piece[key];
        sum.refused.push(...piece.refused);
        after = piece.next;
        if (state.auditing !== null) show({ auditing: { done: Math.min(all, sum.audited + sum.refused.length), all } });
      } while (after !== null && state.auditing !== null);
      page.tell(auditedText(sum));
    } catch (problem) {
      page.tellProblem(problem);
    }
    show({ auditing: null });
    return read();
  }

  async function print() {
    if (drawn === null) return;
    try {
      const items = await api.allStanding(drawn, MOST_PRINTED);
      give(register, 'print', { items: withSpec(items, drawn).slice(0, MOST_PRINTED) });
      window.print();
    } catch (problem) {
      page.tellProblem(problem);
    }
  }

  return {
    title: () => 'standing.title',
    visit(route) {
      query = route.query;
      const chosen = state.specs?.find((each) => each.id === query.spec);
      if (chosen) writeSetting('spec', chosen.name);
      const spec = state.specs === null || (query.spec && !chosen) ? null : chooseSpec(state.specs);
      // counts of another spec, and the button that audits by it, are not shown beside the name of this one
      show({ loading: true, spec, counts: spec?.id === state.spec?.id ? state.counts : null });
      return read();
    },
    hear(name) {
      if (['specimen', 'run', 'reset'].includes(name)) timer ??= setTimeout(follow, GATHER_MS);
    },
    focus: refocus,
    leave() {
      clearTimeout(timer);
      timer = null;
    },
  };
}
