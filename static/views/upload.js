// upload.js - files on their way in: a place to drop them, one row each with what will be said of it, sending, measuring.
//   down: 'show', detail = { rows, specimens, by, leftOut }: rows as joins/upload.js keeps them
//         'progress', detail = row: only its state is drawn anew, so that nobody's typing is disturbed
//   up:   'wish.files' (a list of files), 'wish.edit' { row, changes, live }, 'wish.new' { number, changes, live } (live: while typing), 'wish.by', 'wish.send',
//         'wish.cancel', 'wish.again', 'wish.remove', 'wish.clear'
import { choice, emptyBox, errorBox, h, hidden, redraw, stateMark, tell } from '../dom.js';
import { formatBytes, formatProgress, formatSeconds } from '../format.js';
import { problemText, reasonText } from '../problem.js';
import { say, sayOr } from '../say.js';
import { versionName } from '../specimen-state.js';
import { UNITS } from './new-specimen.js';

/** @param {HTMLElement} el */
export function UploadView(el) {
  let state = null;
  const parts = {
    list: h('ol', { class: 'queue' }),
    head: h('h2', { id: 'files' }),
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
  const datalist = h('datalist', { id: 'known-specimens' });
  let drawn = false;

  el.addEventListener('show', (event) => {
    state = event.detail;
    if (!drawn) mount();
    update();
  });
  el.addEventListener('progress', (event) => {
    const part = [...parts.list.children].find((item) => item.dataset.row === event.detail.id);
    if (part) redraw(part.querySelector('.progress'), progress(event.detail));
    count();
  });

  function mount() {
    drawn = true;
    by.value = state.by;
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
      parts.list,
      parts.foot,
      datalist,
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
          change: (event) => {
            tell(el, 'wish.files', [...event.target.files]);
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
      h('p', {}, say('upload.names'), ' ', h('code', { text: 'NH-0042_cage_0.4mm.obj' })),
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
      tell(el, 'wish.files', await droppedFiles(event.dataTransfer));
    });
    return area;
  }

  function update() {
    const { rows } = state;
    datalist.replaceChildren(
      ...state.specimens.map((specimen) => h('option', { value: specimen.catalogue_number, label: specimen.title })),
    );
    redraw(
      parts.list,
      rows.length === 0
        ? h(
            'li',
            { class: 'bare' },
            emptyBox(
              say('upload.empty'),
              say('upload.empty.next'),
              ' ',
              h('code', { text: 'curl --data-binary @FILE' }),
            ),
          )
        : rows.map(item),
    );
    count();
  }

  function count() {
    const { rows, leftOut } = state;
    const ready = rows.filter((row) => row.phase === 'ready' && row.wants === null).length;
    const bytes = rows.reduce((sum, row) => sum + row.file.size, 0);
    parts.head.replaceChildren(
      say('upload.list'),
      h('small', {
        text:
          rows.length === 0
            ? ''
            : `${say('upload.count', { n: rows.length, bytes: formatBytes(bytes) })} ${leftOut > 0 ? say('upload.leftOut', { n: leftOut }) : ''}`,
      }),
    );
    parts.foot.hidden = rows.length === 0;
    send.textContent = say('upload.send', { n: ready });
    send.disabled = ready === 0;
  }

  function item(row) {
    const locked = row.phase !== 'ready' && row.phase !== 'refused';
    return h(
      'li',
      { data: { row: row.id } },
      h(
        'div',
        {},
        h('b', { class: 'no break', text: row.file.name }),
        h('br'),
        h('small', { class: 'n', text: formatBytes(row.file.size) }),
      ),
      locked ? facts(row) : fields(row),
      h('div', { class: 'progress' }, progress(row)),
    );
  }

  /** What was said of a file that has been sent. */
  function facts(row) {
    const known = [
      `${row.number}, ${say(`kind.${row.kind}`)}`,
      row.faceSize && say('upload.fact.faceSize', { size: row.faceSize }),
      row.note,
    ].filter(Boolean);
    return h('p', { class: 'break', text: known.join('; ') });
  }

  function fields(row) {
    const edit = (changes, live = false) => tell(el, 'wish.edit', { row: row.id, changes, live });
    const text = (label, name, props = {}) =>
      h(
        'label',
        { class: `field ${name}` },
        h('span', { text: label }),
        h('input', {
          name,
          value: row[name],
          autocomplete: 'off',
          data: { key: `${name} ${row.id}` },
          on: {
            input: (event) => name !== 'number' && edit({ [name]: event.target.value.trim() }, true),
            change: (event) => edit({ [name]: event.target.value.trim() }),
          },
          ...props,
        }),
      );
    const madeFrom = [
      ...row.parents.map((parent) => [parent.value, parent.text]),
      ['', say(row.kind === 'scan' ? 'versions.raw' : 'version.nothing')],
    ];
    return h(
      'div',
      { class: 'fields' },
      text(say('upload.specimen'), 'number', { list: 'known-specimens', required: true, maxlength: 80, class: 'no' }),
      choice({
        label: say('upload.kind'),
        name: 'kind',
        key: `kind ${row.id}`,
        chosen: row.kind,
        entries: [
          ['', say('upload.kind.choose')],
          ['scan', say('kind.scan')],
          ['cage', say('kind.cage')],
        ],
        change: (kind) => edit({ kind }),
      }),
      choice({
        label: say('version.madeFrom'),
        name: 'made',
        key: `made ${row.id}`,
        chosen: row.madeFrom,
        entries: madeFrom,
        change: (value) => edit({ madeFrom: value }),
      }),
      row.kind === 'cage'
        ? text(say('version.faceSize'), 'faceSize', { placeholder: '0.4mm, 0.75%', size: 8 })
        : h('span', {}),
      text(say('upload.note'), 'note', { maxlength: 1000, placeholder: say('upload.note.example') }),
      row.specimen
        ? h('p', { class: 'quiet told', text: say('upload.known', { title: row.specimen.title }) })
        : row.number === ''
          ? null
          : newFields(row),
    );
  }

  /** The title and unit of a specimen that is not there yet; asked once for all its files. */
  function newFields(row) {
    if (!row.firstOfNew) return h('p', { class: 'quiet told', text: say('upload.newAbove') });
    const edit = (changes, live = false) => tell(el, 'wish.new', { number: row.number, changes, live });
    return h(
      'div',
      { class: 'fields told' },
      h('p', { class: 'quiet', text: say('upload.new', { number: row.number }) }),
      h(
        'label',
        { class: 'field' },
        h('span', { text: say('new.name') }),
        h('input', {
          name: 'title',
          value: row.fresh.title,
          maxlength: 200,
          autocomplete: 'off',
          data: { key: `title ${row.id}` },
          on: {
            input: (event) => edit({ title: event.target.value.trim() }, true),
            change: (event) => edit({ title: event.target.value.trim() }),
          },
        }),
      ),
      choice({
        label: say('new.units'),
        name: 'units',
        key: `units ${row.id}`,
        chosen: row.fresh.units,
        entries: UNITS.map((unit) => [unit, unit]),
        change: (units) => edit({ units }),
      }),
    );
  }

  function progress(row) {
    const act = (text, name) =>
      h(
        'button',
        { data: { key: `${name} ${row.id}` }, on: { click: () => tell(el, name, { row: row.id }) } },
        text,
        hidden(` ${row.file.name}`),
      );
    const acts = (...buttons) => h('p', { class: 'acts' }, buttons);
    const bar = (share, label) => h('progress', { value: share, max: 1, 'aria-label': label });
    const link = row.version
      ? h('a', {
          href: `#/specimen/${row.version.specimen}?version=${row.version.id}`,
          data: { key: `show ${row.id}` },
          text: say('upload.show', { version: versionName(row.version) }),
        })
      : null;
    switch (row.phase) {
      case 'ready':
        return [
          row.wants
            ? stateMark('undecided', say(`upload.wants.${row.wants}`))
            : stateMark('ready', say('upload.ready')),
          acts(act(say('do.remove'), 'wish.remove')),
        ];
      case 'waiting':
        return [stateMark('waiting', say('upload.waiting')), acts(act(say('do.cancel'), 'wish.cancel'))];
      case 'sending':
        return [
          stateMark('running', say('upload.sending')),
          ' ',
          h('span', { class: 'n', text: sendingText(row) }),
          bar(row.sent / Math.max(1, row.file.size), say('upload.bar', { name: row.file.name })),
          acts(act(say('do.cancel'), 'wish.cancel')),
        ];
      case 'here':
        return [
          stateMark('conforms', say('upload.here', { version: versionName(row.version) })),
          h('p', { class: 'quiet' }, say('upload.here.note'), ' ', link),
          acts(act(say('do.remove'), 'wish.remove')),
        ];
      case 'refused':
        return [
          errorBox({ ...problemText(row.problem), kept: say('upload.nothingKept') }),
          acts(act(say('do.again'), 'wish.again'), act(say('do.remove'), 'wish.remove')),
        ];
      default:
        return measuring(row, link, bar, act, acts);
    }
  }

  function measuring(row, link, bar, act, acts) {
    const job = row.job;
    if (job === null) return [stateMark('waiting', say('upload.arrived')), ' ', link];
    const stage = job.stage
      ? say('job.stage', { stage: sayOr(`stage.${job.stage}`, job.stage) })
      : say('job.measuring.short');
    switch (job.state) {
      case 'queued':
        return [
          stateMark('waiting', job.position ? say('job.position', { n: job.position }) : say('job.waiting')),
          ' ',
          link,
        ];
      case 'running':
        return [
          stateMark('running', stage),
          ' ',
          h('span', { class: 'n', text: formatProgress(job.progress) }),
          bar(job.progress, say('job.bar', { version: job.label })),
          ' ',
          link,
        ];
      case 'done':
        return [
          stateMark('conforms', say('upload.measuredNow')),
          ' ',
          link,
          acts(act(say('do.remove'), 'wish.remove')),
        ];
      default:
        return [
          errorBox(reasonText(job)),
          acts(act(say('do.measureAgain'), 'wish.retry'), act(say('do.remove'), 'wish.remove')),
          link,
        ];
    }
  }

  function sendingText(row) {
    const share = formatProgress(row.sent / Math.max(1, row.file.size));
    const seconds = (performance.now() - row.began) / 1000;
    if (row.sent === 0 || seconds < 1) return share;
    return say('upload.left', { share, left: formatSeconds(((row.file.size - row.sent) * seconds) / row.sent) });
  }
}

/** Every file of a drop, folders and their folders included. */
async function droppedFiles(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (entries.length === 0) return [...transfer.files];
  return (await Promise.all(entries.map(filesOf))).flat();
}

async function filesOf(entry) {
  if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (some.length === 0) return (await Promise.all(found.map(filesOf))).flat();
    found.push(...some);
  }
}
