// collection.js - joins the collection's view to the server: what its address asks for comes down, its wishes go up.
import * as api from '../api.js';
import { give } from '../dom.js';
import { formatCount } from '../format.js';
import { forgetView, readViews, saveView, viewOf } from '../saved-views.js';
import { say } from '../say.js';
import { writeSetting } from '../settings.js';
import { CollectionView } from '../views/collection.js';
import { askNewSpecimen } from '../views/new-specimen.js';
import { BLOCK, MOST_PRINTED } from '../views/register.js';

/** While jobs run many events come together: the order is asked for once, so long after the first. */
const GATHER_MS = 500;
const BLOCKS_AT_ONCE = 2;
/** A list of more takes a moment to read for the printer. */
const LONG = 500;

/**
 * @param {HTMLElement} el
 * @param {object} page  app.js: go(route, replace), say it in a toast, and so on
 */
export function joinCollection(el, page) {
  let query = {};
  let state = { total: 0, totals: {}, loading: false, problem: null, moved: false };
  let list = 0; // counts the lists asked for: an answer for an earlier one is dropped
  let drawn = null; // the query of the list that is shown
  let first = []; // ids of its first block
  let asking = false;
  let timer = null;
  const queue = []; // blocks asked for, newest last
  let underway = 0;

  const { register, isNear, refocus } = CollectionView(el);
  el.addEventListener('wish.query', (event) => page.go({ view: 'collection', query: { ...viewOf(query), ...event.detail } }));
  el.addEventListener('wish.block', (event) => {
    queue.push(event.detail.block);
    readBlocks();
  });
  el.addEventListener('wish.order', () => read());
  el.addEventListener('wish.again', () => read());
  el.addEventListener('wish.new', () =>
    askNewSpecimen(async (body) => {
      const specimen = await api.createSpecimen(body);
      page.go({ view: 'specimen', id: specimen.id });
    }),
  );
  el.addEventListener('wish.unit', ({ detail }) => {
    writeSetting('unit', detail.unit);
    give(register, 'redraw');
  });
  el.addEventListener('wish.save', ({ detail }) => {
    saveView(detail.name, query);
    page.go({ view: 'collection', query: { ...viewOf(query), view: detail.name } }, true);
  });
  el.addEventListener('wish.forget', ({ detail }) => {
    forgetView(detail.name);
    page.go({ view: 'collection', query: viewOf(query) }, true);
  });
  el.addEventListener('wish.copy', async () => {
    try {
      await navigator.clipboard.writeText(location.href);
      page.tell(say('views.copied'));
    } catch {
      page.tell(say('views.notCopied'));
    }
  });

  el.addEventListener('wish.print', async () => {
    const { q, state: only, sort = 'changed', order = 'desc' } = drawn ?? viewOf(query);
    if (state.total > MOST_PRINTED)
      page.tell(say('collection.readingPart', { n: MOST_PRINTED, total: formatCount(state.total) }));
    else if (state.total > LONG) page.tell(say('collection.reading', { n: state.total }));
    try {
      give(register, 'print', { items: await api.firstSpecimens({ q, state: only, sort, order }, MOST_PRINTED) });
      window.print();
    } catch (problem) {
      page.tellProblem(problem);
    }
  });

  const show = (rest = {}) => {
    state = { ...state, ...rest };
    give(el, 'show', { query, views: readViews(), ...state });
  };

  const ask = (values, limit, offset) => {
    const { q, state: only, sort = 'changed', order = 'desc' } = values;
    return api.listSpecimens({ q, state: only, sort, order, limit, offset: offset || null });
  };

  /** The first block and the counts. One question at a time: what changes meanwhile is asked for when the answer has come. */
  async function read() {
    list += 1;
    if (asking) return;
    asking = true;
    let mine;
    let answer = null;
    let problem = null;
    let asked;
    do {
      mine = list;
      asked = viewOf(query);
      try {
        answer = await ask(asked, BLOCK, 0);
        problem = null;
      } catch (thrown) {
        problem = thrown;
      }
    } while (mine !== list);
    asking = false;
    if (problem !== null) return show({ problem, loading: false });
    take(answer, asked);
  }

  function take(answer, asked) {
    const other = JSON.stringify(asked) !== JSON.stringify(drawn);
    const opened = drawn === null;
    drawn = asked;
    first = answer.items.map((item) => item.id);
    queue.length = 0;
    show({ total: answer.total, totals: answer.totals, loading: false, problem: null, moved: false });
    if (other && !opened) toTop();
    give(register, 'list', { total: answer.total, query: asked, items: answer.items, other });
  }

  /** Another list begins at its beginning. */
  function toTop() {
    if (register.getBoundingClientRect().top < 0) el.scrollIntoView({ block: 'start' });
  }

  async function readBlocks() {
    while (underway < BLOCKS_AT_ONCE && queue.length > 0) {
      const block = queue.pop();
      if (isNear(block)) readBlock(block);
    }
  }

  async function readBlock(block) {
    const mine = list;
    underway += 1;
    try {
      const { items } = await ask(drawn ?? query, BLOCK, block * BLOCK);
      if (mine === list) give(register, 'block', { id: block, items });
    } catch (problem) {
      if (mine === list) show({ problem });
    }
    underway -= 1;
    readBlocks();
  }

  /** After events: has the list another length or another order? Told, or drawn where nobody is at work in it. */
  async function follow() {
    timer = null;
    if (drawn === null) return;
    const mine = list;
    let answer;
    try {
      answer = await ask(drawn, BLOCK, 0);
    } catch {
      return; // that the server is silent is told elsewhere
    }
    if (mine !== list) return;
    const ids = answer.items.map((item) => item.id);
    const moved = answer.total !== state.total || ids.some((id, i) => id !== first[i]);
    if (!moved || state.moved) show({ totals: answer.totals });
    else if (isFree()) {
      list += 1;
      take(answer, drawn);
    } else show({ totals: answer.totals, moved: true });
  }

  /** Nobody reads in the table: its beginning is in sight, and neither pointer nor focus is in it. */
  function isFree() {
    return register.getBoundingClientRect().top >= 0 && !register.matches(':hover, :focus-within');
  }

  return {
    title: () => 'collection.title',
    visit(route) {
      query = route.query;
      show({ loading: true });
      return read();
    },
    hear(name, data) {
      if (name === 'specimen') give(register, 'specimen', data);
      if (name === 'specimen' || name === 'reset') timer ??= setTimeout(follow, GATHER_MS);
    },
    focus: refocus,
    leave() {
      clearTimeout(timer);
      timer = null;
    },
  };
}
