// upload.js - joins the upload's view to the server: keeps the list of files while the reader looks at other views, sends at most
// two at once, scans before the cages made from them, and follows the jobs that start by themselves.
import * as api from '../api.js';
import { give } from '../dom.js';
import { isFaceSize, isMeshName, readFileName } from '../file-name.js';
import { say } from '../say.js';
import { readSetting, writeSetting } from '../settings.js';
import { versionName } from '../specimen-state.js';
import { askClear } from '../views/dialogs.js';
import { UploadView } from '../views/upload.js';

const AT_ONCE = 2;

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinUpload(el, page) {
  let rows = [];
  let specimens = [];
  let leftOut = 0;
  let preset = '';
  let shown = false;
  let lastId = 0;
  const fresh = new Map(); // new specimens by catalogue number: { title, units, creating }
  const versions = new Map(); // versions of known specimens by their id

  UploadView(el);

  const findSpecimen = (number) => specimens.find((specimen) => specimen.catalogue_number === number) ?? null;
  const show = () => {
    rows.forEach(complete);
    give(el, 'show', { rows, specimens, by: readSetting('by'), leftOut });
  };
  const progress = (row) => give(el, 'progress', row);
  /** While somebody types, only what follows from it is drawn anew. */
  const showStates = () => {
    rows.forEach(complete);
    rows.forEach(progress);
  };

  /** What follows from the fields of a row: its specimen, what it can be made from, what is still wanted. */
  function complete(row) {
    row.specimen = findSpecimen(row.number);
    if (row.specimen === null && row.number !== '' && !fresh.has(row.number))
      fresh.set(row.number, { title: '', units: 'mm', creating: null });
    row.fresh = fresh.get(row.number) ?? null;
    row.firstOfNew = rows.find((each) => each.number === row.number && each.phase === 'ready') === row;
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
          each.version === null,
      )
      .map((each) => ({
        value: `row ${each.id}`,
        text: say('upload.fromList', { name: each.file.name }),
        kind: 'scan',
      }));
    row.parents = [...coming, ...here].filter((parent) => row.kind === 'cage' || parent.kind === 'scan');
    if (row.madeFrom === null || !row.parents.some((parent) => parent.value === row.madeFrom)) {
      if (row.madeFrom !== '' || !row.touched)
        row.madeFrom = row.kind === 'cage' ? (row.parents.find((parent) => parent.kind === 'scan')?.value ?? '') : '';
    }
    row.wants =
      row.number === ''
        ? 'specimen'
        : row.kind === ''
          ? 'kind'
          : row.specimen === null && row.fresh.title === ''
            ? 'title'
            : !isFaceSize(row.faceSize)
              ? 'faceSize'
              : null;
  }

  async function learn(specimen) {
    if (specimen === null || versions.has(specimen.id)) return;
    versions.set(specimen.id, []);
    versions.set(specimen.id, await api.listVersions(specimen.id));
    show();
  }

  function add(files) {
    const meshes = files.filter((file) => isMeshName(file.name));
    leftOut = files.length - meshes.length;
    for (const file of meshes) {
      const { number, kind, faceSize } = readFileName(file.name);
      rows.push({
        id: String((lastId += 1)),
        file,
        number: findSpecimen(number) || preset === '' ? number : preset,
        kind,
        faceSize,
        note: '',
        madeFrom: null,
        touched: false,
        phase: 'ready',
        sent: 0,
        began: 0,
        version: null,
        job: null,
        problem: null,
        cancel: null,
      });
    }
    show();
    rows.forEach((row) => learn(row.specimen).catch(page.tellProblem));
  }

  const rowOf = ({ row }) => rows.find((each) => each.id === row);
  const waits = (row) =>
    row.madeFrom.startsWith('row ') &&
    rows.some(
      (each) =>
        `row ${each.id}` === row.madeFrom && each.version === null && ['waiting', 'sending'].includes(each.phase),
    );

  /** Starts as many as may be sent at once. */
  function pump() {
    const sending = rows.filter((row) => row.phase === 'sending').length;
    const next = rows
      .filter((row) => row.phase === 'waiting')
      .sort((a, b) => (b.kind === 'scan') - (a.kind === 'scan'))
      .filter((row) => !waits(row))
      .slice(0, Math.max(0, AT_ONCE - sending));
    next.forEach((row) => send(row).then(pump));
  }

  async function send(row) {
    row.phase = 'sending';
    row.sent = 0;
    row.began = performance.now();
    show();
    try {
      const specimen = await specimenFor(row);
      if (row.phase !== 'sending') return;
      const parent = row.madeFrom.startsWith('row ')
        ? (rows.find((each) => `row ${each.id}` === row.madeFrom)?.version?.id ?? '')
        : row.madeFrom;
      const values = {
        kind: row.kind,
        made_from: parent,
        face_size: row.kind === 'cage' ? row.faceSize.replace(/\s/g, '') : '',
        name: row.file.name,
        by: readSetting('by'),
        note: row.note,
      };
      const { done, cancel } = api.sendFile(specimen.id, values, row.file, (sent) => {
        row.sent = sent;
        progress(row);
      });
      row.cancel = cancel;
      const { version, isNew } = await done;
      row.version = version;
      row.phase = isNew ? 'sent' : 'here';
      versions.set(specimen.id, await api.listVersions(specimen.id));
      if (isNew) await follow(row);
    } catch (problem) {
      if (!(problem instanceof api.Problem)) throw problem;
      if (row.version === null) {
        row.phase = problem.code === 'cancelled' ? 'ready' : 'refused';
        row.problem = problem;
      }
    }
    row.cancel = null;
    show();
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

  /** The job that measures a version, as it stands; later news come as events. */
  async function follow(row) {
    const job = row.version.jobs[0];
    if (job) row.job = await api.readJob(job);
  }

  const wishes = {
    files: add,
    by: (name) => writeSetting('by', name.trim()),
    edit: ({ row: id, changes, live }) => {
      const row = rowOf({ row: id });
      Object.assign(row, changes, changes.madeFrom === undefined ? {} : { touched: true });
      if (changes.kind !== undefined || changes.number !== undefined)
        Object.assign(row, { madeFrom: null, touched: false });
      if (changes.faceSize !== undefined) row.faceSize = changes.faceSize.replace(',', '.');
      if (live) return showStates();
      show();
      return learn(row.specimen).catch(page.tellProblem);
    },
    new: ({ number, changes, live }) => {
      Object.assign(fresh.get(number), changes);
      if (live) showStates();
      else show();
    },
    send: () => {
      rows
        .filter((row) => row.phase === 'ready' && row.wants === null)
        .forEach((row) => {
          row.phase = 'waiting';
        });
      show();
      pump();
    },
    cancel: (wish) => {
      const row = rowOf(wish);
      if (row.cancel) row.cancel();
      else row.phase = 'ready';
      show();
    },
    again: (wish) => {
      Object.assign(rowOf(wish), { phase: 'waiting', problem: null });
      show();
      pump();
    },
    retry: async (wish) => {
      const row = rowOf(wish);
      try {
        row.job = await api.retryJob(row.job.id);
      } catch (problem) {
        page.tellProblem(problem);
      }
      show();
    },
    remove: (wish) => {
      rows = rows.filter((row) => row.id !== wish.row);
      show();
    },
    clear: () => {
      const stop = () => {
        rows.forEach((row) => row.cancel?.());
        rows = [];
        leftOut = 0;
        show();
      };
      const busy = rows.filter((row) => row.phase === 'sending' || row.phase === 'waiting').length;
      if (busy === 0) stop();
      else askClear(busy, stop);
    },
  };
  for (const [name, fulfil] of Object.entries(wishes))
    el.addEventListener(`wish.${name}`, (event) => fulfil(event.detail));
  window.addEventListener('beforeunload', (event) => {
    if (rows.some((row) => row.phase === 'sending' || row.phase === 'waiting')) event.preventDefault();
  });

  return {
    async visit(route) {
      preset = route.query.specimen ?? '';
      shown = true;
      page.setTitle(say('upload.title'));
      show();
      try {
        specimens = await api.allSpecimens();
        versions.clear();
        show();
        await Promise.all(rows.map((row) => learn(row.specimen)));
      } catch (problem) {
        page.tellProblem(problem);
      }
    },
    hear(name, data) {
      if (name !== 'job') return;
      const row = rows.find(
        (each) => each.version?.id === data.version && (each.job === null || each.job.id === data.id),
      );
      if (!row) return;
      row.job = data;
      if (shown) progress(row);
    },
    leave() {
      shown = false;
    },
  };
}
