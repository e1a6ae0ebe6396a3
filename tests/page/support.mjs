// support.mjs - what the browser tests share: a served data folder, a browser, meshes whose measures are known on paper.
import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

const PROGRAM = process.env.FETTLE ?? fileURLToPath(new URL('../../build/release/fettle', import.meta.url));
const CHROMIUM = process.env.CHROMIUM ?? '/usr/bin/chromium';
/** Long enough for a slow machine; nothing here is measured by time. */
export const PATIENCE_MS = 60000;

/** Starts `fettle serve` on a free port and a folder of its own; `crash` kills it at once, `start` starts it again in its place. */
export async function startService() {
  const folder = mkdtempSync(join(tmpdir(), 'fettle-page-'));
  let port = '0';
  let child;
  let ended;

  async function start() {
    child = spawn(PROGRAM, ['serve', '--data', folder, '--port', port], { stdio: ['ignore', 'pipe', 'ignore'] });
    ended = new Promise((resolve, reject) => {
      child.once('exit', resolve);
      child.once('error', reject);
    });
    const lines = createInterface({ input: child.stdout });
    const address = await Promise.race([
      new Promise((resolve) => lines.once('line', resolve)),
      ended.then((status) => {
        throw new Error(`fettle serve ended with status ${status}`);
      }),
    ]);
    port = new URL(address).port;
    return address.endsWith('/') ? address : `${address}/`;
  }

  async function end(signal) {
    child.kill(signal);
    await ended;
  }

  return {
    address: await start(),
    start,
    crash: () => end('SIGKILL'),
    async stop() {
      await end('SIGTERM');
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

export function startBrowser() {
  return chromium.launch({
    executablePath: CHROMIUM,
    args: [
      '--headless=new',
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
}

/**
 * A page that remembers what went wrong in it: errors, warnings of the security policy, requests that were refused, and any
 * that was meant for another machine.
 */
export async function openPage(browser, options = {}) {
  const context = await browser.newContext({
    viewport: { width: 1280, height: 900 },
    acceptDownloads: true,
    ...options,
  });
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE_MS);
  const faults = [];
  page.on('pageerror', (error) => faults.push(error.stack));
  page.on('console', (message) => {
    if (message.type() === 'error') faults.push(message.text());
  });
  page.on('request', (request) => {
    const { protocol, hostname } = new URL(request.url());
    if (protocol.startsWith('http') && hostname !== '127.0.0.1') faults.push(`asked for ${request.url()}`);
  });
  /** An answer that a test holds back may still be on its way when it ends. */
  const close = async () => {
    await page.unrouteAll({ behavior: 'ignoreErrors' });
    await context.close();
  };
  return { page, faults, close };
}

/**
 * A cube about the origin as an OBJ: n by n squares a side, vertices shared, outward.
 * @param {number} edge  its length
 * @param {{ triangles?: boolean, without?: number[] }} options  faces left out, by their number
 */
export function cube(n, edge, { triangles = false, without = [] } = {}) {
  const index = new Map();
  const vertices = [];
  const faces = [];
  const vertex = (point) => {
    const key = point.join();
    if (!index.has(key)) {
      vertices.push(`v ${point.map((i) => (edge * i) / n - edge / 2).join(' ')}`);
      index.set(key, vertices.length);
    }
    return index.get(key);
  };
  for (let axis = 0; axis < 3; axis += 1) {
    for (const side of [0, n]) {
      for (let i = 0; i < n; i += 1) {
        for (let j = 0; j < n; j += 1) {
          const corners = [
            [i, j],
            [i + 1, j],
            [i + 1, j + 1],
            [i, j + 1],
          ].map(([a, b]) => {
            const point = [0, 0, 0];
            point[axis] = side;
            point[(axis + 1) % 3] = a;
            point[(axis + 2) % 3] = b;
            return vertex(point);
          });
          faces.push(side === 0 ? corners.reverse() : corners);
        }
      }
    }
  }
  const kept = faces
    .filter((_, i) => !without.includes(i))
    .flatMap((f) =>
      triangles
        ? [
            [f[0], f[1], f[2]],
            [f[0], f[2], f[3]],
          ]
        : [f],
    );
  return `${vertices.join('\n')}\n${kept.map((f) => `f ${f.join(' ')}`).join('\n')}\n`;
}

/** A file for an input of the page. */
export function meshFile(name, text) {
  return { name, mimeType: 'application/octet-stream', buffer: Buffer.from(text) };
}

async function send(address, path, body, headers = {}) {
  const answer = await fetch(`${address}api/v1${path}`, { method: 'POST', body, headers });
  if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
  return answer.json();
}

/** Makes a specimen by the API. */
export function makeSpecimen(address, catalogueNumber, title) {
  return send(address, '/specimens', JSON.stringify({ catalogue_number: catalogueNumber, title, units: 'mm' }), {
    'Content-Type': 'application/json',
  });
}

/** Uploads a version by the API and waits until its jobs have ended. */
export async function makeVersion(address, specimen, text, values) {
  const version = await send(address, `/specimens/${specimen}/versions?${new URLSearchParams(values)}`, text, {
    'Content-Type': 'application/octet-stream',
  });
  await jobsEnd(address, specimen);
  return (await fetch(`${address}api/v1/versions/${version.id}`)).json();
}

/** Waits until nothing of the specimen is queued or running. */
export async function jobsEnd(address, specimen) {
  const until = Date.now() + PATIENCE_MS;
  while (Date.now() < until) {
    const { items } = await (await fetch(`${address}api/v1/jobs?specimen=${specimen}`)).json();
    if (items.every((job) => job.state !== 'queued' && job.state !== 'running')) return;
    await new Promise((resolve) => {
      setTimeout(resolve, 100);
    });
  }
  throw new Error(`the jobs of specimen ${specimen} did not end`);
}

/**
 * A specimen with a scan and three cages: closed; two faces left out (2 loops of 4 open edges); smaller by 0.2
 * (every face 0.1 inside, every corner 0.1 * sqrt 3 lost).
 */
export async function makeCollection(address) {
  const specimen = await makeSpecimen(address, 'NH-0042', 'Cube with two windows');
  const scan = await makeVersion(address, specimen.id, cube(10, 10, { triangles: true }), {
    kind: 'scan',
    name: 'NH-0042_scan.obj',
    by: 'Odo Tarn',
    note: 'raw',
  });
  const cages = [];
  for (const [text, faceSize, note] of [
    [cube(5, 10), '2mm', 'first remesh'],
    [cube(4, 10, { without: [5, 90] }), '2.5mm', 'cut two windows'],
    [cube(8, 9.8), '1.25mm', 'finer, shrunk'],
  ]) {
    cages.push(
      await makeVersion(address, specimen.id, text, {
        kind: 'cage',
        made_from: scan.id,
        face_size: faceSize,
        name: `NH-0042_cage_${faceSize}.obj`,
        by: 'Ines Quill',
        note,
      }),
    );
  }
  return { specimen, scan, cages };
}

/** A specimen with a raw scan, a cube of 432 triangles with a hole of one square, and the scan whose hole is filled flat. */
export async function makeMendedScan(address, catalogueNumber) {
  const specimen = await makeSpecimen(address, catalogueNumber, 'Cube, mended');
  const raw = await makeVersion(address, specimen.id, cube(6, 12, { triangles: true, without: [5] }), {
    kind: 'scan',
    name: 'raw.obj',
  });
  const mended = await makeVersion(address, specimen.id, cube(6, 12, { triangles: true }), {
    kind: 'scan',
    made_from: raw.id,
    name: 'mended.obj',
  });
  return { specimen, raw, mended };
}

/** A sphere about the origin as an OBJ of triangles: n around, n / 2 along. */
export function sphere(n, radius) {
  const rings = n / 2;
  const vertices = [`v 0 0 ${radius}`];
  for (let j = 1; j < rings; j += 1)
    for (let i = 0; i < n; i += 1) {
      const [down, around] = [(Math.PI * j) / rings, (2 * Math.PI * i) / n];
      const point = [Math.sin(down) * Math.cos(around), Math.sin(down) * Math.sin(around), Math.cos(down)];
      vertices.push(`v ${point.map((x) => radius * x).join(' ')}`);
    }
  vertices.push(`v 0 0 ${-radius}`);
  const at = (i, j) => (j === 0 ? 1 : j === rings ? vertices.length : 2 + (j - 1) * n + (i % n));
  const faces = [];
  for (let j = 0; j < rings; j += 1)
    for (let i = 0; i < n; i += 1) {
      if (j > 0) faces.push([at(i, j), at(i, j + 1), at(i + 1, j)]);
      if (j < rings - 1) faces.push([at(i + 1, j), at(i, j + 1), at(i + 1, j + 1)]);
    }
  return `${vertices.join('\n')}\n${faces.map((f) => `f ${f.join(' ')}`).join('\n')}\n`;
}
