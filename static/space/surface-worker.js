// surface-worker.js - fetches surfaces and fields beside the page and makes of them what is drawn, so that the page never waits for it.
//   in:  { id, task, ...detail }   out: { id, result } or { id, problem: { status, body } }
// It keeps what only it needs of a surface: what the vertices of a simplified one are in the mesh, and the form.
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
  viewParts,
} from './surface.js';
import { SUBJECTS, cornerValues, formValues, pickDoubles, picksOf } from './values.js';

const DETAIL_MOST = 400000; // triangles

const surfaces = new Map(); // version -> { surface, form, table }

/** Its buffers go to the page as they came. */
async function loadSurface({ version }) {
  const head = readHead(await api.readSurfaceBytes(version, 0, HEAD_BYTES));
  const parts = await Promise.all(viewParts(head).map(([begin, end]) => api.readSurfaceBytes(version, begin, end)));
  const { vertexFaces, sources, ...drawn } = readSurface(head, parts);
  surfaces.set(version, { surface: { ...head, vertexFaces, sources }, form: null, table: null });
  const twins = ownCorners(drawn);
  const result = { ...drawn, twins, version };
  return { result: Object.assign(result, { ball: ballOf(result) }), transfer: [parts[0], parts[1], twins.buffer] };
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

/** How many numbers a field has; of the vertices of a mesh that was simplified this is not known, and no less than is likely. */
const fieldCount = ({ simplified, faceCount, vertexCount }, { per }) => (per === 'face' || simplified ? faceCount : vertexCount);

/** The numbers of a surface's vertices, or of the faces of the mesh. */
async function findValues({ version, run, colour, kind }) {
  const subject = SUBJECTS[colour];
  const { surface } = surfaces.get(version);
  const values = subject.form
    ? formValues(await formOf(version), subject.form, kind)
    : await pickField(run, subject.field, picksOf(surface, subject), fieldCount(surface, subject));
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
  for (const piece of pieces) piece.twins = ownCorners(piece);
  if (subject.form) for (const piece of pieces) piece.values = cornerValues(piece, subject, formValues(piece.form, subject.form, kind));
  else if (subject.field) await pickPieces(pieces, run, subject, surface);
  const result = { radius: near.radius, pieces: pieces.map((piece) => ({ values: null, ...piece })) };
  const buffers = pieces.flatMap(({ corners, twins, values }) => [corners.buffer, twins.buffer, values?.buffer]);
  return { result, transfer: buffers.filter((buffer) => buffer) };
}

async function pickPieces(pieces, run, subject, surface) {
  const picks = pieces.map((piece) => picksOf(piece, subject));
  const all = new Uint32Array(picks.reduce((sum, each) => sum + each.length, 0));
  let begin = 0;
  picks.forEach((each) => {
    all.set(each, begin);
    begin += each.length;
  });
  const values = await pickField(run, subject.field, all, fieldCount(surface, subject));
  begin = 0;
  pieces.forEach((piece, i) => {
    piece.values = cornerValues(piece, subject, values.subarray(begin, begin + picks[i].length));
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
