// specs.test.mjs - specs written in the page.
//   subject_*  what a rule may be about, and how it is found
//   form_*     one thing of the document changed, everything else kept
//   fault_*    where the service's sentence belongs
//   in a browser: written by keys alone, checked while typed, form and text of one document
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { after, before, describe, test } from 'node:test';
import * as form from '../../static/spec-form.js';
import { ofKey, openPage, startBrowser, startService, tabTo as tabToElement } from './support.mjs';

const MEASURES = JSON.parse(readFileSync(new URL('../../schema/measures.json', import.meta.url), 'utf8'));
const SCHEMA = JSON.parse(readFileSync(new URL('../../schema/spec.schema.json', import.meta.url), 'utf8'));
const SPECS = new URL('../../schema/specs/', import.meta.url);
const subjects = form.subjectsOfRules(MEASURES);
const subject = (value) => subjects.find((each) => each.value === value);
const rule = (change) => ({ id: 'near', measure: 'deviation.hausdorff', relation: 'at most', limit: 0.4, unit: 'mm', reason: 'because', source: 'none', ...change });
const spec = (...rules) => ({ schema: 'fettle/spec/1', name: 'S', purpose: 'p', rules, 'x-kept': [1] });

test('subject_of_every_rule_of_the_starting_specs_is_known', () => {
  for (const name of readdirSync(SPECS))
    for (const each of JSON.parse(readFileSync(new URL(name, SPECS), 'utf8')).rules) assert.ok(form.subjectOf(subjects, each), `${name}: ${each.id}`);
});

test('subject_of_an_interval_is_named_without_its_end_and_stands_once_for_each_file', () => {
  assert.equal(subject('deviation.hausdorff').unit, 'length');
  assert.equal(subject('deviation.hausdorff.upper'), undefined);
  assert.equal(form.subjectName(subject('reference.topology.shells')), 'Shells of the reference');
  assert.equal(new Set(subjects.map(({ value }) => value)).size, subjects.length);
  assert.equal(subjects.some(({ value }) => value.includes('coverage')), false, 'what stands once a tolerance has no one place');
});

test('subject_is_found_by_every_word_and_by_its_name_first', () => {
  assert.equal(form.findSubjects(subjects, 'haus')[0].value, 'deviation.hausdorff');
  assert.deepEqual(form.findSubjects(subjects, 'LOSS  mean').map(({ name }) => name).slice(0, 2), ['Mean loss', 'Limit: mean loss']);
  assert.equal(form.findSubjects(subjects, 'topology.open_edges')[0].name, 'Open edges');
  assert.deepEqual(form.findSubjects(subjects, 'no such words'), []);
  assert.equal(form.findSubjects(subjects, '').length, subjects.length);
});

test('form_knows_the_words_of_the_schema', () => {
  const { rule: of, findings, unit } = SCHEMA.$defs;
  assert.deepEqual(form.RELATIONS, of.properties.relation.enum);
  assert.deepEqual(form.KINDS, findings.properties.kinds.items.enum);
  assert.deepEqual([...form.SEVERITIES].sort(), [...findings.properties.severity.enum].sort());
  assert.deepEqual([...form.MESHES].sort(), [...findings.properties.mesh.enum].sort());
  assert.deepEqual(form.TAKES, findings.properties.take.enum);
  assert.ok(form.LENGTHS.every((each) => unit.enum.includes(each)));
});

test('form_gives_a_rule_about_something_else_what_that_can_have', () => {
  const guarded = rule({ decision: 'guarded', guard_factor: 2, need: 'advisory' });
  const { measure, relation, limit, unit, decision, guard_factor: factor, need } = form.aboutAnother(guarded, subject('subject.topology.closed'));
  assert.deepEqual([measure, relation, limit, unit, decision, factor, need], ['subject.topology.closed', 'equals', true, undefined, undefined, undefined, 'advisory']);
  const counted = form.aboutAnother(rule(), subject('subject.topology.shells'));
  assert.deepEqual([counted.limit, 'unit' in counted], [0.4, false]);
  const back = form.aboutAnother(form.aboutAnother(rule(), subject('subject.topology.closed')), subject('deviation.hausdorff'));
  assert.deepEqual([back.relation, 'limit' in back, back.unit], ['at most', false, 'mm']);
  const findings = form.aboutAnother(rule(), subject('findings'));
  assert.deepEqual([findings.findings, 'measure' in findings, 'unit' in findings], [{ severity: 'fault', take: 'count' }, false, false]);
  assert.equal(form.withFindings(findings, { take: 'largest size', kinds: ['open_loop'] }).unit, 'mm');
  assert.equal('unit' in form.withFindings(form.withFindings(findings, { take: 'largest size' }), { take: 'faces' }), false);
});

test('form_adds_rules_under_names_of_their_own', () => {
  const twice = form.addRule(form.addRule(spec(), subject('deviation.hausdorff')), subject('deviation.hausdorff'));
  assert.deepEqual(twice.rules.map(({ id }) => id), ['hausdorff-distance', 'hausdorff-distance-2']);
  assert.deepEqual(twice['x-kept'], [1]);
});

test('form_moves_and_removes_one_and_nothing_over_the_ends', () => {
  assert.deepEqual(form.moved(['a', 'b', 'c'], 2, -1), ['a', 'c', 'b']);
  assert.deepEqual(form.moved(['a', 'b', 'c'], 0, 1), ['b', 'a', 'c']);
  assert.deepEqual(form.moved(['a', 'b'], 0, -1), ['a', 'b']);
  assert.deepEqual(form.moved(['a', 'b'], 1, 1), ['a', 'b']);
  assert.deepEqual(form.without(['a', 'b', 'c'], 1), ['a', 'c']);
});

test('form_takes_numbers_as_they_are_typed_and_leaves_what_is_none_to_the_service', () => {
  assert.deepEqual(['0.4', ' 1e-3 ', '0,25', '', '  ', '4 mm', '-0'].map(form.numberTyped), [0.4, 0.001, 0.25, undefined, undefined, '4 mm', -0]);
});

test('form_states_an_uncertainty_with_its_unit_and_takes_it_back_whole', () => {
  const stated = form.withUncertainty(rule(), { standard: 0.05 }, 'mm');
  assert.deepEqual(stated.uncertainty, { unit: 'mm', standard: 0.05 });
  assert.equal('uncertainty' in form.withUncertainty(stated, { standard: undefined }, 'mm'), false);
  assert.deepEqual(form.uncertaintyUnits(subject('deviation.hausdorff'), rule({ unit: 'diagonal' })), ['diagonal']);
  assert.deepEqual(form.uncertaintyUnits(subject('subject.topology.shells'), rule({ unit: undefined })), ['count']);
});

test('form_and_text_are_one_document', () => {
  const whole = spec(rule({ 'x-own': { a: null } }), rule({ id: 'two', findings: { kinds: ['lost'] }, measure: undefined }));
  const { spec: read } = form.readText(form.writeText(whole));
  assert.equal(form.writeText(read), form.writeText(whole));
  for (const text of ['{', '[]', '3', 'null', '{"rules":3}', '{"rules":[null]}', '{"rules":[{"findings":1}]}', '{"uncertainty":2}']) assert.ok(form.readText(text).fault, text);
});

test('fault_stands_at_the_rule_and_field_that_the_service_names', () => {
  const of = spec(rule(), rule({ uncertainty: { standard: 1, unit: 'mm' } }));
  const cases = {
    'rule 2 (near): "limit" has at most 6 digits, or is a whole number: values are rounded': { rule: 1, field: 'limit' },
    'rule 2: "id" is missing': { rule: 1, field: 'id' },
    'rule 2 (near): rule 1 has that id too; ids are unique in a spec': { rule: 1, field: 'id' },
    'rule 1 (near): no measure "deviation.x"; the list of measures tells their paths': { rule: 0, field: 'measure' },
    'rule 1 (near): "unit" of a limit of length is one of mm, cm, m, in, diagonal, not "kg"': { rule: 0, field: 'unit' },
    'rule 1 (near): the uncertainty is in mm, the limit in diagonal: state it in that': { rule: 0, field: 'uncertainty unit' },
    'rule 1 (near): the decision "guarded" needs an "uncertainty", of the rule or (for lengths) of the spec': { rule: 0, field: 'standard' },
    'rule 1 (near): "guard_factor" is a number above 0 and up to 10: a multiple': { rule: 0, field: 'guard_factor' },
    'rule 1 (near): "source" is missing': { rule: 0, field: 'source' },
    'rule 2 (near): "source" is missing': { rule: 1, field: 'uncertainty source' },
    'rule 1 (near): the "largest size" is a length, which only open loops have: take it': { rule: 0, field: 'take' },
    '"purpose" is a text': { rule: null, field: 'purpose' },
    '"for" is a list of scan, cage, or both': { rule: null, field: 'for' },
    '"rules" is a list of 1 to 200 rules': { rule: null, field: 'rules' },
    'a spec is a JSON object': { rule: null, field: null },
  };
  for (const [text, place] of Object.entries(cases)) assert.deepEqual(form.faultPlace(text, of), place, text);
});

describe('in a browser', () => {
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
  const saved = async (name) => {
    const { items } = await (await fetch(`${service.address}api/v1/specs`)).json();
    const { id } = items.find((each) => each.name === name && each.latest);
    return (await (await fetch(`${service.address}api/v1/specs/${id}`)).json()).spec;
  };
  const focused = (page) => page.evaluate(() => document.activeElement.dataset.key);

  test('spec_is_written_by_keys_alone_and_checked_while_it_is_typed', async () => {
    const { page, faults, close } = await openPage(browser);
    const keys = async (...all) => {
      for (const key of all) await page.keyboard.press(key);
    };
    const tabTo = (key) => tabToElement(page, ofKey, key);
    await page.goto(`${service.address}#/specs`);
    await page.getByRole('button', { name: 'Write a new spec' }).waitFor();
    await tabTo('new');
    await keys('Enter');
    await page.locator('.write').waitFor();
    assert.equal(await focused(page), 'spec name');
    await page.keyboard.type('By keys');
    await tabTo('spec purpose');
    await page.keyboard.type('A spec that no pointer has touched');
    await page.locator('#fault-spec-rules').getByText('a list of 1 to').waitFor();

    await tabTo('add rule');
    await page.keyboard.type('hausdorff');
    await page.locator('[role=option][aria-selected=true]').getByText('Deviation: both ways').waitFor();
    await keys('Enter');
    assert.equal(await focused(page), 'r1 limit', 'the new card is open, its limit has the focus');
    await page.keyboard.type('0.1234567');
    await page.locator('#fault-r1-limit').getByText('at most 6 digits').waitFor();
    assert.equal(await page.locator('[data-key="r1 limit"]').getAttribute('aria-invalid'), 'true');
    await keys('Control+a');
    await page.keyboard.type('0.4');
    await tabTo('r1 decision');
    await keys('g');
    await tabTo('r1 standard');
    await page.keyboard.type('0.05');
    await tabTo('r1 uncertainty source');
    await page.keyboard.type('calibration of the scanner');
    await tabTo('r1 reason');
    await page.keyboard.type('copies stand beside the original');
    await tabTo('r1 source');
    await page.keyboard.type('common practice, no source');

    await tabTo('add rule');
    await page.keyboard.type('closed manifold');
    await keys('Enter');
    assert.equal(await focused(page), 'r2 limit');
    await tabTo('r2 reason');
    await page.keyboard.type('it is printed');
    await tabTo('r2 source');
    await page.keyboard.type('3MF Core Specification 1.4, section 4.1');
    await keys('Alt+ArrowUp');
    assert.equal(await focused(page), 'r2 source', 'the focus goes with the rule');
    assert.deepEqual(await page.locator('.cards b').allInnerTexts(), ['Closed manifold', 'Hausdorff distance']);
    await page.locator('#spec-fault:empty').waitFor({ state: 'attached' });
    await tabTo('save');
    await keys('Enter');
    await page.getByRole('heading', { name: 'By keys, version 1' }).waitFor();

    const [first, second] = (await saved('By keys')).rules;
    assert.deepEqual([first.id, first.measure, first.relation, first.limit], ['closed-manifold', 'subject.topology.closed_manifold', 'equals', true]);
    assert.deepEqual([second.limit, second.unit, second.decision, second.uncertainty], [0.4, 'mm', 'guarded', { standard: 0.05, unit: 'mm', source: 'calibration of the scanner' }]);
    assert.deepEqual(faults, []);
    await close();
  });

  test('form_and_text_show_one_document_and_the_next_version_is_kept', async () => {
    const { page, faults, close } = await openPage(browser, { viewport: { width: 360, height: 800 } });
    await page.goto(`${service.address}#/specs`);
    await page.getByRole('link', { name: 'Print, version 1' }).click();
    await page.getByRole('heading', { name: 'Print, version 1' }).waitFor();
    const before = await saved('Print');
    await page.getByRole('button', { name: 'Write the next version' }).click();
    await page.getByRole('button', { name: 'Text' }).click();
    const { version, ...rest } = before;
    assert.equal(version, 1);
    assert.deepEqual(JSON.parse(await page.locator('textarea').inputValue()), rest);
    await page.locator('textarea').fill('{"rules": 3}');
    await page.getByRole('button', { name: 'Form' }).click();
    await page.getByText('The form cannot show this').waitFor();
    await page.locator('textarea').fill(JSON.stringify({ ...rest, signatures: 2 }));
    await page.getByRole('button', { name: 'Form' }).click();
    assert.equal(await page.locator('[data-key="spec signatures"]').inputValue(), '2');
    await page.locator('summary').first().click();
    await page.locator('[data-key="r1 limit"]').fill('12');
    await page.locator('[data-key="r2 remove"]').click();
    await page.locator('[data-key="r1 reason"]').fill('');
    await page.locator('.cards .faulty').waitFor();
    await page.locator('summary').first().click();
    await page.getByRole('button', { name: 'Keep as the next version' }).click();
    await page.waitForFunction(() => document.activeElement.dataset.key === 'r1 reason');
    await page.keyboard.type('A solid has more than that.');
    await page.getByRole('button', { name: 'Keep as the next version' }).click();
    await page.getByRole('heading', { name: 'Print, version 2' }).waitFor();
    const now = await saved('Print');
    assert.deepEqual([now.version, now.signatures, now.rules[0].limit, now.rules.length], [2, 2, 12, before.rules.length - 1]);
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= 360));
    assert.deepEqual(faults.filter((fault) => !fault.includes('400')), []);
    await close();
  });
});
