// upload-row.js - one file on its way in, as an item of the upload's list: what will be said of it, its state, what can be done.
// Wishes go up from `el` as views/upload.js lists them; 'askfile' asks that view for the file of an absent row.
import { choice, errorBox, h, hidden, stateMark, tell } from '../dom.js';
import { UNITS, formatBytes, formatDay, formatProgress, formatSeconds } from '../format.js';
import { problemText, reasonText } from '../problem.js';
import { say, sayOr } from '../say.js';
import { versionName } from '../specimen-state.js';
import { canResume, isEditable, isHeldBack, isLookedOver, secondsLeft } from '../upload-rows.js';

export function rowItem(el, row) {
  return h(
    'li',
    { data: { row: row.id } },
    isEditable(row) ? chooser(el, row) : h('span', {}),
    h(
      'div',
      { class: 'file' },
      h('b', { class: 'no break', text: row.name }),
      h('small', { class: 'n', text: formatBytes(row.size) }),
      row.folder === '' ? null : h('small', { class: 'break', text: say('upload.inFolder', { folder: row.folder }) }),
    ),
    isEditable(row) ? fields(el, row) : facts(row),
    h('div', { class: 'progress' }, rowState(el, row)),
  );
}

function chooser(el, row) {
  return h(
    'label',
    { class: 'choose' },
    h('input', {
      type: 'checkbox',
      name: 'chosen',
      checked: row.chosen,
      data: { key: `chosen ${row.id}` },
      on: { change: (event) => tell(el, 'wish.choose', { ids: [row.id], chosen: event.target.checked }) },
    }),
    hidden(say('upload.chooseRow', { name: row.name })),
  );
}

/** What was said of a file that is sent, in the places where it was entered. */
function facts(row) {
  const parent = row.parents.find(({ value }) => value === row.madeFrom);
  const fact = (label, text, name = '') =>
    h('p', { class: `field ${name}` }, text ? [h('span', { text: say(label) }), h('b', { class: 'break', text })] : []);
  return h(
    'div',
    { class: 'fields facts' },
    fact('upload.specimen', row.number, 'no'),
    fact('upload.kind', say(`kind.${row.kind}`)),
    fact('version.madeFrom', parent?.text),
    fact('version.faceSize', row.faceSize),
    fact('upload.note', row.note, 'note'),
    row.specimen ? h('p', { class: 'quiet told', text: say('upload.known', { title: row.specimen.title }) }) : null,
  );
}

function fields(el, row) {
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
  const pick = (label, name, entries, chosen, key) =>
    choice({ label, name, key: `${name} ${row.id}`, chosen, entries, change: (value) => edit({ [key]: value }) });
  return h(
    'div',
    { class: 'fields' },
    text(say('upload.specimen'), 'number', { list: 'known-specimens', required: true, maxlength: 80, class: 'no' }),
    pick(say('upload.kind'), 'kind', kindEntries(), row.kind, 'kind'),
    pick(say('version.madeFrom'), 'made', parentEntries(row), row.madeFrom, 'madeFrom'),
    row.kind === 'cage'
      ? text(say('version.faceSize'), 'faceSize', { placeholder: '0.4mm, 0.75%', size: 8 })
      : h('span', {}),
    text(say('upload.note'), 'note', { maxlength: 1000, placeholder: say('upload.note.example') }),
    told(el, row),
  );
}

function kindEntries() {
  return [
    ['', say('upload.kind.choose')],
    ['scan', say('kind.scan')],
    ['cage', say('kind.cage')],
  ];
}

function parentEntries(row) {
  return [
    ...row.parents.map((parent) => [parent.value, parent.text]),
    ['', say(row.kind === 'scan' ? 'versions.raw' : 'version.nothing')],
  ];
}

/** The specimen's title; of one that is not there yet, title and unit are asked once for all its files. */
function told(el, row) {
  if (row.specimen) return h('p', { class: 'quiet told', text: say('upload.known', { title: row.specimen.title }) });
  if (row.number === '') return null;
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

/** The state of a row, with a bar where something moves, and what can be done now. */
export function rowState(el, row) {
  const parts = partsOf(el, row);
  const states = {
    ready: readyState,
    waiting: waitingState,
    sending: sendingState,
    paused: pausedState,
    absent: absentState,
    here: hereState,
    refused: refusedState,
    sent: measuringState,
  };
  return states[row.phase](row, parts);
}

function partsOf(el, row) {
  const act = (text, name, detail = {}) =>
    h(
      'button',
      { data: { key: `${name} ${row.id}` }, on: { click: () => tell(el, name, { row: row.id, ...detail }) } },
      text,
      hidden(` ${row.name}`),
    );
  return {
    act,
    ask: (text) =>
      h(
        'button',
        { data: { key: `ask ${row.id}` }, on: { click: () => tell(el, 'askfile', row.id) } },
        text,
        hidden(` ${row.name}`),
      ),
    acts: (...buttons) => h('p', { class: 'acts' }, buttons),
    bar: (share, label) => h('progress', { value: share, max: 1, 'aria-label': label }),
    link: row.version ? showLink(row.version, `show ${row.id}`) : null,
  };
}

function showLink(version, key) {
  return h('a', {
    href: `#/specimen/${version.specimen}?version=${version.id}`,
    data: { key },
    text: say('upload.show', { version: versionName(version) }),
  });
}

const quiet = (...content) => h('p', { class: 'quiet' }, ...content);

function readyState(row, { act, acts }) {
  if (row.obstacle !== null) return obstacleState(row, act, acts);
  return [
    row.wants ? stateMark('undecided', say(`upload.wants.${row.wants}`)) : stateMark('ready', say('upload.ready')),
    isLookedOver(row) ? null : quiet(lookingText(row)),
    acts(act(say('do.remove'), 'wish.remove')),
  ];
}

function lookingText(row) {
  if (row.hashed === row.size) return say('upload.looking');
  return say('upload.reading', { share: formatProgress(row.hashed / row.size) });
}

/** The bytes are here already, or come with another row: sent only when somebody wants it. */
function obstacleState(row, act, acts) {
  const { twin, row: other, same } = row.obstacle;
  const elsewhere = twin && twin.specimen !== row.specimen?.id;
  const name = !twin
    ? say('upload.double', { name: other.name })
    : elsewhere
      ? say('upload.twin', { version: versionName(twin), number: twin.catalogue_number })
      : say('upload.here', { version: versionName(twin) });
  const anyway = act(say(row.anyway ? 'upload.notAnyway' : 'upload.anyway'), 'wish.anyway', { anyway: !row.anyway });
  const note = say(same ? 'upload.here.note' : isHeldBack(row) ? 'upload.heldBack' : 'upload.sentAnyway');
  return [
    stateMark(isHeldBack(row) ? 'conforms' : 'ready', name),
    quiet(note, ' ', twin ? showLink(twin, `show ${row.id}`) : null),
    !same && row.wants ? stateMark('undecided', say(`upload.wants.${row.wants}`)) : null,
    acts(same ? null : anyway, act(say('do.remove'), 'wish.remove')),
  ];
}

function waitingState(row, { act, acts, bar }) {
  const isRead = row.hashed === row.size;
  return [
    stateMark('waiting', say('upload.waiting')),
    isLookedOver(row) ? null : quiet(lookingText(row)),
    isRead ? null : bar(row.hashed / row.size, say('upload.readingBar', { name: row.name })),
    acts(act(say('do.cancel'), 'wish.cancel')),
  ];
}

function sendingState(row, { act, acts, bar }) {
  const share = formatProgress(row.sent / row.size);
  const seconds = (performance.now() - row.began) / 1000;
  const left = seconds < 1 ? null : secondsLeft(row.size - row.sent, (row.sent - row.base) / seconds);
  const sending = [
    stateMark('running', say('upload.sending')),
    ' ',
    h('span', { class: 'n', text: left === null ? share : say('upload.left', { share, left: formatSeconds(left) }) }),
  ];
  const stalled = [
    stateMark('waiting', say('upload.stalled')),
    quiet(say('upload.stalled.note', { arrived: formatBytes(row.sent) })),
  ];
  return [
    row.stall === null ? sending : stalled,
    bar(row.sent / row.size, say('upload.bar', { name: row.name })),
    acts(act(say('upload.pause'), 'wish.pause'), act(say('do.cancel'), 'wish.cancel')),
  ];
}

/** How much of a file the server keeps, and until when. */
function keptText(row) {
  const slots = { arrived: formatBytes(row.sent), size: formatBytes(row.size) };
  if (row.address === null || row.sent === 0) return say('upload.kept.nothing');
  return row.expires === null
    ? say('upload.kept', slots)
    : say('upload.keptUntil', { ...slots, day: formatDay(row.expires) });
}

function pausedState(row, { act, acts, bar }) {
  return [
    stateMark('waiting', say('upload.paused', { share: formatProgress(row.sent / row.size) })),
    quiet(row.problem === null ? keptText(row) : problemText(row.problem).what),
    bar(row.sent / row.size, say('upload.pausedBar', { name: row.name })),
    acts(act(say('upload.goOn'), 'wish.again'), act(say('do.cancel'), 'wish.cancel')),
  ];
}

/** Why the file is not there, and how it is found again. */
function absenceText(row) {
  if (row.wrong !== null) return say('upload.absent.wrong', { name: row.wrong });
  return say(`upload.absent.${row.hitch ?? (canResume(row) ? 'known' : 'note')}`);
}

function absentState(row, { act, ask, acts, bar }) {
  return [
    stateMark('waiting', say('upload.absent')),
    quiet(absenceText(row)),
    quiet(keptText(row)),
    bar(row.sent / row.size, say('upload.pausedBar', { name: row.name })),
    acts(ask(say('upload.give')), act(say('do.cancel'), 'wish.cancel')),
  ];
}

function hereState(row, { act, acts, link }) {
  return [
    stateMark('conforms', say('upload.here', { version: versionName(row.version) })),
    quiet(say('upload.here.note'), ' ', link),
    acts(act(say('do.remove'), 'wish.remove')),
  ];
}

function refusedState(row, { act, acts }) {
  return [
    errorBox({ ...problemText(row.problem), kept: keptText(row) }),
    acts(act(say('do.again'), 'wish.again'), act(say('do.remove'), 'wish.remove')),
  ];
}

function measuringState(row, { act, acts, bar, link }) {
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
      return [stateMark('conforms', say('upload.measuredNow')), ' ', link, acts(act(say('do.remove'), 'wish.remove'))];
    default:
      return [
        errorBox(reasonText(job)),
        acts(act(say('do.measureAgain'), 'wish.retry'), act(say('do.remove'), 'wish.remove')),
        link,
      ];
  }
}
