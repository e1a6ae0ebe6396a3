// handoffs.test.mjs - handing over by the API: when it may be, what it leaves behind; handoffs from elsewhere checked in a process of their
// own; how a file was made.
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { entriesOf, fettle, handOver, makeAudit, signOff, SIGNERS } from '../cli/handoff_support.mjs';
import { zip } from '../cli/zip_parts.mjs';
import { call, startServer, temporaryFolder, until } from './support.mjs';

describe('handoffs', () => {
  let server, made, handoff, bytes;
  const folder = temporaryFolder();
  const start = (audit, by = 'Cleo Example') => call(server, 'POST', `/api/v1/audits/${audit}/handoffs`, { json: { by } });
  const stateOf = async (id) => (await call(server, 'GET', `/api/v1/specimens/${id}`)).body.state;

  before(async () => {
    server = await startServer(null, { data: path.join(folder, 'data') });
    made = await makeAudit(server);
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  async function check(body, name = 'a.zip') {
    const begun = await call(server, 'POST', `/api/v1/handoff-checks?name=${encodeURIComponent(name)}`, { body });
    assert.equal(begun.status, 202, begun.text);
    const address = begun.headers.get('location');
    const { body: ended } = await until(() => call(server, 'GET', address), ({ body: now }) => now.state !== 'running');
    assert.notEqual(ended.state, 'running', `${address} does not end`);
    return ended;
  }

  test('how a file was made is stated, kept, and replaced as a whole', async () => {
    const address = `/api/v1/versions/${made.scan.id}`;
    const put = async (intake) => call(server, 'PATCH', address, { json: { intake }, headers: { 'if-match': (await call(server, 'GET', address)).headers.get('etag') } });
    assert.equal(made.scan.intake, null);
    const stated = { device: 'structured light', operator: 'Ada Example', date: '2026-11-02', resolution: '0.05 mm', uncertainty: '0.02 mm' };
    assert.deepEqual((await put({ ...stated, by: 'Ben Example' })).body.intake, stated);
    assert.deepEqual((await put({ ...stated, uncertainty: undefined })).body.intake, { ...stated, uncertainty: '' });
    for (const [wrong, text] of [[{ date: 'today' }, /is a day/], [{ lens: 'x' }, /lens/], [{ device: 'a\nb' }, /device/]]) {
      const { status, body } = await put(wrong);
      assert.equal(status, 400);
      assert.match(body.detail, text);
    }
    assert.equal((await put({})).body.intake, null);
    await put(stated);
    const { body: log } = await call(server, 'GET', `/api/v1/specimens/${made.specimen.id}/log`);
    assert.ok(log.items.some((step) => step.kind === 'intake stated' && step.who === 'Ben Example'), JSON.stringify(log));
  });

  test('an audit is handed over once as many persons as its spec wants have signed it, and not before', async () => {
    const { id } = made.audit;
    const wrong = await makeAudit(server, { limit: 0.1 });
    assert.equal((await start('999')).status, 404);
    const unfit = await start(wrong.audit.id);
    assert.equal(unfit.status, 409);
    assert.match(unfit.body.detail, /does not conform/);
    for (const by of SIGNERS) {
      const early = await start(id);
      assert.equal(early.status, 409);
      assert.match(early.body.detail, /its spec wants/);
      await signOff(server, id, by);
    }
    assert.equal((await start(id, ' ')).status, 400);
    assert.deepEqual((await call(server, 'GET', `/api/v1/audits/${id}/handoffs`)).body.items, []);
    assert.equal(await stateOf(made.specimen.id), 'in work');
    const done = await start(id);
    assert.equal(done.status, 201, done.text);
    handoff = done.body;
    assert.equal(done.headers.get('location'), `/api/v1/handoffs/${handoff.id}`);
    assert.equal(await stateOf(made.specimen.id), 'handed over');
    assert.deepEqual((await call(server, 'GET', `/api/v1/audits/${id}/handoffs`)).body.items, [handoff]);
    const { body: log } = await call(server, 'GET', `/api/v1/specimens/${made.specimen.id}/log`);
    assert.deepEqual([log.items[0].kind, log.items[0].who, log.items[0].text], ['handed over', 'Cleo Example', handoff.name]);
    assert.equal((await call(server, 'GET', '/api/v1/key')).body.fingerprint, handoff.seal);
  });

  test('the zip is given out whole and in parts, under its name, with its digest', async () => {
    const address = `/api/v1/handoffs/${handoff.id}/file`;
    const whole = await call(server, 'GET', address);
    assert.equal(whole.headers.get('content-type'), 'application/zip');
    assert.match(whole.headers.get('content-disposition'), new RegExp(`attachment.*${handoff.name}\\.zip`));
    assert.equal(createHash('sha256').update(whole.bytes).digest('hex'), handoff.file.sha256);
    assert.equal(whole.bytes.length, handoff.file.bytes);
    const part = await call(server, 'GET', address, { headers: { range: 'bytes=4-9' } });
    assert.deepEqual(part.bytes, whole.bytes.subarray(4, 10));
    bytes = whole.bytes;
  });

  test('what was stated of the scan is in it', async () => {
    const at = path.join(folder, 'whole');
    handOver(server, made.audit.id, at);
    const specimen = JSON.parse(entriesOf(at).find(({ name }) => name.endsWith('/specimen.json')).bytes);
    const scan = specimen['dwc:associatedMedia'].find((each) => each['dcterms:identifier'] === 'scan 1');
    assert.equal(scan['ac:captureDevice'], 'structured light');
    assert.equal(scan['fettle:intake'].resolution, '0.05 mm');
    assert.equal(specimen['dwc:catalogNumber'], made.specimen.catalogue_number);
  });

  test('a handoff sent in is checked and measured again in a process of its own, and not kept', async () => {
    const { state, name, result } = await check(bytes, 'näme.zip');
    assert.equal(state, 'done');
    assert.equal(name, 'näme.zip');
    assert.equal(result.outcome, 'holds', JSON.stringify(result));
    assert.deepEqual(result.checks.map(({ outcome }) => outcome), Array(7).fill('holds'));
    assert.equal(result.measured_again.differences_total, 0);
    writeFileSync(path.join(folder, 'same.zip'), bytes);
    const told = fettle('verify-handoff', '--json', path.join(folder, 'same.zip'));
    assert.deepEqual(result, JSON.parse(told.stdout), 'the command line says the same');
    assert.deepEqual(readdirSync(path.join(server.data, 'uploads')), []);
  });

  test('a changed one is told, a hostile one is refused, and the service goes on', async () => {
    const changed = Buffer.from(bytes);
    changed[changed.indexOf('"dwc:catalogNumber"') + 3] ^= 1;
    const { result } = await check(changed);
    assert.equal(result.outcome, 'does not hold');
    assert.ok(result.checks.some(({ problems }) => problems.some((each) => each.path === 'data/specimen.json')));
    const entries = entriesOf(path.join(folder, 'whole'));
    const hostile = [
      zip([...entries, { name: '../../evil', bytes: Buffer.from('x') }]),
      zip([...entries, { name: 'bag/zeros', bytes: Buffer.alloc(8 << 20), deflate: true }]),
      Buffer.from('PK\x03\x04nothing'),
    ];
    for (const each of hostile) assert.equal((await check(each)).result.outcome, 'refused');
    assert.equal((await call(server, 'POST', '/api/v1/handoff-checks')).status, 422);
    assert.equal((await call(server, 'GET', '/api/v1/handoff-checks/999')).status, 404);
    assert.equal((await check(bytes)).result.outcome, 'holds');
  });

  test('fettle verify finds the data folder whole after it', () => {
    const told = fettle('verify', '--data', server.data);
    assert.equal(told.status, 0, told.stdout);
  });
});
