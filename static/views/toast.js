// toast.js - one sentence about what has just happened, and one link; it stays 8 s, or while it is read.
//   down: 'show', detail = { text, link: { href, text } or null }
import { h } from '../dom.js';
import { say } from '../say.js';

const STAYS_MS = 8000;

/** @param {HTMLElement} el  a live region (role=status) */
export function Toast(el) {
  let timer = null;
  const clear = () => el.replaceChildren();
  const start = () => {
    clearTimeout(timer);
    timer = setTimeout(() => (el.matches(':hover, :focus-within') ? start() : clear()), STAYS_MS);
  };
  el.addEventListener('show', ({ detail: { text, link } }) => {
    el.replaceChildren(
      h(
        'p',
        { class: 'toast' },
        h('span', { text }),
        link ? h('a', { href: link.href, text: link.text, on: { click: clear } }) : null,
        h('button', { class: 'plain', text: say('do.close'), on: { click: clear } }),
      ),
    );
    start();
  });
}
