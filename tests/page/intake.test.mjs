// intake.test.mjs - how a version was made (device, operator, day, resolution, uncertainty), stated in its dialog.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { cube, makeSpecimen, makeVersion, openPage, startBrowser, startService } from './support.mjs';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
const TRIES = 40;
const PAUSE_MS = 250;

let service;
let browser;
before(async () => {
  service = await startService();
  browser = await startBrowser();
});
after(async () => {
  await browser?.close();
  await service?.stop();
});

/** A scan in a specimen of its own, and its page. */
function inPage(name, number, act, options) {
  test(name, async () => {
    const specimen = await makeSpecimen(service.address, number, 'Cube');
    const scan = await makeVersion(service.address, specimen.id, cube(3, 10, { triangles: true }), { kind: 'scan', name: 'a.obj' });
    const { page, faults, close } = await openPage(browser, options);
    try {
      await page.goto(`${service.address}#/specimen/${specimen.id}`);
      await page.getByRole('button', { name: 'scan 1' }).first().waitFor();
      await act(page, { specimen, scan });
      assert.deepEqual(faults.filter((fault) => !/400/.test(fault)), []);
    } finally {
      await close();
    }
  });
}

const read = async (path) => (await fetch(`${service.address}api/v1${path}`)).json();
const intakeOf = async (scan) => (await read(`/versions/${scan.id}`)).intake;

/** The card of scan 1 that holds such words: it says what the page knew when it was opened, so it is opened until it does. */
async function openCard(page, words) {
  for (let tries = 0; tries < TRIES; tries += 1) {
    await page.getByRole('button', { name: 'scan 1' }).first().click();
    const card = page.locator('.card');
    await card.waitFor();
    if (words.test(await card.textContent())) return card;
    await card.getByRole('button', { name: 'Close' }).click();
    await card.waitFor({ state: 'detached' });
    await page.waitForTimeout(PAUSE_MS);
  }
  return assert.fail(`no card says ${words}`);
}

async function openDialog(page, words = /SHA-256/) {
  await (await openCard(page, words)).getByRole('button', { name: 'How it was made' }).click();
  const dialog = page.getByRole('dialog', { name: 'How scan 1 was made' });
  await dialog.waitFor();
  return dialog;
}

async function keep(page, dialog) {
  await dialog.getByRole('button', { name: 'Keep' }).click();
  await dialog.waitFor({ state: 'detached' });
}

inPage('intake_is_kept_shown_on_the_card_and_told_in_the_log', 'NH-0801', async (page, { specimen, scan }) => {
  const dialog = await openDialog(page);
  assert.equal(await page.evaluate(() => document.activeElement.textContent), 'Leave it', 'the safe choice has the focus');
  await dialog.getByLabel('Device').fill('structured light <b>');
  await dialog.getByLabel('Operator').fill('Ines Quill');
  await dialog.getByLabel('Day').fill('2026-11-02');
  await dialog.getByLabel('Resolution').fill('0.05 mm');
  await dialog.getByLabel('Standard uncertainty').fill('0.02 mm');
  await dialog.getByLabel('Your name').fill('Odo Marsh');
  await keep(page, dialog);
  await page.getByText('Kept how scan 1 was made.').waitFor();
  assert.deepEqual(await intakeOf(scan), {
    device: 'structured light <b>', operator: 'Ines Quill', date: '2026-11-02', resolution: '0.05 mm', uncertainty: '0.02 mm',
  });
  await openCard(page, /Device: structured light <b>; Operator: Ines Quill; Day: 2026-11-02; Resolution: 0\.05 mm; Standard uncertainty: 0\.02 mm/);
  const [step] = (await read(`/specimens/${specimen.id}/log`)).items;
  assert.deepEqual([step.kind, step.who, step.text], ['intake stated', 'Odo Marsh', 'scan 1']);
});

inPage('intake_is_changed_from_what_was_stated_before', 'NH-0802', async (page, { scan }) => {
  const first = await openDialog(page);
  await first.getByLabel('Device').fill('laser line');
  await first.getByLabel('Day').fill('2026-11-02');
  await first.getByLabel('Your name').fill('Odo Marsh');
  await keep(page, first);
  const second = await openDialog(page, /Device: laser line/);
  assert.equal(await second.getByLabel('Device').inputValue(), 'laser line');
  assert.equal(await second.getByLabel('Day').inputValue(), '2026-11-02');
  assert.equal(await second.getByLabel('Resolution').inputValue(), '');
  assert.equal(await second.getByLabel('Your name').inputValue(), 'Odo Marsh', 'the name is remembered');
  await second.getByLabel('Day').fill('');
  await second.getByLabel('Resolution').fill('0.1 mm');
  await keep(page, second);
  await openCard(page, /How it was madeDevice: laser line; Resolution: 0\.1 mm(?!;)/);
  assert.deepEqual(await intakeOf(scan), { device: 'laser line', operator: '', date: '', resolution: '0.1 mm', uncertainty: '' });
});

inPage('intake_that_is_left_changes_nothing', 'NH-0803', async (page, { scan }) => {
  for (const leave of [(dialog) => dialog.getByRole('button', { name: 'Leave it' }).click(), () => page.keyboard.press('Escape')]) {
    const dialog = await openDialog(page);
    await dialog.getByLabel('Device').fill('laser line');
    await leave(dialog);
    await dialog.waitFor({ state: 'detached' });
  }
  assert.equal(await intakeOf(scan), null);
});

inPage('intake_that_is_refused_says_so_in_the_dialog_and_can_be_mended', 'NH-0804', async (page, { scan }) => {
  const dialog = await openDialog(page);
  await dialog.getByLabel('Device').fill('µ'.repeat(200)); // 400 bytes
  await dialog.getByRole('button', { name: 'Keep' }).click();
  await dialog.getByRole('alert').getByText('device').waitFor();
  assert.equal(await intakeOf(scan), null);
  await dialog.getByLabel('Device').fill('µ-CT');
  await keep(page, dialog);
  await openCard(page, /Device: µ-CT/);
  assert.equal((await intakeOf(scan)).device, 'µ-CT');
});

for (const colorScheme of ['light', 'dark'])
  inPage(`intake_dialog_offends_axe_nowhere_and_fits_360_px_in_${colorScheme}`, `NH-0805 ${colorScheme}`, async (page) => {
    await openDialog(page);
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth));
    await page.evaluate(AXE);
    const { violations } = await page.evaluate((tags) => globalThis.axe.run('dialog', { runOnly: tags }), TAGS);
    assert.deepEqual(violations.map(({ id, nodes }) => [id, nodes.map((node) => node.html)]), []);
  }, { viewport: { width: 360, height: 800 }, colorScheme, reducedMotion: 'reduce' });
