// collection.js - joins the collection's view to the server: what its address asks for comes down, its wishes go up.
import * as api from '../api.js';
import { give } from '../dom.js';
import { CollectionView } from '../views/collection.js';
import { askNewSpecimen } from '../views/new-specimen.js';

const PAGE = 50;
const STATES = ['', 'new', 'in work', 'ready', 'retired'];

/**
 * @param {HTMLElement} el
 * @param {object} page  app.js: go(route, replace), say it in a toast, and so on
 */
export function joinCollection(el, page) {
  let query = {};
  let items = [];
  let total = 0;
  let next = null;
  let counts = {};
  let asked = 0;
  let timer = null;

  CollectionView(el);
  el.addEventListener('wish.query', (event) => page.go({ view: 'collection', query: { ...query, ...event.detail } }));
  el.addEventListener('wish.more', () => load({ more: true }));
  el.addEventListener('wish.new', () =>
    askNewSpecimen(async (body) => {
      const specimen = await api.createSpecimen(body);
      page.go({ view: 'specimen', id: specimen.id });
    }),
  );

  const show = (rest = {}) => give(el, 'show', { query, items, total, counts, loading: false, problem: null, ...rest });

  async function load({ more = false, keep = false } = {}) {
    const mine = (asked += 1);
    const values = { q: query.q, state: query.state, sort: query.sort ?? 'changed', order: query.order ?? 'desc' };
    try {
      const limit = keep ? Math.min(500, Math.max(PAGE, items.length)) : PAGE;
      const page = await api.listSpecimens({ ...values, limit, cursor: more ? next : null });
      const totals = await Promise.all(
        STATES.map((state) => api.listSpecimens({ q: query.q, state, limit: 1 }).then((list) => [state, list.total])),
      );
      if (mine !== asked) return;
      items = more ? [...items, ...page.items] : page.items;
      ({ total, next } = page);
      counts = Object.fromEntries(totals);
      show();
    } catch (problem) {
      if (mine === asked) show({ problem });
    }
  }

  return {
    title: () => 'collection.title',
    visit(route) {
      query = route.query;
      items = [];
      show({ loading: true });
      return load();
    },
    /** Many events come together while jobs run: the list is read anew once, a moment after the first. */
    hear(name) {
      if (name === 'connected' || name === 'lost') return;
      timer ??= setTimeout(() => {
        timer = null;
        load({ keep: true });
      }, 400);
    },
    leave() {
      clearTimeout(timer);
      asked += 1;
    },
  };
}
