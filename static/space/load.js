// load.js - surfaces, and the numbers that they are coloured by, from the worker that fetches them; kept while they are shown. Immutable,
// so never stale.
import * as api from '../api.js';
import { SUBJECTS, cornerValues } from './values.js';

const MARKED_MOST = 2 ** 21; // vertices

/** @returns {{ surfaceOf, valuesOf, detailOf, faceOf, edgesOf, marksOf, sidesOf, keepOnly }} */
export function openLoader() {
  const kept = new Map();
  const asked = new Map();
  let worker = null;
  let asks = 0;

  function ask(task, detail) {
    worker ??= openWorker();
    asks += 1;
    const id = asks;
    worker.postMessage({ id, task, ...detail });
    return new Promise((resolve, reject) => asked.set(id, { resolve, reject }));
  }
  function openWorker() {
    const made = new Worker(new URL('./surface-worker.js', import.meta.url), { type: 'module' });
    made.addEventListener('message', ({ data: { id, result, problem } }) => {
      const { resolve, reject } = asked.get(id);
      asked.delete(id);
      if (problem) reject(new api.Problem(problem.status, problem.body));
      else resolve(result);
    });
    return made;
  }

  /** key: the version first, then the run, then what else there is. */
  function once(key, make) {
    if (!kept.has(key))
      kept.set(
        key,
        make().catch((problem) => {
          kept.delete(key);
          throw problem;
        }),
      );
    return kept.get(key);
  }

  const surfaceOf = (version) => once(`${version}`, () => ask('loadSurface', { version }));

  return {
    surfaceOf,
    /** One number a corner: figure has { version, run, colour, kind }. */
    valuesOf: (figure) =>
      once(`${figure.version} ${figure.run} ${figure.colour}`, async () => {
        const surface = await surfaceOf(figure.version);
        return cornerValues(surface, SUBJECTS[figure.colour], await ask('findValues', figure));
      }),
    detailOf: (figure, at, radius) => ask('findDetail', { ...figure, at, radius }),
    faceOf: (version, face, vertices, kind) => ask('tellFace', { version, face, vertices, kind }),
    edgesOf: (version) => once(`${version} edges`, () => ask('readEdges', { version })),
    /** What is drawn over a surface; null where it is too large, or not the mesh's own. Found by a worker of its own, as are sides. */
    marksOf: (surface) =>
      surface.simplified || surface.vertexCount >= MARKED_MOST
        ? Promise.resolve(null)
        : once(`${surface.version} marks`, () => findInWorker(surface, 'marks')),
    sidesOf: (surface) => once(`${surface.version} sides`, () => findInWorker(surface, 'sides')),
    /** Forgets what is not of these surfaces, and not coloured like one of these figures. */
    keepOnly(figures) {
      const versions = figures.map(({ version }) => version);
      const colours = figures.map(({ version, run, colour }) => `${version} ${run} ${colour}`);
      for (const key of kept.keys()) {
        const parts = key.split(' ');
        if (!versions.includes(parts[0]) || (parts.length === 3 && !colours.includes(key))) kept.delete(key);
      }
      if (worker) ask('keepOnly', { versions });
    },
  };
}

function findInWorker(surface, what) {
  const worker = new Worker(new URL('./marks-worker.js', import.meta.url), { type: 'module' });
  return new Promise((resolve, reject) => {
    worker.addEventListener('message', ({ data }) => resolve(data));
    worker.addEventListener('error', () => reject(new Error('the marks could not be found')));
    worker.postMessage({
      what,
      triangles: surface.triangles,
      twins: surface.twins,
      faces: surface.faces,
      vertexCount: surface.vertexCount,
      triangleCount: surface.triangleCount,
    });
  }).finally(() => worker.terminate());
}
