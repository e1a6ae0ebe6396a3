// standing.js - how the collection stands by one spec: counts that filter, rows, auditing of what is not audited, files to take away.
//   down: 'show', detail = { query, specs, spec, counts, toAudit, total, loading, problem, moved, auditing: { done, all } or null }
//         to the register that it returns: what views/register.js takes
//   up:   'wish.query', detail = the changed parts of the query; 'wish.order'; 'wish.again'; 'wish.audit'; 'wish.stop'; 'wish.print'
import { choice, emptyBox, errorBox, h, redraw, shape, tell } from '../dom.js';
import { formatCount } from '../format.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';
import { STANDINGS, countAll, countOf, standingMark } from '../standing.js';
import { Register } from './register.js';
import { STANDINGS_OF_SPECIMENS } from './standing-row.js';

const ORDERS = ['standing asc', 'since asc', 'since desc', 'number asc'];
/** Letters of a search that come this fast are asked for together. */
const TYPING_MS = 200;

/**
 * @param {HTMLElement} el
 * @param {(values: object) => string} addressOf  of a file of the list that is shown
 * @returns {{ register: HTMLElement, isNear: (block: number) => boolean, refocus: () => boolean }} as views/register.js has them
 */
export function StandingView(el, addressOf) {
  const top = h('div', {});
  const actions = h('div', { class: 'row' });
  const told = h('p', { class: 'told quiet', role: 'status' });
  const body = h('div', {});
  const register = h('div', { class: 'scroll' });
  const find = h('input', { type: 'search', id: 'standing-find', autocomplete: 'off', on: { input: findSoon } });
  let shown = null;
  let drawnTop = null;
  let typing = null;
  el.append(
    h('h1', { tabindex: '-1', class: 'plain', text: say('standing.title') }),
    top,
    h('div', { class: 'controls bar' }, h('label', {}, say('standing.find'), find), actions),
    told,
    body,
    register,
  );
  const { isNear, refocus } = Register(register, STANDINGS_OF_SPECIMENS);
  el.addEventListener('show', (event) => {
    shown = event.detail;
    update();
  });

  document.addEventListener('keydown', (event) => {
    if (!el.isConnected || !(event.ctrlKey || event.metaKey) || event.altKey || event.key.toLowerCase() !== 'p') return;
    event.preventDefault();
    tell(el, 'wish.print');
  });

  const wish = (changes) => tell(el, 'wish.query', changes);

  function findSoon() {
    clearTimeout(typing);
    typing = setTimeout(() => wish({ q: find.value.trim() }), TYPING_MS);
  }

  function update() {
    const { problem, loading, total, query } = shown;
    drawTop();
    if (document.activeElement !== find) find.value = query.q ?? '';
    const words = toldWords();
    if (told.textContent !== words) told.textContent = words; // it is read aloud when it changes
    redraw(body, content());
    register.hidden = problem !== null || total === 0;
    register.toggleAttribute('data-loading', loading);
  }

  function drawTop() {
    const { query, specs, spec, counts, toAudit, auditing } = shown;
    const drawn = JSON.stringify([query, specs, spec, counts, toAudit, auditing]);
    if (drawn === drawnTop) return;
    drawnTop = drawn;
    redraw(top, specs === null || spec === null ? null : form());
    redraw(actions, counts === null ? null : acts());
  }

  function form() {
    const { query, specs, spec, counts } = shown;
    const standing = query.standing ?? '';
    return h(
      'form',
      { class: 'controls', 'aria-label': say('standing.filter'), on: { submit: (event) => event.preventDefault() } },
      choice({
        label: say('standing.spec'),
        name: 'spec',
        chosen: spec.id,
        entries: specs.map((each) => [each.id, say('audit.specName', { name: each.name, n: String(each.version) })]),
        change: (id) => wish({ spec: id }),
      }),
      choice({
        label: say('collection.sort'),
        name: 'sort',
        chosen: `${query.sort ?? 'standing'} ${query.order ?? 'asc'}`,
        entries: [...new Set([...ORDERS, `${query.sort ?? 'standing'} ${query.order ?? 'asc'}`])].map((each) => [
          each,
          say(`standing.sort.${each.replace(' ', '.')}`),
        ]),
        change: (value) => wish({ sort: value.split(' ')[0], order: value.split(' ')[1] }),
      }),
      h(
        'fieldset',
        { class: 'chips standings' },
        h('legend', { text: say('standing.legend') }),
        ['', ...STANDINGS].map((name) =>
          h(
            'label',
            {},
            h('input', {
              type: 'radio',
              name: 'standing',
              value: name,
              checked: standing === name,
              data: { key: `standing ${name}` },
              on: { change: () => wish({ standing: name }) },
            }),
            h('span', {}, name === '' ? say('standing.all') : chip(name), ' ', h('span', { class: 'n quiet', text: countText(counts, name) })),
          ),
        ),
      ),
    );
  }

  function chip(name) {
    const { kind, word } = standingMark(name);
    return h('span', { class: `state ${kind}` }, shape(kind), word);
  }

  function countText(counts, name) {
    if (counts === null) return '';
    return formatCount(name === '' ? countAll(counts) : countOf(counts, name));
  }

  function acts() {
    const { toAudit: n, auditing, query, spec } = shown;
    const file = (format) => addressOf({ ...query, spec: spec.id, format });
    return h(
      'p',
      { class: 'acts' },
      auditing === null
        ? n > 0
          ? h('button', { class: 'first', data: { key: 'audit' }, text: say('standing.auditAll', { n }), on: { click: () => tell(el, 'wish.audit') } })
          : null
        : [
            h('button', { data: { key: 'audit' }, text: say('standing.stop'), on: { click: () => tell(el, 'wish.stop') } }),
            h('progress', {
              max: auditing.all,
              value: auditing.done,
              'aria-label': say('standing.auditing', { done: formatCount(auditing.done), all: formatCount(auditing.all) }),
            }),
            h('span', { class: 'quiet', text: say('standing.auditing', { done: formatCount(auditing.done), all: formatCount(auditing.all) }) }),
          ],
      h('a', { class: 'button', href: file('csv'), download: '', data: { key: 'csv' }, text: say('standing.csv') }),
      h('a', { class: 'button', href: file('json'), download: '', data: { key: 'json' }, text: say('standing.json') }),
      h('button', { data: { key: 'print' }, text: say('collection.print'), on: { click: () => tell(el, 'wish.print') } }),
      h('a', { class: 'button', href: '/api/v1/feed', data: { key: 'feed' }, text: say('standing.feed') }),
    );
  }

  function toldWords() {
    const { loading, problem, total, counts } = shown;
    if (problem || counts === null) return loading ? say('loading') : '';
    return `${say('standing.told', { n: total, total: formatCount(countAll(counts)) })} ${say('standing.basis')}`;
  }

  function content() {
    const { total, problem, query, moved, counts, specs } = shown;
    if (problem) {
      const { what, todo } = problemText(problem);
      return errorBox({ title: say('standing.title'), what, todo }, [
        h('button', { text: say('do.again'), data: { key: 'again' }, on: { click: () => tell(el, 'wish.again') } }),
      ]);
    }
    if (specs?.length === 0) return emptyBox(say('standing.noSpecs'), h('a', { href: '#/specs', text: say('nav.specs') }));
    if (counts === null) return null;
    if (total === 0 && (query.q || query.standing))
      return emptyBox(
        say('standing.none'),
        h('button', { text: say('collection.clear'), on: { click: () => clear() } }),
      );
    if (total === 0) return emptyBox(say('standing.empty'), h('a', { href: '#/upload', text: say('collection.empty.next') }));
    return moved
      ? h(
          'p',
          { class: 'offer' },
          say('standing.moved'),
          h('button', { data: { key: 'order' }, text: say('collection.order'), on: { click: () => tell(el, 'wish.order') } }),
        )
      : null;
  }

  function clear() {
    find.value = '';
    wish({ q: '', standing: '' });
  }

  return { register, isNear, refocus };
}
