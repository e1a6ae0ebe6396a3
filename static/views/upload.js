// upload.js - files on their way in: a place to drop them, one row each with what will be said of it, one control that sets a column of
// all chosen rows, what was left out and why, how much of all has arrived.
//   down: 'show', detail = { rows, specimens, by, leftOut }: rows as upload-rows.js has them
//         'progress', detail = row: only its state is drawn anew, so that nobody's typing is disturbed
//   up:   'wish.files' (a list of { file, path, source }), 'wish.give' { row, file, source }, 'wish.resume', 'wish.edit' { row, changes, live } (live: while typing),
//         'wish.new' { number, changes, live }, 'wish.choose' { ids, chosen }, 'wish.chooseOnly' (ids), 'wish.set' { column, value },
//         'wish.by', 'wish.send', 'wish.forgetLeftOut', 'wish.clear'; of one row 'wish.pause', 'wish.cancel', 'wish.again',
//         'wish.anyway', 'wish.retry', 'wish.remove'
import { emptyBox, h, options, redraw, stateMark, tell } from '../dom.js';
import { canPick, filesOfDrop, filesOfInput, filesOfPicker } from '../dropped-files.js';
import { formatBytes, formatProgress, formatSeconds } from '../format.js';
import { say } from '../say.js';
import { canResume, groupsOf, isEditable, secondsLeft, totalsOf } from '../upload-rows.js';
import { rowItem, rowState } from './upload-row.js';

/** Columns that can be set for all chosen rows, and how their value is given. */
const COLUMNS = {
  number: { label: 'upload.specimen', props: { list: 'known-specimens', maxlength: 80, class: 'no' } },
  kind: { label: 'upload.kind', entries: () => ['scan', 'cage'].map((kind) => [kind, say(`kind.${kind}`)]) },
  madeFrom: {
    label: 'version.madeFrom',
    entries: () => [
      ['newest', say('upload.newestScan')],
      ['', say('version.nothing')],
    ],
  },
  faceSize: { label: 'version.faceSize', props: { placeholder: '0.4mm, 0.75%' } },
  note: { label: 'upload.note', props: { maxlength: 1000 } },
};

/** @param {HTMLElement} el */
export function UploadView(el) {
  let state = null;
  const parts = {
    head: h('h2', { id: 'files' }),
    total: h('div', { class: 'total' }),
    news: h('p', { class: 'hide', role: 'status' }),
    resume: h('div', {}),
    leftOut: h('div', { class: 'left-out' }),
    bulk: h('form', { class: 'controls bulk', on: { submit: (event) => setColumn(event) } }),
    columns: h('div', { class: 'queue-head', 'aria-hidden': 'true' }),
    list: h('ol', { class: 'queue', 'aria-labelledby': 'files' }),
    foot: h('div', { class: 'controls' }),
  };
  const clear = h('button', { text: say('upload.clear'), on: { click: () => tell(el, 'wish.clear') } });
  const send = h('button', { class: 'first', data: { key: 'send' }, on: { click: () => tell(el, 'wish.send') } });
  parts.foot.append(
    h('span', { class: 'quiet', text: say('upload.measured') }),
    h('span', { class: 'right acts' }, clear, send),
  );
  const by = h('input', {
    name: 'by',
    maxlength: 100,
    autocomplete: 'name',
    on: { input: (event) => tell(el, 'wish.by', event.target.value) },
  });
  const again = h('input', {
    type: 'file',
    hidden: true,
    on: {
      change() {
        handOver(filesOfInput(again.files));
        again.value = '';
      },
    },
  });
  const datalist = h('datalist', { id: 'known-specimens' });
  let drawn = false;

  el.addEventListener('show', (event) => {
    state = event.detail;
    if (!drawn) mount();
    update();
  });
  el.addEventListener('progress', (event) => {
    const part = [...parts.list.children].find((item) => item.dataset.row === event.detail.id);
    if (part) redraw(part.querySelector('.progress'), rowState(el, event.detail));
    count();
  });
  el.addEventListener('askfile', (event) => {
    again.dataset.row = event.detail;
    if (canPick(false)) filesOfPicker({ multiple: false }).then(handOver);
    else again.click();
  });

  const handOver = ([found]) => found?.file && tell(el, 'wish.give', { row: again.dataset.row, ...found });

  function mount() {
    drawn = true;
    by.value = state.by;
    mountBulk();
    parts.columns.append(
      h('span', {}),
      h('span', { text: say('upload.file') }),
      h(
        'span',
        { class: 'fields' },
        Object.values(COLUMNS).map(({ label }) => h('span', { text: say(label) })),
      ),
      h('span', { text: say('upload.state') }),
    );
    el.replaceChildren(
      h('h1', { class: 'plain', text: say('upload.title') }),
      dropArea(),
      h(
        'div',
        { class: 'controls' },
        h('label', {}, h('span', { text: say('upload.by') }), by),
        h('span', { class: 'quiet', text: say('upload.by.note') }),
      ),
      parts.head,
      parts.news,
      parts.total,
      parts.resume,
      parts.leftOut,
      parts.bulk,
      parts.columns,
      parts.list,
      parts.foot,
      datalist,
      again,
    );
  }

  function dropArea() {
    const input = (id, text, folder) => [
      h('input', {
        id,
        type: 'file',
        class: 'hide',
        multiple: true,
        webkitdirectory: folder,
        on: {
          click: async (event) => {
            if (!canPick(folder)) return;
            event.preventDefault(); // the browser's picker tells where the files lie, its input does not
            tell(el, 'wish.files', await filesOfPicker({ folder }));
          },
          change: (event) => {
            tell(el, 'wish.files', filesOfInput(event.target.files));
            event.target.value = '';
          },
        },
      }),
      h('label', { class: folder ? 'button' : 'button first', for: id, text }),
    ];
    const area = h(
      'section',
      { class: 'drop', 'aria-labelledby': 'drop-title' },
      h('h2', { id: 'drop-title', class: 'top', text: say('upload.drop') }),
      h('p', { text: say('upload.formats') }),
      h(
        'p',
        {},
        say('upload.names'),
        ' ',
        h('code', { text: 'NH-0042_cage_0.4mm.obj' }),
        ', ',
        h('code', { text: 'NH-0042 Ring/cages/0.4mm.obj' }),
      ),
      h(
        'p',
        { class: 'acts middle' },
        input('choose-files', say('upload.files'), false),
        input('choose-folder', say('upload.folder'), true),
      ),
    );
    area.addEventListener('dragover', (event) => {
      event.preventDefault();
      area.classList.add('over');
    });
    area.addEventListener('dragleave', () => area.classList.remove('over'));
    area.addEventListener('drop', async (event) => {
      event.preventDefault();
      area.classList.remove('over');
      tell(el, 'wish.files', await filesOfDrop(event.dataTransfer));
    });
    return area;
  }

  function update() {
    const { rows } = state;
    datalist.replaceChildren(
      ...state.specimens.map((specimen) => h('option', { value: specimen.catalogue_number, label: specimen.title })),
    );
    redraw(parts.list, rows.length === 0 ? emptyItem() : rows.map((row) => rowItem(el, row)));
    redraw(parts.resume, resumeOffer());
    redraw(parts.leftOut, leftOut());
    bulk();
    count();
  }

  function emptyItem() {
    const next = [say('upload.empty.next'), ' ', h('code', { text: 'curl --data-binary @FILE' })];
    return h('li', { class: 'bare' }, emptyBox(say('upload.empty'), ...next));
  }

  /** What can be told at any time without disturbing anybody: counts, bytes, the button that sends. */
  function count() {
    const totals = totalsOf(state.rows, performance.now());
    const told = [
      ['upload.count', totals.files],
      ['upload.sendingCount', totals.sending + totals.waiting],
      ['upload.measuringCount', totals.measuring],
      ['upload.needingCount', totals.needing],
    ].filter(([, n]) => n > 0);
    const text = told.map(([key, n]) => say(key, { n, bytes: formatBytes(totals.bytes) })).join('; ');
    parts.head.replaceChildren(say('upload.list'), h('small', { text }));
    if (parts.news.textContent !== text) parts.news.textContent = text;
    parts.total.hidden = !totals.onTheirWay;
    if (totals.onTheirWay) parts.total.replaceChildren(...total(totals));
    parts.foot.hidden = totals.files === 0;
    parts.columns.hidden = totals.files === 0;
    send.textContent = say('upload.send', { n: totals.ready });
    send.disabled = totals.ready === 0;
  }

  function total({ asked, arrived, speed }) {
    const seconds = secondsLeft(asked - arrived, speed);
    const slots = { arrived: formatBytes(arrived), asked: formatBytes(asked), share: formatProgress(arrived / asked) };
    return [
      h('span', {
        class: 'n',
        text:
          seconds === null
            ? say('upload.total', slots)
            : say('upload.totalLeft', { ...slots, left: formatSeconds(seconds) }),
      }),
      h('progress', { value: arrived, max: asked, 'aria-label': say('upload.totalBar') }),
    ];
  }

  /** Files that were on their way when the page was left, and that this browser can find again. */
  function resumeOffer() {
    const n = state.rows.filter(canResume).length;
    if (n === 0) return [];
    return h(
      'div',
      { class: 'offer' },
      h('p', {}, stateMark('undecided', say('upload.resume', { n }))),
      h('p', { class: 'quiet', text: say('upload.resume.note') }),
      h(
        'p',
        { class: 'acts' },
        h('button', {
          data: { key: 'resume' },
          text: say('upload.resume.do', { n }),
          on: { click: () => tell(el, 'wish.resume') },
        }),
      ),
    );
  }

  function leftOut() {
    if (state.leftOut.length === 0) return [];
    return h(
      'details',
      { data: { open: 'left out' } },
      h('summary', { data: { key: 'left out' }, text: say('upload.leftOut', { n: state.leftOut.length }) }),
      h(
        'ul',
        {},
        state.leftOut.map(({ path, why }) =>
          h('li', {}, h('span', { class: 'no break', text: path }), ' ', h('span', { text: say(`upload.leftOut.${why}`) })),
        ),
      ),
      h('button', {
        data: { key: 'forget-left-out' },
        text: say('upload.leftOut.forget'),
        on: { click: () => tell(el, 'wish.forgetLeftOut') },
      }),
    );
  }

  /** Choosing rows together, and one value for a column of them all. These stay while the list is drawn anew: keys are typed there. */
  function mountBulk() {
    parts.group = select('group', (value) => tell(el, 'wish.chooseOnly', groupOf(value)?.ids ?? []));
    parts.column = select('column', showValueField);
    parts.column.append(
      ...options(
        Object.entries(COLUMNS).map(([name, { label }]) => [name, say(label)]),
        'kind',
      ),
    );
    parts.value = h('label', {});
    parts.set = h('button', { type: 'submit', data: { key: 'set' } });
    parts.bulk.append(
      h('label', {}, h('span', { text: say('upload.choose') }), parts.group),
      h('label', {}, h('span', { text: say('upload.set') }), parts.column),
      parts.value,
      parts.set,
    );
    showValueField();
  }

  function select(name, change) {
    return h('select', { name, on: { change: (event) => change(event.target.value) } });
  }

  const groupOf = (value) => groupsOf(state.rows).find((group) => group.value === value);

  function showValueField() {
    const { entries, props } = COLUMNS[parts.column.value];
    parts.value.replaceChildren(
      h('span', { text: say('upload.setTo') }),
      entries
        ? h('select', { name: 'value' }, options(entries()))
        : h('input', { name: 'value', autocomplete: 'off', ...props }),
    );
  }

  function bulk() {
    const groups = groupsOf(state.rows);
    const chosen = state.rows.filter((row) => row.chosen && isEditable(row)).map((row) => row.id);
    parts.bulk.hidden = groups[0].ids.length < 2;
    const entries = [['', say('upload.choose.byHand')], ...groups.map(({ value, text }) => [value, text])];
    const { value } = parts.group;
    const isChosen = groupOf(value)?.ids.join() === chosen.join();
    if (JSON.stringify(entries) !== parts.group.dataset.entries) {
      parts.group.dataset.entries = JSON.stringify(entries);
      parts.group.replaceChildren(...options(entries));
    }
    parts.group.value = isChosen ? value : '';
    parts.set.textContent = say('upload.setFor', { n: chosen.length });
    parts.set.disabled = chosen.length === 0;
  }

  function setColumn(event) {
    event.preventDefault();
    tell(el, 'wish.set', { column: parts.column.value, value: event.target.elements.value.value.trim() });
  }
}

