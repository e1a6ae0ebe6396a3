// screenshots.mjs - pictures of every view, at three widths and in both themes, over a small measured collection.
// Use: FETTLE=program node tests/page/screenshots.mjs FOLDER
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import {
  cube,
  makeCollection,
  makeSpecimen,
  makeVersion,
  meshFile,
  openPage,
  startBrowser,
  startService,
} from './support.mjs';

const folder = process.argv[2] ?? 'build/screenshots';
mkdirSync(folder, { recursive: true });
const service = await startService();
const browser = await startBrowser();

try {
  const made = await makeCollection(service.address);
  const broken = await makeSpecimen(service.address, 'NH-0080', 'Branching colony');
  await makeVersion(service.address, broken.id, 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 7\n', {
    kind: 'scan',
    name: 'NH-0080_scan.obj',
  });
  await makeSpecimen(service.address, 'NH-0091', 'Fan coral');
  const views = [
    { name: 'collection', hash: '#/', ready: '.register .what' },
    { name: 'specimen', hash: `#/specimen/${made.specimen.id}`, ready: '.drawing' },
    { name: 'findings', hash: `#/specimen/${made.specimen.id}?version=${made.cages[1].id}`, ready: '.findings li' },
    { name: 'failed', hash: `#/specimen/${broken.id}`, ready: '.error' },
    { name: 'upload', hash: '#/upload', ready: '.empty', act: chooseFiles },
    { name: 'card', hash: `#/specimen/${made.specimen.id}`, ready: '.drawing', act: openCard },
    {
      name: 'space',
      hash: `#/space/${made.specimen.id}?versions=${made.cages[1].id},${made.cages[2].id}&colour=invented&sides=yes`,
      ready: '.plate.view canvas',
      act: (page) => page.waitForTimeout(2000),
    },
    { name: 'definitions', hash: '#/help', ready: '.definitions' },
  ];
  for (const colorScheme of ['light', 'dark']) {
    for (const width of [360, 1280, 1920]) {
      for (const view of views) {
        const { page, close } = await openPage(browser, {
          colorScheme,
          viewport: { width, height: 900 },
          reducedMotion: 'reduce',
        });
        await page.goto(service.address + view.hash);
        await page.locator(view.ready).first().waitFor();
        await view.act?.(page);
        await page.waitForLoadState('load');
        await page.screenshot({
          path: join(folder, `${view.name}-${width}-${colorScheme}.png`),
          fullPage: view.name !== 'card',
        });
        await close();
      }
    }
  }
} finally {
  await browser.close();
  await service.stop();
}

async function chooseFiles(page) {
  await page.setInputFiles('#choose-files', [
    meshFile('NH-0042_cage_1mm.obj', cube(2, 10)),
    meshFile('NH-0900_scan.ply', 'x'),
    meshFile('thing.off', 'OFF'),
  ]);
  await page.locator('.queue option', { hasText: 'scan 1' }).first().waitFor({ state: 'attached' });
}

async function openCard(page) {
  await page.locator('.versions .num').first().click();
  await page.locator('.card').getByText('Engine').waitFor();
}
