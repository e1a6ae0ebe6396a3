// dom.js - the few functions with which the views build elements. Text always becomes a text node.
import { formatDay, formatTime } from './format.js';
import { say } from './say.js';

const SVG = 'http://www.w3.org/2000/svg';

/**
 * An element. Keys of `props`: class, text, on (an object of listeners), data (dataset), style (set through the CSSOM),
 * prop (set as properties), anything else an attribute; null, undefined and false leave the attribute out.
 */
export function h(tag, props = {}, ...children) {
  return build(document.createElement(tag), props, children);
}

/** An SVG element, with the same props. */
export function s(tag, props = {}, ...children) {
  return build(document.createElementNS(SVG, tag), props, children);
}

function build(el, props, children) {
  for (const [key, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (key === 'on') Object.entries(value).forEach(([name, listener]) => el.addEventListener(name, listener));
    else if (key === 'data') Object.assign(el.dataset, value);
    else if (key === 'style') Object.entries(value).forEach(([name, v]) => el.style.setProperty(name, v));
    else if (key === 'prop') Object.assign(el, value);
    else if (key === 'text') el.textContent = value;
    else el.setAttribute(key, value === true ? '' : value);
  }
  el.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return el;
}

/** One of the shapes of index.html, hidden from readers of the text: its word stands beside it. */
export function shape(name, className = 'shape') {
  return s('svg', { class: className, 'aria-hidden': 'true', viewBox: '0 0 12 12' }, s('use', { href: `#s-${name}` }));
}

/** Text for those who listen. */
export function hidden(text) {
  return h('span', { class: 'hide', text });
}

/** A state: shape and word in the colour of the state. */
export function stateMark(kind, word) {
  return h('span', { class: `state ${kind}` }, shape(kind), h('span', { text: word }));
}

/** A time in the reader's zone, the whole of it on hover; `short` leaves out the hour. */
export function timeMark(iso, short = false) {
  return h('time', { datetime: iso, title: formatTime(iso), text: short ? formatDay(iso) : formatTime(iso) });
}

/** Sends a wish up, or data down. */
export function tell(el, name, detail) {
  el.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
}

/** While something is being pressed, what is under the finger must not be replaced: news wait until it is let go. */
let pressed = false;
const held = [];
function press(event) {
  if (event.type === 'pointerdown' || (event.key === ' ' && event.target.closest?.('button'))) pressed = true;
}
function letGo() {
  if (!pressed) return;
  pressed = false;
  setTimeout(() => {
    if (!pressed) held.splice(0).forEach(({ el, name, detail }) => give(el, name, detail));
  });
}
['pointerdown', 'keydown'].forEach((name) => document.addEventListener(name, press, true));
['pointerup', 'pointercancel', 'keyup'].forEach((name) => document.addEventListener(name, letGo, true));
window.addEventListener('blur', letGo);

/** Data goes down, without bubbling; of what waits, the newest counts. */
export function give(el, name, detail) {
  const older = held.findIndex((each) => each.el === el && each.name === name && each.detail?.id === detail?.id);
  if (older >= 0) held.splice(older, 1);
  if (pressed) held.push({ el, name, detail });
  else el.dispatchEvent(new CustomEvent(name, { detail }));
}

/** What tells an element from others, also once it is drawn anew: its data-key, else the name of its details or region, its address or its words. */
const keyOf = (el) =>
  el.dataset.key ?? `${el.localName} ${el.parentElement?.dataset.open ?? el.dataset.scroll ?? el.getAttribute('href') ?? el.textContent}`;

/** In `el`, what stands now for an element that was drawn anew. */
function findAgain(el, old) {
  const key = keyOf(old);
  return [...el.querySelectorAll(old.dataset.key === undefined ? old.localName : '[data-key]')].find((part) => keyOf(part) === key);
}

/**
 * Replaces the content of a part that is drawn anew while somebody may be using it: the focus stays on what was focused
 * (keyOf), with what is typed there, regions with a data-scroll name keep their place, and details with a data-open name
 * stay open.
 */
export function redraw(el, ...children) {
  const old = el.contains(document.activeElement) ? document.activeElement : null;
  const places = new Map(
    [...el.querySelectorAll('[data-scroll]')].map((part) => [part.dataset.scroll, part.scrollLeft]),
  );
  const open = new Set([...el.querySelectorAll('details[data-open][open]')].map((part) => part.dataset.open));
  el.replaceChildren(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  for (const part of el.querySelectorAll('details[data-open]')) part.open = open.has(part.dataset.open);
  for (const part of el.querySelectorAll('[data-scroll]')) part.scrollLeft = places.get(part.dataset.scroll) ?? 0;
  const now = old === null ? undefined : findAgain(el, old);
  now?.focus({ preventScroll: true });
  if (now && isTyped(old)) {
    now.value = old.value;
    now.setSelectionRange(old.selectionStart, old.selectionEnd);
  }
}

function isTyped(el) {
  return el instanceof HTMLInputElement && el.type === 'text';
}

/** An option list for a select: [value, text], or { title, entries } for a group of them. */
export function options(entries, chosen) {
  return entries.map((entry) =>
    Array.isArray(entry)
      ? h('option', { value: entry[0], text: entry[1], selected: entry[0] === chosen })
      : h('optgroup', { label: entry.title }, options(entry.entries, chosen)),
  );
}

/** A select with its label. */
export function choice({ label, name, entries, chosen, change, key, hideLabel = false }) {
  const select = h(
    'select',
    { name, data: { key: key ?? name }, on: { change: (event) => change?.(event.target.value) } },
    options(entries, chosen),
  );
  return h('label', {}, h('span', { class: hideLabel ? 'hide' : null, text: label }), select);
}

/** One entry of a list of terms: dotted line, name left, entry right. */
export function entry(name, ...value) {
  return h('div', {}, h('dt', { text: name }), h('dd', {}, ...value));
}

/** What went wrong, where, and what to do; `actions` are buttons. Every part but the title may be absent. */
export function errorBox({ title, what, where, todo, kept }, actions = []) {
  const part = (name, text) => (text ? [h('dt', { text: say(name) }), h('dd', { class: 'break', text })] : []);
  return h(
    'div',
    { class: 'error', role: 'alert' },
    h('p', {}, stateMark('failed', title)),
    h(
      'dl',
      {},
      part('error.what', what),
      part('error.where', where),
      part('error.todo', todo),
      part('error.kept', kept),
    ),
    actions.length > 0 ? h('p', { class: 'acts' }, actions) : null,
  );
}

/** An empty list: one sentence, one next step. */
export function emptyBox(sentence, ...next) {
  return h('div', { class: 'empty' }, h('p', { class: 'lead', text: sentence }), h('p', {}, ...next));
}

/** A dialog for what needs more than one field or cannot be undone; removed when it closes, and the focus is where it was. Returns the dialog. */
export function openDialog({ title, body, buttons }) {
  const id = 'dialog-title';
  const opener = document.activeElement;
  const dialog = h(
    'dialog',
    { class: 'dialog', 'aria-labelledby': id },
    h(
      'form',
      { method: 'dialog', on: { submit: (event) => event.preventDefault() } },
      h('h2', { id, class: 'top', text: title }),
      body,
      h('p', { class: 'acts' }, buttons),
    ),
  );
  dialog.addEventListener('close', () => {
    dialog.remove();
    // the browser gives the focus back by itself, but not where the page was drawn anew under the dialog
    if (!opener.isConnected && document.activeElement === document.body) findAgain(document, opener)?.focus({ preventScroll: true });
  });
  document.body.append(dialog);
  dialog.showModal();
  return dialog;
}
