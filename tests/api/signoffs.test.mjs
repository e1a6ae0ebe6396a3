// signoffs.test.mjs - audits signed off by named persons, what is signed, what breaks it, and the log.
import assert from 'node:assert/strict';
import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { once } from 'node:events';
import { chmodSync, existsSync, readFileSync, renameSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import Ajv2020 from 'ajv/dist/2020.js';
import addFormats from 'ajv-formats';
import { box, call, FETTLE, makeSpecimen, ROOT, startServer, temporaryFolder, upload, waitForVersion } from './support.mjs';

const sha256 = (bytes) => createHash('sha256').update(bytes).digest('hex');
const closed = (name, more = {}) => ({
  schema: 'fettle/spec/1',
  name,
  purpose: 'to be whole',
  rules: [{ id: 'closed', measure: 'subject.topology.closed', relation: 'equals', limit: true, reason: 'because', source: 'common practice, no source' }],
  ...more,
});

describe('sign-offs', () => {
  let server, specimen, scan, cage, audit, signed;
  const folder = temporaryFolder();
  const data = path.join(folder, 'data');
  const get = async (address) => (await call(server, 'GET', `/api/v1${address}`)).body;
  const judge = async (spec, run = cage.latest_run) => {
    const { body } = await call(server, 'POST', '/api/v1/specs', { json: spec });
    return (await call(server, 'POST', '/api/v1/audits', { json: { run, spec: body.id } })).body;
  };
  const sign = (of, json) => call(server, 'POST', `/api/v1/audits/${of.id}/sign-offs`, { json });
  const log = async () => (await get(`/specimens/${specimen.id}/log`)).items;
  const file = (name, bytes) => {
    writeFileSync(path.join(folder, name), bytes);
    return path.join(folder, name);
  };
  const openssl = (signOff, statement) =>
    spawnSync('openssl', ['pkeyutl', '-verify', '-pubin', '-inkey', file('key.pem', signOff.public_key), '-rawin', '-in',
      file('statement.json', statement), '-sigfile', file('s.bin', Buffer.from(signOff.signature, 'base64'))], { encoding: 'utf8' });
  /** Changes the database behind the service's back, by another program; throws what SQLite says. */
  const sqlite = 'import sqlite3, sys\nc = sqlite3.connect(sys.argv[1], isolation_level=None)\nfor line in sys.stdin:\n  try:\n    c.execute(line)\n'
    + '    print("done", flush=True)\n  except Exception as e:\n    print(e, flush=True)';
  let other;
  async function alter(statement) {
    other ??= spawn('python3', ['-c', sqlite, path.join(data, 'fettle.db')], { stdio: ['pipe', 'pipe', 'inherit'] });
    other.stdin.write(`${statement}\n`);
    let said = '';
    while (!said.endsWith('\n')) said += (await once(other.stdout, 'data'))[0];
    if (said !== 'done\n') throw new Error(said);
  }

  before(async () => {
    server = await startServer(null, { data });
    specimen = await makeSpecimen(server);
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimen.id, bytes, values)).body.id);
    scan = await put(box({ triangles: true }), { name: 'scan.obj' });
    cage = await put(box({ size: 0.9 }), { kind: 'cage', name: 'cage.obj', made_from: scan.id });
    audit = await judge(closed('Whole'));
  });
  after(async () => {
    other?.stdin.end();
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('before the first sign-off there is no key, and nothing is signed', async () => {
    assert.equal((await call(server, 'GET', '/api/v1/key')).status, 404);
    assert.deepEqual(await get(`/audits/${audit.id}/sign-offs`),
      { audit: audit.id, state: 'not signed', persons: { needed: 1, signed: 0 }, refusal: null, items: [] });
    assert.ok(!existsSync(path.join(data, 'seal.pem')));
  });

  test('a sign-off states by digest what was judged, and openssl finds the signature good', async () => {
    const answer = await sign(audit, { by: 'Zoë Lead', role: 'head of the laboratory', note: 'for the printer' });
    assert.equal(answer.status, 201, answer.text);
    signed = answer.body;
    assert.equal(answer.headers.get('location'), `/api/v1/sign-offs/${signed.id}`);
    assert.equal(signed.holds, true);
    assert.deepEqual(await get(`/sign-offs/${signed.id}`), signed);

    const statement = JSON.parse(signed.statement);
    const validate = addFormats(new Ajv2020({ strict: false })).compile(JSON.parse(readFileSync(path.join(ROOT, 'schema/sign-off.schema.json'), 'utf8')));
    assert.ok(validate(statement), JSON.stringify(validate.errors));
    const record = await call(server, 'GET', `/api/v1/runs/${cage.latest_run}`);
    const bytesOf = async (version) => Buffer.from((await call(server, 'GET', `/api/v1/versions/${version.id}/file`)).bytes);
    assert.deepEqual(statement.specimen, { id: specimen.id, catalogue_number: specimen.catalogue_number });
    assert.deepEqual(statement.files.map((each) => [each.role, each.label, each.name]),
      [['subject', 'cage 1', 'cage.obj'], ['reference', 'scan 1', 'scan.obj']]);
    for (const [i, version] of [cage, scan].entries()) {
      const bytes = await bytesOf(version);
      assert.deepEqual([statement.files[i].bytes, statement.files[i].sha256], [bytes.length, sha256(bytes)]);
    }
    assert.deepEqual(statement.record, { id: cage.latest_run, sha256: sha256(record.bytes) });
    assert.deepEqual(statement.audit, { id: audit.id, sha256: audit.sha256, outcome: 'conforms' });
    assert.equal(statement.spec.sha256, audit.audit.spec.sha256);
    assert.deepEqual(statement.waivers, []);
    assert.deepEqual(statement.signer, { name: 'Zoë Lead', role: 'head of the laboratory', note: 'for the printer' });
    assert.equal(statement.signed, signed.created);

    const raw = await call(server, 'GET', `/api/v1/sign-offs/${signed.id}/statement`);
    assert.equal(raw.text, signed.statement);
    assert.equal(sha256(raw.bytes), signed.sha256);
    assert.equal(raw.text, canonical(statement), 'RFC 8785');
    assert.match(openssl(signed, raw.bytes).stdout, /Signature Verified Successfully/);
    assert.notEqual(openssl(signed, raw.text.replace('cage.obj', 'cave.obj')).status, 0);
  });

  /** RFC 8785 of a text without fractions: keys sorted by UTF-16 code units, no blanks. */
  function canonical(value) {
    if (Array.isArray(value)) return `[${value.map(canonical).join(',')}]`;
    if (value === null || typeof value !== 'object') return JSON.stringify(value);
    return `{${Object.keys(value).sort().map((key) => `${JSON.stringify(key)}:${canonical(value[key])}`).join(',')}}`;
  }

  test('the key is a file of its owner alone; its fingerprint is the SHA-256 of its SubjectPublicKeyInfo', async () => {
    assert.equal(statSync(path.join(data, 'seal.pem')).mode & 0o7777, 0o600);
    const key = await get('/key');
    assert.equal(key.public_key, signed.public_key);
    const der = execFileSync('openssl', ['pkey', '-pubin', '-in', file('key.pem', key.public_key), '-outform', 'DER']);
    assert.equal(key.fingerprint, sha256(der));
    assert.deepEqual(signed.key, { fingerprint: key.fingerprint, of_service: true });
    assert.equal(JSON.parse(signed.statement).key.fingerprint, key.fingerprint);
    const own = execFileSync('openssl', ['pkey', '-in', path.join(data, 'seal.pem'), '-pubout'], { encoding: 'utf8' });
    assert.equal(own, key.public_key, 'openssl reads the secret half');
  });

  test('an audit is signed off by one, or by two different persons where the spec asks for two', async () => {
    const state = async (of) => {
      const { state, persons } = await get(`/audits/${of.id}/sign-offs`);
      return [state, persons.signed, persons.needed];
    };
    assert.deepEqual(await state(audit), ['signed off', 1, 1]);
    const both = await judge(closed('Two', { signatures: 2 }));
    assert.deepEqual(await state(both), ['not signed', 0, 2]);
    assert.equal((await sign(both, { by: 'Ada Lovelace' })).status, 201);
    assert.deepEqual(await state(both), ['signed by one of two', 1, 2]);
    const again = await sign(both, { by: ' ADA  lovelace' });
    assert.equal(again.status, 409);
    assert.match(again.body.detail, /this name has signed audit \d+ already/);
    assert.equal((await sign(both, { by: 'Grace Hopper' })).status, 201);
    assert.deepEqual(await state(both), ['signed off', 2, 2]);
    assert.equal((await get(`/audits/${both.id}`)).sign_offs, 2);
    assert.equal((await get(`/audits?run=${cage.latest_run}`)).items.find((each) => each.id === both.id).sign_offs, 2);
  });

  test('what does not conform, is not the newest, or rests on a waiver that is over is refused with the reason', async () => {
    const refused = async (of, says) => {
      const answer = await sign(of, { by: 'Ada' });
      assert.equal(answer.status, 409, answer.text);
      assert.match(answer.body.detail, says);
      assert.match((await get(`/audits/${of.id}/sign-offs`)).refusal, says);
    };
    const open = closed('Open');
    open.rules[0].limit = false;
    await refused(await judge(open), /"does not conform": only one that conforms is signed off/);

    const first = await judge(closed('Edited'));
    await judge(closed('Edited', { purpose: 'to be whole, and more' }));
    await refused(first, /version 2 of the spec "Edited" is newer than version 1/);

    const day = new Date(Date.now() + 86400e3).toISOString().slice(0, 10);
    const waiver = { spec: 'Open', rule: 'closed', reason: 'a stand', author: 'A. Lead', expires: day };
    const { body: added } = await call(server, 'POST', `/api/v1/specimens/${specimen.id}/waivers`, { json: waiver });
    const waived = await judge(open);
    assert.equal(waived.outcome, 'conforms');
    await call(server, 'POST', `/api/v1/waivers/${added.id}/withdraw`);
    await refused(waived, /the waiver of rule "closed" has been withdrawn or has run out/);
    const { body: anew } = await call(server, 'POST', `/api/v1/specimens/${specimen.id}/waivers`, { json: waiver });
    const { body } = await sign(waived, { by: 'Ada' });
    assert.deepEqual(JSON.parse(body.statement).waivers, [{ rule: 'closed', reason: 'a stand', author: 'A. Lead', expires: day }]);
    await call(server, 'POST', `/api/v1/waivers/${anew.id}/withdraw`);
    assert.equal((await get(`/sign-offs/${body.id}`)).holds, true, 'what was signed is the waiver as it was then');
  });

  test('who signs is named; nothing else is taken', async () => {
    for (const [json, status, says] of [
      [{}, 400, /"by"/],
      [{ by: ' ' }, 400, /name of who signs is missing/],
      [{ by: 'a\u0007' }, 400, /control character/],
      [{ by: 'x'.repeat(201) }, 400, /at most 200/],
      [{ by: 'Ada', role: 'x'.repeat(201) }, 400, /at most 200/],
      [{ by: 'Ada', key: 'mine' }, 400, /no key "key" here/],
    ]) {
      const answer = await sign(audit, json);
      assert.equal(answer.status, status, answer.text);
      assert.match(answer.body.detail, says);
    }
    assert.equal((await sign({ id: '999' }, { by: 'Ada' })).status, 404);
    assert.equal((await call(server, 'GET', '/api/v1/sign-offs/999')).status, 404);
  });

  test('the command line signs beside the server, to the same state', async () => {
    const third = await judge(closed('By hand', { signatures: 2 }));
    const run = (...args) => spawnSync(FETTLE, ['sign-off', '--data', data, '--audit', third.id, ...args], { encoding: 'utf8' });
    const done = run('--by', 'Zoë "Z" Lead', '--role', 'head', '--note', 'two\nlines');
    assert.equal(done.status, 0, done.stderr);
    assert.match(done.stdout, new RegExp(`^sign-off \\d+ of audit ${third.id}: signed by one of two\n$`));
    const [made] = (await get(`/audits/${third.id}/sign-offs`)).items;
    assert.deepEqual([made.by, made.role, made.note, made.holds], ['Zoë "Z" Lead', 'head', 'two\nlines', true]);
    const again = run('--by', 'zoë "z" lead');
    assert.equal(again.status, 2);
    assert.match(again.stderr, /already/);
    assert.match(run('--by', 'x'.repeat(201)).stderr, /at most 200/);
    assert.match(run('--by', 'n'.repeat(200), '--note', '"'.repeat(2000)).stdout, /: signed off\n$/, 'the longest');
  });

  const changes = [
    ['specimen', "UPDATE specimen SET catalogue_number = 'X-' || catalogue_number", 'UPDATE specimen SET catalogue_number = substr(catalogue_number, 3)'],
    ['subject', "UPDATE version SET file_name = 'other.obj' WHERE kind = 'cage'", "UPDATE version SET file_name = 'cage.obj' WHERE kind = 'cage'"],
    ['subject', "UPDATE version SET blob = blob + 1 WHERE kind = 'cage'", "UPDATE version SET blob = blob - 1 WHERE kind = 'cage'"],
    ['reference', "UPDATE version SET file_name = 'other.obj' WHERE kind = 'scan'", "UPDATE version SET file_name = 'scan.obj' WHERE kind = 'scan'"],
    ['reference', 'UPDATE run SET against = NULL WHERE against = 1 AND version = 2', 'UPDATE run SET against = 1 WHERE against IS NULL AND version = 2'],
    ['record', 'UPDATE run_record SET bytes = bytes + 1', 'UPDATE run_record SET bytes = bytes - 1'],
    ['spec', "UPDATE spec SET body = replace(body, 'to be whole', 'to be hole')", "UPDATE spec SET body = replace(body, 'to be hole', 'to be whole')"],
    ['spec', "UPDATE spec SET name = name || '!'", 'UPDATE spec SET name = substr(name, 1, length(name) - 1)'],
    ['audit', "UPDATE audit SET body = replace(body, 'because', 'be cause')", "UPDATE audit SET body = replace(body, 'be cause', 'because')"],
    ['audit', "UPDATE audit SET outcome = 'undecided'", "UPDATE audit SET outcome = 'conforms'"],
    ['statement', "UPDATE signoff SET statement = replace(statement, 'conforms', 'conform')", "UPDATE signoff SET statement = replace(statement, '\"conform\"', '\"conforms\"')"],
    ['signature', 'UPDATE signoff SET signature = substr(signature, 41, 40) || substr(signature, 1, 40) || substr(signature, 81)',
      'UPDATE signoff SET signature = substr(signature, 41, 40) || substr(signature, 1, 40) || substr(signature, 81)'],
    ['key', "UPDATE signoff SET public_key = replace(public_key, 'AyEA', 'AyEB')", "UPDATE signoff SET public_key = replace(public_key, 'AyEB', 'AyEA')"],
    ['signer', "UPDATE signoff SET signer = signer || '.'", 'UPDATE signoff SET signer = substr(signer, 1, length(signer) - 1)'],
    ['signer', "UPDATE signoff SET role = role || '.'", 'UPDATE signoff SET role = substr(role, 1, length(role) - 1)'],
  ];

  test('whatever is changed behind its back breaks the sign-off, and is named', async () => {
    await assert.rejects(alter("UPDATE signoff SET signer = 'Eve'"), /never changed/);
    await assert.rejects(alter('DELETE FROM signoff'), /never removed/);
    await assert.rejects(alter("UPDATE step SET who = 'Eve'"), /never changed/);
    await assert.rejects(alter('DELETE FROM step'), /never shortened/);
    await alter('DROP TRIGGER signoff_stays');
    for (const [part, change, undo] of changes) {
      await alter(change);
      const broken = await get(`/sign-offs/${signed.id}`);
      const state = await get(`/audits/${audit.id}/sign-offs`);
      const beside = await sign(audit, { by: 'Ada' });
      const verified = spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' });
      await alter(undo);
      assert.deepEqual([broken.holds, broken.changed], [false, [part]], change);
      assert.equal(state.state, 'broken', change);
      assert.ok(state.refusal, 'nobody signs beside it');
      assert.ok([409, 500, 503].includes(beside.status), beside.text);
      assert.equal(verified.status, 3, change);
      assert.match(verified.stdout, new RegExp(`finding: sign-off ${signed.id} of audit ${audit.id} by .* is broken: changed since: ${part}\n`), change);
      assert.deepEqual(await get(`/sign-offs/${signed.id}`), signed, undo);
    }
  });

  test('fettle verify names the file whose bytes are not those that were signed', () => {
    const [{ sha256: digest }] = JSON.parse(signed.statement).files;
    const blob = path.join(data, 'blobs', digest.slice(0, 2), digest.slice(2, 4), digest);
    const bytes = readFileSync(blob);
    const changed = Buffer.from(bytes);
    changed[7] ^= 1;
    chmodSync(blob, 0o600);
    writeFileSync(blob, changed);
    const { status, stdout } = spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' });
    writeFileSync(blob, bytes);
    chmodSync(blob, 0o440);
    assert.equal(status, 3);
    assert.match(stdout, new RegExp(`sign-off ${signed.id} of audit ${audit.id} by .* is broken: changed since: subject\n`));
    const whole = spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' });
    assert.equal(whole.status, 0, whole.stdout);
    assert.match(whole.stdout, / [5-9] sign-offs; /);
  });

  test('the log tells each act once, newest first, in pages', async () => {
    const steps = await log();
    const kinds = steps.map((step) => step.kind);
    assert.deepEqual([...new Set(kinds)].sort(), ['audit made', 'file added', 'signed off', 'waiver added', 'waiver withdrawn']);
    const step = steps.find((each) => each.kind === 'signed off' && each.about.id === signed.id);
    assert.equal(step.who, 'Zoë Lead');
    assert.equal(step.text, 'cage 1 by Whole 1 (head of the laboratory): for the printer');
    assert.deepEqual(step.about, { kind: 'sign-off', id: signed.id });
    assert.ok(steps.every((each, i) => i === 0 || Number(each.id) < Number(steps[i - 1].id)));
    const page = await get(`/specimens/${specimen.id}/log?limit=2`);
    assert.deepEqual([page.items, page.total], [steps.slice(0, 2), steps.length]);
    assert.deepEqual((await get(`/specimens/${specimen.id}/log?limit=2&cursor=${page.next}`)).items, steps.slice(2, 4));
    const all = await get('/log?limit=500');
    assert.ok(all.items.some((each) => each.kind === 'spec added' && each.text === 'Print 1' && each.specimen === null));
    assert.equal(all.items.filter((each) => each.kind === 'key first used').length, 1);
    assert.equal((await call(server, 'GET', '/api/v1/specimens/999/log')).status, 404);
  });

  test('a copy made by fettle backup has the key, and says of itself that all is there', () => {
    const copy = path.join(folder, 'copy');
    execFileSync(FETTLE, ['backup', '--data', data, copy]);
    assert.deepEqual(readFileSync(path.join(copy, 'seal.pem')), readFileSync(path.join(data, 'seal.pem')));
    assert.equal(statSync(path.join(copy, 'seal.pem')).mode & 0o7777, 0o600);
    const whole = spawnSync(FETTLE, ['verify', '--data', copy], { encoding: 'utf8' });
    assert.equal(whole.status, 0, whole.stdout);
  });

  test('a key that is gone is never replaced silently; one put there on purpose is told of', async () => {
    const key = path.join(data, 'seal.pem');
    renameSync(key, `${key}.kept`);
    const second = await judge(closed('Later'));
    const refused = await sign(second, { by: 'Ada' });
    assert.ok(refused.status >= 500, refused.text);
    assert.match(refused.body.detail, /seal\.pem is gone, and \d+ sign-offs were made: put back the one of a backup/);
    assert.ok(!existsSync(key));
    const listed = await get(`/audits/${audit.id}/sign-offs`);
    assert.deepEqual([listed.state, listed.items[0].key.of_service], ['signed off', false], 'what it signed holds without it');
    assert.match(spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' }).stdout, /finding: there is no key seal\.pem/);

    execFileSync('openssl', ['genpkey', '-algorithm', 'ed25519', '-out', key]);
    const { body, status } = await sign(second, { by: 'Ada' });
    assert.equal(status, 201);
    assert.notEqual(body.key.fingerprint, signed.key.fingerprint);
    assert.match(openssl(body, body.statement).stdout, /Successfully/);
    assert.equal((await get('/log?limit=500')).items.filter((each) => each.kind === 'key first used').length, 2);
    const verified = spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' });
    assert.equal(verified.status, 0, verified.stdout);
    assert.match(verified.stdout, /note: \d+ sign-offs were made with another key than seal\.pem/);

    chmodSync(key, 0o644);
    assert.match((await sign(await judge(closed('Last')), { by: 'Ada' })).body.detail, /may be read by others/);
    chmodSync(key, 0o600);
  });

  test('sign-offs hold after a restart, and are made without a server too', async () => {
    const before = await get(`/audits/${audit.id}/sign-offs`);
    const offline = await judge(closed('Without a server'));
    assert.equal((await server.stop()).code, 0);
    const cli = (...args) => spawnSync(FETTLE, ['sign-off', ...args], { encoding: 'utf8' });
    assert.match(cli('--data', data, '--audit', offline.id, '--by', 'Ada').stdout, /: signed off\n$/, 'no server is needed');
    assert.equal(cli('--data', data, '--audit', '999', '--by', 'Ada').status, 3);
    assert.equal(cli('--data', data, '--audit', offline.id).status, 2);
    assert.match(cli('--help').stdout, /^usage: fettle sign-off /);
    server = await startServer(null, { data });
    assert.deepEqual(await get(`/audits/${audit.id}/sign-offs`), before);
  });
});
