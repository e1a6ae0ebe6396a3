// upload.js - joins the upload's view to the server: keeps the list of files while the reader looks at other views, looks for versions
// of the same bytes before anything is sent, sends at most two at once, scans before the cages made from them, goes on with what
// stopped, and follows the jobs that start by themselves.
import * as api from '../api.js';
import { Digests } from '../digests.js';
import { give } from '../dom.js';
import { fileOfSource, mayRead } from '../dropped-files.js';
import { readFilePath } from '../file-name.js';
import { say } from '../say.js';
import { readSetting, writeSetting } from '../settings.js';
import {
  canResume,
  completeRows,
  isEditable,
  isHeldBack,
  isReady,
  looksLike,
  newRow,
  newestScan,
  nextRows,
  recallRow,
  rememberRow,
  sortOut,
} from '../upload-rows.js';
import { askClear } from '../views/dialogs.js';
import { UploadView } from '../views/upload.js';
import { forget, recall, remember } from './upload-memory.js';

const AT_ONCE = 2;
/** Phases in which a row is remembered. */
const ON_THE_WAY = ['waiting', 'sending', 'paused', 'absent'];

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinUpload(el, page) {
  let rows = [];
  let specimens = [];
  let leftOut = [];
  let mostBytes = Infinity;
  let preset = '';
  let shown = false;
  let read = Promise.resolve(); // settles when the specimens are known
  const fresh = new Map(); // new specimens by catalogue number: { title, units, creating }
  const versions = new Map(); // versions of known specimens by their id
  const digests = Digests();

  UploadView(el);

  const findSpecimen = (number) => specimens.find((specimen) => specimen.catalogue_number === number) ?? null;
  const rowOf = (id) => rows.find((row) => row.id === id);
  const complete = () => {
    for (const row of rows)
      if (row.number !== '' && findSpecimen(row.number) === null && !fresh.has(row.number))
        fresh.set(row.number, { title: '', units: 'mm', creating: null });
    completeRows(rows, { specimens, versions, fresh });
  };
  const show = () => {
    complete();
    give(el, 'show', { rows, specimens, by: readSetting('by'), leftOut });
  };
  const progress = (row) => shown && give(el, 'progress', row);
  /** While somebody types, only what follows from it is drawn anew. */
  const showStates = () => {
    complete();
    rows.forEach(progress);
  };
  const keep = (row) => {
    if (ON_THE_WAY.includes(row.phase)) remember(rememberRow(row), row.source);
    else forget(row.id);
  };

  async function readKnown() {
    [specimens, mostBytes] = await Promise.all([api.allSpecimens(), api.readLimit('upload_bytes')]);
    versions.clear();
    show();
    await Promise.all(rows.map((row) => learn(row.specimen)));
  }

  async function learn(specimen) {
    if (specimen === null || versions.has(specimen.id)) return;
    versions.set(specimen.id, []);
    versions.set(specimen.id, await api.listVersions(specimen.id));
    show();
  }

  async function add(found) {
    await read;
    const sorted = sortOut(found, mostBytes);
    leftOut = [...leftOut, ...sorted.leftOut];
    for (const { file, path, source } of sorted.meshes) {
      const expected = rows.find((row) => looksLike(row, file));
      if (expected) handOver(expected, file, source);
      else addRow(file, path, source);
    }
    show();
    rows.forEach((row) => learn(row.specimen).catch(page.tellProblem));
  }

  function addRow(file, path, source) {
    const guess = readFilePath(path, (number) => findSpecimen(number) !== null);
    const number = findSpecimen(guess.number) || preset === '' ? guess.number : preset;
    const id = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;
    const row = newRow(id, file, path, { ...guess, number }, source);
    rows.push(row);
    if (number !== '' && !fresh.get(number)?.title) fresh.set(number, { title: guess.title, units: 'mm', creating: null });
    lookOver(row);
  }

  /** The file that an absent row waits for, so its name and size say; its digest is compared before anything more is sent. */
  function handOver(row, file, source) {
    row.hitch = null;
    if (file.size !== row.size) {
      row.wrong = file.name;
      return;
    }
    Object.assign(row, { file, source, wrong: null, hashed: 0, phase: 'waiting' });
    keep(row);
    lookOver(row, true);
  }

  /** Reads the file of an absent row again from where it was, if the reader allows it. */
  async function resume(row) {
    const { source } = row;
    const file = (await mayRead(source)) ? await fileOfSource(source).catch(() => undefined) : null;
    if (!rows.includes(row) || !canResume(row)) return;
    if (file) handOver(row, file, source);
    else if (file === null) row.hitch = 'denied';
    else {
      Object.assign(row, { hitch: 'gone', source: null });
      keep(row);
    }
    show();
  }

  /** Computes the digest of a row's file and finds the versions that have the same. */
  async function lookOver(row, first = false) {
    const progressed = (bytes) => {
      row.hashed = bytes;
      progress(row);
    };
    const digest = await digests.ask(row.id, row.file, { first, progress: progressed }).catch(() => null);
    if (digest === null) return losesFile(row);
    if (row.address !== null && row.digest !== null && row.digest !== digest) {
      Object.assign(row, { phase: 'absent', wrong: row.file.name, file: null });
      keep(row);
      return show();
    }
    Object.assign(row, { digest, hashed: row.size });
    return findTwins(row);
  }

  async function findTwins(row) {
    try {
      row.twins = await api.findVersions(row.digest);
    } catch (problem) {
      if (!(problem instanceof api.Problem)) throw problem;
      if (problem.status !== 0) page.tellProblem(problem);
      return; // asked again when the server answers again, or when the row is sent
    }
    complete();
    if (row.phase === 'waiting' && row.address === null && isHeldBack(row)) {
      row.phase = 'ready';
      keep(row);
    }
    if (row.obstacle !== null) show();
    else progress(row);
    pump();
  }

  /** A file that was changed or taken away since it was chosen cannot be read any longer. */
  function losesFile(row) {
    if (!rows.includes(row)) return;
    row.transfer?.pause();
    Object.assign(row, { phase: 'absent', file: null, wrong: null, stall: null });
    keep(row);
    show();
  }

  /** Starts as many as may be sent at once. */
  function pump() {
    complete();
    nextRows(rows, AT_ONCE).forEach((row) => send(row).then(pump));
  }

  async function send(row) {
    Object.assign(row, { phase: 'sending', base: row.sent, began: performance.now(), stall: null, problem: null });
    keep(row);
    show();
    try {
      const specimen = await specimenFor(row);
      if (row.phase !== 'sending') return;
      row.transfer = api.sendFile(row.file, { address: row.address, fields: fieldsOf(row, specimen) }, hearing(row));
      await arrive(row, specimen, await row.transfer.done);
    } catch (problem) {
      if (!(problem instanceof api.Problem)) throw problem;
      if (row.version !== null) page.tellProblem(problem);
      else if (!['cancelled', 'paused'].includes(problem.code)) {
        Object.assign(row, { phase: problem.status === 0 ? 'paused' : 'refused', problem, stall: null });
        keep(row);
      }
    }
    row.transfer = null;
    show();
  }

  function fieldsOf(row, specimen) {
    return {
      specimen: specimen.id,
      kind: row.kind,
      name: row.name,
      face_size: row.kind === 'cage' ? row.faceSize.replace(/\s/g, '') : '',
      made_from: row.madeFrom?.startsWith('row ') ? '' : row.madeFrom,
      by: readSetting('by'),
      note: row.note,
    };
  }

  function hearing(row) {
    return {
      progress(sent) {
        if (row.stall !== null || sent < row.base)
          Object.assign(row, { stall: null, base: sent, began: performance.now() });
        row.sent = sent;
        progress(row);
      },
      opened(address) {
        if (row.address === address) return;
        row.address = address;
        keep(row);
      },
      stalled() {
        row.stall ??= { sent: row.sent };
        progress(row);
        row.file.slice(0, 1).arrayBuffer().catch(() => losesFile(row));
      },
    };
  }

  /** A file is there: its row follows the version's job, and cages in the list that are made from it can be sent. */
  async function arrive(row, specimen, id) {
    const isNew = !row.twins?.some((twin) => twin.id === id);
    row.version = await api.readVersion(id);
    Object.assign(row, { phase: isNew ? 'sent' : 'here', sent: row.size, stall: null });
    keep(row);
    for (const other of rows) {
      if (other.madeFrom === `row ${row.id}`) other.madeFrom = id;
      if (other !== row && other.digest === row.digest && other.twins !== null)
        other.twins = [...other.twins, { ...row.version, catalogue_number: specimen.catalogue_number }];
      if (other !== row && ON_THE_WAY.includes(other.phase)) keep(other);
    }
    versions.set(specimen.id, await api.listVersions(specimen.id));
    const job = isNew ? row.version.jobs[0] : undefined;
    if (job) row.job = await api.readJob(job);
  }

  /** The specimen of a row; a new one is made once, by the first of its files. */
  async function specimenFor(row) {
    const known = findSpecimen(row.number);
    if (known) return known;
    const wanted = fresh.get(row.number);
    wanted.creating ??= api.createSpecimen({ catalogue_number: row.number, title: wanted.title, units: wanted.units });
    try {
      const specimen = await wanted.creating;
      if (!findSpecimen(row.number)) specimens.push(specimen);
      return specimen;
    } catch (problem) {
      wanted.creating = null;
      throw problem;
    }
  }

  /** What was on its way when the page was left: how much of it the server has. */
  async function takeUp(kept, source) {
    const row = recallRow(kept);
    if (row === null || rowOf(row.id)) return;
    row.source = source;
    if (kept.fresh && !fresh.has(row.number)) fresh.set(row.number, { ...kept.fresh, creating: null });
    rows.push(row);
    show();
    if (row.address !== null) await askArrived(row).catch(page.tellProblem);
    show();
  }

  async function askArrived(row) {
    try {
      const { arrived, expires, version } = await api.readUpload(row.address);
      Object.assign(row, { sent: arrived, expires });
      if (version) await arrive(row, await api.readSpecimen((await api.readVersion(version)).specimen), version);
    } catch (problem) {
      if (!(problem instanceof api.Problem) || ![404, 410].includes(problem.status)) throw problem;
      Object.assign(row, { address: null, sent: 0 });
      keep(row);
    }
  }

  /** The server answers again: nothing waits any longer, and news that were missed are read. */
  function takeHeart() {
    rows.filter((row) => row.stall !== null).forEach((row) => row.transfer?.hurry());
    rows.filter((row) => row.digest !== null && row.twins === null).forEach(findTwins);
    for (const row of rows.filter((each) => ['queued', 'running'].includes(each.job?.state)))
      api.readJob(row.job.id).then((job) => {
        row.job = job;
        progress(row);
      }, page.tellProblem);
  }

  function change(row, changes) {
    Object.assign(row, changes, changes.madeFrom === undefined ? {} : { touched: true });
    if (changes.kind !== undefined || changes.number !== undefined)
      Object.assign(row, { madeFrom: null, touched: false });
    if (changes.faceSize !== undefined) row.faceSize = changes.faceSize.replace(',', '.');
  }

  /** Stops a row for good; the server forgets what has arrived of it. */
  function stop(row) {
    digests.drop(row.id);
    if (row.transfer) row.transfer.cancel();
    else if (row.address !== null && row.version === null) api.cancelUpload(row.address).catch(() => {});
    Object.assign(row, { address: null, sent: 0, stall: null, transfer: null });
    forget(row.id);
  }

  const again = (row) => {
    Object.assign(row, { phase: 'waiting', problem: null });
    keep(row);
    if (row.twins === null && row.digest !== null) findTwins(row);
  };

  const wishes = {
    files: add,
    by: (name) => writeSetting('by', name.trim()),
    edit: ({ row: id, changes, live }) => {
      change(rowOf(id), changes);
      if (live) return showStates();
      show();
      return learn(rowOf(id).specimen).catch(page.tellProblem);
    },
    choose: ({ ids, chosen }) => {
      ids.forEach((id) => {
        rowOf(id).chosen = chosen;
      });
      show();
    },
    chooseOnly: (ids) => {
      rows.forEach((row) => {
        row.chosen = ids.includes(row.id);
      });
      show();
    },
    /** One value for a column of all chosen rows; a parent is one of each row's own. */
    set: ({ column, value }) => {
      complete();
      const chosen = rows.filter((row) => row.chosen && isEditable(row));
      for (const row of chosen) change(row, { [column]: column === 'madeFrom' && value ? newestScan(row) : value });
      show();
      chosen.forEach((row) => learn(row.specimen).catch(page.tellProblem));
    },
    new: ({ number, changes, live }) => {
      Object.assign(fresh.get(number), changes);
      if (live) showStates();
      else show();
    },
    send: () => {
      rows.filter(isReady).forEach(again);
      show();
      pump();
    },
    anyway: ({ row: id, anyway }) => {
      rowOf(id).anyway = anyway;
      show();
    },
    pause: ({ row: id }) => {
      const row = rowOf(id);
      row.phase = 'paused';
      row.transfer?.pause();
      keep(row);
      show();
      pump();
    },
    cancel: ({ row: id }) => {
      const row = rowOf(id);
      const isLooking = row.hashed < row.size;
      stop(row);
      if (row.file === null) rows = rows.filter((each) => each !== row);
      else {
        row.phase = 'ready';
        if (isLooking) lookOver(row);
      }
      show();
      pump();
    },
    again: ({ row: id }) => {
      again(rowOf(id));
      show();
      pump();
    },
    /** One after the other: the browser asks for each folder, and for each file that was given by itself. */
    resume: async () => {
      for (const row of rows.filter(canResume)) await resume(row);
    },
    give: ({ row: id, file, source }) => {
      handOver(rowOf(id), file, source);
      show();
    },
    retry: async ({ row: id }) => {
      const row = rowOf(id);
      try {
        row.job = await api.retryJob(row.job.id);
      } catch (problem) {
        page.tellProblem(problem);
      }
      show();
    },
    remove: ({ row: id }) => {
      stop(rowOf(id));
      rows = rows.filter((row) => row.id !== id);
      show();
      pump();
    },
    forgetLeftOut: () => {
      leftOut = [];
      show();
    },
    clear: () => {
      const clear = () => {
        rows.forEach(stop);
        rows = [];
        leftOut = [];
        show();
      };
      const busy = rows.filter((row) => ON_THE_WAY.includes(row.phase)).length;
      if (busy === 0) clear();
      else askClear(busy, clear);
    },
  };
  for (const [name, fulfil] of Object.entries(wishes))
    el.addEventListener(`wish.${name}`, (event) => fulfil(event.detail));
  window.addEventListener('beforeunload', (event) => {
    if (rows.some((row) => row.phase === 'sending' || row.phase === 'waiting')) event.preventDefault();
  });
  recall(takeUp);

  return {
    async visit(route) {
      preset = route.query.specimen ?? '';
      shown = true;
      page.setTitle(say('upload.title'));
      show();
      read = readKnown().catch(page.tellProblem);
      await read;
    },
    hear(name, data) {
      if (name === 'connected' || name === 'reset') takeHeart();
      if (name !== 'job') return;
      const row = rows.find(
        (each) => each.version?.id === data.version && (each.job === null || each.job.id === data.id),
      );
      if (!row) return;
      row.job = data;
      progress(row);
    },
    leave() {
      shown = false;
    },
  };
}
