// page.mjs - how long the page lets its reader wait: headless Chromium without a GPU (WebGL by SwiftShader) against the release
// program on loopback, all on this machine. What a reader does is done in the page, and timed there to the frame that shows it.
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, openAsBlob, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { createInterface } from 'node:readline';
import { cube, jobsEnd, makeCollection, makeSpecimen, makeVersion, openPage, startBrowser } from '../page/support.mjs';
import { chosen, makePairs, median, oneSize, settings } from './run.mjs';

const PATIENCE_MS = 600000; // a million triangles are measured first, and a slow machine may do this
const VERSIONS = 60;
const SPECIMENS = 10000;
const TURNS = 12;
const LARGER = 2.5; // times as many triangles: a million becomes more than are drawn whole
const QUIET_MS = 1500; // a picture that did not change for so long is whole

async function start(folder) {
  const child = spawn(process.env.FETTLE, ['serve', '--data', folder, '--port', '0'], { stdio: ['ignore', 'pipe', 'ignore'] });
  const address = await new Promise((resolve) => createInterface({ input: child.stdout }).once('line', resolve));
  const stop = () => new Promise((resolve) => { child.once('exit', resolve); child.kill('SIGTERM'); });
  return { address, stop };
}

async function upload(address, specimen, file, values) {
  const query = new URLSearchParams({ name: path.basename(file), ...values });
  const answer = await fetch(`${address}api/v1/specimens/${specimen}/versions?${query}`, { method: 'POST',
    headers: { 'Content-Type': 'application/octet-stream' }, body: await openAsBlob(file) });
  if (!answer.ok) throw new Error(`${file}: ${await answer.text()}`);
  return answer.json();
}

async function ended(address, specimen) {
  for (;;) {
    try { return await jobsEnd(address, specimen); } catch (late) { if (!/did not end/.test(late.message)) throw late; }
  }
}

/** Functions of the page itself, there before its own scripts. */
function helpers() {
  const frame = () => new Promise((resolve) => { requestAnimationFrame(() => setTimeout(resolve)); });
  const canvases = () => [...document.querySelectorAll('.plate.view canvas')];
  const look = (canvas) => {
    const data = canvas.getContext('2d').getImageData(canvas.width >> 2, canvas.height >> 1, canvas.width >> 1, 1).data;
    let sum = 0, filled = 0;
    for (let i = 0; i < data.length; i += 1) sum = (sum * 31 + data[i]) | 0;
    for (let i = 3; i < data.length; i += 4) filled += data[i] > 0;
    return { sum, filled };
  };
  globalThis.bench = {
    frame,
    /** Does something, and waits until a frame shows that the part has changed and `isDone`. */
    async until(part, act, isDone = () => true) {
      const begin = performance.now();
      await new Promise((resolve) => {
        const watch = new MutationObserver(() => {
          if (!isDone()) return;
          watch.disconnect();
          resolve();
        });
        watch.observe(document.querySelector(part), { childList: true, characterData: true, subtree: true });
        act();
      });
      await frame();
      return performance.now() - begin;
    },
    /** The same, until a part of the page says something else. */
    changed(part, act) {
      const before = document.querySelector(part).textContent;
      return this.until('#main', act, () => ![null, before].includes(document.querySelector(part)?.textContent ?? null));
    },
    /** Until nothing of a part changes any more. */
    still(part, quiet) {
      return new Promise((resolve) => {
        let timer = setTimeout(resolve, quiet);
        new MutationObserver(() => {
          clearTimeout(timer);
          timer = setTimeout(resolve, quiet);
        }).observe(document.querySelector(part), { childList: true, subtree: true });
      });
    },
    /** The same, until the register has rows that were not there before. */
    register(part, act) {
      const old = new Set(document.querySelectorAll('.register a.what'));
      return this.until(part, act, () => [...document.querySelectorAll('.register a.what')].some((link) => !old.has(link)));
    },
    /** Until every one of so many figures shows something. */
    async firstPicture(hash, figures) {
      const begin = performance.now();
      location.hash = hash;
      while (canvases().length < figures || canvases().some((canvas) => look(canvas).filled === 0)) await frame();
      return performance.now() - begin;
    },
    /** Until nothing changes any more; the time of the last change. */
    async settle(quiet) {
      const begin = performance.now();
      let last = begin, before = '';
      while (performance.now() - last < quiet) {
        await frame();
        const now = canvases().map((canvas) => look(canvas).sum).join();
        if (now !== before) { before = now; last = performance.now(); }
      }
      return last - begin;
    },
    /** Turns all figures by a key; until each has changed. */
    async turn(key) {
      const before = canvases().map((canvas) => look(canvas).sum);
      const begin = performance.now();
      document.querySelector('.plate.view').dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true }));
      while (canvases().some((canvas, i) => look(canvas).sum === before[i])) await frame();
      return performance.now() - begin;
    },
  };
}

async function newPage(browser) {
  const { page, close } = await openPage(browser);
  page.setDefaultTimeout(PATIENCE_MS);
  await page.addInitScript(helpers);
  return { page, close };
}

const times = async (count, run) => { const all = []; for (let i = 0; i < count; i += 1) all.push(await run(i)); return all; };
const seconds = (values) => ({ median: median(values) / 1000, most: Math.max(...values) / 1000 });

/** Anonymous memory of the browser's processes of a kind, in bytes, after its garbage is gone. */
async function memoryOf(browser, page, kind) {
  const own = await page.context().newCDPSession(page);
  await own.send('HeapProfiler.collectGarbage');
  const cdp = await browser.newBrowserCDPSession();
  const { processInfo } = await cdp.send('SystemInfo.getProcessInfo');
  return processInfo.filter(({ type }) => type === kind).reduce((all, { id }) =>
    all + 1024 * Number(/RssAnon:\s+(\d+)/.exec(readFileSync(`/proc/${id}/status`, 'utf8'))?.[1] ?? 0), 0);
}

/** What the scripts of the page and of its workers hold, in bytes, after their garbage is gone: objects, and numbers in buffers. */
async function openHeaps(page) {
  const own = await page.context().newCDPSession(page);
  const workers = new Set();
  const asked = new Map();
  let asks = 0;
  own.on('Target.attachedToTarget', ({ sessionId, targetInfo }) => targetInfo.type === 'worker' && workers.add(sessionId));
  own.on('Target.detachedFromTarget', ({ sessionId }) => workers.delete(sessionId));
  own.on('Target.receivedMessageFromTarget', ({ message }) => { const { id, result } = JSON.parse(message); asked.get(id)?.(result); });
  await own.send('Target.setAutoAttach', { autoAttach: true, waitForDebuggerOnStart: false, flatten: false });
  const inWorker = (sessionId) => (method) => new Promise((resolve) => {
    asks += 1;
    asked.set(asks, resolve);
    own.send('Target.sendMessageToTarget', { sessionId, message: JSON.stringify({ id: asks, method }) });
  });
  const heap = async (send) => {
    await send('HeapProfiler.collectGarbage');
    const { usedSize, backingStorageSize } = await send('Runtime.getHeapUsage');
    return usedSize + backingStorageSize;
  };
  return async () => {
    let sum = await heap((method) => own.send(method));
    for (const sessionId of workers) sum += await heap(inWorker(sessionId));
    return sum;
  };
}

/** A scan of a million triangles, a cage over it, and two scans as large; and one so large that it is simplified. */
async function benchSpace(browser) {
  const folder = mkdtempSync(path.join(tmpdir(), 'fettle-bench-'));
  const { address, stop } = await start(folder);
  const cage = `cage:${Math.round(oneSize() / 20)}`;
  const pairs = makePairs(oneSize(), [cage, 'hole', 'smoothed']);
  const specimen = await makeSpecimen(address, 'BENCH-1', 'A large scan');
  const scan = await upload(address, specimen.id, pairs[cage].reference, { kind: 'scan' });
  const versions = [scan];
  for (const [name, kind] of [[cage, 'cage'], ['hole', 'scan'], ['smoothed', 'scan']])
    versions.push(await upload(address, specimen.id, pairs[name].subject, { kind, made_from: scan.id }));
  await ended(address, specimen.id);
  const space = (ids, colour) => `#/space/${specimen.id}?versions=${ids.map(({ id }) => id).join()}&colour=${colour}`;
  const view = async (ids, colour) => {
    const { page, close } = await newPage(browser);
    let bytes = 0;
    page.on('response', async (answer) => {
      if (/\/surface|\/fields\//.test(answer.url())) bytes += Number(answer.headers()['content-length'] ?? 0);
    });
    await page.goto(`${address}#/specimen/${specimen.id}`);
    await page.locator('.versions .num').first().waitFor();
    await page.evaluate((quiet) => globalThis.bench.still('#main', quiet), QUIET_MS);
    const heaps = await openHeaps(page);
    const look = async () => [await heaps(), await memoryOf(browser, page, 'renderer'), await memoryOf(browser, page, 'GPU')];
    const before = await look();
    const first = await page.evaluate(([hash, figures]) => globalThis.bench.firstPicture(hash, figures), [space(ids, colour), ids.length]);
    await page.evaluate((quiet) => globalThis.bench.settle(quiet), QUIET_MS);
    const turns = await times(TURNS, () => page.evaluate(() => globalThis.bench.turn('ArrowLeft')));
    const fill = await page.evaluate((quiet) => globalThis.bench.settle(quiet), QUIET_MS);
    await page.locator('.plates[aria-busy=false]').waitFor();
    const [held, tab, gpu] = (await look()).map((now, i) => now - before[i]);
    await close();
    return { first, turns, fill, bytes, held, tab, gpu };
  };
  const one = await times(settings.runs, () => view([scan], 'none'));
  const four = await times(settings.runs, () => view(versions, 'invented'));
  const large = makePairs(Math.round(LARGER * oneSize()), ['hole']);
  const larger = [await upload(address, specimen.id, large.hole.reference, { kind: 'scan' })];
  await ended(address, specimen.id);
  const simplified = await times(settings.runs, () => view(larger, 'aspect'));
  await stop();
  rmSync(folder, { recursive: true, force: true });
  const row = (views) => ({
    first_picture: seconds(views.map(({ first }) => first)), frame_moving: seconds(views.flatMap(({ turns }) => turns)),
    fill_in: seconds(views.map(({ fill }) => fill)), data_bytes: views[0].bytes,
    held_over_data: median(views.map(({ held, bytes }) => held / bytes)), // by scripts of the page and its workers
    tab_over_data: median(views.map(({ tab, bytes }) => tab / bytes)), // the whole process, with what it keeps for later
    gpu_process_over_data: median(views.map(({ gpu, bytes }) => gpu / bytes)),
  });
  return { triangles: oneSize(), one: row(one), four: row(four), simplified: { triangles: Math.round(LARGER * oneSize()), ...row(simplified) } };
}

/** A specimen of 60 cages: its table, and another baseline. */
async function benchTable(browser) {
  const folder = mkdtempSync(path.join(tmpdir(), 'fettle-bench-'));
  const { address, stop } = await start(folder);
  const specimen = await makeSpecimen(address, 'BENCH-2', 'Many versions');
  const send = (text, values) => makeVersion(address, specimen.id, text, values);
  const scan = await send(cube(10, 10, { triangles: true }), { kind: 'scan', name: 'scan.obj' });
  for (let i = 0; i < VERSIONS; i += 1)
    await send(cube(4 + (i % 6), 10 - i / 100), { kind: 'cage', made_from: scan.id, name: `cage_${i}.obj`, face_size: `${(2 + i / 100).toFixed(2)}mm` });
  const rounds = await times(settings.runs, async () => {
    const { page, close } = await newPage(browser);
    await page.goto(`${address}#/help`);
    await page.locator('.definitions').first().waitFor();
    const render = await page.evaluate((hash) => globalThis.bench.until('#main', () => { location.hash = hash; },
      () => document.querySelector('.versions .num') !== null), `#/specimen/${specimen.id}?fold=none`);
    await page.evaluate((quiet) => globalThis.bench.still('#main', quiet), QUIET_MS);
    const shape = await page.evaluate(() => ({ columns: document.querySelectorAll('.versions thead th').length,
      rows: document.querySelectorAll('.versions th[scope=row]').length }));
    const baseline = await page.evaluate(() => globalThis.bench.changed('.versions', () => {
      const select = [...document.querySelectorAll('label')].find((label) => /Baseline/.test(label.textContent)).querySelector('select');
      select.selectedIndex = select.selectedIndex === 3 ? 4 : 3;
      select.dispatchEvent(new Event('change', { bubbles: true }));
    }));
    await close();
    return { render, baseline, shape };
  });
  await stop();
  rmSync(folder, { recursive: true, force: true });
  return { versions: VERSIONS, shape: rounds[0].shape, render: seconds(rounds.map((r) => r.render)), baseline: seconds(rounds.map((r) => r.baseline)) };
}

/** A collection of 10,000: opened, searched letter by letter, sorted by each column, run through. */
async function benchCollection(browser) {
  const folder = mkdtempSync(path.join(tmpdir(), 'fettle-bench-'));
  const first = await start(folder);
  await makeCollection(first.address);
  await first.stop();
  execFileSync('sqlite3', ['-cmd', `.parameter set :copies ${SPECIMENS - 1}`, path.join(folder, 'fettle.db')],
    { input: readFileSync('tests/bench/multiply.sql') });
  const { address, stop } = await start(folder);
  const rounds = await times(settings.runs, async () => {
    const { page, close } = await newPage(browser);
    await page.goto(`${address}#/help`);
    await page.locator('.definitions').first().waitFor();
    const render = await page.evaluate(() => globalThis.bench.register('#main', () => { location.hash = '#/'; }));
    const letters = [], sorts = [];
    for (const text of ['9', '99', '999', '99', '9', ''])
      letters.push(await page.evaluate((written) => globalThis.bench.register('.register', () => {
        const field = document.getElementById('search');
        field.value = written;
        field.dispatchEvent(new Event('input', { bubbles: true }));
      }), text));
    for (const key of ['number', 'state', 'open_edges', 'lost', 'faults', 'changed'])
      sorts.push(await page.evaluate((by) => globalThis.bench.register('.register', () => document.querySelector(`[data-key="by ${by}"]`).click()), key));
    await page.locator('.register a.what').first().focus();
    const end = await page.evaluate((last) => globalThis.bench.until('.register', () =>
      document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key: 'End', bubbles: true, cancelable: true })),
    () => document.querySelector(`[data-at="${last}"]`) !== null), SPECIMENS - 1);
    await close();
    return { render, letters, sorts, end };
  });
  await stop();
  rmSync(folder, { recursive: true, force: true });
  return { specimens: SPECIMENS, render: seconds(rounds.map((r) => r.render)), keystroke: seconds(rounds.flatMap((r) => r.letters)),
    sort: seconds(rounds.flatMap((r) => r.sorts)), to_the_end: seconds(rounds.map((r) => r.end)) };
}

const PARTS = { collection: benchCollection, table: benchTable, space: benchSpace };
const CHOSEN = chosen('PAGE_PARTS', Object.keys(PARTS));

export async function benchPage(tell) {
  const browser = await startBrowser();
  const results = { browser: browser.version() };
  try {
    for (const name of CHOSEN) {
      results[name] = await PARTS[name](browser);
      tell(results);
    }
  } finally {
    await browser.close();
  }
  return results;
}

/** What was waited for, and how long: rows of [what, median, most]. */
export function pageRows({ collection, table, space }) {
  const rows = [];
  const row = (what, { median: half, most }) => rows.push([what, half, most]);
  if (collection) {
    row(`collection of ${collection.specimens}: first rows`, collection.render);
    row('… a letter of the search', collection.keystroke);
    row('… another order', collection.sort);
    row('… to its end', collection.to_the_end);
  }
  if (table) {
    row(`table of ${table.versions} versions: first drawn`, table.render);
    row('… another baseline', table.baseline);
  }
  for (const [name, figures] of [['one', '1 figure'], ['four', '4 figures']]) {
    if (!space) break;
    row(`space, ${figures} of ${space.triangles} triangles: first picture from the click`, space[name].first_picture);
    row('… a frame while it turns', space[name].frame_moving);
    row('… full detail after the turn', space[name].fill_in);
  }
  return rows;
}
