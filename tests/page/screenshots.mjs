// screenshots.mjs - pictures of every view, at the widths of a telephone and a desk, in both themes, and of what goes to a printer.
// Use: FETTLE=program node tests/page/screenshots.mjs FOLDER [ADDRESS]
// With ADDRESS it takes those of a service that runs with the demo collection (make demo), for the README; else of a small one.
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import {
  cube,
  makeCollection,
  makeMendedScan,
  makeSpecimen,
  makeVersion,
  meshFile,
  openPage,
  startBrowser,
  startService,
} from './support.mjs';

const [folder = 'build/screenshots', address = null] = process.argv.slice(2);
mkdirSync(folder, { recursive: true });
const service = address === null ? await startService() : { address, stop() {} };
const browser = await startBrowser();

/** What the pictures are of: the small collection, made here, or the demo. */
async function madeHere() {
  const made = await makeCollection(service.address);
  const broken = await makeSpecimen(service.address, 'NH-0080', 'Branching colony');
  await makeVersion(service.address, broken.id, 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 7\n', {
    kind: 'scan',
    name: 'NH-0080_scan.obj',
  });
  const mended = await makeMendedScan(service.address, 'NH-0085');
  await makeSpecimen(service.address, 'NH-0091', 'Fan coral');
  const [, open, latest] = made.cages;
  return { specimen: made.specimen.id, failed: broken.id, mended: mended.specimen.id, open: open.id, latest: latest.id };
}

async function fromDemo() {
  const read = async (path) => (await fetch(`${service.address}api/v1${path}`)).json();
  const { items } = await read('/specimens?sort=number&order=asc');
  const gastropod = items.find(({ catalogue_number: number }) => number === 'NH-0042');
  const cages = gastropod.trend.filter(({ kind, run }) => kind === 'cage' && run !== null);
  const worst = cages.reduce((most, cage) => ((cage.open_edges ?? 0) > (most.open_edges ?? 0) ? cage : most));
  return { specimen: gastropod.id, failed: null, mended: null, open: worst.version, latest: cages.at(-1).version };
}

const { specimen, failed, mended, open, latest } = address === null ? await madeHere() : await fromDemo();
const space = (query) => `#/space/${specimen}?${query}`;
const both = `versions=${open},${latest}`;
const HEIGHT = 900;
// tall: what is drawn near the window only, in a window as high as the page
const views = [
  { name: 'collection', tall: true, hash: '#/', ready: '.register .what' },
  { name: 'collection-found', tall: true, hash: '#/?q=NH&sort=lost&order=desc&view=Greatest%20loss%20first', ready: '.register .what' },
  { name: 'collection-none', hash: '#/?q=no%20such%20thing', ready: '.empty' },
  { name: 'specimen', tall: true, hash: `#/specimen/${specimen}`, ready: '.drawing' },
  { name: 'findings', tall: true, hash: `#/specimen/${specimen}?version=${open}`, ready: '.findings li' },
  { name: 'failed', hash: `#/specimen/${failed}`, ready: '.error', is: failed },
  { name: 'mended', hash: `#/specimen/${mended}`, ready: 'section[aria-labelledby=mend] td', is: mended },
  { name: 'card', hash: `#/specimen/${specimen}`, ready: '.drawing', act: openCard, window: true },
  { name: 'space-lost', hash: space(`${both}&colour=lost`), ready: '.plate.view canvas', act: drawn },
  { name: 'space-invented', hash: space(`${both}&colour=invented&sides=yes`), ready: '.plate.view canvas', act: drawn },
  { name: 'space-signed', hash: space(`versions=${latest}&colour=signed`), ready: '.plate.view canvas', act: drawn },
  { name: 'space-section', hash: space(`versions=${latest}&colour=none&cut=x0.5`), ready: '.plate.view canvas', act: drawn },
  { name: 'space-over', hash: space(`${both}&colour=invented&beside=no`), ready: '.plate.view canvas', act: drawn },
  { name: 'audit', hash: `#/audit/${specimen}?version=${open}`, ready: 'h1', act: judge },
  { name: 'specs', hash: '#/specs', ready: '.rules td' },
  { name: 'verify', hash: '#/verify', ready: '.drop' },
  { name: 'standing', tall: true, hash: '#/standing', ready: '.stands .what' },
  { name: 'upload', hash: '#/upload', ready: '.empty', act: chooseFiles },
  { name: 'definitions', hash: '#/help', ready: '.definitions' },
  { name: 'nowhere', hash: '#/nothing', ready: 'h1' },
].filter(({ is }) => is !== null);

try {
  for (const colorScheme of ['light', 'dark']) {
    for (const width of [360, 1280]) {
      const { page, close } = await openPage(browser, { colorScheme, viewport: { width, height: HEIGHT }, reducedMotion: 'reduce' });
      for (const view of views) {
        await page.goto('about:blank');
        await page.goto(service.address + view.hash);
        await page.locator(view.ready).first().waitFor();
        await view.act?.(page);
        await page.waitForLoadState('load');
        if (view.tall) await growToWhole(page, width);
        await page.screenshot({ path: join(folder, `${view.name}-${width}-${colorScheme}.png`), fullPage: view.window !== true });
        if (view.tall) await page.setViewportSize({ width, height: HEIGHT });
      }
      await close();
    }
  }
  const { page, close } = await openPage(browser);
  for (const { name, hash, ready } of views.filter(({ name: each }) => ['collection', 'specimen', 'findings'].includes(each))) {
    await page.goto('about:blank');
    await page.goto(service.address + hash);
    await page.locator(ready).first().waitFor();
    await page.pdf({ path: join(folder, `${name}.pdf`), preferCSSPageSize: true });
  }
  await close();
} finally {
  await browser.close();
  await service.stop();
}

async function growToWhole(page, width) {
  const height = await page.evaluate(() => document.documentElement.scrollHeight);
  await page.setViewportSize({ width, height: Math.min(height, 16000) });
  await page.evaluate(() => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve))));
}

async function chooseFiles(page) {
  await page.setInputFiles('#choose-files', [
    meshFile('NH-0042_cage_1mm.obj', cube(2, 10)),
    meshFile('NH-0900_scan.ply', 'x'),
    meshFile('thing.off', 'OFF'),
  ]);
  await page.locator('.queue option', { hasText: 'scan 1' }).first().waitFor({ state: 'attached' });
}

/** By the first spec there is. */
async function judge(page) {
  await page.getByRole('button', { name: /^Judge/ }).click();
  await page.locator('.rules td').first().waitFor();
}

async function openCard(page) {
  await page.locator('.versions .num').first().click();
  await page.locator('.card').getByText('Engine').waitFor();
}

/** Every figure shows something, and a moment later the whole of it. */
async function drawn(page) {
  await page.waitForFunction(() =>
    [...document.querySelectorAll('.plate.view canvas')].every((canvas) =>
      canvas
        .getContext('2d')
        .getImageData(0, canvas.height >> 1, canvas.width, 1)
        .data.some((part) => part > 0),
    ),
  );
  await page.waitForTimeout(1500);
}
