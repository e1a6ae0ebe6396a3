// collection.js - the register of specimens with what filters and orders it. Mounted on the main part of the page.
//   down: 'show', detail = { query, total, totals, views, loading, problem, moved }: what the address asks for and what came;
//         views are the saved ones, moved tells that the order shown is no longer the present one
//         to the register that it returns: what views/register.js takes
//   up:   'wish.query', detail = the changed parts of the query; 'wish.order': the present order; 'wish.new'; 'wish.again';
//         'wish.unit', detail = { unit }; 'wish.save', 'wish.forget', detail = { name }; 'wish.copy'; 'wish.print': the list, as far as paper goes
import { choice, emptyBox, errorBox, h, openDialog, redraw, tell } from '../dom.js';
import { UNITS, formatCount } from '../format.js';
import { problemText } from '../problem.js';
import { writeRoute } from '../route.js';
import { isView } from '../saved-views.js';
import { say } from '../say.js';
import { readSetting } from '../settings.js';
import { Register } from './register.js';
import { SPECIMENS } from './register-row.js';

const FILTERS = ['', 'new', 'in work', 'ready', 'handed over', 'retired', 'measuring', 'failed'];
/** Shown only where there is such a specimen. */
const RARE = ['handed over', 'measuring', 'failed'];
const ORDERS = [
  'changed desc',
  'changed asc',
  'number asc',
  'title asc',
  'state asc',
  'open_edges desc',
  'lost desc',
  'faults desc',
  'scans desc',
  'cages desc',
];

/**
 * @param {HTMLElement} el
 * @returns {{ register: HTMLElement, isNear: (block: number) => boolean, refocus: () => boolean }} as views/register.js has them
 */
export function CollectionView(el) {
  const top = h('div', {});
  const told = h('p', { class: 'told quiet', role: 'status' });
  const body = h('div', {});
  const register = h('div', { class: 'scroll' });
  let shown = null;
  let drawnTop = null;
  el.append(h('h1', { class: 'hide', text: say('collection.title') }), top, told, body, register);
  const { isNear, refocus } = Register(register, SPECIMENS);
  el.addEventListener('show', (event) => {
    shown = event.detail;
    update();
  });

  /** The keys that print do as the button does: of a long list the browser alone would print what was near the window. */
  document.addEventListener('keydown', (event) => {
    if (!el.isConnected || !(event.ctrlKey || event.metaKey) || event.altKey || event.key.toLowerCase() !== 'p') return;
    event.preventDefault();
    tell(el, 'wish.print');
  });

  const wish = (changes) => tell(el, 'wish.query', changes);

  function update() {
    const { problem, loading, total } = shown;
    drawTop();
    const words = toldWords();
    if (told.textContent !== words) told.textContent = words; // it is read aloud when it changes
    redraw(body, content());
    register.hidden = problem !== null || total === 0;
    register.toggleAttribute('data-loading', loading);
  }

  /** Drawn anew only where it changes: not for each letter of a search. */
  function drawTop() {
    const { query, totals, views } = shown;
    const drawn = JSON.stringify([{ ...query, q: query.view ? query.q : '' }, totals, views, readSetting('unit')]);
    if (drawn === drawnTop) return;
    drawnTop = drawn;
    redraw(top, filterForm(), savedViews());
  }

  function filterForm() {
    const { query, totals } = shown;
    const state = query.state ?? '';
    const count = (name) => totals[name || 'all'];
    const chips = FILTERS.filter((name) => !RARE.includes(name) || state === name || count(name) > 0);
    const order = `${query.sort ?? 'changed'} ${query.order ?? 'desc'}`;
    const orders = ORDERS.includes(order) ? ORDERS : [...ORDERS, order];
    return h(
      'form',
      { class: 'controls', 'aria-label': say('collection.filter'), on: { submit: (event) => event.preventDefault() } },
      h(
        'fieldset',
        { class: 'chips' },
        h('legend', { text: say('collection.state') }),
        chips.map((name) =>
          h(
            'label',
            {},
            h('input', {
              type: 'radio',
              name: 'state',
              value: name,
              checked: state === name,
              data: { key: `state ${name}` },
              on: { change: () => wish({ state: name }) },
            }),
            h(
              'span',
              {},
              say(`filter.${name || 'all'}`),
              ' ',
              h('span', { class: 'n quiet', text: count(name) === undefined ? '' : formatCount(count(name)) }),
            ),
          ),
        ),
      ),
      choice({
        label: say('collection.sort'),
        name: 'sort',
        chosen: order,
        entries: orders.map((each) => [each, say(`sort.${each.replace(' ', '.')}`)]),
        change: (value) => wish({ sort: value.split(' ')[0], order: value.split(' ')[1] }),
      }),
      choice({
        label: say('versions.unit'),
        name: 'unit',
        chosen: readSetting('unit'),
        entries: [['', say('collection.unit.files')], ...UNITS.map((unit) => [unit, unit])],
        change: (unit) => tell(el, 'wish.unit', { unit }),
      }),
      h(
        'span',
        { class: 'right acts' },
        h('button', {
          type: 'button',
          data: { key: 'print' },
          text: say('collection.print'),
          on: { click: () => tell(el, 'wish.print') },
        }),
        h('button', {
          type: 'button',
          data: { key: 'new' },
          text: say('collection.new'),
          on: { click: () => tell(el, 'wish.new') },
        }),
        h('a', { class: 'button first', href: '#/upload', data: { key: 'upload' }, text: say('collection.upload') }),
      ),
    );
  }

  function savedViews() {
    const { query, views } = shown;
    const here = views.find((view) => isView(view, query));
    const act = (name, text, does) =>
      h('button', { type: 'button', class: 'plain link', data: { key: name }, text, on: { click: does } });
    return h(
      'nav',
      { class: 'saved', 'aria-label': say('views.title') },
      views.length > 0 || query.view ? h('span', { class: 'quiet', text: say('views.label') }) : null,
      views.length > 0
        ? h(
            'ul',
            {},
            views.map((view) =>
              h(
                'li',
                {},
                h('a', {
                  href: writeRoute({ view: 'collection', query: { ...view.query, view: view.name } }),
                  'aria-current': view === here ? 'true' : null,
                  data: { key: `view ${view.name}` },
                  text: view.name,
                }),
              ),
            ),
          )
        : null,
      query.view && here === undefined ? h('em', { text: say('views.sent', { name: query.view }) }) : null,
      here === undefined
        ? act('save', say('views.save'), () => askName(shown.query.view ?? shown.query.q ?? ''))
        : act('forget', say('views.forget'), () => tell(el, 'wish.forget', { name: here.name })),
      act('copy', say('views.copy'), () => tell(el, 'wish.copy')),
    );
  }

  function askName(proposed) {
    const name = h('input', { id: 'view-name', value: proposed, required: true, maxlength: 60, autocomplete: 'off' });
    const save = () => {
      if (!name.reportValidity()) return;
      dialog.close();
      tell(el, 'wish.save', { name: name.value.trim() });
    };
    const dialog = openDialog({
      title: say('views.save'),
      body: h(
        'div',
        { class: 'fields one' },
        h('label', {}, say('views.name'), name),
        h('p', { class: 'quiet', text: say('views.note') }),
      ),
      buttons: [
        h('button', { class: 'first', text: say('views.save'), on: { click: save } }),
        h('button', { type: 'button', text: say('do.cancel'), on: { click: () => dialog.close() } }),
      ],
    });
    name.focus();
    name.select();
  }

  function toldWords() {
    const { loading, problem, total, totals, query } = shown;
    if (problem || totals.all === undefined) return loading ? say('loading') : '';
    const whole = !query.q && !query.state;
    const count = say(whole ? 'collection.all' : 'collection.found', { n: total });
    return total === 0 ? count : `${count} ${say('collection.basis')}`;
  }

  function content() {
    const { total, totals, problem, query, moved } = shown;
    if (problem)
      return errorBox(problemText(problem), [
        h('button', { text: say('do.again'), on: { click: () => tell(el, 'wish.again') } }),
      ]);
    if (totals.all === undefined) return null;
    if (total === 0 && (query.q || query.state)) {
      return emptyBox(
        say('collection.none'),
        h('button', { text: say('collection.clear'), on: { click: () => wish({ q: '', state: '' }) } }),
      );
    }
    if (total === 0)
      return emptyBox(say('collection.empty'), h('a', { href: '#/upload', text: say('collection.empty.next') }));
    return moved
      ? h(
          'p',
          { class: 'offer' },
          say('collection.moved'),
          h('button', { data: { key: 'order' }, text: say('collection.order'), on: { click: () => tell(el, 'wish.order') } }),
        )
      : null;
  }

  return { register, isNear, refocus };
}
