// saved-views.js - views of the collection that this browser keeps under a name: what is looked for, which state, in which order.
const KEY = 'fettle.views';
const PARTS = ['q', 'state', 'sort', 'order'];

/** The parts of a query that make a view, without its name. */
export function viewOf(query) {
  return Object.fromEntries(PARTS.filter((part) => query[part]).map((part) => [part, query[part]]));
}

/** @returns {{ name: string, query: Record<string, string> }[]} in the order of their names */
export function readViews(storage = globalThis.localStorage) {
  try {
    const kept = JSON.parse(storage.getItem(KEY) ?? '[]');
    return kept
      .filter(({ name, query }) => typeof name === 'string' && name !== '' && typeof query === 'object' && query !== null)
      .map(({ name, query }) => ({ name, query: viewOf(query) }))
      .sort((a, b) => a.name.localeCompare(b.name));
  } catch {
    return [];
  }
}

/** Keeps a view; one of the same name is replaced. A browser that keeps nothing forgets it. */
export function saveView(name, query, storage = globalThis.localStorage) {
  write([...readViews(storage).filter((view) => view.name !== name), { name, query: viewOf(query) }], storage);
}

export function forgetView(name, storage = globalThis.localStorage) {
  write(
    readViews(storage).filter((view) => view.name !== name),
    storage,
  );
}

/** Whether a query is that view, under its name. */
export function isView(view, query) {
  return query.view === view.name && JSON.stringify(viewOf(query)) === JSON.stringify(viewOf(view.query));
}

function write(views, storage) {
  try {
    storage.setItem(KEY, JSON.stringify(views));
  } catch {
    // Nothing is lost but the name: the address holds the view.
  }
}
