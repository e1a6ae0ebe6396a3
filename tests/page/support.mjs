// support.mjs - what the browser tests share: a served data folder, a browser, meshes whose measures are known on paper.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

const PROGRAM = process.env.FETTLE ?? fileURLToPath(new URL('../../build/release/fettle', import.meta.url));
const CHROMIUM = process.env.CHROMIUM ?? '/usr/bin/chromium-headless-shell';
/** Long enough for a slow machine; nothing here is measured by time. */
export const PATIENCE_MS = 60000;
/** How many times slower the page works, and by how many ms each answer is late: to find tests that do not wait for what they need. */
const SLOW = Number(process.env.FETTLE_TEST_SLOW || 1);
const LATE_MS = Number(process.env.FETTLE_TEST_LATE || 0);

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
 * that was meant for another machine. slowUploads(bytes): it sends no more than so many a second from the next request on; -1: as it can.
 */
export async function openPage(browser, options = {}) {
  const context = await browser.newContext({
    viewport: { width: 1280, height: 900 },
    acceptDownloads: true,
    ...options,
  });
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE_MS);
  const devtools = await context.newCDPSession(page);
  const slowUploads = (bytes) =>
    devtools.send('Network.emulateNetworkConditions', { offline: false, latency: LATE_MS, downloadThroughput: -1, uploadThroughput: bytes });
  if (SLOW > 1) await devtools.send('Emulation.setCPUThrottlingRate', { rate: SLOW });
  if (LATE_MS > 0) await slowUploads(-1);
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
  return { page, faults, close, slowUploads };
}

/**
 * Asserts until it holds: for what comes true a moment after the key, the click or the change of address that brings it about.
 * What never does fails as the last attempt failed.
 * @param {() => any} assertion  may be asynchronous; its value is given back
 */
export async function eventually(assertion) {
  const until = Date.now() + PATIENCE_MS;
  for (;;) {
    try {
      return await assertion();
    } catch (fault) {
      if (!(fault instanceof assert.AssertionError) || Date.now() > until) throw fault;
    }
    await new Promise((resolve) => {
      setTimeout(resolve, 50);
    });
  }
}

/** Presses Tab until the focus is on an element for which `matches(element, wanted)` is true; it is asked in the page. */
export async function tabTo(page, matches, wanted = null) {
  for (let presses = 0; presses < 200; presses += 1) {
    if (await page.evaluate(`(${matches})(document.activeElement, ${JSON.stringify(wanted)})`)) return;
    await page.keyboard.press('Tab');
  }
  assert.fail(`Tab does not reach ${matches} ${wanted}`);
}
/** What tabTo looks for: the words of an element, its name, its data-key. */
export const ofText = (el, text) => el.textContent.trim() === text;
export const ofName = (el, name) => el.name === name;
export const ofKey = (el, key) => el.dataset.key === key;

/** Hears what the page tells in passing, also what is soon followed by something else; the answer waits until a text was told. */
export async function hearTold(page) {
  await page.evaluate(() => {
    const toast = document.getElementById('toast');
    globalThis.told = [];
    new MutationObserver(() => globalThis.told.push(toast.textContent)).observe(toast, { childList: true });
  });
  return (text) => page.waitForFunction((wanted) => globalThis.told.some((each) => each.includes(wanted)), text);
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

async function send(address, path, body, type) {
  const answer = await fetch(`${address}api/v1${path}`, { method: 'POST', body, headers: { 'Content-Type': type } });
  if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
  return answer.json();
}
const sendJson = (address, path, values) => send(address, path, JSON.stringify(values), 'application/json');

/** Makes a specimen by the API. */
export function makeSpecimen(address, catalogueNumber, title) {
  return sendJson(address, '/specimens', { catalogue_number: catalogueNumber, title, units: 'mm' });
}

/** Judges a version by the spec of that name, by the API; signed off where somebody does it. */
export async function makeAudit(address, version, specName, signer = null) {
  const { items } = await (await fetch(`${address}api/v1/specs`)).json();
  const audit = await sendJson(address, '/audits', { run: version.latest_run, spec: items.find(({ name }) => name === specName).id });
  if (signer !== null) await sendJson(address, `/audits/${audit.id}/sign-offs`, { by: signer });
  return audit;
}

/** Uploads a version by the API and waits until its jobs have ended. */
export async function makeVersion(address, specimen, text, values) {
  const version = await send(address, `/specimens/${specimen}/versions?${new URLSearchParams(values)}`, text, 'application/octet-stream');
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
