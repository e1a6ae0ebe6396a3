// load.js - fetches surfaces and fields and keeps them: a surface by its version, a field by its run. Immutable, so never stale.
import * as api from '../api.js';
import { ballOf, readHead, readSurface, viewBytes } from './surface.js';

const HEAD_BYTES = 144;
const IRREGULAR_MOST = 400;

/** @returns {{ surfaceOf, fieldOf, marksOf, keepOnly }} */
export function openLoader() {
  const surfaces = new Map();
  const fields = new Map();
  const marks = new Map();

  async function loadSurface(version) {
    const head = readHead(await api.readSurfaceBytes(version, 0, HEAD_BYTES));
    const surface = readSurface(await api.readSurfaceBytes(version, 0, viewBytes(head)));
    return Object.assign(surface, { ball: ballOf(surface), version });
  }

  const once = (map, key, make) => {
    if (!map.has(key))
      map.set(
        key,
        make().catch((problem) => {
          map.delete(key);
          throw problem;
        }),
      );
    return map.get(key);
  };

  return {
    surfaceOf: (version) => once(surfaces, version, () => loadSurface(version)),
    fieldOf: (run, name) => once(fields, `${run} ${name}`, () => api.readField(run, name)),
    /** Sides of faces and marks of a surface; found by a worker, so that the page goes on. */
    marksOf: (surface) => once(marks, surface.version, () => findInWorker(surface)),
    keepOnly(versions, runs) {
      for (const key of surfaces.keys()) if (!versions.includes(key)) surfaces.delete(key);
      for (const key of marks.keys()) if (!versions.includes(key)) marks.delete(key);
      for (const key of fields.keys()) if (!runs.includes(key.split(' ')[0])) fields.delete(key);
    },
  };
}

function findInWorker(surface) {
  const worker = new Worker(new URL('./marks-worker.js', import.meta.url), { type: 'module' });
  return new Promise((resolve, reject) => {
    worker.addEventListener('message', ({ data }) => resolve(data));
    worker.addEventListener('error', () => reject(new Error('the marks could not be found')));
    worker.postMessage({
      triangles: surface.triangles.slice(),
      faces: surface.faces?.slice() ?? null,
      vertexCount: surface.vertexCount,
      triangleCount: surface.triangleCount,
      most: IRREGULAR_MOST,
    });
  }).finally(() => worker.terminate());
}
