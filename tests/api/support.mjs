// support.mjs - a real server in a folder of its own, calls whose answers are held against the OpenAPI document,
// raw connections, and small meshes. FETTLE names the program.
import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import net from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import Ajv from 'ajv/dist/2020.js';
import addFormats from 'ajv-formats';

export const HERE = path.dirname(fileURLToPath(import.meta.url));
export const ROOT = path.resolve(HERE, '../..');
export const FETTLE = process.env.FETTLE ?? path.join(ROOT, 'build/release/fettle');
export const SHARED = process.env.FETTLE_SHARED ?? path.resolve(ROOT, '../shared');
export const OPENAPI = JSON.parse(readFileSync(path.join(ROOT, 'schema/openapi.json'), 'utf8'));

/** Long enough for a slow machine; nothing here is measured by time. */
export const PATIENCE_MS = 60000;

const folders = [];
const children = new Set();
process.on('exit', () => {
  for (const child of children) child.kill('SIGKILL');
  for (const folder of folders) rmSync(folder, { recursive: true, force: true, maxRetries: 5 });
});

/** Removed when the test file ends: by then every server has. */
export function temporaryFolder() {
  const folder = mkdtempSync(path.join(tmpdir(), 'fettle-api-'));
  folders.push(folder);
  return folder;
}

/** Starts `fettle serve` on a free port; resolves once its address is on standard output. */
export async function startServer(t, { data, args = [] } = {}) {
  const folder = data ?? path.join(temporaryFolder(), 'data');
  const child = spawn(FETTLE, ['serve', '--data', folder, '--port', '0', ...args], { stdio: ['ignore', 'pipe', 'pipe'] });
  children.add(child);
  child.on('exit', () => children.delete(child));
  const server = { child, data: folder, log: '', address: '' };
  child.stderr.setEncoding('utf8').on('data', (text) => (server.log += text));
  child.stdout.setEncoding('utf8');
  server.ended = new Promise((resolve) => child.on('close', (code, signal) => resolve({ code, signal })));
  server.stop = async (signal = 'SIGTERM') => {
    child.kill(signal);
    return server.ended;
  };
  t?.after(async () => {
    await server.stop();
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });
  await new Promise((resolve, reject) => {
    let first = '';
    child.stdout.on('data', (text) => {
      first += text;
      if (first.includes('\n')) resolve();
    });
    server.ended.then(({ code }) => reject(new Error(`fettle serve ended with ${code}: ${server.log}`)));
    server.address = '';
    child.stdout.on('data', () => (server.address = first.split('\n')[0]));
  });
  assert.match(server.address, /^http:\/\/127\.0\.0\.1:\d+\/$/);
  server.origin = server.address.slice(0, -1);
  server.port = Number(new URL(server.address).port);
  return server;
}

const ajv = new Ajv({ strict: false, allErrors: true });
addFormats(ajv);
ajv.addSchema(OPENAPI, 'openapi');
const validators = new Map();

const escapePointer = (text) => text.replaceAll('~', '~0').replaceAll('/', '~1');

/** The path template of the document that an address belongs to, or undefined. */
export function templateOf(pathname) {
  return Object.keys(OPENAPI.paths).find((template) =>
    new RegExp(`^${template.replace(/\{id\}/g, '[1-9][0-9]*').replace(/\{name\}/g, '[^/]+').replaceAll('.', '\\.')}$`).test(pathname));
}

function validatorOf(template, method, status, type) {
  const key = `${template} ${method} ${status} ${type}`;
  if (!validators.has(key)) {
    let at = `paths/${escapePointer(template)}/${method}/responses/${status}`;
    const answer = OPENAPI.paths[template][method].responses[status];
    assert.ok(answer, `the document tells of no ${status} of ${method} ${template}`);
    if (answer.$ref) at = answer.$ref.slice(2);
    validators.set(key, ajv.compile({ $ref: `openapi#/${at}/content/${escapePointer(type)}/schema` }));
  }
  return validators.get(key);
}

/** What every answer must carry. */
export function checkHeaders(headers) {
  assert.equal(headers.get('x-content-type-options'), 'nosniff');
  assert.equal(headers.get('referrer-policy'), 'no-referrer');
  assert.equal(headers.get('cross-origin-opener-policy'), 'same-origin');
  assert.match(headers.get('content-security-policy'), /default-src 'none'/);
  assert.match(headers.get('content-security-policy'), /frame-ancestors 'none'/);
  assert.equal(headers.get('access-control-allow-origin'), null);
  assert.match(headers.get('x-request-id'), /^[0-9a-f]{16}$/);
}

/** Sends one request and checks the answer against the document. { status, headers, body, text } */
export async function call(server, method, address, { json, body, headers = {}, signal } = {}) {
  const answer = await fetch(server.origin + address, {
    method,
    headers: { ...(json === undefined ? {} : { 'content-type': 'application/json' }), ...headers },
    body: json === undefined ? body : JSON.stringify(json),
    duplex: body instanceof ReadableStream ? 'half' : undefined,
    signal,
  });
  checkHeaders(answer.headers);
  const bytes = Buffer.from(await answer.arrayBuffer());
  const type = (answer.headers.get('content-type') ?? '').split(';')[0];
  const result = { status: answer.status, headers: answer.headers, bytes, text: bytes.toString('utf8') };
  if (type.endsWith('json') && bytes.length > 0) result.body = JSON.parse(result.text);
  const template = templateOf(new URL(server.origin + address).pathname);
  const known = template && OPENAPI.paths[template][method.toLowerCase()];
  if (type === 'application/problem+json') {
    assert.equal(result.body.status, answer.status);
    assert.equal(result.body.request_id, answer.headers.get('x-request-id'));
    assert.equal(answer.headers.get('cache-control'), 'no-store');
  }
  if (known && type.endsWith('json') && bytes.length > 0) {
    const validate = validatorOf(template, method.toLowerCase(), answer.status, type);
    assert.ok(validate(result.body), `${method} ${address}: ${ajv.errorsText(validate.errors)}\n${result.text.slice(0, 2000)}`);
  }
  return result;
}

export function validateAs(name, value) {
  const key = `component ${name}`;
  if (!validators.has(key)) validators.set(key, ajv.compile({ $ref: `openapi#/components/schemas/${name}` }));
  const validate = validators.get(key);
  assert.ok(validate(value), `${name}: ${ajv.errorsText(validate.errors)}\n${JSON.stringify(value)}`);
}

let counter = 0;
export async function makeSpecimen(server, values = {}) {
  counter += 1;
  const made = await call(server, 'POST', '/api/v1/specimens', {
    json: { catalogue_number: `NH-${counter}-${process.pid}`, title: 'Coiled shell', units: 'mm', ...values },
  });
  assert.equal(made.status, 201, made.text);
  return made.body;
}

export async function upload(server, specimen, bytes, values = {}) {
  const query = new URLSearchParams({ kind: 'scan', name: 'a.obj', by: 'A. Preparator', ...values });
  return call(server, 'POST', `/api/v1/specimens/${specimen}/versions?${query}`, { body: bytes });
}

/** Asks until the answer is as wanted, long enough for a slow machine; gives the last answer, for an assertion to look at. */
export async function until(ask, isWanted = Boolean, ms = 20) {
  for (const end = Date.now() + PATIENCE_MS; ; await pause(ms)) {
    const answer = await ask();
    if (isWanted(answer) || Date.now() > end) return answer;
  }
}

/** Waits until the job has ended. */
export async function waitForJob(server, id) {
  const hasEnded = ({ status, body }) => status !== 200 || !['queued', 'running'].includes(body.state);
  const { status, body, text } = await until(() => call(server, 'GET', `/api/v1/jobs/${id}`), hasEnded, 50);
  assert.equal(status, 200, text);
  assert.ok(hasEnded({ status, body }), `job ${id} does not end\n${server.log}`);
  return body;
}

/** Waits for every job of a version and gives the version as it is then. */
export async function waitForVersion(server, id) {
  const version = (await call(server, 'GET', `/api/v1/versions/${id}`)).body;
  for (const job of version.jobs) await waitForJob(server, job);
  return (await call(server, 'GET', `/api/v1/versions/${id}`)).body;
}

export const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

/** Writes bytes to the server and gives everything it answers until it closes; `closed` is false where it never does. */
export function raw(server, bytes) {
  return new Promise((resolve, reject) => {
    const socket = net.connect(server.port, '127.0.0.1');
    const pieces = [];
    let closed = false;
    const finish = () => {
      socket.destroy();
      resolve({ text: Buffer.concat(pieces).toString('latin1'), closed });
    };
    const timer = setTimeout(finish, PATIENCE_MS);
    socket.on('data', (piece) => pieces.push(piece));
    socket.on('error', (error) => (error.code === 'ECONNRESET' || error.code === 'EPIPE' ? null : reject(error)));
    socket.on('close', () => {
      closed = true;
      clearTimeout(timer);
      finish();
    });
    socket.on('connect', () => socket.write(bytes));
  });
}

export const statusOf = (text) => Number(/^HTTP\/1\.[01] (\d{3})/.exec(text)?.[1] ?? 0);

export function curl(...args) {
  return execFileSync('curl', ['-sS', '--max-time', '120', ...args], { maxBuffer: 1 << 28 });
}

/** A closed box as OBJ: quads, or triangles. The corner at `at` makes each one different. */
export function box({ size = 1, triangles = false, at = 0, open = false } = {}) {
  const corners = [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]];
  const quads = [[4, 3, 2, 1], [5, 6, 7, 8], [1, 2, 6, 5], [2, 3, 7, 6], [3, 4, 8, 7], [4, 1, 5, 8]].slice(open ? 1 : 0);
  const faces = triangles ? quads.flatMap(([a, b, c, d]) => [[a, b, c], [a, c, d]]) : quads;
  return [
    ...corners.map((corner) => `v ${corner.map((x) => at + size * x).join(' ')}`),
    ...faces.map((face) => `f ${face.join(' ')}`),
    '',
  ].join('\n');
}

/** A bumpy sheet of n x n quads cut into triangles: work for a moment. */
export function sheet(n, seed = 1) {
  const lines = [];
  for (let y = 0; y <= n; y++)
    for (let x = 0; x <= n; x++) lines.push(`v ${x} ${y} ${(Math.sin(x * 0.7 + seed) * Math.cos(y * 0.3 * seed)).toFixed(6)}`);
  for (let y = 0; y < n; y++)
    for (let x = 0; x < n; x++) {
      const a = y * (n + 1) + x + 1;
      lines.push(`f ${a} ${a + 1} ${a + n + 2}`, `f ${a} ${a + n + 2} ${a + n + 1}`);
    }
  return lines.join('\n') + '\n';
}

/** Reads server-sent events; .events grows, .next(name) waits for one, .comments counts them. */
export async function listen(server, address = '/api/v1/events', headers = {}) {
  const controller = new AbortController();
  const answer = await fetch(server.origin + address, { headers, signal: controller.signal });
  assert.equal(answer.status, 200);
  assert.match(answer.headers.get('content-type'), /^text\/event-stream/);
  const stream = { events: [], comments: 0, ended: false, close: () => controller.abort() };
  (async () => {
    let text = '';
    const decoder = new TextDecoder();
    try {
      for await (const piece of answer.body) {
        text += decoder.decode(piece, { stream: true });
        for (let end; (end = text.indexOf('\n\n')) >= 0; text = text.slice(end + 2)) {
          const lines = text.slice(0, end).split('\n');
          if (lines[0].startsWith(':')) stream.comments += 1;
          const field = (name) => lines.find((line) => line.startsWith(`${name}: `))?.slice(name.length + 2);
          if (field('event')) stream.events.push({ id: field('id'), name: field('event'), data: JSON.parse(field('data')) });
        }
      }
    } catch {
      // closed by us
    }
    stream.ended = true;
  })();
  stream.wait = async (test) => {
    const found = await until(() => stream.events.find(test));
    assert.ok(found, `no such event: ${JSON.stringify(stream.events).slice(0, 2000)}`);
    return found;
  };
  return stream;
}

/** Pseudo-random numbers in [0, 1) from a seed (xorshift32), so that a run can be repeated. */
export function random(seed) {
  let state = seed >>> 0 || 1;
  return () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return (state >>> 0) / 2 ** 32;
  };
}
