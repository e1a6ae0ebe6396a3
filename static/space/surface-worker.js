// surface-worker.js - fetches surfaces and fields beside the page and makes of them what is drawn, so that the page never waits for it.
//   in:  { id, task, ...detail }   out: { id, result } or { id, problem: { status, body } }
// It keeps what only it needs of a surface: whose own each corner is, and the form.
import * as api from '../api.js';
import { faceForm } from './form.js';
import {
  HEAD_BYTES,
  ballOf,
  clustersNear,
  formBytes,
  ownCorners,
  readCluster,
  readForm,
  readHead,
  readSurface,
  readTable,
  tableBytes,
  viewBytes,
} from './surface.js';
import { SUBJECTS, formValues, pickDoubles, picksOf } from './values.js';

const DETAIL_MOST = 400000; // triangles

const surfaces = new Map(); // version -> { surface, owners, form, table }

async function loadSurface({ version }) {
  const head = readHead(await api.readSurfaceBytes(version, 0, HEAD_BYTES));
  const buffer = await api.readSurfaceBytes(version, 0, viewBytes(head));
  const surface = readSurface(buffer);
  const { corners, owners, twins } = ownCorners(surface);
  const kept = {
    ...surface,
    corners: null,
    triangles: null,
    coarse: null,
    coarsest: null,
    faces: surface.faces?.slice() ?? null,
    vertexFaces: surface.vertexFaces?.slice() ?? null,
    sources: surface.sources?.slice() ?? null,
    twins: twins.slice(),
  };
  surfaces.set(version, { surface: kept, owners, form: null, table: null });
  // without the bytes that the new corners stand for
  const [triangles, coarse, coarsest, faces] = ['triangles', 'coarse', 'coarsest', 'faces'].map((name) => surface[name]?.slice() ?? null);
  const drawn = { ...surface, corners, triangles, coarse, coarsest, faces, twins, version, vertexFaces: null, sources: null };
  const transfer = [corners, triangles, coarse, coarsest, faces, twins].filter((part) => part !== null).map((part) => part.buffer);
  return { result: Object.assign(drawn, { ball: ballOf(drawn) }), transfer };
}

async function formOf(version) {
  const entry = surfaces.get(version);
  entry.form ??= api
    .readSurfaceBytes(version, ...formBytes(entry.surface))
    .then((buffer) => readForm(entry.surface, buffer));
  return entry.form;
}

async function pickField(run, name, picks, count) {
  const picker = pickDoubles(picks, count);
  await api.streamField(run, name, picker.take);
  return picker.values();
}

/** How many numbers a field has, at most: only where to keep them is decided by it. */
const fieldCount = (surface, subject) => (subject.per === 'face' ? surface.faceCount : 0) || Math.max(surface.faceCount, surface.vertexCount);

async function findValues({ version, run, colour, kind }) {
  const subject = SUBJECTS[colour];
  const { surface, owners } = surfaces.get(version);
  const picks = picksOf(surface, owners, subject);
  const values = subject.form
    ? formValues(await formOf(version), picks, subject.form, kind)
    : await pickField(run, subject.field, picks, fieldCount(surface, subject));
  return { result: values, transfer: [values.buffer] };
}

/** The triangles of the mesh near a place, and their values. */
async function findDetail({ version, run, colour, kind, at, radius }) {
  const subject = SUBJECTS[colour];
  const entry = surfaces.get(version);
  const { surface } = entry;
  entry.table ??= api.readSurfaceBytes(version, ...tableBytes(surface)).then((buffer) => readTable(surface, buffer));
  const near = clustersNear(await entry.table, at, radius, DETAIL_MOST);
  const pieces = await Promise.all(
    near.taken.map(async (each) => readCluster(each, await api.readSurfaceBytes(version, each.begin, each.end))),
  );
  for (const piece of pieces) {
    const { corners, owners, twins } = ownCorners(piece);
    Object.assign(piece, { corners, owners, twins });
  }
  if (subject.form)
    for (const piece of pieces)
      piece.values = formValues(piece.form, picksOf(formPiece(piece), piece.owners, subject), subject.form, kind);
  else if (subject.field) await pickPieces(pieces, run, subject, surface);
  return {
    result: { radius: near.radius, pieces: pieces.map((piece) => ({ values: null, ...piece, owners: null })) },
    transfer: [],
  };
}

/** The form of a piece is told for its own triangles. */
const formPiece = (piece) => ({ ...piece, faces: null });

async function pickPieces(pieces, run, subject, surface) {
  const picks = pieces.map((piece) => picksOf(piece, piece.owners, subject));
  const all = new Uint32Array(picks.reduce((sum, each) => sum + each.length, 0));
  let begin = 0;
  picks.forEach((each) => {
    all.set(each, begin);
    begin += each.length;
  });
  const values = await pickField(run, subject.field, all, fieldCount(surface, subject));
  begin = 0;
  pieces.forEach((piece, i) => {
    piece.values = values.slice(begin, begin + picks[i].length);
    begin += picks[i].length;
  });
}

/** What a face of the mesh is. */
async function tellFace({ version, face, vertices, kind }) {
  return { result: faceForm(await formOf(version), face, vertices, kind), transfer: [] };
}

/** The bytes of the vertices, for the shapes of irregular ones. */
async function readEdges({ version }) {
  const result = (await formOf(version)).edges.slice();
  return { result, transfer: [result.buffer] };
}

function keepOnly({ versions }) {
  for (const version of surfaces.keys()) if (!versions.includes(version)) surfaces.delete(version);
  return { result: null, transfer: [] };
}

const tasks = { loadSurface, findValues, findDetail, tellFace, readEdges, keepOnly };

self.addEventListener('message', async ({ data: { id, task, ...detail } }) => {
  try {
    const { result, transfer } = await tasks[task](detail);
    self.postMessage({ id, result }, transfer);
  } catch (problem) {
    const known = problem instanceof api.Problem;
    const { status, code, message, hasDetail } = known ? problem : new api.Problem(422, { code: 'surface' });
    self.postMessage({ id, problem: { status, body: { code, ...(hasDetail ? { detail: message } : {}) } } });
    if (!known) throw problem;
  }
});
