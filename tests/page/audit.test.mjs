// audit.test.mjs - a run judged by a spec, in the page.
//   rules_*  what is said of a rule of an audit: limit, value, margin, place on the scale (pure)
//   audit_*  in a browser over a real service: judged by keys alone, waived, another limit, a spec's next version
// The cube smaller by 0.2 loses 0.1 sqrt 3 = 0.17320508 mm at its corners (see browser.test.mjs).
import assert from 'node:assert/strict';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { pathToFileURL } from 'node:url';
import { countsText, decideText, gaugeOf, limitText, marginText, outcomeMark, uncertaintyText, valueText } from '../../static/audit-rules.js';
import { makeCollection, openPage, startBrowser, startService } from './support.mjs';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];

const near = {
  name: 'Hausdorff distance', relation: 'at most', limit: 0.25, unit: 'mm', value: { lower: 0.246, upper: 0.253, exact: false, sampled: false },
  margin: -0.003, guard_band: 0, uncertainty: null, outcome: 'undecided', waiver: null,
  decided_by: { by: 'narrower interval', at: 1e-5, text: 'the server’s words' },
};

test('rules_say_limit_value_and_margin_as_they_were_judged', () => {
  assert.equal(limitText(near), '≤ 0.25 mm');
  assert.equal(valueText(near), '0.246 to 0.253 mm');
  assert.equal(marginText(near), '−0.003 mm');
  assert.equal(uncertaintyText(near), 'certified interval');
  assert.equal(valueText({ ...near, value: null }), 'not known');
  assert.equal(valueText({ ...near, value: { ...near.value, upper: null } }), '0.246 to more');
  const count = { ...near, limit: 0, unit: '', value: { lower: 2, upper: 2, exact: true, sampled: false }, margin: -2 };
  assert.equal(limitText(count), '≤ 0');
  assert.equal(valueText(count), '2');
  assert.equal(uncertaintyText(count), 'exact');
});

test('rules_say_yes_and_no_of_statements', () => {
  const closed = { ...near, relation: 'equals', limit: true, unit: null, value: { lower: 0, upper: 0, exact: true, sampled: false }, margin: -1 };
  assert.equal(limitText(closed), 'yes');
  assert.equal(valueText(closed), 'no');
  assert.equal(marginText(closed), '');
});

test('rules_say_what_would_decide_and_fall_back_on_the_server', () => {
  assert.match(decideText(near), /--certify 0\.00001\.$/);
  assert.equal(decideText({ ...near, decided_by: { by: 'something new', at: null, text: 'the server’s words' } }), 'the server’s words');
  assert.equal(decideText({ ...near, decided_by: null }), '');
});

test('rules_tell_outcomes_by_shape_and_word', () => {
  assert.deepEqual(outcomeMark('conforms'), { kind: 'conforms', word: 'conforms' });
  assert.deepEqual(outcomeMark('does not conform', true), { kind: 'not', word: 'does not conform, waived' });
  assert.equal(countsText({ conforms: 7, does_not_conform: 0, undecided: 1, waived: 1, advisory_missed: 0 }), '7 required rules conform, 1 is undecided, 1 is waived');
});

test('rules_stand_on_a_scale_in_their_order', () => {
  const at = gaugeOf(near);
  assert.ok(at.lower < at.limit && at.limit < at.upper && at.upper <= 1 && at.lower >= 0);
  assert.deepEqual(at.allowed, [0, at.limit]);
  const least = gaugeOf({ ...near, relation: 'at least' });
  assert.deepEqual(least.allowed, [least.limit, 1]);
  const negative = gaugeOf({ ...near, limit: -1, relation: 'above', value: { ...near.value, lower: -3, upper: -2 } });
  assert.ok(negative.lower >= 0 && negative.upper < negative.limit && negative.limit <= 1);
  assert.equal(gaugeOf({ ...near, value: null }), null);
  assert.equal(gaugeOf({ ...near, relation: 'equals', limit: 1 }), null);
});

describe('in a browser', () => {
  let service;
  let browser;
  let made;
  before(async () => {
    service = await startService();
    browser = await startBrowser();
    made = await makeCollection(service.address);
  });
  after(async () => {
    await browser?.close();
    await service?.stop();
  });

  function inPage(name, act) {
    test(name, async () => {
      const { page, faults, close } = await openPage(browser);
      try {
        await act(page);
        assert.deepEqual(faults.filter((fault) => !fault.includes('400')), []);
      } finally {
        await close();
      }
    });
  }

  /** Tab until the focus is on what is wanted. */
  async function tabTo(page, matches) {
    for (let i = 0; i < 60; i += 1) {
      if (await page.evaluate(matches)) return;
      await page.keyboard.press('Tab');
    }
    assert.fail(`not reached by the keyboard: ${matches}`);
  }

  inPage('audit_is_made_and_a_rule_waived_by_keys_alone', async (page) => {
    await page.goto(`${service.address}#/specimen/${made.specimen.id}`);
    await page.locator('.tabs').waitFor();
    await tabTo(page, () => document.activeElement.textContent === 'Audit');
    await page.keyboard.press('Enter');
    await page.locator('.controls').waitFor();
    await tabTo(page, () => document.activeElement.name === 'spec');
    await page.keyboard.press('t');
    await page.keyboard.press('Tab');
    await page.getByText('has not been judged by Teaching cast yet').waitFor();
    await tabTo(page, () => document.activeElement.textContent === 'Judge by this spec');
    await page.keyboard.press('Enter');
    await page.locator('.rules').waitFor();
    assert.match(await page.locator('.verdict').textContent(), /^conforms 5 required rules conform/);
  });

  inPage('audit_shows_the_value_that_was_judged_and_what_a_waiver_does', async (page) => {
    const strict = {
      schema: 'fettle/spec/1', name: 'Strict', purpose: 'nearer than it is',
      rules: [{ id: 'near', measure: 'deviation.hausdorff', relation: 'at most', limit: 0.173, unit: 'mm', reason: 'because', source: 'common practice, no source' }],
    };
    await page.goto(`${service.address}#/specs`);
    await page.getByRole('button', { name: 'Write the next version' }).click();
    await page.locator('textarea').fill(JSON.stringify({ ...strict, purpose: '' }));
    await page.getByRole('button', { name: 'Keep as the next version' }).click();
    await page.getByText('"purpose" is a text').waitFor();
    await page.locator('textarea').fill(JSON.stringify(strict));
    await page.getByRole('button', { name: 'Keep as the next version' }).click();
    await page.getByRole('heading', { name: 'Strict, version 1' }).waitFor();

    await page.goto(`${service.address}#/audit/${made.specimen.id}?version=${made.cages[2].id}`);
    await page.locator('select[name=spec]').selectOption({ label: 'Strict, version 1' });
    await page.getByRole('button', { name: 'Judge by this spec' }).click();
    const row = page.locator('.rules tbody tr');
    await row.waitFor();
    assert.match(await row.textContent(), /≤ 0\.173 mm0\.1732\d* (to 0\.1732\d* )?mm/);
    assert.match(await page.locator('.verdict').textContent(), /^does not conform/);

    await row.getByRole('button', { name: 'What another limit' }).click();
    await page.getByLabel('Limit (mm)').fill('0.2');
    await page.getByRole('button', { name: 'Count' }).click();
    await page.getByText(/Of 4 runs, now: .* With that limit: /).waitFor();
    await page.locator('dialog').getByRole('button', { name: 'Close' }).click();

    await row.getByRole('button', { name: 'Waive the rule' }).click();
    await page.getByLabel('Reason').fill('corners are rounded in the cast');
    await page.getByLabel('Your name').fill('Ines Quill');
    await page.getByLabel('Last day').fill('2199-12-31');
    await page.getByRole('button', { name: 'Waive it' }).click();
    await page.locator('.rules .told').getByText('Waived by Ines Quill until 2199-12-31').waitFor();
    assert.match(await page.locator('.verdict').textContent(), /^conforms 1 is waived/);

    await page.getByRole('button', { name: 'Withdraw' }).click();
    await page.locator('.verdict').filter({ hasText: 'does not conform' }).waitFor();
    await page.reload();
    await page.locator('.verdict').filter({ hasText: 'does not conform' }).waitFor();
  });

  inPage('audit_is_offered_as_a_report_that_opens_offline_and_asks_for_nothing', async (page) => {
    await page.goto(`${service.address}#/audit/${made.specimen.id}?version=${made.cages[2].id}`);
    await page.locator('.controls').first().waitFor();
    await page.locator('select[name=spec]').selectOption({ label: 'Teaching cast, version 1' });
    await page.getByRole('button', { name: /^Judge/ }).click();
    const address = await page.getByRole('link', { name: 'Report (HTML)' }).getAttribute('href');
    assert.equal(await page.getByRole('link', { name: 'Report (PDF)' }).getAttribute('href'), address.replace('html', 'pdf'));
    const folder = mkdtempSync(join(tmpdir(), 'fettle-report-'));
    const file = join(folder, 'report.html');
    writeFileSync(file, Buffer.from(await (await fetch(new URL(address, service.address))).arrayBuffer()));
    const context = await browser.newContext({ offline: true, viewport: { width: 360, height: 800 } });
    const report = await context.newPage();
    const asked = [];
    const complaints = [];
    report.on('request', (request) => request.url().startsWith('data:') || asked.push(request.url()));
    report.on('console', (message) => complaints.push(message.text()));
    report.on('pageerror', (error) => complaints.push(error.message));
    try {
      await report.goto(pathToFileURL(file).href);
      assert.deepEqual(asked, [pathToFileURL(file).href]);
      assert.deepEqual(complaints, []);
      assert.ok((await report.locator('img').count()) >= 12);
      assert.ok(await report.evaluate(() => [...document.images].every((image) => image.complete && image.naturalWidth > 0)));
      assert.equal(await report.evaluate(() => document.documentElement.scrollWidth), 360);
      await report.evaluate(AXE);
      const { violations } = await report.evaluate((tags) => globalThis.axe.run(document, { runOnly: tags }), TAGS);
      assert.deepEqual(violations.map((each) => `${each.id}: ${each.nodes[0].html}`), []);
    } finally {
      await context.close();
      rmSync(folder, { recursive: true });
    }
  });

  inPage('audit_of_a_specimen_without_a_run_says_so', async (page) => {
    const { id } = await (await fetch(`${service.address}api/v1/specimens`, {
      method: 'POST', headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify({ catalogue_number: 'NH-0900', title: 'Nothing yet', units: 'mm' }),
    })).json();
    await page.goto(`${service.address}#/audit/${id}`);
    await page.getByText('No version is measured yet').waitFor();
  });
});
