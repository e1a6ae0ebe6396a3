// standing.test.mjs - how the collection stands by a spec, in the page.
//   words_*    marks, reasons and days, from the fields of the API (pure)
//   standing_* in a browser over a real service: filtered, audited and gone through by keys alone; live; axe; narrow; printed
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, describe, test } from 'node:test';
import { STANDINGS, auditedText, becauseText, countAll, holdTexts, lastsText, leavingText, standingMark } from '../../static/standing.js';
import { makeCollection, makeSpecimen, ofKey, ofName, ofText, openPage, startBrowser, startService, tabTo } from './support.mjs';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const item = { standing: 'blocked', cause: null, since: '2026-11-26T12:00:00Z', waived_until: null, holds: [], signed_off: null, handed_over: null };
const hold = (name, waived) => ({ rule: name, name, outcome: 'undecided', waived });

test('words_tell_every_standing_by_a_shape_and_a_word_of_its_own', () => {
  const marks = STANDINGS.map(standingMark);
  assert.equal(new Set(marks.map(({ kind }) => kind)).size, STANDINGS.length);
  assert.deepEqual(marks.map(({ word }) => word), STANDINGS);
});

test('words_say_why_it_is_not_audited_and_to_when_a_waiver_holds', () => {
  assert.equal(becauseText({ ...item, standing: 'not audited', cause: 'older spec' }), 'judged by an older version of the spec');
  assert.equal(becauseText({ ...item, standing: 'not audited', cause: 'something new' }), 'something new');
  assert.match(becauseText({ ...item, standing: 'waived', waived_until: '2199-12-25T00:00:00Z' }), /^thanks to a waiver, to 24.Dec.2199$/);
  assert.match(becauseText({ ...item, standing: 'waived', cause: 'waiver added', waived_until: '2199-12-25T00:00:00Z' }), /^thanks to a waiver, to .*2199; a waiver was added since/);
  assert.equal(becauseText({ ...item, cause: 'waiver over' }), 'a waiver has ended since it was audited');
  assert.equal(becauseText(item), '');
});

test('words_name_the_rules_that_hold_it_up_and_the_waived_ones_where_it_stands_by_them', () => {
  const holds = [hold('A', false), hold('B', true)];
  assert.deepEqual(holdTexts({ ...item, holds }), ['A']);
  assert.deepEqual(holdTexts({ ...item, cause: 'waiver over', holds }), ['A']);
  assert.deepEqual(holdTexts({ ...item, standing: 'waived', holds: [hold('B', true)] }), ['B (waived)']);
});

test('words_count_whole_days_and_persons', () => {
  const now = new Date('2026-11-28T13:00:00Z');
  assert.equal(lastsText(item.since, now), '2 days');
  assert.equal(lastsText('2026-11-27T12:00:00Z', now), '1 day');
  assert.equal(lastsText('2026-11-28T12:00:00Z', now), 'today');
  assert.equal(leavingText({ ...item, signed_off: { persons: 1, needed: 2, last: item.since } }), 'signed by 1 of 2');
  assert.match(leavingText({ ...item, signed_off: { persons: 2, needed: 2, last: item.since } }), /^signed off 26/);
  assert.match(leavingText({ ...item, handed_over: item.since }), /^handed over 26/);
  assert.equal(countAll({ blocked: 1, undecided: 2, not_audited: 3, not_measured: 4, waived: 5, ready: 6 }), 21);
});

test('words_sum_up_an_audit_of_all', () => {
  const sum = { audited: 3, conforms: 1, does_not_conform: 2, undecided: 0, refused: [] };
  assert.equal(auditedText(sum), '3 specimens audited: 1 conform, 2 do not, 0 undecided.');
  assert.match(auditedText({ ...sum, refused: [{ catalogue_number: 'A', reason: 'gone' }] }), /undecided\. 1 could not be: A: gone$/);
});

describe('in a browser', () => {
  let service;
  let browser;
  let made;
  let zeal;
  before(async () => {
    service = await startService();
    browser = await startBrowser();
    made = await makeCollection(service.address);
    await makeSpecimen(service.address, 'NH-0500', 'Nothing measured yet');
    ({ id: zeal } = await post('/specs', {
      schema: 'fettle/spec/1', name: 'Zeal', purpose: 'nearer than it is', for: ['cage'],
      rules: [{ id: 'near', name: 'Near', measure: 'deviation.hausdorff', relation: 'at most', limit: 0.001, unit: 'mm', reason: 'because', source: 'common practice, no source' }],
    }));
  });
  after(async () => {
    await browser?.close();
    await service?.stop();
  });

  async function post(path, json) {
    const answer = await fetch(`${service.address}api/v1${path}`, {
      method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(json),
    });
    return answer.json();
  }

  test('standing_is_audited_filtered_and_gone_through_by_keys_alone_and_live', async () => {
    const { page, faults, close } = await openPage(browser);
    try {
      await page.goto(service.address);
      await page.locator('.register .what').first().waitFor();
      await tabTo(page, ofText, 'Standing');
      await page.keyboard.press('Enter');
      await page.locator('.stands .what').first().waitFor();
      await tabTo(page, ofName, 'spec');
      await page.keyboard.press('z');
      await page.locator(`[data-key=csv][href*="spec=${zeal}&"]`).waitFor();
      await page.locator('.stands td').getByText('not audited').waitFor();
      await tabTo(page, ofKey, 'audit');
      await page.keyboard.press('Enter');
      await page.getByText('1 specimen audited').waitFor();
      await page.locator('.stands td').getByText('blocked').waitFor();
      assert.equal(await page.locator('.stands .holds').first().textContent(), 'Near');
      await tabTo(page, ofName, 'standing');
      assert.equal(await page.locator('.stands .what').count(), 2);
      for (let i = 0; i < 4; i += 1) await page.keyboard.press('ArrowRight'); // not measured
      // on the way there another one stands alone for a moment
      await page.waitForFunction(() => [...document.querySelectorAll('.stands .what')].map((each) => each.textContent).join() === 'Nothing measured yet');
      await page.getByText('1 of 2 specimens').waitFor();
      await page.keyboard.press('ArrowLeft');
      await page.getByText('No specimen stands like that').waitFor();
      for (let i = 0; i < 3; i += 1) await page.keyboard.press('ArrowLeft');
      await page.getByText('2 of 2 specimens').waitFor();
      await tabTo(page, (el) => el.classList.contains('what'));
      await page.keyboard.press('ArrowDown');
      await page.waitForFunction(() => document.activeElement.textContent === 'Nothing measured yet');
      await page.keyboard.press('Home');
      await page.waitForFunction(() => document.activeElement.textContent === 'Cube with two windows');
      await page.keyboard.press('Enter');
      await page.getByRole('heading', { name: 'Audit of NH-0042' }).waitFor();
      assert.deepEqual(faults, []);
    } finally {
      await close();
    }
  });

  test('standing_by_another_spec_shows_nothing_of_the_one_before_beside_its_name', async () => {
    const { page, faults, close } = await openPage(browser);
    try {
      await page.goto(`${service.address}#/standing`);
      await page.locator('[data-key=csv]').waitFor();
      let letGo;
      const gate = new Promise((resolve) => (letGo = resolve));
      await page.route(`**/standing?*spec=${zeal}*`, async (route) => {
        await gate;
        await route.continue();
      });
      const spec = page.locator('select[name=spec]');
      await spec.selectOption(zeal);
      await page.locator('[data-key=csv]').waitFor({ state: 'detached' });
      assert.equal(await spec.inputValue(), zeal);
      assert.doesNotMatch(await page.locator('.standings').innerText(), /\d/);
      letGo();
      await page.locator(`[data-key=csv][href*="spec=${zeal}&"]`).waitFor();
      assert.match(await page.locator('.standings').innerText(), /\d/);
      assert.deepEqual(faults, []);
    } finally {
      await close();
    }
  });

  test('standing_of_a_specimen_changes_while_it_is_looked_at', async () => {
    const { page, faults, close } = await openPage(browser);
    try {
      const spec = await post('/specs', {
        schema: 'fettle/spec/1', name: 'Lenient', purpose: 'anything goes', for: ['cage'],
        rules: [{ id: 'few', measure: 'subject.topology.shells', relation: 'at most', limit: 9, unit: 'count', reason: 'because', source: 'common practice, no source' }],
      });
      await Promise.all([page.waitForResponse(/\/events$/), page.goto(`${service.address}#/standing?spec=${spec.id}`)]);
      await page.locator('.stands td').getByText('not audited').waitFor();
      await post('/audits', { run: made.cages[2].latest_run, spec: spec.id });
      await page.locator('.stands td').getByText('ready').waitFor();
      const csv = await (await fetch(new URL(await page.locator('[data-key=csv]').getAttribute('href'), service.address))).text();
      assert.match(csv, /NH-0042,Cube with two windows,cage 3,ready/);
      assert.deepEqual(faults, []);
    } finally {
      await close();
    }
  });

  test('standing_counts_a_waiver_at_once_and_the_audit_of_it_by_one_click', async () => {
    const { page, faults, close } = await openPage(browser);
    try {
      const spec = await post('/specs', {
        schema: 'fettle/spec/1', name: 'Crowd', purpose: 'more shells than it has', for: ['cage'],
        rules: [{ id: 'many', name: 'Many shells', measure: 'subject.topology.shells', relation: 'at least', limit: 9, unit: 'count', reason: 'because', source: 'common practice, no source' }],
      });
      await post('/audits', { run: made.cages[2].latest_run, spec: spec.id });
      await page.goto(`${service.address}#/standing?spec=${spec.id}`);
      await page.locator('.stands td').getByText('blocked').waitFor();
      await post(`/specimens/${made.specimen.id}/waivers`, { spec: 'Crowd', rule: 'many', reason: 'it is alone', author: 'Ines Quill', expires: '2199-12-31' });
      await page.locator('.stands td').getByText('a waiver was added since it was audited').waitFor();
      assert.match(await page.locator('.stands tbody tr').filter({ hasText: 'NH-0042' }).textContent(), /waived.*Many shells \(waived\)/s);
      await page.getByRole('button', { name: 'Audit the one not audited as it is now' }).waitFor();

      await page.goto(`${service.address}#/audit/${made.specimen.id}?version=${made.cages[2].id}&spec=${spec.id}`);
      await page.locator('.verdict').filter({ hasText: 'does not conform' }).waitFor();
      await page.getByText('A waiver was added since.').waitFor();
      await page.getByRole('button', { name: 'Judge again with the waivers of today' }).click();
      await page.locator('.verdict').filter({ hasText: /^conforms 1 is waived/ }).waitFor();
      assert.equal(await page.getByText('A waiver was added since.').count(), 0);
      assert.deepEqual(faults, []);
    } finally {
      await close();
    }
  });

  test('standing_offends_axe_nowhere_fits_360_px_and_is_printed_whole', async () => {
    for (const [width, colorScheme] of [[360, 'dark'], [1280, 'light']]) {
      const { page, faults, close } = await openPage(browser, { viewport: { width, height: 900 }, colorScheme, reducedMotion: 'reduce' });
      try {
        await page.goto(`${service.address}#/standing`);
        await page.locator('.stands .what').first().waitFor();
        assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${width} px`);
        await page.evaluate(AXE);
        const { violations } = await page.evaluate(() => globalThis.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
        assert.deepEqual(violations.map(({ id, nodes }) => [id, nodes.map((node) => node.html)]), []);
        await page.evaluate(() => window.dispatchEvent(new Event('beforeprint')));
        assert.equal(await page.locator('.printed tbody tr').count(), 2);
        await page.evaluate(() => window.dispatchEvent(new Event('afterprint')));
        assert.deepEqual(faults, []);
      } finally {
        await close();
      }
    }
  });
});
