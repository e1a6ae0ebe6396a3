// audit.test.mjs - a run judged by a spec, in the page.
//   rules_*  what is said of a rule of an audit: limit, value, margin, place on the scale (pure)
//   signed_* what is said of sign-offs and steps of the log (pure)
//   audit_*  in a browser over a real service: judged by keys alone, waived, another limit, a spec's next version
// The cube smaller by 0.2 loses 0.1 sqrt 3 = 0.17320508 mm at its corners (see browser.test.mjs).
import assert from 'node:assert/strict';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { pathToFileURL } from 'node:url';
import { countsText, decideText, finerCertify, gaugeOf, limitText, marginText, outcomeMark, uncertaintyText, valueText, waiversSince } from '../../static/audit-rules.js';
import { changedText, keysOf, signedMark, signerText, stepText } from '../../static/sign-off-rules.js';
import { makeAudit, makeCollection, makeSpecimen, makeVersion, ofName, ofText, openPage, sphere, startBrowser, startService, tabTo } from './support.mjs';

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
  assert.match(decideText(near), /certify 0\.00001\.$/);
  assert.equal(decideText({ ...near, decided_by: { by: 'something new', at: null, text: 'the server’s words' } }), 'the server’s words');
  assert.equal(decideText({ ...near, decided_by: null }), '');
});

test('rules_ask_for_the_finest_certify_that_any_of_them_wants', () => {
  const wants = (by, at) => ({ decided_by: { by, at, text: '' } });
  assert.equal(finerCertify({ rules: [{ decided_by: null }, wants('narrower interval', 1e-5), wants('narrower interval', 1e-6)] }), 1e-6);
  assert.equal(finerCertify({ rules: [{ decided_by: null }, wants('better scanner', 0.01), wants('narrower interval', null)] }), null);
});

test('rules_tell_what_has_become_of_waivers_since_they_were_judged', () => {
  const rule = (id, values) => ({ id, need: 'required', outcome: 'does not conform', waiver: null, ...values });
  const waiver = (of, values) => ({ spec: 'Near', rule: of, holds: true, ...values });
  const audit = { spec: { name: 'Near' }, rules: [rule('a', { waiver: {} }), rule('b'), rule('c', { outcome: 'conforms' }), rule('d', { need: 'advisory' })] };
  assert.equal(waiversSince(audit, [waiver('a')]), null);
  assert.equal(waiversSince(audit, [waiver('a', { holds: false }), waiver('a')]), null);
  assert.equal(waiversSince(audit, [waiver('a'), waiver('c'), waiver('d')]), null, 'they matter to nobody');
  assert.equal(waiversSince(audit, [waiver('a'), waiver('b')]), 'added');
  assert.equal(waiversSince(audit, [waiver('a'), waiver('b', { spec: 'Far' })]), null);
  assert.equal(waiversSince(audit, [waiver('a', { holds: false }), waiver('b')]), 'over');
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

test('signed_by_whom_and_what_has_changed', () => {
  assert.deepEqual(signedMark({ state: 'signed by one of two' }), { kind: 'undecided', word: 'signed by one of two' });
  assert.equal(signedMark({ state: 'broken' }).kind, 'not');
  assert.deepEqual(signedMark({ state: 'something new' }), { kind: 'undecided', word: 'something new' });
  assert.equal(signerText({ by: 'Ines Quill', role: null }), 'Ines Quill');
  assert.equal(signerText({ by: 'Ines Quill', role: 'head' }), 'Ines Quill (head)');
  assert.equal(changedText({ changed: [] }), '');
  assert.equal(changedText({ changed: ['subject', 'spec', 'something new'] }), 'Not as it was signed: the file judged, the spec, something new.');
  const item = (fingerprint, ofService) => ({ key: { fingerprint, of_service: ofService } });
  assert.deepEqual(keysOf([item('aa', false), item('bb', true), item('aa', false)]),
    [{ fingerprint: 'aa', ofService: false }, { fingerprint: 'bb', ofService: true }]);
  assert.equal(stepText({ kind: 'signed off', who: 'Ines Quill' }), 'signed off by Ines Quill');
  assert.equal(stepText({ kind: 'something new', who: null }), 'something new');
});

const isJudged = (answer) => answer.request().method() === 'POST' && answer.url().endsWith('/audits');

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
        assert.deepEqual(faults.filter((fault) => !/40[09]/.test(fault)), []);
      } finally {
        await close();
      }
    });
  }

  inPage('audit_is_made_and_a_rule_waived_by_keys_alone', async (page) => {
    await page.goto(`${service.address}#/specimen/${made.specimen.id}`);
    await page.locator('.tabs').waitFor();
    await tabTo(page, ofText, 'Audit');
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: `Audit of ${made.specimen.catalogue_number}` }).waitFor();
    await tabTo(page, ofName, 'spec');
    await page.keyboard.press('t');
    await page.keyboard.press('Tab');
    await page.getByText('has not been judged by Teaching cast yet').waitFor();
    await tabTo(page, ofText, 'Judge by this spec');
    await page.keyboard.press('Enter');
    await page.locator('.rules').waitFor();
    assert.match(await page.locator('.verdict').textContent(), /^conforms 5 required rules conform/);

    const signed = page.locator('.signed');
    assert.equal(await signed.textContent(), 'not signed');
    await tabTo(page, ofText, 'Sign off');
    await page.keyboard.press('Enter');
    await page.locator('dialog').waitFor();
    assert.equal(await page.evaluate(() => document.activeElement.name), 'by', 'the name is asked for first');
    await page.keyboard.type('Ines Quill');
    await page.keyboard.press('Tab');
    await page.keyboard.type('head');
    await page.keyboard.press('Enter');
    await signed.filter({ hasText: 'signed off' }).waitFor();
    assert.match(await page.locator('.signed + ul').textContent(), /^Ines Quill \(head\), .* holds Statement$/);
    await page.waitForFunction(() => document.activeElement.textContent === 'Sign too'); // where the focus was before the dialog
    await page.keyboard.press('Enter');
    const name = page.getByLabel('Your name');
    assert.equal(await name.inputValue(), 'Ines Quill', 'the name is remembered');
    await page.keyboard.press('Enter');
    await page.locator('dialog .fault').getByText('this name has signed audit').waitFor();
    await page.keyboard.press('Escape');
    await tabTo(page, (el) => el.localName === 'summary' && el.textContent.includes('in the log'));
    await page.keyboard.press('Enter');
    assert.match(await page.locator('.log li').first().textContent(), /signed off by Ines Quill: .* by Teaching cast 1 \(head\)$/);
  });

  inPage('audit_shows_the_value_that_was_judged_and_what_a_waiver_does', async (page) => {
    const strict = {
      schema: 'fettle/spec/1', name: 'Strict', purpose: 'nearer than it is',
      rules: [{ id: 'near', measure: 'deviation.hausdorff', relation: 'at most', limit: 0.173, unit: 'mm', reason: 'because', source: 'common practice, no source' }],
    };
    await page.goto(`${service.address}#/specs`);
    await page.getByRole('button', { name: 'Write the next version' }).click();
    await page.getByRole('button', { name: 'Text' }).click();
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

  inPage('audit_that_an_interval_keeps_open_is_decided_by_one_click', async (page) => {
    const coarse = await makeSpecimen(service.address, 'NH-0910', 'Sphere in a sphere');
    const scan = await makeVersion(service.address, coarse.id, sphere(96, 10), { kind: 'scan', name: 'round.obj' });
    const version = await makeVersion(service.address, coarse.id, sphere(16, 10.5), { kind: 'scan', made_from: scan.id, name: 'coarse.obj' });
    // the vertices of the coarse sphere are half a millimetre off; how much farther anything may be, the interval leaves open
    const close = {
      schema: 'fettle/spec/1', name: 'Near half', purpose: 'to be told only by a narrow interval',
      rules: [{ id: 'half', measure: 'deviation.hausdorff', relation: 'at most', limit: 0.501, unit: 'mm', reason: 'because', source: 'common practice, no source' }],
    };
    const post = async (path, body) =>
      (await fetch(`${service.address}api/v1${path}`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) })).json();
    const spec = await post('/specs', close);
    await post('/audits', { run: version.latest_run, spec: spec.id });

    await page.goto(`${service.address}#/audit/${coarse.id}?version=${version.id}&spec=${spec.id}`);
    await page.locator('.verdict').filter({ hasText: 'undecided' }).waitFor();
    const button = page.getByRole('button', { name: 'Measure again with a narrower interval' });
    await page.getByText('Wanted width: 0.00001 of').waitFor();
    await button.focus();
    await page.keyboard.press('Enter');
    await page.locator('.verdict').filter({ hasText: /^conforms 1 required rule conforms/ }).waitFor();
    assert.equal(await button.count(), 0);
    await page.getByText('2 audits of this specimen').waitFor();
    const { latest_run: run } = await (await fetch(`${service.address}api/v1/versions/${version.id}`)).json();
    const record = await (await fetch(`${service.address}api/v1/runs/${run}`)).json();
    assert.equal(record.engine.settings.certify, 0.00001);
  });

  inPage('audit_is_offered_as_a_report_that_opens_offline_and_asks_for_nothing', async (page) => {
    await page.goto(`${service.address}#/audit/${made.specimen.id}?version=${made.cages[2].id}`);
    await page.locator('select[name=spec]').selectOption({ label: 'Teaching cast, version 1' });
    const [answer] = await Promise.all([page.waitForResponse(isJudged), page.getByRole('button', { name: /^Judge/ }).click()]);
    const { id } = await answer.json();
    const address = await page.getByRole('link', { name: 'Report (HTML)' }).and(page.locator(`[href*="/audits/${id}/"]`)).getAttribute('href');
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

  inPage('audit_of_another_specimen_is_never_shown_meanwhile_and_one_without_a_run_says_so', async (page) => {
    const { id } = await makeSpecimen(service.address, 'NH-0900', 'Nothing yet');
    await page.goto(`${service.address}#/audit/${made.specimen.id}`);
    await page.locator('select[name=spec]').waitFor();
    let letGo;
    const gate = new Promise((resolve) => (letGo = resolve));
    await page.route(`**/specimens/${id}`, async (route) => {
      await gate;
      await route.continue();
    });
    await page.evaluate((hash) => (location.hash = hash), `#/audit/${id}`);
    await page.getByText('Reading.').waitFor();
    assert.equal(await page.locator('select[name=spec]').count(), 0);
    letGo();
    await page.getByText('No version is measured yet').waitFor();
  });

  inPage('audit_that_is_signed_is_the_one_that_was_shown_when_it_was_asked_for', async (page) => {
    const shown = await makeAudit(service.address, made.cages[0], 'Teaching cast');
    const other = await makeAudit(service.address, made.cages[0], 'Subdivision cage for CAD');
    const address = ({ spec }) => `#/audit/${made.specimen.id}?version=${made.cages[0].id}&spec=${spec.id}`;
    await page.goto(service.address + address(shown));
    await page.locator('[data-key=signOff]').click();
    await page.getByLabel('Your name').fill('Ada Example');
    await page.evaluate((hash) => (location.hash = hash), address(other));
    await page.locator(`[href*="/audits/${other.id}/"]`).first().waitFor();
    await page.keyboard.press('Enter');
    await page.locator('dialog').waitFor({ state: 'detached' });
    const signers = async ({ id }) =>
      (await (await fetch(`${service.address}api/v1/audits/${id}/sign-offs`)).json()).items.map(({ by }) => by);
    assert.deepEqual([await signers(shown), await signers(other)], [['Ada Example'], []]);
  });
});
