// upload-rows.js - the files on their way in, one row each: what a row wants, when it may be sent, what is told of all. Pure.
//
// row.phase:
//   ready    looked over and corrected; meanwhile its digest is computed and versions of the same bytes are looked for
//   waiting  sent as soon as its turn comes
//   sending  on its way; `stall` is not null while the server does not answer
//   paused   stopped by hand; the server keeps what has arrived
//   absent   the page was opened anew: the server keeps what has arrived, but the file must be read again, from its `source` or as it is
//            given; `hitch` says why the last attempt failed: `denied` by the reader or the browser, `gone` from where it was
//   sent     a version now; `job` measures it
//   here     a version that was there before
//   refused  the server did not take it: `problem` says why
import { isFaceSize, isMeshName } from './file-name.js';
import { say } from './say.js';
import { versionName } from './specimen-state.js';

/** What a row is remembered by while its file is on its way (joins/upload-memory.js). */
const KEPT = [
  'id',
  'name',
  'folder',
  'size',
  'modified',
  'number',
  'kind',
  'faceSize',
  'note',
  'madeFrom',
  'touched',
  'digest',
  'anyway',
  'address',
];

/** @param {File} file @param {{ number, kind, faceSize }} guess  of file-name.js @param {object|null} source  of dropped-files.js */
export function newRow(id, file, path, guess, source = null) {
  return {
    ...blankRow(),
    id,
    file,
    source,
    name: file.name,
    folder: path.split('/').slice(0, -1).join('/'),
    size: file.size,
    modified: file.lastModified,
    number: guess.number,
    kind: guess.kind,
    faceSize: guess.faceSize,
  };
}

function blankRow() {
  return {
    file: null,
    source: null,
    hitch: null,
    note: '',
    madeFrom: null, // a version's id, `row ID`, '' for nothing, null until it is guessed
    touched: false, // whether madeFrom was chosen by hand
    chosen: false,
    phase: 'ready',
    digest: null,
    hashed: 0, // bytes of the file that the digest has seen
    twins: null, // versions of the same bytes; null until they are known
    anyway: false, // to be sent although it has twins
    wrong: null, // the name of a file that was given for an absent one, but is another
    address: null, // where the server keeps what has arrived
    sent: 0,
    base: 0, // bytes that were there when the sending began
    began: 0,
    stall: null,
    expires: null,
    version: null,
    job: null,
    problem: null,
    transfer: null,
  };
}

/** A row as it is remembered, with what its specimen will be called where there is none yet. */
export function rememberRow(row) {
  return { ...Object.fromEntries(KEPT.map((key) => [key, row[key]])), fresh: row.specimen ? null : row.fresh };
}

/** The row of a file that was on its way when the page was left; null for what no row of ours can be. */
export function recallRow(kept) {
  if (typeof kept?.id !== 'string' || typeof kept.name !== 'string' || !Number.isFinite(kept.size)) return null;
  const known = Object.fromEntries(KEPT.filter((key) => kept[key] !== undefined).map((key) => [key, kept[key]]));
  return { ...blankRow(), ...known, phase: 'absent' };
}

/** Whether the file of an absent row can be read again without being chosen. */
export function canResume(row) {
  return row.phase === 'absent' && row.source !== null;
}

/** Whether a file looks like the one that an absent row waits for; its digest decides. */
export function looksLike(row, file) {
  return row.phase === 'absent' && row.name === file.name && row.size === file.size;
}

/**
 * Files that can be sent, and the others with the reason: `name` no mesh by its name, `empty`, `large`, `unread` (the system would not
 * hand it over).
 * @param {{ file: File|null, path: string }[]} found
 */
export function sortOut(found, mostBytes = Infinity) {
  const reasonOf = ({ file, path }) => {
    if (file === null) return 'unread';
    if (!isMeshName(path)) return 'name';
    if (file.size === 0) return 'empty';
    return file.size > mostBytes ? 'large' : null;
  };
  const judged = found.map((each) => ({ ...each, why: reasonOf(each) }));
  return {
    meshes: judged.filter((each) => each.why === null),
    leftOut: judged.filter((each) => each.why !== null).map(({ path, why }) => ({ path, why })),
  };
}

/**
 * What follows from the fields of each row: its specimen, what it can be made from, what is still wanted, what stands against it.
 * @param {{ specimens: object[], versions: Map<string, object[]>, fresh: Map<string, object> }} known
 */
export function completeRows(rows, { specimens, versions, fresh }) {
  const byNumber = new Map(specimens.map((specimen) => [specimen.catalogue_number, specimen]));
  for (const row of rows) {
    row.specimen = byNumber.get(row.number) ?? null;
    row.fresh = row.specimen === null ? (fresh.get(row.number) ?? null) : null;
    row.firstOfNew = rows.find((each) => each.number === row.number && isEditable(each)) === row;
    row.parents = parentsOf(row, rows, versions);
    guessParent(row);
    row.wants = wantOf(row);
    row.obstacle = obstacleOf(row, rows);
  }
}

function parentsOf(row, rows, versions) {
  const here = (row.specimen ? (versions.get(row.specimen.id) ?? []) : [])
    .filter((version) => version.withdrawn === null)
    .map((version) => ({ value: version.id, text: versionName(version), kind: version.kind }))
    .reverse();
  const coming = rows
    .filter(
      (each) =>
        each !== row &&
        each.number === row.number &&
        each.kind === 'scan' &&
        row.kind === 'cage' &&
        each.version === null &&
        each.obstacle?.same !== true,
    )
    .map((each) => ({ value: `row ${each.id}`, text: say('upload.fromList', { name: each.name }), kind: 'scan' }));
  return [...coming, ...here].filter((parent) => row.kind === 'cage' || parent.kind === 'scan');
}

/** A cage is made from the newest scan until somebody says otherwise; a choice that is no longer there is forgotten. */
function guessParent(row) {
  if (!isEditable(row)) return;
  if (row.madeFrom !== null && row.parents.some((parent) => parent.value === row.madeFrom)) return;
  if (row.madeFrom === '' && row.touched) return;
  row.madeFrom = newestScan(row);
}

export function newestScan(row) {
  return row.kind === 'cage' ? (row.parents.find((parent) => parent.kind === 'scan')?.value ?? '') : '';
}

function wantOf(row) {
  if (row.number === '') return 'specimen';
  if (row.kind === '') return 'kind';
  if (row.specimen === null && (row.fresh?.title ?? '') === '') return 'title';
  return isFaceSize(row.faceSize) ? null : 'faceSize';
}

/**
 * Why a row need not be sent: a version of the same bytes (`same`: of this specimen and kind, where the server keeps but one), or
 * another row of this list. Null where there is none.
 */
function obstacleOf(row, rows) {
  if (row.digest === null || row.version !== null) return null;
  const isSame = (each) => each.specimen === row.specimen?.id && each.kind === row.kind;
  const twin = row.twins?.find(isSame) ?? row.twins?.[0];
  if (twin) return { twin, same: isSame(twin) };
  const earlier = rows.slice(0, rows.indexOf(row)).find((each) => each.digest === row.digest && each.version === null);
  return earlier ? { row: earlier, same: earlier.number === row.number && earlier.kind === row.kind } : null;
}

export function isEditable(row) {
  return row.phase === 'ready' || row.phase === 'refused';
}

/** Whether the reader may send the row now. */
export function isReady(row) {
  return row.phase === 'ready' && row.wants === null && !isHeldBack(row);
}

/** Whether the row is not sent because its bytes are there, or come with another row. */
export function isHeldBack(row) {
  return row.obstacle !== null && (row.obstacle.same || !row.anyway);
}

/** Whether what is given again is still being compared with what was on its way, or whether versions of its bytes are looked for. */
export function isLookedOver(row) {
  return row.digest !== null && row.hashed === row.size && row.twins !== null;
}

/** The rows to send next: as many as may be on their way at once, scans before the cages made from them. */
export function nextRows(rows, atOnce) {
  const sending = rows.filter((row) => row.phase === 'sending').length;
  return rows
    .filter((row) => row.phase === 'waiting' && isLookedOver(row) && !awaitsParent(row, rows))
    .sort((a, b) => (b.kind === 'scan') - (a.kind === 'scan'))
    .slice(0, Math.max(0, atOnce - sending));
}

function awaitsParent(row, rows) {
  return rows.some(
    (each) =>
      `row ${each.id}` === row.madeFrom &&
      each.version === null &&
      ['waiting', 'sending', 'paused', 'absent'].includes(each.phase),
  );
}

/** Whether a row is being measured, has failed, or is done with. */
function isMeasured(row) {
  return row.phase === 'sent' && (row.job === null || row.job.state === 'queued' || row.job.state === 'running');
}

/**
 * What is told of all rows: how many are sent, measured, or need somebody; bytes there of the bytes to be sent.
 * `speed` is in bytes a second, 0 where nothing is on its way.
 */
export function totalsOf(rows, now = 0) {
  const asked = rows.filter((row) => ['waiting', 'sending', 'paused', 'absent', 'sent'].includes(row.phase));
  const sum = (list, value) => list.reduce((total, row) => total + value(row), 0);
  const sending = rows.filter((row) => row.phase === 'sending');
  const going = sending.filter((row) => row.stall === null && now > row.began);
  return {
    files: rows.length,
    bytes: sum(rows, (row) => row.size),
    sending: sending.length,
    waiting: rows.filter((row) => row.phase === 'waiting').length,
    measuring: rows.filter(isMeasured).length,
    needing: rows.filter(needsSomebody).length,
    ready: rows.filter(isReady).length,
    onTheirWay: asked.some((row) => row.phase !== 'sent'),
    asked: sum(asked, (row) => row.size),
    arrived: sum(asked, (row) => (row.phase === 'sent' ? row.size : row.sent)),
    speed: sum(going, (row) => (1000 * (row.sent - row.base)) / (now - row.began)),
  };
}

function needsSomebody(row) {
  if (row.phase === 'ready') return row.wants !== null && !isHeldBack(row);
  return (
    ['paused', 'absent', 'refused'].includes(row.phase) ||
    (row.phase === 'sent' && row.job !== null && ['failed', 'cancelled'].includes(row.job.state))
  );
}

/** Seconds until a file, or all of them, has arrived; null where that cannot be told. */
export function secondsLeft(bytes, speed) {
  return speed > 0 ? bytes / speed : null;
}

/**
 * The rows that can be chosen together, for a list of choices: all, by kind, by folder, by specimen. What would choose no row, or
 * all of them again, is left out.
 * @returns {{ value: string, text: string, ids: string[] }[]}
 */
export function groupsOf(rows) {
  const editable = rows.filter(isEditable);
  const group = (value, text, chosen) => ({ value, text, ids: chosen.map((row) => row.id) });
  const by = (name, key, text) =>
    [...new Set(editable.map(key))].map((each) =>
      group(
        `${name} ${each}`,
        text(each),
        editable.filter((row) => key(row) === each),
      ),
    );
  return [
    group('all', say('upload.choose.all'), editable),
    ...[
      ...by(
        'kind',
        (row) => row.kind,
        (kind) => say(kind === '' ? 'upload.choose.noKind' : `upload.choose.${kind}`),
      ),
      ...by(
        'folder',
        (row) => row.folder,
        (folder) => (folder === '' ? say('upload.choose.noFolder') : say('upload.choose.folder', { folder })),
      ),
      ...by(
        'specimen',
        (row) => row.number,
        (number) => (number === '' ? say('upload.choose.noSpecimen') : say('upload.choose.specimen', { number })),
      ),
    ].filter(({ ids }) => ids.length < editable.length),
    group('none', say('upload.choose.none'), []),
  ];
}
