// specimens.test.mjs - create, read, list, change; tags and conditions (RFC 9110 sections 8.8.3, 13.1; RFC 6585 section 3).
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { box, call, makeSpecimen, startServer, temporaryFolder, upload, waitForJob } from './support.mjs';
import path from 'node:path';

describe('specimens', () => {
  let server;
  const folder = temporaryFolder();
  before(async () => (server = await startServer(null, { data: path.join(folder, 'data') })));
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('a new specimen is there, with its address and its tag', async () => {
    const made = await call(server, 'POST', '/api/v1/specimens', { json: { catalogue_number: 'A-1', title: 'Urchin \u2603', units: 'cm', note: 'two\nlines' } });
    assert.equal(made.status, 201);
    assert.equal(made.headers.get('location'), `/api/v1/specimens/${made.body.id}`);
    const read = await call(server, 'GET', made.headers.get('location'));
    assert.deepEqual(read.body, made.body);
    assert.equal(read.headers.get('etag'), made.headers.get('etag'));
    assert.equal(read.headers.get('cache-control'), 'private, no-cache');
    assert.equal(read.body.state, 'new');
    assert.deepEqual(read.body.versions, { scan: 0, cage: 0 });
    assert.equal(read.body.note, 'two\nlines');
    assert.equal(read.body.title, 'Urchin \u2603');
  });

  test('a catalogue number is given once, whatever its case', async () => {
    await makeSpecimen(server, { catalogue_number: 'dup-7' });
    const again = await call(server, 'POST', '/api/v1/specimens', { json: { catalogue_number: 'DUP-7', title: 'x', units: 'mm' } });
    assert.equal(again.status, 409);
    assert.equal(again.body.code, 'conflict');
  });

  const wrong = {
    'no title': { catalogue_number: 'W-1', units: 'mm' },
    'an unknown unit': { catalogue_number: 'W-1', title: 'x', units: 'furlong' },
    'an unknown key': { catalogue_number: 'W-1', title: 'x', units: 'mm', colour: 'red' },
    'a number as title': { catalogue_number: 'W-1', title: 1, units: 'mm' },
    'an empty catalogue number': { catalogue_number: '', title: 'x', units: 'mm' },
    'a control character': { catalogue_number: 'W\u0007', title: 'x', units: 'mm' },
    'an endless title': { catalogue_number: 'W-1', title: 'x'.repeat(5000), units: 'mm' },
    'a tolerance of nought': { catalogue_number: 'W-1', title: 'x', units: 'mm', tolerances: [0.1, 0] },
    'a tolerance below nought': { catalogue_number: 'W-1', title: 'x', units: 'mm', tolerances: [-1] },
    'a tolerance in words': { catalogue_number: 'W-1', title: 'x', units: 'mm', tolerances: ['0.1mm'] },
    'one tolerance without a list': { catalogue_number: 'W-1', title: 'x', units: 'mm', tolerances: 0.1 },
    'seventeen tolerances': { catalogue_number: 'W-1', title: 'x', units: 'mm', tolerances: Array.from({ length: 17 }, (_, i) => i + 1) },
  };
  for (const [name, json] of Object.entries(wrong))
    test(`refused with 400: ${name}`, async () => {
      const answer = await call(server, 'POST', '/api/v1/specimens', { json });
      assert.equal(answer.status, 400, answer.text);
      assert.equal(answer.body.code, 'usage');
    });

  test('a body that is not JSON is refused with its line', async () => {
    const answer = await call(server, 'POST', '/api/v1/specimens', { body: '{\n"title": oops}', headers: { 'content-type': 'application/json' } });
    assert.equal(answer.status, 400);
    assert.equal(answer.body.line, 2);
  });

  test('ids that are none, or nobody has, are not found', async () => {
    for (const id of ['0', '01', 'x', '-1', '999999', '99999999999999999999'])
      assert.equal((await call(server, 'GET', `/api/v1/specimens/${id}`)).status, 404, id);
  });

  test('tolerances are kept in order, each once, and replaced as a whole', async () => {
    const made = await call(server, 'POST', '/api/v1/specimens', { json: { catalogue_number: 'T-1', title: 'x', units: 'mm', tolerances: [0.5, 0.1, 0.5] } });
    assert.equal(made.status, 201, made.text);
    assert.deepEqual(made.body.tolerances, [0.1, 0.5]);
    const address = `/api/v1/specimens/${made.body.id}`;
    const change = async (json) => {
      const tag = (await call(server, 'GET', address)).headers.get('etag');
      return call(server, 'PATCH', address, { json, headers: { 'if-match': tag } });
    };
    assert.deepEqual((await change({ title: 'y' })).body.tolerances, [0.1, 0.5], 'not named, not changed');
    const refused = await change({ tolerances: [0.2, -1] });
    assert.equal(refused.status, 400);
    assert.match(refused.body.detail, /length above 0/);
    assert.deepEqual((await change({ tolerances: [0.25] })).body.tolerances, [0.25]);
    assert.deepEqual((await change({ tolerances: [] })).body.tolerances, []);
  });

  test('a change needs the tag of what was read', async () => {
    const specimen = await makeSpecimen(server);
    const address = `/api/v1/specimens/${specimen.id}`;
    const tag = (await call(server, 'GET', address)).headers.get('etag');
    const change = (headers, json = { title: 'New title' }) => call(server, 'PATCH', address, { json, headers });

    assert.equal((await change({})).status, 428);
    assert.equal((await change({ 'if-match': '"0-other"' })).status, 412);
    assert.equal((await change({ 'if-match': `W/${tag}` })).status, 412, 'a weak tag is not enough');
    const changed = await change({ 'if-match': `"x", ${tag}` });
    assert.equal(changed.status, 200, changed.text);
    assert.equal(changed.body.title, 'New title');
    assert.notEqual(changed.headers.get('etag'), tag);
    const stale = await change({ 'if-match': tag }, { title: 'Older' });
    assert.equal(stale.status, 412);
    assert.equal(stale.body.code, 'stale');
    assert.equal((await call(server, 'GET', address)).body.title, 'New title');
    assert.equal((await change({ 'if-match': '*' }, { state: 'ready' })).body.state, 'ready');
  });

  test('of two changes with the same tag one wins', async () => {
    const specimen = await makeSpecimen(server);
    const address = `/api/v1/specimens/${specimen.id}`;
    const tag = (await call(server, 'GET', address)).headers.get('etag');
    const answers = await Promise.all(['a', 'b', 'c', 'd'].map((note) => call(server, 'PATCH', address, { json: { note }, headers: { 'if-match': tag } })));
    assert.deepEqual(answers.map((answer) => answer.status).sort(), [200, 412, 412, 412]);
  });

  test('a state is one of the five, and handed over is not set by hand', async () => {
    const specimen = await makeSpecimen(server);
    const change = (json) => call(server, 'PATCH', `/api/v1/specimens/${specimen.id}`, { json, headers: { 'if-match': '*' } });
    assert.equal((await change({ state: 'in work' })).status, 200);
    assert.equal((await change({ state: 'lost' })).status, 400);
    assert.equal((await change({ state: 'handed over' })).status, 400);
    assert.equal((await change({ catalogue_number: 'other' })).status, 400);
  });

  test('units change only while there is no version', async () => {
    const specimen = await makeSpecimen(server);
    const change = (units) => call(server, 'PATCH', `/api/v1/specimens/${specimen.id}`, { json: { units }, headers: { 'if-match': '*' } });
    assert.equal((await change('cm')).body.units, 'cm');
    assert.equal((await upload(server, specimen.id, box())).status, 201);
    assert.equal((await change('mm')).status, 409);
  });

  test('reads are not repeated while nothing changed', async () => {
    const specimen = await makeSpecimen(server);
    for (const { id } of (await call(server, 'GET', '/api/v1/jobs?limit=500')).body.items) await waitForJob(server, id);
    for (const address of [`/api/v1/specimens/${specimen.id}`, '/api/v1/specimens?sort=number', `/api/v1/specimens/${specimen.id}/versions`]) {
      const tag = (await call(server, 'GET', address)).headers.get('etag');
      const again = await call(server, 'GET', address, { headers: { 'if-none-match': tag } });
      assert.equal(again.status, 304, address);
      assert.equal(again.bytes.length, 0);
    }
  });

  test('the list is searched, sorted and paged', async () => {
    for (let i = 0; i < 7; i++) await makeSpecimen(server, { catalogue_number: `PAGE-${i}`, title: `Sea 100% lily_${6 - i}` });
    const list = async (query) => (await call(server, 'GET', `/api/v1/specimens?${new URLSearchParams(query)}`)).body;

    assert.equal((await list({ q: 'page-' })).total, 7);
    assert.equal((await list({ q: '100%' })).total, 7);
    assert.equal((await list({ q: '100_' })).total, 0, 'the text is not a pattern');
    assert.equal((await list({ q: "' OR 1=1 --" })).total, 0);
    const byTitle = await list({ q: 'PAGE-', sort: 'title', order: 'asc' });
    assert.deepEqual(byTitle.items.map((item) => item.catalogue_number), [6, 5, 4, 3, 2, 1, 0].map((i) => `PAGE-${i}`));
    assert.deepEqual(byTitle.totals, { all: 7, new: 7, 'in work': 0, ready: 0, 'handed over': 0, retired: 0, measuring: 0, failed: 0 });
    const end = await list({ q: 'PAGE-', sort: 'title', order: 'asc', limit: 3, offset: 5 });
    assert.deepEqual([end.items.map((item) => item.catalogue_number), end.total, end.next], [['PAGE-1', 'PAGE-0'], 7, null]);

    const seen = [];
    let cursor;
    do {
      const page = await list({ q: 'PAGE-', sort: 'number', order: 'desc', limit: 3, ...(cursor ? { cursor } : {}) });
      assert.equal(page.total, 7);
      assert.ok(page.items.length <= 3);
      seen.push(...page.items.map((item) => item.catalogue_number));
      cursor = page.next;
    } while (cursor);
    assert.deepEqual(seen, [6, 5, 4, 3, 2, 1, 0].map((i) => `PAGE-${i}`));
  });

  test('wrong list parameters are refused and named', async () => {
    for (const query of ['limit=0', 'limit=501', 'limit=x', 'sort=colour', 'order=up', 'state=gone', 'cursor=nonsense', 'offset=x', 'offset=-1', 'offset=5&cursor=1-41', 'limti=5', 'limit=5&limit=6']) {
      const answer = await call(server, 'GET', `/api/v1/specimens?${query}`);
      assert.equal(answer.status, 400, `${query}: ${answer.text}`);
    }
  });
});
