// versions.test.mjs - uploads, the same bytes twice, digests, references, withdrawal, files and their ranges.
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, rmSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { box, call, curl, makeSpecimen, SHARED, startServer, temporaryFolder, until, upload } from './support.mjs';

describe('versions', () => {
  let server;
  const folder = temporaryFolder();
  before(async () => (server = await startServer(null, { data: path.join(folder, 'data'), args: ['--limit', 'uploads=4'] })));
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });
  const change = (id, json, match = '*') => call(server, 'PATCH', `/api/v1/versions/${id}`, { json, headers: { 'if-match': match } });

  test('an upload is a numbered version with the hash of its bytes, and its job', async () => {
    const specimen = await makeSpecimen(server);
    const bytes = box({ at: 1 });
    const made = await upload(server, specimen.id, bytes, { name: 'NH_scan.obj', note: 'first', by: 'B. Keeper' });
    assert.equal(made.status, 201, made.text);
    assert.equal(made.headers.get('location'), `/api/v1/versions/${made.body.id}`);
    assert.equal(made.body.label, 'scan 1');
    assert.deepEqual({ ...made.body.file, format: null },
      { name: 'NH_scan.obj', sha256: createHash('sha256').update(bytes).digest('hex'), bytes: bytes.length, format: null });
    assert.equal(made.body.by, 'B. Keeper');
    assert.equal(made.body.note, 'first');
    assert.equal(made.body.jobs.length, 1);
    const list = await call(server, 'GET', `/api/v1/specimens/${specimen.id}/versions`);
    assert.deepEqual(list.body.items.map((version) => version.id), [made.body.id]);
    const after_ = (await call(server, 'GET', `/api/v1/specimens/${specimen.id}`)).body;
    assert.equal(after_.latest_scan, made.body.id);
    assert.equal(after_.state, 'in work');
    assert.equal(after_.trend.length, 1);
  });

  test('a file sent without a name is called by its kind', async () => {
    const specimen = await makeSpecimen(server);
    const made = await call(server, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan`, { body: box({ at: 31 }) });
    assert.equal(made.status, 201, made.text);
    assert.equal(made.body.file.name, 'scan');
  });

  test('the same bytes for the same specimen and kind are the existing version', async () => {
    const specimen = await makeSpecimen(server);
    const other = await makeSpecimen(server);
    const first = await upload(server, specimen.id, box({ at: 2 }));
    const again = await upload(server, specimen.id, box({ at: 2 }), { name: 'other.obj' });
    assert.equal(again.status, 200);
    assert.equal(again.body.id, first.body.id);
    assert.equal(again.body.file.name, 'a.obj');
    assert.equal((await upload(server, specimen.id, box({ at: 2 }), { kind: 'cage' })).status, 201, 'another kind is another version');
    assert.equal((await upload(server, other.id, box({ at: 2 }))).status, 201, 'another specimen too');
  });

  test('a hundred uploads of the same bytes at once make one version', async () => {
    const specimen = await makeSpecimen(server);
    const answers = [];
    for (let i = 0; i < 25; i++)
      answers.push(...(await Promise.all([1, 2, 3, 4].map(() => upload(server, specimen.id, box({ at: 3 }))))));
    assert.equal(answers.filter((answer) => answer.status === 201).length, 1);
    assert.ok(answers.every((answer) => answer.status === 201 || answer.status === 200));
    assert.equal(new Set(answers.map((answer) => answer.body.id)).size, 1);
  });

  test('a cage knows its reference: what it was made from, what that was measured against, or the latest scan', async () => {
    const specimen = await makeSpecimen(server);
    const alone = (await upload(server, specimen.id, box({ at: 4 }), { kind: 'cage' })).body;
    assert.equal(alone.against, null);
    const scan = (await upload(server, specimen.id, box({ at: 4, triangles: true }))).body;
    const mended = (await upload(server, specimen.id, box({ at: 4.5, triangles: true }), { made_from: scan.id })).body;
    assert.equal(mended.made_from, scan.id);
    assert.equal(mended.against, scan.id);
    assert.equal(mended.jobs.length, 2, 'alone and against what it was made from');
    const cage = (await upload(server, specimen.id, box({ at: 4.1 }), { kind: 'cage', made_from: scan.id })).body;
    assert.equal(cage.against, scan.id);
    const later = (await upload(server, specimen.id, box({ at: 4.2 }), { kind: 'cage', made_from: cage.id })).body;
    assert.equal(later.against, scan.id);
    const nothing = (await upload(server, specimen.id, box({ at: 4.3 }), { kind: 'cage' })).body;
    assert.equal(nothing.against, mended.id, 'the latest scan');
    const none = (await upload(server, specimen.id, box({ at: 4.4 }), { kind: 'cage', against: 'none' })).body;
    assert.equal(none.against, null);
  });

  test('a face size is a length, a length with unit, or a share', async () => {
    const specimen = await makeSpecimen(server, { units: 'mm' });
    const size = async (face_size, at) => (await upload(server, specimen.id, box({ at }), { kind: 'cage', face_size })).body;
    assert.equal((await size('0.4mm', 10)).face_size, 0.4);
    assert.equal((await size('0.4', 11)).face_size, 0.4);
    assert.equal((await size('0.1cm', 12)).face_size, 1);
    assert.ok(Math.abs((await size('0.75%', 13)).face_size_share - 0.0075) < 1e-12);
    for (const wrong of ['0', '-1', 'x', '0.4furlong', '1e400', 'NaN'])
      assert.equal((await upload(server, specimen.id, box({ at: 14 }), { kind: 'cage', face_size: wrong })).status, 400, wrong);
  });

  test('what cannot be is refused before the body is read', async () => {
    const specimen = await makeSpecimen(server);
    const other = await makeSpecimen(server);
    const foreign = (await upload(server, other.id, box({ at: 20 }))).body;
    const refused = async (values, status, id = specimen.id) => {
      const answer = await upload(server, id, box({ at: 21 }), values);
      assert.equal(answer.status, status, `${JSON.stringify(values)}: ${answer.text}`);
    };
    await refused({}, 404, '424242');
    await refused({ kind: 'sculpture' }, 400);
    await refused({ kind: '' }, 400);
    await refused({ made_from: '424242' }, 400);
    await refused({ made_from: foreign.id }, 400);
    await refused({ against: foreign.id, kind: 'cage' }, 400);
    await refused({ against: 'x' }, 400);
    await refused({ colour: 'red' }, 400);
    await refused({ name: '' }, 400);
    await refused({ note: 'x'.repeat(5000) }, 400);
    const empty = await call(server, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan&name=e.obj`, { body: '' });
    assert.equal(empty.status, 422);
    assert.equal(empty.body.code, 'reject-empty');
    await call(server, 'PATCH', `/api/v1/specimens/${specimen.id}`, { json: { state: 'retired' }, headers: { 'if-match': '*' } });
    await refused({}, 409);
  });

  test('a stated digest is checked', async () => {
    const specimen = await makeSpecimen(server);
    const bytes = box({ at: 30 });
    const field = (text) => `sha-256=:${createHash('sha256').update(text).digest('base64')}:`;
    const send = (headers) => call(server, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan&name=d.obj`, { body: bytes, headers });
    for (const name of ['repr-digest', 'content-digest']) {
      const wrong = await send({ [name]: field('other') });
      assert.equal(wrong.status, 400);
      assert.equal(wrong.body.code, 'digest-mismatch');
      assert.equal((await send({ [name]: 'sha-256=:xyz:' })).status, 400);
    }
    assert.equal((await call(server, 'GET', `/api/v1/specimens/${specimen.id}/versions`)).body.total, 0);
    assert.equal((await send({ 'repr-digest': field(bytes), 'content-digest': `sha-512=:AAAA:, ${field(bytes)}` })).status, 201);
  });

  test('another reference starts a run; the same one, a foreign one and a cage do not', async () => {
    const specimen = await makeSpecimen(server);
    const first = (await upload(server, specimen.id, box({ at: 40, triangles: true }))).body;
    const second = (await upload(server, specimen.id, box({ at: 41, triangles: true }))).body;
    const cage = (await upload(server, specimen.id, box({ at: 42 }), { kind: 'cage', against: first.id })).body;
    assert.equal((await call(server, 'PATCH', `/api/v1/versions/${cage.id}`, { json: { against: second.id } })).status, 428);
    const tag = (await call(server, 'GET', `/api/v1/versions/${cage.id}`)).headers.get('etag');
    const moved = await change(cage.id, { against: second.id });
    assert.equal(moved.status, 200, moved.text);
    assert.equal(moved.body.against, second.id);
    assert.equal(moved.body.jobs.length, cage.jobs.length + 1);
    assert.equal((await change(cage.id, { against: first.id }, tag)).status, 412);
    assert.equal((await change(cage.id, { against: cage.id })).status, 400);
    assert.equal((await change(cage.id, { against: 7 })).status, 400);
    assert.equal((await change(cage.id, {})).status, 400);
    assert.equal((await change(cage.id, { against: null, withdrawn: { reason: 'x' } })).status, 400);
    assert.equal((await change(cage.id, { against: null })).body.against, null);
  });

  test('a version is withdrawn with a reason, once, and stays readable', async () => {
    const specimen = await makeSpecimen(server);
    const scan = (await upload(server, specimen.id, box({ at: 50 }))).body;
    assert.equal((await change(scan.id, { withdrawn: { reason: '' } })).status, 400);
    assert.equal((await change(scan.id, { withdrawn: { by: 'x' } })).status, 400);
    const gone = await change(scan.id, { withdrawn: { reason: 'wrong shell', by: 'C. Lead' } });
    assert.equal(gone.status, 200, gone.text);
    assert.equal(gone.body.withdrawn.reason, 'wrong shell');
    assert.equal(gone.body.withdrawn.by, 'C. Lead');
    assert.equal((await change(scan.id, { withdrawn: { reason: 'again' } })).status, 409);
    const now = (await call(server, 'GET', `/api/v1/specimens/${specimen.id}`)).body;
    assert.equal(now.latest_scan, null);
    assert.equal(now.trend[0].withdrawn, true);
    assert.equal((await call(server, 'GET', `/api/v1/versions/${scan.id}/file`)).status, 200);
    assert.equal((await call(server, 'DELETE', `/api/v1/versions/${scan.id}`)).status, 405);
  });

  test('more uploads at once than allowed are told to come again', async () => {
    const specimen = await makeSpecimen(server);
    const open = [];
    for (let i = 0; i < 4; i++) {
      let feed;
      const body = new ReadableStream({ start: (controller) => (feed = controller) });
      open.push({ feed, answer: call(server, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan&name=s${i}.obj`, { body }) });
      feed.enqueue(new TextEncoder().encode(box({ at: 60 + i })));
    }
    assert.ok(await until(async () => /^fettle_uploads 4$/m.test((await call(server, 'GET', '/metrics')).text)));
    const fifth = await upload(server, specimen.id, box({ at: 70 }));
    assert.equal(fifth.status, 503);
    assert.ok(Number(fifth.headers.get('retry-after')) >= 1);
    assert.match(fifth.body.detail, /uploads/);
    open.forEach(({ feed }) => feed.close());
    for (const { answer } of open) assert.equal((await answer).status, 201);
    assert.equal((await upload(server, specimen.id, box({ at: 70 }))).status, 201);
  });

  describe('the file', () => {
    let version;
    const bytes = Buffer.from(box({ at: 80 }).repeat(200));
    before(async () => {
      const specimen = await makeSpecimen(server);
      version = (await upload(server, specimen.id, bytes, { name: 'sch\u00f6n "x".obj' })).body;
    });
    const address = () => `/api/v1/versions/${version.id}/file`;

    test('comes back as it was, as a download only', async () => {
      const file = await call(server, 'GET', address());
      assert.ok(file.bytes.equals(bytes));
      assert.equal(file.headers.get('content-type'), 'application/octet-stream');
      assert.match(file.headers.get('content-disposition'), /^attachment; filename="sch__n__x_.obj"; filename\*=UTF-8''sch%C3%B6n%20%22x%22\.obj$/);
      assert.match(file.headers.get('content-security-policy'), /sandbox/);
      assert.equal(file.headers.get('etag'), `"${version.file.sha256}"`);
      assert.match(file.headers.get('cache-control'), /immutable/);
      assert.equal(file.headers.get('repr-digest'), `sha-256=:${Buffer.from(version.file.sha256, 'hex').toString('base64')}:`);
      assert.equal((await call(server, 'GET', address(), { headers: { 'if-none-match': `"${version.file.sha256}"` } })).status, 304);
    });

    test('comes in ranges, also to curl', () => {
      const url = server.origin + address();
      assert.ok(curl('-r', '10-19', url).equals(bytes.subarray(10, 20)));
      assert.ok(curl('-r', '-7', url).equals(bytes.subarray(bytes.length - 7)));
      assert.ok(curl('-r', `${bytes.length - 3}-`, url).equals(bytes.subarray(bytes.length - 3)));
      const parts = path.join(folder, 'part');
      rmSync(parts, { force: true });
      curl('-r', '0-999', '-o', parts, url);
      curl('-C', '-', '-o', parts, url);
      assert.ok(readFileSync(parts).equals(bytes), 'a broken download goes on where it stopped');
    });

    test('answers ranges as RFC 9110 section 14 says', async () => {
      const ask = (headers) => call(server, 'GET', address(), { headers });
      const part = await ask({ range: 'bytes=0-0' });
      assert.equal(part.status, 206);
      assert.equal(part.headers.get('content-range'), `bytes 0-0/${bytes.length}`);
      assert.equal(part.bytes.length, 1);
      const beyond = await ask({ range: `bytes=${bytes.length}-` });
      assert.equal(beyond.status, 416);
      assert.equal(beyond.headers.get('content-range'), `bytes */${bytes.length}`);
      assert.equal((await ask({ range: 'bytes=0-1,5-6' })).status, 200, 'several ranges: the whole');
      assert.equal((await ask({ range: 'bytes=9-2' })).status, 200, 'nonsense: the whole');
      assert.equal((await ask({ range: 'bytes=0-1', 'if-range': `"${version.file.sha256}"` })).status, 206);
      assert.equal((await ask({ range: 'bytes=0-1', 'if-range': '"other"' })).status, 200);
      const head = await call(server, 'HEAD', address());
      assert.equal(head.headers.get('content-length'), String(bytes.length));
      assert.equal(head.headers.get('accept-ranges'), 'bytes');
    });
  });

  test('hostile names are refused or shown, and never a path', async (t) => {
    const table = path.join(SHARED, 'badinput/FILENAMES.tsv');
    if (!existsSync(table)) return t.skip(`no ${table}`);
    const names = readFileSync(table, 'utf8').trim().split('\n').slice(1).map((line) => JSON.parse(line.split('\t')[0]));
    assert.ok(names.length >= 20);
    const specimen = await makeSpecimen(server);
    for (const [i, name] of names.entries()) {
      const answer = await upload(server, specimen.id, box({ at: 100 + i }), { name });
      assert.ok(answer.status === 201 || (answer.status >= 400 && answer.status < 500), `${JSON.stringify(name)}: ${answer.status} ${answer.text}`);
      if (answer.status !== 201) continue;
      const shown = answer.body.file.name;
      assert.doesNotMatch(shown, /[/\\]/, name);
      const file = await call(server, 'GET', `/api/v1/versions/${answer.body.id}/file`);
      assert.match(file.headers.get('content-disposition'), /^attachment; filename="[A-Za-z0-9_-][A-Za-z0-9._-]*"; filename\*=UTF-8''[A-Za-z0-9_%-][A-Za-z0-9._%-]*$/);
      assert.equal(file.headers.get('set-cookie'), null);
      assert.ok(file.bytes.equals(Buffer.from(box({ at: 100 + i }))));
    }
    for (const line of server.log.trim().split('\n').slice(-200))
      if (line.startsWith('{')) assert.doesNotThrow(() => JSON.parse(line), line);
    assert.ok(!existsSync('/etc/cron.d/x.obj'));
  });
});
