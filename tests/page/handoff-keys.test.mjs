// handoff-keys.test.mjs - a lead takes a specimen from its files to a signed handoff, by keys alone; a stranger verifies what was
// handed over with the one command of the README.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { fileURLToPath } from 'node:url';
import { cube, meshFile, ofKey, ofName, ofText, openPage, startBrowser, startService, tabTo } from './support.mjs';

const PROGRAM = process.env.FETTLE ?? fileURLToPath(new URL('../../build/release/fettle', import.meta.url));

let service;
let browser;
let folder;
before(async () => {
  service = await startService();
  browser = await startBrowser();
  folder = mkdtempSync(join(tmpdir(), 'fettle-handoff-'));
});
after(async () => {
  await browser?.close();
  await service?.stop();
  rmSync(folder, { recursive: true, force: true });
});

const ofLabel = (el, text) => (el.labels?.[0]?.textContent ?? '').trim().startsWith(text);

test('lead_takes_a_specimen_from_upload_to_signed_handoff_by_keys_alone', async () => {
  const { page, faults, close } = await openPage(browser);
  await page.addInitScript(() => {
    delete window.showOpenFilePicker; // what stands in for a person's choice of files knows only the plain chooser
    window.touched = 0;
    window.addEventListener('pointerdown', () => (window.touched += 1), true);
  });
  const enterAt = async (matches, wanted) => {
    await tabTo(page, matches, wanted);
    await page.keyboard.press('Enter');
  };
  const typeAt = async (matches, wanted, text) => {
    await tabTo(page, matches, wanted);
    await page.keyboard.press('Control+a');
    await page.keyboard.type(text);
  };
  await page.goto(service.address);
  await page.locator('.masthead').waitFor();

  await enterAt(ofText, 'Upload');
  await page.locator('.drop').waitFor();
  // waited for in this document, and from before the first Tab: the browser is told to hand its chooser over before any key
  const chosen = page.waitForEvent('filechooser');
  await enterAt((el) => el.id === 'choose-files');
  await (await chosen).setFiles([
    meshFile('NH-0777_scan.obj', cube(6, 11, { triangles: true })),
    meshFile('NH-0777_cage_2mm.obj', cube(5, 11)),
  ]);
  await page.getByText('NH-0777 is not in the collection').first().waitFor();
  await typeAt(ofName, 'by', 'Ines Quill');
  await typeAt(ofLabel, 'Title', 'Cube to be handed over');
  await enterAt(ofKey, 'send');
  await page.locator('.queue').getByText('measured', { exact: true }).nth(1).waitFor();
  await enterAt(ofText, 'Show cage 1');

  await page.locator('.tabs').waitFor();
  await enterAt(ofText, 'Audit');
  await page.getByRole('heading', { name: 'Audit of NH-0777' }).waitFor();
  await tabTo(page, ofName, 'spec');
  await page.keyboard.press('t');
  await page.keyboard.press('Tab');
  await page.getByText('has not been judged by Teaching cast yet').waitFor();
  await enterAt(ofKey, 'judge');
  await page.locator('.verdict').filter({ hasText: /^conforms/ }).waitFor();

  await enterAt(ofKey, 'signOff');
  await page.locator('dialog').waitFor();
  await typeAt(ofName, 'by', 'Ines Quill');
  await typeAt(ofName, 'role', 'Lead of the collection');
  await enterAt((el) => el.type === 'submit' && el.closest('dialog') !== null);
  await page.locator('.signed').filter({ hasText: 'signed off' }).waitFor();
  await page.getByText('Ines Quill').first().waitFor();

  await enterAt(ofKey, 'handOver');
  await page.locator('dialog').waitFor();
  await enterAt((el) => el.type === 'submit' && el.closest('dialog') !== null);
  await page.locator('.handoffs a').waitFor();
  await tabTo(page, (el) => el.closest('.handoffs') !== null && el.download !== undefined);
  const download = page.waitForEvent('download');
  await page.keyboard.press('Enter');
  const zip = join(folder, (await download).suggestedFilename());
  await (await download).saveAs(zip);

  assert.equal(await page.evaluate(() => window.touched), 0, 'no pointer was used');
  assert.deepEqual(faults, []);
  await close();

  const told = execFileSync(PROGRAM, ['verify-handoff', zip], { encoding: 'utf8', cwd: folder });
  assert.match(told, /signed off by Ines Quill[\s\S]*0 values differ[\s\S]*The handoff holds\.$/m);
});
