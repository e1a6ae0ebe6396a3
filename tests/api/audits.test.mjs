// audits.test.mjs - specs in their versions, runs judged by them, waivers, and what another limit would have meant.
// A box of side 1 against one of side 0.9 at the same corner: the far corners are 0.1 sqrt(3) = 0.17320508 apart,
// which six significant digits, rounded up, say as 0.173206.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { box, call, FETTLE, makeSpecimen, startServer, temporaryFolder, upload, waitForVersion } from './support.mjs';

const rule = (id, more) => ({ id, reason: 'because', source: 'common practice, no source', ...more });
const closeSpec = (limit) => ({
  schema: 'fettle/spec/1',
  name: 'Close',
  purpose: 'to be near its scan',
  rules: [
    rule('near', { measure: 'deviation.hausdorff', relation: 'at most', limit, unit: 'mm' }),
    rule('closed', { measure: 'subject.topology.closed', relation: 'equals', limit: true }),
  ],
});
const inDays = (days) => new Date(Date.now() + days * 86400e3).toISOString().slice(0, 10);

describe('audits', () => {
  let server, specimen, cage, spec;
  const data = path.join(temporaryFolder(), 'data');
  const judge = (run, by) => call(server, 'POST', '/api/v1/audits', { json: { run, spec: by } });
  const waive = (json) => call(server, 'POST', `/api/v1/specimens/${specimen.id}/waivers`, { json });

  before(async () => {
    server = await startServer(null, { data });
    specimen = await makeSpecimen(server);
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimen.id, bytes, values)).body.id);
    const scan = await put(box({ triangles: true }), { name: 'scan.obj' });
    cage = await put(box({ size: 0.9 }), { kind: 'cage', name: 'cage.obj', made_from: scan.id });
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('a new store has the starting specs, each a version 1 that can be read whole', async () => {
    const { items } = (await call(server, 'GET', '/api/v1/specs')).body;
    assert.deepEqual(items.map((item) => item.name), ['Archive', 'Print', 'Subdivision cage for CAD', 'Teaching cast']);
    for (const item of items) {
      assert.equal(item.version, 1);
      assert.equal(item.latest, true);
      const whole = (await call(server, 'GET', `/api/v1/specs/${item.id}`)).body;
      assert.equal(whole.spec.name, item.name);
      for (const each of whole.spec.rules) assert.ok(each.source, `${item.name}: ${each.id}`);
    }
  });

  test('a spec is numbered by the service, the same one twice is one, and an edit is the next version', async () => {
    const first = await call(server, 'POST', '/api/v1/specs', { json: closeSpec(0.173) });
    assert.equal(first.status, 201, first.text);
    assert.equal(first.body.version, 1);
    assert.equal(first.headers.get('location'), `/api/v1/specs/${first.body.id}`);
    const again = await call(server, 'POST', '/api/v1/specs', { json: { ...closeSpec(0.173), version: 7 } });
    assert.equal(again.status, 200);
    assert.equal(again.body.id, first.body.id);
    const edited = await call(server, 'POST', '/api/v1/specs', { json: closeSpec(0.2) });
    assert.equal(edited.status, 201);
    assert.equal(edited.body.version, 2);
    assert.notEqual(edited.body.sha256, first.body.sha256);
    const { items } = (await call(server, 'GET', '/api/v1/specs')).body;
    assert.deepEqual(items.filter((item) => item.name === 'Close').map((item) => [item.version, item.latest]), [[2, true], [1, false]]);
    spec = { strict: first.body.id, loose: edited.body.id };
  });

  test('a spec is checked without being kept, in the words in which adding it would refuse it', async () => {
    const before = (await call(server, 'GET', '/api/v1/specs')).body.items.length;
    const check = (json) => call(server, 'POST', '/api/v1/spec-checks', { json });
    const good = await check({ ...closeSpec(0.173), name: 'Only checked' });
    assert.deepEqual([good.status, good.body], [200, { valid: true, detail: null, line: null }]);
    const bad = { ...closeSpec(0.173), purpose: '' };
    const told = await check(bad);
    assert.equal(told.status, 200);
    assert.deepEqual([told.body.valid, told.body.detail], [false, (await call(server, 'POST', '/api/v1/specs', { json: bad })).body.detail]);
    assert.equal((await call(server, 'GET', '/api/v1/specs')).body.items.length, before);
  });

  test('a spec with a fault is refused with rule and key, and nothing is kept', async () => {
    const before = (await call(server, 'GET', '/api/v1/specs')).body.items.length;
    const wrong = closeSpec(1);
    wrong.rules[0].unit = 'furlong';
    const refused = await call(server, 'POST', '/api/v1/specs', { json: wrong });
    assert.equal(refused.status, 400);
    assert.match(refused.body.detail, /^rule 1 \(near\): "unit" of a limit of length is one of mm, cm, m, in, diagonal, not "furlong"/);
    assert.equal((await call(server, 'GET', '/api/v1/specs')).body.items.length, before);
  });

  test('a run is judged rule by rule, the value shown is the value judged, and the same outcome is kept once', async () => {
    const made = await judge(cage.latest_run, spec.strict);
    assert.equal(made.status, 201, made.text);
    assert.equal(made.body.outcome, 'does not conform');
    const near = made.body.audit.rules.find((each) => each.id === 'near');
    assert.equal(near.outcome, 'does not conform');
    assert.ok(near.value.lower <= 0.1 * Math.sqrt(3) && near.value.upper >= 0.1 * Math.sqrt(3));
    assert.equal(near.value_text, near.value.lower === near.value.upper ? `${near.value.upper} mm` : `${near.value.lower} to ${near.value.upper} mm`);
    const again = await judge(cage.latest_run, spec.strict);
    assert.equal(again.status, 200);
    assert.deepEqual(again.body, made.body);
    assert.equal((await judge(cage.latest_run, spec.loose)).body.outcome, 'conforms');
  });

  test('the command line judges a run of the store to the same bytes while the server runs', async () => {
    const made = (await judge(cage.latest_run, spec.loose)).body.audit;
    const whole = (await call(server, 'GET', `/api/v1/specs/${spec.loose}`)).body.spec;
    const file = path.join(path.dirname(data), 'close.json');
    writeFileSync(file, JSON.stringify(whole));
    const printed = execFileSync(FETTLE, ['audit', '--spec', file, '--run', cage.latest_run, '--data', data, '--json'], { encoding: 'utf8' });
    assert.deepEqual(JSON.parse(printed), made);
  });

  test('a waiver holds to its last day, is shown in the audit, and ends when it is withdrawn', async () => {
    const json = { spec: 'Close', rule: 'near', reason: 'the stand is not part of it', author: 'A. Lead', expires: inDays(30) };
    const waiver = await waive(json);
    assert.equal(waiver.status, 201, waiver.text);
    assert.equal(waiver.body.holds, true);
    const waived = await judge(cage.latest_run, spec.strict);
    assert.equal(waived.status, 201);
    assert.equal(waived.body.outcome, 'conforms');
    assert.equal(waived.body.waived, 1);
    const near = waived.body.audit.rules.find((each) => each.id === 'near');
    assert.equal(near.outcome, 'does not conform');
    assert.deepEqual(near.waiver, { reason: json.reason, author: json.author, expires: json.expires });
    const meant = await call(server, 'POST', `/api/v1/waivers/${waiver.body.id}/withdraw`, { json: { reason: 'over' } });
    assert.equal(meant.status, 400, 'a body that would be ignored is refused');
    const ended = await call(server, 'POST', `/api/v1/waivers/${waiver.body.id}/withdraw`);
    assert.equal(ended.body.holds, false);
    assert.ok(ended.body.withdrawn_at);
    const after = await judge(cage.latest_run, spec.strict);
    assert.equal(after.body.outcome, 'does not conform');
    const [newest] = (await call(server, 'GET', `/api/v1/audits?run=${cage.latest_run}&spec=${spec.strict}`)).body.items;
    assert.equal(newest.id, after.body.id, 'the last outcome stands first, though it was there before');
    const { items } = (await call(server, 'GET', `/api/v1/specimens/${specimen.id}/waivers`)).body;
    assert.equal(items.length, 1);
  });

  test('a waiver needs a rule that exists, a reason, an author and a day to come', async () => {
    const good = { spec: 'Close', rule: 'near', reason: 'r', author: 'a', expires: inDays(1) };
    for (const [change, says] of [
      [{ rule: 'far' }, /no rule "far"/],
      [{ spec: 'Nowhere' }, /no spec "Nowhere"/],
      [{ reason: ' ' }, /reason is missing/],
      [{ author: '' }, /author is missing/],
      [{ expires: '2026-02-30' }, /last day it holds/],
      [{ expires: inDays(-1) }, /over already/],
    ]) {
      const refused = await waive({ ...good, ...change });
      assert.equal(refused.status, 400, JSON.stringify(change));
      assert.match(refused.body.detail, says);
    }
  });

  test('what another limit would have meant is counted over the latest runs', async () => {
    const ask = async (query) => call(server, 'GET', `/api/v1/specs/${spec.strict}/what-if?${query}`);
    const { body } = await ask('rule=near&limit=0.2');
    assert.equal(body.runs, 2);
    assert.deepEqual(body.now, { conforms: 0, undecided: 1, does_not_conform: 1 });
    assert.deepEqual(body.then, { conforms: 1, undecided: 1, does_not_conform: 0 });
    assert.equal((await ask('rule=closed&limit=1')).status, 400);
    assert.equal((await ask('rule=near&limit=wide')).status, 400);
  });

  test('audits are listed newest first, by specimen, run and spec', async () => {
    const list = async (query) => (await call(server, 'GET', `/api/v1/audits?${query}`)).body;
    const all = await list(`specimen=${specimen.id}`);
    assert.ok(all.total >= 3);
    assert.ok(all.items.every((item, i) => i === 0 || Number(item.id) < Number(all.items[i - 1].id)));
    assert.equal((await list(`spec=${spec.loose}`)).total, 1);
    assert.equal((await list(`run=${cage.latest_run}&spec=${spec.loose}`)).total, 1);
    const page = await list('limit=1');
    assert.equal(page.items.length, 1);
    assert.equal((await list(`limit=1&cursor=${page.next}`)).items.length, 1);
  });

  test('a spec that is not for such a file, and a run or spec that is not there, are refused', async () => {
    const cad = (await call(server, 'GET', '/api/v1/specs')).body.items.find((item) => item.name === 'Subdivision cage for CAD');
    const scanRun = (await call(server, 'GET', `/api/v1/versions/${cage.made_from}`)).body.latest_run;
    const refused = await judge(scanRun, cad.id);
    assert.equal(refused.status, 400);
    assert.match(refused.body.detail, /is for a cage, and this is a run of a scan/);
    assert.equal((await judge('999', cad.id)).status, 404);
    assert.equal((await judge(cage.latest_run, '999')).status, 404);
  });

  test('specs, audits and waivers are there after a restart, and starting specs are not added again', async () => {
    const before = (await call(server, 'GET', '/api/v1/specs')).body;
    const audits = (await call(server, 'GET', '/api/v1/audits')).body;
    assert.equal((await server.stop()).code, 0);
    server = await startServer(null, { data });
    assert.deepEqual((await call(server, 'GET', '/api/v1/specs')).body, before);
    assert.deepEqual((await call(server, 'GET', '/api/v1/audits')).body, audits);
  });
});
