// measure_support.mjs - calling the program, throw-away folders, small meshes written from formulas.
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Ajv2020 from 'ajv/dist/2020.js';

export const root = fileURLToPath(new URL('../../', import.meta.url));
export const program = process.env.FETTLE ?? join(root, 'build/release/fettle');

/** Runs the program; { status, stdout, stderr } as text. options go to spawnSync. */
export function fettle(args, options = {}) {
  const done = spawnSync(program, args, { encoding: 'utf8', maxBuffer: 1 << 28, timeout: 120000, ...options });
  if (done.error) throw done.error;
  return done;
}

/** The record of a measurement that must succeed. */
export function measure(args, options) {
  const done = fettle(['measure', ...args, '--json'], options);
  if (done.status !== 0) throw new Error(`status ${done.status}: ${done.stderr}`);
  return JSON.parse(done.stdout);
}

/** A folder for the time of one test. */
export function temporaryFolder(t) {
  const folder = mkdtempSync(join(tmpdir(), 'fettle-cli-'));
  t.after(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

/** Writes an OBJ file and returns its path. */
export function writeObj(folder, name, { positions, faces }) {
  const path = join(folder, name);
  const lines = positions.map((p) => `v ${p.join(' ')}`);
  lines.push(...faces.map((f) => `f ${f.map((v) => v + 1).join(' ')}`));
  writeFileSync(path, `${lines.join('\n')}\n`);
  return path;
}

/** Torus around z of n by m quads. */
export function torus(n, m, ring = 3, tube = 1) {
  const positions = [];
  const faces = [];
  for (let i = 0; i < n; i++)
    for (let j = 0; j < m; j++) {
      const u = (2 * Math.PI * i) / n;
      const v = (2 * Math.PI * j) / m;
      const r = ring + tube * Math.cos(v);
      positions.push([r * Math.cos(u), r * Math.sin(u), tube * Math.sin(v)]);
      const next = ((i + 1) % n) * m;
      const over = (j + 1) % m;
      faces.push([i * m + j, next + j, next + over, i * m + over]);
    }
  return { positions, faces };
}

/** Every face cut into triangles from its first corner. */
export function fanned({ positions, faces }) {
  return { positions, faces: faces.flatMap((f) => f.slice(2).map((_, k) => [f[0], f[k + 1], f[k + 2]])) };
}

/** Cube of six quads with one corner at the origin. */
export function cube(side = 1) {
  const s = side;
  return {
    positions: [[0, 0, 0], [s, 0, 0], [s, s, 0], [0, s, 0], [0, 0, s], [s, 0, s], [s, s, s], [0, s, s]],
    faces: [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]],
  };
}

/** The record without what may differ between two runs of the same bytes. */
export function comparable(record) {
  const copy = structuredClone(record);
  delete copy.timings;
  delete copy.engine.settings.threads;
  return copy;
}

const schema = JSON.parse(readFileSync(join(root, 'schema/run-record.schema.json'), 'utf8'));
const validate = new Ajv2020({ allErrors: true, strict: true, allowUnionTypes: true, strictRequired: false }).compile(schema);

/** The errors by the schema as a list of texts; empty for a valid record. */
export function schemaErrors(record) {
  return validate(record) ? [] : validate.errors.map((e) => `${e.instancePath || '/'} ${e.message}`);
}

/** Every [path, value] below a record. */
export function* leaves(value, path = '') {
  if (value !== null && typeof value === 'object')
    for (const [key, inner] of Object.entries(value)) yield* leaves(inner, path ? `${path}.${key}` : key);
  else yield [path, value];
}
