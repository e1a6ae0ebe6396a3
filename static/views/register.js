// register.js - specimens as one table of any length, of which only what is near the window is there. Rows come in blocks;
// those out of sight are one empty row of their height. The table is one stop of Tab: arrows, Page keys, Home and End move in it.
//   down: 'list', detail = { total, query, items, other }: how many rows there are and in which order, the rows of block 0;
//                 the others are asked for anew. other: it is another list, not a newer state of the same
//         'block', detail = { id: number of the block, items }
//         'specimen', detail = the specimen: redraws its row, where there is one; 'redraw': all that is in sight, in another unit
//         'print', detail = { items }: the whole list or MOST_PRINTED of it, for the next time it is printed; without it
//                 what was read so far is
//   up:   'wish.block', detail = { block }: its rows are wanted; 'wish.query'
import { h, hidden, tell } from '../dom.js';
import { formatCount } from '../format.js';
import { say } from '../say.js';

export const BLOCK = 15;
/** How much above and below the window is drawn, in heights of it. */
const MARGIN = 0.75;
/** The height of a row before any is drawn, in px. */
const ROW_GUESS = 62;
const PAGE_STEP = 10;
/** Rows on paper, some eighty pages: browsers fail at ten thousand. */
export const MOST_PRINTED = 2000;
/** Blocks whose rows are remembered when out of sight. */
const REMEMBERED = 40;
/**
 * @param {HTMLElement} el
 * @param {object} kind  what its rows are: { caption, name: class of the table, columns: [{ name, key: what the server sorts by or
 *          null, first, number }], sort: the key that it is sorted by without being asked, order: and which way, before: heading of a
 *          column before them or null, idOf(item), row(item, at, { paper }): a tr with one link, a.what }
 * @returns {{ isNear: (block: number) => boolean, refocus: () => boolean }} whether a block that was asked for is still wanted
 *          when its turn comes; and gives the focus back to the row last used, false where there is none
 */
export function Register(el, kind) {
  const head = h('thead');
  const table = h('table', { class: `ledger register ${kind.name}` }, h('caption', { class: 'hide', text: say(kind.caption) }), head);
  const rows = new Map(); // block -> its items, oldest use first
  const heights = new Map(); // block -> px when it was last drawn
  const bodies = new Map(); // block -> its part of the table
  let rooms = []; // the empty rows between these
  let total = 0;
  let stop = 0; // the row that Tab leads to
  let wanted = null; // a row that gets the focus once it is drawn
  let rowHeight = ROW_GUESS;
  let width = 0;
  let looking = false;
  let whole = null; // all items, while they are printed

  el.append(table);
  el.addEventListener('list', (event) => setList(event.detail));
  el.addEventListener('block', ({ detail }) => takeBlock(detail.id, detail.items));
  el.addEventListener('specimen', (event) => redrawRow(event.detail));
  el.addEventListener('redraw', () => [...bodies.keys()].filter(isDrawn).forEach(draw));
  el.addEventListener('print', (event) => (whole = event.detail.items.map((item, at) => ({ item, at }))));
  window.addEventListener('beforeprint', () => {
    if (el.isConnected && total > 0) el.append(printed(whole ?? known()));
  });
  window.addEventListener('afterprint', () => {
    el.querySelector('.printed')?.remove();
    whole = null;
  });
  table.addEventListener('keydown', move);
  table.addEventListener('focusin', (event) => {
    const at = rowOf(event.target);
    if (at !== null) setStop(at);
  });
  for (const name of ['scroll', 'resize']) window.addEventListener(name, lookSoon, { passive: true });
  new ResizeObserver(([entry]) => {
    if (entry.contentRect.width === width || entry.contentRect.width === 0) return;
    width = entry.contentRect.width;
    measureAll();
    look();
  }).observe(el);

  const count = () => Math.ceil(total / BLOCK);
  const sizeOf = (block) => Math.min(BLOCK, total - block * BLOCK);
  const heightOf = (block) => heights.get(block) ?? sizeOf(block) * rowHeight;
  const isDrawn = (block) => bodies.get(block)?.dataset.drawn === 'yes';
  const isNear = (block) => bodies.has(block);
  const isWanted = (block) => wanted !== null && Math.floor(wanted / BLOCK) === block;
  const hasFocus = (block) => bodies.get(block)?.contains(document.activeElement) ?? false;
  const wish = (block) => tell(el, 'wish.block', { block });
  const linkOf = (at) => table.querySelector(`tr[data-at="${at}"] a.what`);
  const rowOf = (node) => {
    const at = node.closest?.('tr[data-at]')?.dataset.at;
    return at === undefined ? null : Number(at);
  };

  function setList({ total: length, query, items, other }) {
    total = length;
    drawHead(query);
    table.setAttribute('aria-rowcount', total + 1);
    rows.clear();
    if (total > 0) rows.set(0, items);
    if (other) {
      wanted = null;
      stop = 0;
    }
    measureAll();
    const before = [...bodies.keys()].filter((block) => block < count());
    look();
    for (const block of before.filter(isNear)) {
      if (rows.has(block)) draw(block);
      else wish(block); // what is shown stays until it comes
    }
    keepAStop();
  }

  function drawHead(query) {
    const by = query.sort ?? kind.sort;
    const order = query.order ?? (by === kind.sort ? kind.order : 'asc');
    const other = order === 'asc' ? 'desc' : 'asc';
    const focused = head.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    head.replaceChildren(
      h(
        'tr',
        { 'aria-rowindex': 1 },
        kind.before ? h('th', { scope: 'col' }, hidden(say(kind.before))) : null,
        kind.columns.map(({ name, key, first, number }) =>
          h(
            'th',
            { scope: 'col', class: number ? 'n' : null, 'aria-sort': key !== null && by === key ? `${order}ending` : null },
            key === null
              ? say(name)
              : h(
                  'button',
                  {
                    class: 'plain',
                    data: { key: `by ${key}` },
                    on: { click: () => tell(el, 'wish.query', { sort: key, order: by === key ? other : first }) },
                  },
                  say(name),
                  by === key ? h('span', { 'aria-hidden': 'true', text: order === 'asc' ? ' ↑' : ' ↓' }) : null,
                ),
          ),
        ),
      ),
    );
    if (focused !== null) head.querySelector(`[data-key="${focused}"]`)?.focus({ preventScroll: true });
  }

  /* --- what is near the window --- */

  function lookSoon() {
    if (looking || !el.isConnected) return;
    looking = true;
    requestAnimationFrame(() => {
      looking = false;
      look();
    });
  }

  /** Draws what is near the window, and what has the focus or shall have it; takes the rest away. */
  function look() {
    if (!el.isConnected) return;
    const sight = window.innerHeight;
    const near = [];
    let top = table.tBodies[0]?.getBoundingClientRect().top ?? table.getBoundingClientRect().bottom;
    for (let block = 0; block < count(); block += 1) {
      const bottom = top + heightOf(block);
      if ((bottom > -MARGIN * sight && top < (1 + MARGIN) * sight) || hasFocus(block) || isWanted(block)) near.push(block);
      top = bottom;
    }
    const added = near.filter((block) => !bodies.has(block));
    arrange(near);
    for (const block of added) {
      if (rows.has(block)) draw(block);
      else wish(block);
    }
    if (added.length > 0) keepAStop();
  }

  /** The table's parts in their order: blocks, and room for those that are not there. What stays is not moved: it may have the focus. */
  function arrange(near) {
    for (const [block, body] of bodies) {
      if (near.includes(block)) continue;
      body.remove();
      bodies.delete(block);
    }
    rooms.forEach((room) => room.remove());
    rooms = [];
    let next = 0;
    let here = head.nextSibling;
    const put = (part) => {
      if (part === here) here = here.nextSibling;
      else table.insertBefore(part, here);
    };
    const leaveRoom = (end) => {
      if (next === end) return;
      let height = 0;
      for (; next < end; next += 1) height += heightOf(next);
      rooms.push(h('tbody', {}, emptyRow(height)));
      put(rooms.at(-1));
    };
    for (const block of near) {
      leaveRoom(block);
      if (!bodies.has(block)) bodies.set(block, h('tbody', { data: { block } }, emptyRow(heightOf(block))));
      put(bodies.get(block));
      next = block + 1;
    }
    leaveRoom(count());
  }

  const emptyRow = (height) =>
    h(
      'tr',
      { 'aria-hidden': 'true', class: 'unseen' },
      h('td', { colspan: (kind.before ? 1 : 0) + kind.columns.length, style: { height: `${height}px` } }),
    );

  function takeBlock(block, items) {
    if (block >= count()) return;
    rows.delete(block);
    rows.set(block, items);
    for (const [old] of rows) {
      if (rows.size <= REMEMBERED) break;
      if (!isNear(old)) rows.delete(old);
    }
    if (isNear(block)) draw(block);
    keepAStop();
  }

  function draw(block) {
    const body = bodies.get(block);
    const key = hasFocus(block) ? document.activeElement.dataset.key : null;
    const items = rows.get(block).slice(0, sizeOf(block));
    const letGo = hold();
    body.replaceChildren(...items.map((item, i) => kind.row(item, block * BLOCK + i)));
    body.dataset.drawn = 'yes';
    if (key !== null) body.querySelector(`[data-key="${key}"]`)?.focus({ preventScroll: true });
    const isFirst = heights.size === 0;
    measure(block);
    letGo();
    if (isFirst && el.isConnected) {
      rowHeight = heightOf(block) / sizeOf(block);
      arrange([...bodies.keys()].sort((a, b) => a - b));
      lookSoon();
    }
    if (isWanted(block)) focusRow(wanted);
  }

  function measure(block) {
    const height = bodies.get(block).getBoundingClientRect().height;
    if (height > 0 && isDrawn(block)) heights.set(block, height);
  }

  function measureAll() {
    heights.clear();
    bodies.forEach((_, block) => measure(block));
  }

  /** What the reader looks at, the row with the focus before all, stays in its place while blocks beside it change their height. */
  function hold() {
    const inSight = (part) => {
      const { top, bottom } = part.getBoundingClientRect();
      return bottom > 0 && top < window.innerHeight;
    };
    const focused = table.contains(document.activeElement) ? document.activeElement.closest('tr[data-at]') : null;
    const kept = focused !== null && inSight(focused) ? focused : [...table.tBodies].find(inSight);
    const before = kept?.getBoundingClientRect().top;
    return () => {
      if (!kept?.isConnected) return;
      const moved = kept.getBoundingClientRect().top - before;
      if (Math.abs(moved) >= 1) window.scrollBy(0, moved);
    };
  }

  function redrawRow(specimen) {
    for (const [block, items] of rows) {
      const i = items.findIndex((item) => kind.idOf(item) === kind.idOf(specimen));
      if (i < 0) continue;
      items[i] = specimen;
      const old = table.querySelector(`tr[data-at="${block * BLOCK + i}"]`);
      if (old === null) return;
      const fresh = kind.row(specimen, block * BLOCK + i);
      const picture = old.querySelector('.picture > *');
      const next = fresh.querySelector('.picture > *');
      if (picture !== null && picture.getAttribute('src') === next.getAttribute('src')) next.replaceWith(picture); // so that it does not flash
      const focused = old.contains(document.activeElement);
      old.replaceWith(fresh);
      if (focused) fresh.querySelector('a.what').focus({ preventScroll: true });
      keepAStop();
    }
  }

  /* --- on paper --- */

  /** What was read of the list, in its order. */
  function known() {
    const blocks = [...rows].sort(([a], [b]) => a - b);
    return blocks.flatMap(([block, items]) => items.map((item, i) => ({ item, at: block * BLOCK + i })));
  }

  function printed(items) {
    return h(
      'div',
      { class: 'printed' },
      items.length < total
        ? h('p', {
            text: say('collection.printed', {
              n: items.length,
              total: formatCount(total),
              most: formatCount(MOST_PRINTED),
            }),
          })
        : null,
      h(
        'table',
        { class: `ledger register ${kind.name}` },
        h('thead', {}, h('tr', {}, kind.columns.map(({ name, number }) => h('th', { class: number ? 'n' : null, text: say(name) })))),
        h('tbody', {}, items.map(({ item, at }) => kind.row(item, at, { paper: true }))),
      ),
    );
  }

  /* --- keys --- */

  function setStop(at) {
    linkOf(stop)?.setAttribute('tabindex', '-1');
    stop = at;
    linkOf(at)?.setAttribute('tabindex', '0');
  }

  /** There is always one row that Tab leads to: the last one used, else the first in sight. */
  function keepAStop() {
    if (linkOf(stop) !== null) return setStop(stop);
    const links = [...table.querySelectorAll('a.what')];
    const first = links.find((link) => link.getBoundingClientRect().top >= 0) ?? links[0];
    if (first !== undefined) setStop(rowOf(first));
  }

  function move(event) {
    const at = wanted ?? rowOf(event.target);
    if (at === null || event.ctrlKey || event.metaKey || event.altKey) return;
    const next = {
      ArrowDown: at + 1,
      ArrowUp: at - 1,
      PageDown: at + PAGE_STEP,
      PageUp: at - PAGE_STEP,
      Home: 0,
      End: total - 1,
    }[event.key];
    if (next === undefined) return;
    event.preventDefault();
    focusRow(Math.max(0, Math.min(total - 1, next)));
  }

  /** Brings a row into sight and focuses it, as soon as it is drawn. */
  function focusRow(at) {
    const link = linkOf(at);
    wanted = link === null ? at : null;
    if (link !== null) {
      link.focus({ preventScroll: true });
      link.closest('tr').scrollIntoView({ block: 'nearest' });
    } else {
      look();
      const block = Math.floor(at / BLOCK);
      if (!isDrawn(block)) bodies.get(block).scrollIntoView({ block: 'nearest' });
    }
  }

  function refocus() {
    if (total === 0) return false;
    focusRow(Math.min(stop, total - 1));
    return true;
  }

  return { isNear, refocus };
}
