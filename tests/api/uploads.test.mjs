// uploads.test.mjs - uploads in pieces by tus 1.0.0 (https://tus.io/protocols/resumable-upload), by clients that others
// wrote: tus-js-client for creation, pieces and going on after breaks; curl for what that does not send (checksums,
// termination of what is unfinished, method override, wrong versions). Sockets of our own cut a request at a byte.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readdirSync, statSync, writeFileSync } from 'node:fs';
import net from 'node:net';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import tus from 'tus-js-client';
import { box, call, checkHeaders, FETTLE, makeSpecimen, sheet, startServer, statusOf, temporaryFolder, until, upload } from './support.mjs';

const TUS = { 'tus-resumable': '1.0.0' };
const PIECE = { ...TUS, 'content-type': 'application/offset+octet-stream' };
const base64 = (text) => Buffer.from(text).toString('base64');
const digest = (name, bytes, form) => createHash(name).update(bytes).digest(form);
const metadataOf = (values) => Object.entries(values).map(([key, value]) => `${key} ${base64(String(value))}`).join(',');
const folder = temporaryFolder();
/** Goes on trying while a busy server has not noticed yet that the one before is gone. */
const PATIENT = [0, 20, 50, 100, ...Array(200).fill(200)];

/** What stands in the answer's header, in lower case, and its status; the answer is curl's. */
function ask(server, method, address, { headers = {}, bytes, head = method === 'HEAD' } = {}) {
  const fields = Object.entries({ ...TUS, ...headers }).flatMap(([key, value]) => ['-H', value === null ? `${key}:` : `${key}: ${value}`]);
  const file = path.join(folder, 'body');
  if (bytes !== undefined) writeFileSync(file, bytes);
  const text = execFileSync('curl', ['-sS', '-i', '--max-time', '60', ...(head ? ['-I'] : ['-X', method]), ...fields,
    ...(bytes === undefined ? [] : ['--data-binary', `@${file}`]), server.origin + address], { encoding: 'latin1', maxBuffer: 1 << 26 });
  const answers = text.split(/(?=^HTTP\/1\.1 )/m).filter((one) => statusOf(one) >= 200);
  const [header, ...rest] = answers.at(-1).split('\r\n\r\n');
  const found = new Headers(header.split('\r\n').slice(1).map((line) => line.split(/: ?(.*)/s).slice(0, 2)));
  checkHeaders(found);
  const body = rest.join('\r\n\r\n');
  return { status: statusOf(header), headers: found, text: body, body: body.startsWith('{') ? JSON.parse(body) : undefined };
}

function create(server, specimen, length, values = {}, headers = {}, bytes = undefined) {
  const metadata = metadataOf({ specimen, kind: 'scan', name: 'a.obj', by: 'A. Preparator', ...values });
  return ask(server, 'POST', '/api/v1/uploads', { headers: { 'upload-length': length, 'upload-metadata': metadata, ...headers }, bytes });
}

function addressOf(created) {
  assert.equal(created.status, 201, created.text);
  assert.match(created.headers.get('location'), /^\/api\/v1\/uploads\/[0-9a-f]{32}$/);
  return created.headers.get('location');
}

const send = (server, address, offset, bytes, headers = {}) =>
  ask(server, 'PATCH', address, { headers: { ...PIECE, 'upload-offset': offset, ...headers }, bytes });
const offsetOf = (server, address) => Number(ask(server, 'HEAD', address).headers.get('upload-offset'));
const stateOf = async (server, address) => (await call(server, 'GET', address)).body;

/** The version is what was sent, and nothing of the upload is left on the disk. */
async function checkVersion(server, id, bytes, values = {}) {
  const version = (await call(server, 'GET', `/api/v1/versions/${id}`)).body;
  assert.equal(version.file.sha256, digest('sha256', bytes, 'hex'));
  assert.equal(version.file.bytes, Buffer.byteLength(bytes));
  for (const [key, value] of Object.entries(values)) assert.equal(version[key], value, key);
  return version;
}

/** An upload by tus-js-client as a promise; `at(sent)` is called with the progress. */
function clientUpload(server, bytes, metadata, { at = () => {}, ...options } = {}) {
  const one = { offsets: [], upload: null };
  one.done = new Promise((resolve, reject) => {
    one.upload = new tus.Upload(Buffer.from(bytes), {
      endpoint: `${server.origin}/api/v1/uploads`, metadata, retryDelays: null, onSuccess: resolve, onError: reject,
      onProgress: (sent) => at(sent, one), onChunkComplete: (_size, accepted) => one.offsets.push(accepted), ...options,
    });
  });
  one.done.catch(() => {});
  one.upload.start();
  return one;
}
const addressIn = (one) => new URL(one.upload.url).pathname;

/** Sends the beginning of a piece and no more; resolves once the server has it all. */
async function beginPiece(server, address, offset, bytes, length = 1e6) {
  const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
  const fields = Object.entries({ ...PIECE, host: 'localhost', 'upload-offset': offset, 'content-length': length });
  socket.write(`PATCH ${address} HTTP/1.1\r\n${fields.map(([key, value]) => `${key}: ${value}\r\n`).join('')}\r\n`);
  socket.write(bytes);
  const arrived = async () => (await stateOf(server, address)).arrived;
  assert.ok(await until(async () => (await arrived()) >= offset + bytes.length));
  return socket;
}

describe('uploads in pieces', () => {
  let server;
  const mesh = sheet(60, 3);
  before(async () => {
    server = await startServer(null, { data: path.join(folder, 'data'),
      args: ['--limit', 'uploads=3', '--limit', 'upload_bytes=3000000', '--limit', 'unfinished_uploads=40'] });
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('OPTIONS tells what there is', () => {
    const answer = ask(server, 'OPTIONS', '/api/v1/uploads', { headers: { 'tus-resumable': null } });
    assert.equal(answer.status, 204);
    assert.equal(answer.headers.get('tus-resumable'), '1.0.0');
    assert.equal(answer.headers.get('tus-version'), '1.0.0');
    assert.equal(answer.headers.get('tus-extension'), 'creation,creation-with-upload,expiration,termination,checksum');
    assert.equal(answer.headers.get('tus-max-size'), '3000000');
    assert.deepEqual(answer.headers.get('tus-checksum-algorithm').split(',').sort(), ['sha1', 'sha256']);
  });

  describe('by tus-js-client', () => {
    test('a file in one piece and one in many become versions with what the metadata says', async () => {
      const specimen = await makeSpecimen(server);
      for (const [i, chunkSize] of [Infinity, 50_000].entries()) {
        const bytes = sheet(60, 10 + i);
        const one = clientUpload(server, bytes, { specimen: specimen.id, kind: 'scan', name: 'sch\u00f6n.obj', by: 'B. Keeper', note: 'first\nsecond' }, { chunkSize });
        await one.done;
        const state = await stateOf(server, addressIn(one));
        assert.deepEqual([state.bytes, state.arrived], [bytes.length, bytes.length]);
        const version = await checkVersion(server, state.version, bytes, { by: 'B. Keeper', note: 'first\nsecond', kind: 'scan', specimen: specimen.id });
        assert.equal(version.file.name, 'sch\u00f6n.obj');
        assert.equal(version.jobs.length, 1);
        assert.equal(one.offsets.length, i === 0 ? 1 : Math.ceil(bytes.length / 50_000));
      }
    });

    test('creation with upload needs one request', async () => {
      const specimen = await makeSpecimen(server);
      const methods = [];
      const one = clientUpload(server, mesh, { specimen: specimen.id, kind: 'scan' },
        { uploadDataDuringCreation: true, onBeforeRequest: (request) => methods.push(request.getMethod()) });
      await one.done;
      assert.deepEqual(methods, ['POST']);
      await checkVersion(server, (await stateOf(server, addressIn(one))).version, mesh);
    });

    test('an upload that was broken off goes on where it stood', async () => {
      const specimen = await makeSpecimen(server);
      const bytes = sheet(100, 4);
      const metadata = { specimen: specimen.id, kind: 'scan', name: 'b.obj' };
      const first = clientUpload(server, bytes, metadata, {
        chunkSize: 40_000, onChunkComplete: (_size, accepted) => accepted >= 120_000 && first.upload.abort().then(first.stopped) });
      await new Promise((resolve) => (first.stopped = resolve));
      const address = addressIn(first);
      const arrived = offsetOf(server, address);
      assert.ok(arrived >= 120_000 && arrived < bytes.length, `${arrived}`);
      const sent = [];
      const second = clientUpload(server, bytes, metadata, { uploadUrl: server.origin + address,
        onBeforeRequest: (request) => sent.push([request.getMethod(), request.getHeader('Upload-Offset')]) });
      await second.done;
      assert.deepEqual(sent, [['HEAD', undefined], ['PATCH', String(arrived)]]);
      await checkVersion(server, (await stateOf(server, address)).version, bytes);
    });

    test('a retry after a cut connection needs no help', async () => {
      const specimen = await makeSpecimen(server);
      const bytes = sheet(90, 5);
      let cut = 0;
      // a relay that cuts the first two connections that carry more than 100 kB
      const relay = net.createServer((socket) => {
        const onward = net.connect(server.port, '127.0.0.1').on('error', () => {});
        let passed = 0;
        socket.on('error', () => {}).on('data', (piece) => {
          passed += piece.length;
          onward.write(piece);
          if (passed > 100_000 && cut < 2) {
            cut += 1;
            socket.destroy();
            onward.end();
          }
        }).on('close', () => onward.end());
        onward.on('data', (piece) => socket.write(piece)).on('close', () => socket.end());
      });
      await new Promise((resolve) => relay.listen(0, '127.0.0.1', resolve));
      const one = clientUpload({ origin: `http://127.0.0.1:${relay.address().port}` }, bytes, { specimen: specimen.id, kind: 'scan' },
        { retryDelays: PATIENT });
      await one.done;
      relay.close();
      assert.equal(cut, 2);
      await checkVersion(server, (await stateOf(server, addressIn(one))).version, bytes);
    });

    test('two clients at the same address: one is told to wait, and both learn the same version', async () => {
      const specimen = await makeSpecimen(server);
      const bytes = sheet(80, 6);
      const metadata = { specimen: specimen.id, kind: 'scan' };
      const address = addressOf(create(server, specimen.id, bytes.length));
      const socket = await beginPiece(server, address, 0, Buffer.from(bytes).subarray(0, 1000), bytes.length);
      const waits = clientUpload(server, bytes, metadata, { uploadUrl: server.origin + address, retryDelays: [0, 0, 0] });
      await assert.rejects(waits.done, (error) => error.originalResponse.getStatus() === 423);
      socket.destroy();
      const [a, b] = [0, 1].map(() => clientUpload(server, bytes, metadata, { uploadUrl: server.origin + address, retryDelays: PATIENT, chunkSize: 20_000 }));
      await Promise.all([a.done, b.done]);
      await checkVersion(server, (await stateOf(server, address)).version, bytes);
    });

    test('termination takes an upload away', async () => {
      const specimen = await makeSpecimen(server);
      const one = clientUpload(server, mesh, { specimen: specimen.id, kind: 'scan' }, { chunkSize: 30_000 });
      assert.ok(await until(() => one.upload.url, Boolean, 2));
      await one.upload.abort(true);
      assert.equal((await until(() => call(server, 'GET', addressIn(one)), ({ status }) => status === 404)).status, 404);
    });

    test('a file of no bytes and one above the limit are refused before anything is sent', async () => {
      const specimen = await makeSpecimen(server);
      const refused = async (bytes, status, code) => {
        await assert.rejects(clientUpload(server, bytes, { specimen: specimen.id, kind: 'scan' }).done, (error) => {
          assert.equal(error.originalResponse.getStatus(), status);
          assert.equal(JSON.parse(error.originalResponse.getBody()).code, code);
          assert.equal(error.originalRequest.getMethod(), 'POST');
          return true;
        });
      };
      await refused('', 422, 'reject-empty');
      await refused(Buffer.alloc(3_000_001), 413, 'too-large');
    });
  });

  describe('by curl', () => {
    test('creation answers with an address, an expiry in a week, and nothing arrived', async () => {
      const specimen = await makeSpecimen(server);
      const made = create(server, specimen.id, 10);
      const address = addressOf(made);
      assert.equal(made.headers.get('upload-offset'), '0');
      assert.equal(made.headers.get('tus-resumable'), '1.0.0');
      const left = Date.parse(made.headers.get('upload-expires')) - Date.now();
      assert.ok(Math.abs(left - 7 * 24 * 3600e3) < 60e3, made.headers.get('upload-expires'));
      assert.equal(new Date(Date.parse(made.headers.get('upload-expires'))).toUTCString(), made.headers.get('upload-expires'));
      const head = ask(server, 'HEAD', address);
      assert.equal(head.status, 200);
      assert.equal(head.headers.get('upload-offset'), '0');
      assert.equal(head.headers.get('upload-length'), '10');
      assert.equal(head.headers.get('upload-metadata'), metadataOf({ specimen: specimen.id, kind: 'scan', name: 'a.obj', by: 'A. Preparator' }));
      assert.equal(head.headers.get('cache-control'), 'no-store');
      assert.equal(head.text, '');
      const state = await call(server, 'GET', address);
      assert.equal(state.headers.get('cache-control'), 'no-store');
      assert.deepEqual({ ...state.body, name: '', expires: '' }, { name: '', bytes: 10, arrived: 0, expires: '', version: null });
      assert.equal(Date.parse(state.body.expires), Date.parse(made.headers.get('upload-expires')));
      assert.ok(address.endsWith(state.body.name));
    });

    test('the piece that completes the file names the version; asking afterwards does too', async () => {
      const specimen = await makeSpecimen(server);
      const address = addressOf(create(server, specimen.id, mesh.length, { kind: 'cage', face_size: '0.1cm', against: 'none' }));
      const first = send(server, address, 0, mesh.slice(0, 100));
      assert.equal(first.status, 204, first.text);
      assert.equal(first.headers.get('upload-offset'), '100');
      assert.equal(first.headers.get('content-location'), null);
      const last = send(server, address, 100, mesh.slice(100));
      assert.equal(last.status, 204, last.text);
      assert.equal(last.headers.get('upload-offset'), String(mesh.length));
      assert.ok(last.headers.get('upload-expires'));
      const id = /^\/api\/v1\/versions\/(\d+)$/.exec(last.headers.get('content-location'))[1];
      await checkVersion(server, id, mesh, { face_size: 1, kind: 'cage', against: null });
      assert.equal(offsetOf(server, address), mesh.length);
      assert.equal((await stateOf(server, address)).version, id);
      assert.equal(send(server, address, mesh.length, '').headers.get('content-location'), `/api/v1/versions/${id}`);
    });

    test('the same bytes for the same specimen and kind are the existing version', async () => {
      const specimen = await makeSpecimen(server);
      const there = (await upload(server, specimen.id, box({ at: 3 }))).body;
      const address = addressOf(create(server, specimen.id, box({ at: 3 }).length));
      assert.equal(send(server, address, 0, box({ at: 3 })).headers.get('content-location'), `/api/v1/versions/${there.id}`);
    });

    test('what cannot be is refused before a byte is sent', async () => {
      const specimen = await makeSpecimen(server);
      const other = await makeSpecimen(server);
      const foreign = (await upload(server, other.id, box({ at: 20 }))).body;
      const refused = (values, status, code = 'usage') => {
        const answer = create(server, specimen.id, 10, values);
        assert.equal(answer.status, status, `${JSON.stringify(values)}: ${answer.text}`);
        assert.equal(answer.body.code, code);
        assert.equal(answer.headers.get('content-type'), 'application/problem+json; charset=utf-8');
        assert.equal(answer.headers.get('tus-resumable'), '1.0.0');
        return answer;
      };
      refused({ specimen: '424242' }, 404, 'not-found');
      refused({ specimen: 'x' }, 400);
      refused({ kind: 'sculpture' }, 400);
      refused({ kind: '' }, 400);
      refused({ made_from: foreign.id }, 400);
      refused({ against: foreign.id, kind: 'cage' }, 400);
      refused({ against: 'x' }, 400);
      refused({ face_size: '0.4furlong' }, 400);
      refused({ name: '' }, 400);
      refused({ name: 'a\nb' }, 400);
      refused({ note: 'x'.repeat(5000) }, 400);
      assert.match(refused({ filetype: 'model/obj' }, 400).body.detail, /"filetype"/, 'a key that is none of ours');
      const bare = (headers) => ask(server, 'POST', '/api/v1/uploads', { headers }).status;
      const metadata = metadataOf({ specimen: specimen.id, kind: 'scan' });
      assert.equal(bare({ 'upload-length': 10 }), 400, 'no metadata');
      assert.equal(bare({ 'upload-length': 10, 'upload-metadata': 'kind scan' }), 400, 'no Base64');
      assert.equal(bare({ 'upload-length': 10, 'upload-metadata': `${metadata},kind ${base64('cage')}` }), 400, 'a key twice');
      assert.equal(bare({ 'upload-length': 10, 'upload-metadata': metadata.replace(/kind .*/, `kind ${base64('sc\0an')}`) }), 400, 'a zero byte');
      assert.equal(bare({ 'upload-metadata': metadata }), 400, 'no length');
      for (const length of ['-1', 'x', '1e3', '9'.repeat(30)]) assert.equal(bare({ 'upload-length': length, 'upload-metadata': metadata }), 400, length);
      const deferred = ask(server, 'POST', '/api/v1/uploads', { headers: { 'upload-defer-length': 1, 'upload-metadata': metadata } });
      assert.equal(deferred.status, 400);
      assert.match(deferred.body.detail, /Upload-Defer-Length/);
      const large = create(server, specimen.id, 3_000_001);
      assert.equal(large.status, 413);
      assert.equal(large.headers.get('tus-max-size'), '3000000');
      await call(server, 'PATCH', `/api/v1/specimens/${specimen.id}`, { json: { state: 'retired' }, headers: { 'if-match': '*' } });
      refused({}, 409, 'conflict');
      assert.deepEqual(readdirSync(path.join(server.data, 'uploads')).filter((name) => statSync(path.join(server.data, 'uploads', name)).size === 10), []);
    });

    test('a wrong or missing version of the protocol is 412, everywhere', async () => {
      const specimen = await makeSpecimen(server);
      const address = addressOf(create(server, specimen.id, 10));
      for (const version of ['0.2.2', '1.0', '2.0.0', null])
        for (const [method, where, headers] of [['POST', '/api/v1/uploads', {}], ['HEAD', address, {}], ['PATCH', address, PIECE], ['DELETE', address, {}]]) {
          const answer = ask(server, method, where, { headers: { ...headers, 'tus-resumable': version } });
          assert.equal(answer.status, 412, `${method} ${version}`);
          assert.equal(answer.headers.get('tus-version'), '1.0.0');
          assert.equal(answer.headers.get('tus-resumable'), '1.0.0');
        }
      assert.equal(offsetOf(server, address), 0);
    });

    test('a piece of the wrong type, at the wrong place, too long, or of no upload is refused, and nothing of it kept', async () => {
      const specimen = await makeSpecimen(server);
      const address = addressOf(create(server, specimen.id, 10));
      const status = (offset, bytes, headers) => send(server, address, offset, bytes, headers).status;
      assert.equal(status(0, 'abc', { 'content-type': 'application/octet-stream' }), 415);
      assert.equal(status(0, 'abc', { 'content-type': null }), 415);
      assert.equal(status(1, 'abc'), 409);
      assert.equal(status('x', 'abc'), 400);
      assert.equal(status('-1', 'abc'), 400);
      assert.equal(ask(server, 'PATCH', address, { headers: PIECE, bytes: 'abc' }).status, 400, 'no offset');
      assert.equal(status(0, '0123456789x'), 413);
      assert.equal(status(0, '0123456789x', { 'transfer-encoding': 'chunked' }), 413, 'length not told');
      assert.equal(offsetOf(server, address), 0);
      assert.equal(status(0, 'abc'), 204);
      assert.equal(status(0, 'abc'), 409);
      assert.equal(status(3, '0123456789'), 413);
      assert.equal(offsetOf(server, address), 3);
      for (const name of ['0'.repeat(32), 'x', '..%2f..%2ffettle.db', 'A'.repeat(32)]) {
        const answer = send(server, `/api/v1/uploads/${name}`, 0, 'abc');
        assert.ok([400, 404].includes(answer.status), name);
        assert.ok([400, 404].includes(ask(server, 'HEAD', `/api/v1/uploads/${name}`).status), name);
        assert.ok([400, 404].includes(ask(server, 'DELETE', `/api/v1/uploads/${name}`).status), name);
      }
    });

    test('a piece may come chunked', async () => {
      const specimen = await makeSpecimen(server);
      const address = addressOf(create(server, specimen.id, mesh.length));
      const last = send(server, address, 0, mesh, { 'transfer-encoding': 'chunked' });
      assert.equal(last.status, 204, last.text);
      await checkVersion(server, (await stateOf(server, address)).version, mesh);
    });

    for (const name of ['sha1', 'sha256'])
      test(`a piece with ${name} is kept where it matches and taken back where not`, async () => {
        const specimen = await makeSpecimen(server);
        const bytes = sheet(30, name.length);
        const address = addressOf(create(server, specimen.id, bytes.length));
        const checksum = (piece) => ({ 'upload-checksum': `${name} ${digest(name, piece, 'base64')}` });
        assert.equal(send(server, address, 0, bytes.slice(0, 500), checksum(bytes.slice(0, 500))).status, 204);
        const wrong = send(server, address, 500, bytes.slice(500), checksum('other'));
        assert.equal(wrong.status, 460, wrong.text);
        assert.equal(wrong.body.code, 'checksum-mismatch');
        assert.equal(wrong.headers.get('tus-resumable'), '1.0.0');
        assert.equal(offsetOf(server, address), 500);
        assert.equal(send(server, address, 500, bytes.slice(500), checksum(bytes.slice(500))).status, 204);
        await checkVersion(server, (await stateOf(server, address)).version, bytes);
      });

    test('an unknown or broken checksum is 400', async () => {
      const specimen = await makeSpecimen(server);
      const address = addressOf(create(server, specimen.id, 10));
      for (const checksum of [`md5 ${digest('md5', 'abc', 'base64')}`, 'sha1', 'sha1 xyz', `sha1 ${digest('sha256', 'abc', 'base64')}`])
        assert.equal(send(server, address, 0, 'abc', { 'upload-checksum': checksum }).status, 400, checksum);
      assert.equal(offsetOf(server, address), 0);
    });

    test('creation with upload: whole, in part, with a checksum, and what is refused leaves nothing', async () => {
      const specimen = await makeSpecimen(server);
      const bytes = box({ at: 7 });
      const type = { 'content-type': PIECE['content-type'] };
      const checksum = (of) => ({ 'upload-checksum': `sha1 ${digest('sha1', of, 'base64')}` });
      const parts = () => readdirSync(path.join(server.data, 'uploads')).filter((name) => name.startsWith('part-')).length;
      const before_ = parts();
      const whole = create(server, specimen.id, bytes.length, {}, { ...type, ...checksum(bytes) }, bytes);
      assert.equal(whole.headers.get('upload-offset'), String(bytes.length));
      await checkVersion(server, (await stateOf(server, addressOf(whole))).version, bytes);
      assert.equal(create(server, specimen.id, 10, {}, { ...type, ...checksum('other') }, 'abc').status, 460);
      assert.equal(create(server, specimen.id, 2, {}, type, 'abc').status, 413);
      assert.equal(create(server, specimen.id, 10, {}, { 'content-type': 'text/plain' }, 'abc').status, 415);
      assert.equal(parts(), before_);
      const begun = create(server, specimen.id, 10, {}, type, 'abc');
      assert.equal(begun.headers.get('upload-offset'), '3');
      assert.equal(offsetOf(server, addressOf(begun)), 3);
    });

    test('the method may stand in a field', async () => {
      const specimen = await makeSpecimen(server);
      const bytes = box({ at: 8 });
      const address = addressOf(create(server, specimen.id, bytes.length));
      const as = (method, headers = {}, body = undefined) => ask(server, 'POST', address, { headers: { ...headers, 'x-http-method-override': method }, bytes: body });
      assert.equal(as('PATCH', { ...PIECE, 'upload-offset': 0 }, bytes.slice(0, 9)).headers.get('upload-offset'), '9');
      assert.equal(as('HEAD').headers.get('upload-offset'), '9');
      assert.equal(as('DELETE').status, 204);
      assert.equal(ask(server, 'HEAD', address).status, 404);
      assert.equal(ask(server, 'POST', address).status, 405);
      assert.equal(ask(server, 'GET', `/api/v1/specimens/${specimen.id}`, { headers: { 'x-http-method-override': 'PATCH' } }).status, 200, 'not elsewhere');
    });

    test('termination takes what has come, and never a version', async () => {
      const specimen = await makeSpecimen(server);
      const bytes = box({ at: 9 });
      const [begun, whole] = [0, 1].map(() => addressOf(create(server, specimen.id, bytes.length)));
      send(server, begun, 0, bytes.slice(0, 5));
      const id = send(server, whole, 0, bytes).headers.get('content-location').split('/').at(-1);
      for (const address of [begun, whole]) {
        assert.equal(ask(server, 'DELETE', address).status, 204);
        assert.equal(ask(server, 'HEAD', address).status, 404);
        assert.equal(ask(server, 'DELETE', address).status, 404);
        assert.ok(!readdirSync(path.join(server.data, 'uploads')).includes(`part-${address.split('/').at(-1)}`));
      }
      await checkVersion(server, id, bytes);
    });

    test('a page of another site may not begin, go on with or remove one', async () => {
      const specimen = await makeSpecimen(server);
      const address = addressOf(create(server, specimen.id, 10));
      const origin = { origin: 'https://example.org' };
      assert.equal(create(server, specimen.id, 10, {}, origin).status, 403);
      assert.equal(send(server, address, 0, 'abc', origin).status, 403);
      assert.equal(ask(server, 'DELETE', address, { headers: origin }).status, 403);
      assert.equal(ask(server, 'GET', address, { headers: { ...origin, 'x-http-method-override': 'DELETE' } }).status, 403);
      assert.equal(offsetOf(server, address), 0);
    });
  });

  test('a second piece at the same time is 423; a cut connection keeps what came', async () => {
    const specimen = await makeSpecimen(server);
    const address = addressOf(create(server, specimen.id, 1e6));
    const socket = await beginPiece(server, address, 0, 'x'.repeat(1234));
    const beside = send(server, address, 1234, 'abc');
    assert.equal(beside.status, 423, beside.text);
    assert.equal(beside.body.code, 'locked');
    socket.destroy();
    const after_ = await until(() => send(server, address, 1234, 'abc'), ({ status }) => status === 204);
    assert.equal(after_.status, 204, after_.text);
    assert.equal(after_.headers.get('upload-offset'), '1237');
  });

  test('termination while a piece comes ends it', async () => {
    const specimen = await makeSpecimen(server);
    const address = addressOf(create(server, specimen.id, 1e6));
    const socket = await beginPiece(server, address, 0, 'x'.repeat(1000));
    let text = '';
    socket.setEncoding('latin1').on('data', (piece) => (text += piece));
    const closed = new Promise((resolve) => socket.on('close', resolve));
    assert.equal(ask(server, 'DELETE', address).status, 204);
    assert.equal(ask(server, 'HEAD', address).status, 404);
    socket.write('x'.repeat(1000));
    await closed;
    assert.equal(statusOf(text), 409, text);
    assert.match(text, /^tus-resumable: 1\.0\.0\r$/im);
    assert.ok(!readdirSync(path.join(server.data, 'uploads')).includes(`part-${address.split('/').at(-1)}`));
  });

  test('a piece with a checksum that is cut off leaves nothing', async () => {
    const specimen = await makeSpecimen(server);
    const address = addressOf(create(server, specimen.id, 1e6));
    const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
    const file = path.join(server.data, 'uploads', `part-${address.split('/').at(-1)}`);
    socket.write(`PATCH ${address} HTTP/1.1\r\nHost: localhost\r\nTus-Resumable: 1.0.0\r\nContent-Type: ${PIECE['content-type']}\r\n` +
      `Upload-Offset: 0\r\nContent-Length: 1000000\r\nUpload-Checksum: sha1 ${digest('sha1', 'x', 'base64')}\r\n\r\n${'x'.repeat(1000)}`);
    assert.equal(await until(() => statSync(file).size, (size) => size >= 1000), 1000);
    assert.equal(offsetOf(server, address), 0, 'it does not count before it was compared');
    socket.destroy();
    assert.equal(await until(() => statSync(file).size, (size) => size === 0), 0);
  });

  test('pieces count among the uploads at once, and unfinished uploads have a limit of their own', async () => {
    const specimen = await makeSpecimen(server);
    const addresses = [0, 1, 2, 3].map(() => addressOf(create(server, specimen.id, 1e6)));
    const sockets = [];
    for (const address of addresses.slice(0, 3)) sockets.push(await beginPiece(server, address, 0, 'x'));
    const fourth = send(server, addresses[3], 0, 'x');
    assert.equal(fourth.status, 503, fourth.text);
    assert.match(fourth.body.detail, /uploads/);
    assert.ok(Number(fourth.headers.get('retry-after')) >= 1);
    assert.equal((await upload(server, specimen.id, box())).status, 503, 'those in one piece too');
    sockets.forEach((socket) => socket.destroy());
    let answer;
    for (let i = 0; i < 60 && (answer = create(server, specimen.id, 10)).status === 201; i++);
    assert.equal(answer.status, 503);
    assert.match(answer.body.detail, /unfinished_uploads/);
    assert.equal(ask(server, 'DELETE', addresses[3]).status, 204);
    assert.equal(create(server, specimen.id, 10).status, 201);
  });

  test('versions are found by the hash of their file, whatever the specimen', async () => {
    const [one, two] = [await makeSpecimen(server), await makeSpecimen(server)];
    const bytes = box({ at: 77 });
    const find = (query) => call(server, 'GET', `/api/v1/versions?${query}`);
    const hash = digest('sha256', bytes, 'hex');
    assert.deepEqual((await find(`sha256=${hash}`)).body, { items: [], next: null, total: 0 });
    const made = [];
    for (const [specimen, kind] of [[one, 'scan'], [two, 'scan'], [two, 'cage']]) {
      const answer = await until(() => upload(server, specimen.id, bytes, { kind, name: `${kind}.obj` }), ({ status }) => status !== 503);
      assert.equal(answer.status, 201, answer.text);
      made.push(answer.body);
    }
    const found = (await find(`sha256=${hash}`)).body;
    assert.equal(found.total, 3);
    assert.deepEqual(found.items.map((item) => [item.id, item.specimen, item.catalogue_number, item.label, item.name, item.withdrawn]),
      made.map((version, i) => [version.id, version.specimen, [one, two, two][i].catalogue_number, version.label, version.file.name, false]));
    const first = (await find(`sha256=${hash}&limit=2`)).body;
    assert.equal(first.items.length, 2);
    assert.deepEqual((await find(`sha256=${hash}&limit=2&cursor=${first.next}`)).body.items.map((item) => item.id), [made[2].id]);
    for (const wrong of ['', 'sha256=', 'sha256=abc', `sha256=${hash.toUpperCase()}`, `sha256=${hash}0`, `sha256=${hash}&limit=0`])
      assert.equal((await find(wrong)).status, 400, wrong);
  });
});

function verify(data) {
  const { status, stdout, stderr } = spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' });
  assert.equal(status, 0, stdout + stderr);
}

test('an upload outlives kill -9 of the server again and again, and a plain stop', async (t) => {
  const data = path.join(temporaryFolder(), 'data');
  const bytes = sheet(120, 8);
  let server = await startServer(null, { data });
  const specimen = await makeSpecimen(server);
  const one = clientUpload(server, bytes, { specimen: specimen.id, kind: 'scan', name: 'k.obj' }, { chunkSize: 30_000,
    onChunkComplete: (_size, accepted) => accepted > 60_000 && server.child.kill('SIGKILL') });
  await assert.rejects(one.done);
  await server.ended;
  const address = addressIn(one);
  let arrived = 60_000;
  for (const signal of ['SIGKILL', 'SIGTERM', 'SIGKILL']) {
    server = await startServer(null, { data });
    const now = offsetOf(server, address);
    assert.ok(now >= arrived && now < bytes.length, `${now} of ${bytes.length}, ${arrived} acknowledged`);
    const socket = await beginPiece(server, address, now, Buffer.from(bytes).subarray(now, now + 10_000), 10_000 + 1);
    arrived = (await stateOf(server, address)).arrived;
    assert.equal(arrived, now + 10_000);
    if (signal === 'SIGTERM') socket.destroy();
    const { code } = await server.stop(signal);
    if (signal === 'SIGTERM') assert.equal(code, 0);
    socket.destroy();
    verify(data);
  }
  server = await startServer(t, { data });
  const rest = clientUpload(server, bytes, {}, { uploadUrl: server.origin + address });
  await rest.done;
  await checkVersion(server, (await stateOf(server, address)).version, bytes, { specimen: specimen.id });
  verify(data);
});

test('a whole upload whose version the kill prevented gets it when somebody asks', async (t) => {
  const data = path.join(temporaryFolder(), 'data');
  const bytes = box({ at: 4 });
  let server = await startServer(null, { data });
  const specimen = await makeSpecimen(server);
  const [asked, read] = [0, 1].map(() => addressOf(create(server, specimen.id, bytes.length, { kind: 'scan' })));
  await server.stop('SIGKILL');
  for (const address of [asked, read]) // all bytes, as a kill after the last one leaves them
    writeFileSync(path.join(data, 'uploads', `part-${address.split('/').at(-1)}`), bytes);
  server = await startServer(t, { data });
  assert.equal(offsetOf(server, asked), bytes.length);
  const { version } = await stateOf(server, asked);
  assert.equal((await stateOf(server, read)).version, version, 'the same bytes');
  await checkVersion(server, version, bytes);
});

/** Moves the expiry of all uploads into the past, while no server runs. */
function expireAll(data) {
  const move = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute(\"UPDATE part SET expires = '2026-01-01T00:00:00Z'\"); c.commit()";
  execFileSync('/usr/bin/python3', ['-c', move, path.join(data, 'fettle.db')]);
}

test('an expired upload is gone after a start, with its file; a version made of one stays', async (t) => {
  const data = path.join(temporaryFolder(), 'data');
  const bytes = box({ at: 5 });
  let server = await startServer(null, { data, args: ['--limit', 'upload_keep_s=3600'] });
  const specimen = await makeSpecimen(server);
  const [begun, whole] = [0, 1].map(() => addressOf(create(server, specimen.id, bytes.length)));
  const first = send(server, begun, 0, bytes.slice(0, 5));
  assert.ok(Math.abs(Date.parse(first.headers.get('upload-expires')) - Date.now() - 3600e3) < 60e3);
  const id = send(server, whole, 0, bytes).headers.get('content-location').split('/').at(-1);
  await server.stop();
  expireAll(data);
  server = await startServer(t, { data });
  for (const address of [begun, whole]) {
    assert.equal(ask(server, 'HEAD', address).status, 404);
    assert.equal(send(server, address, 5, 'x').status, 404);
    assert.equal((await call(server, 'GET', address)).status, 404);
  }
  assert.ok(!readdirSync(path.join(data, 'uploads')).some((name) => name.startsWith('part-')));
  await checkVersion(server, id, bytes);
});

test('where the disk is too full an upload is refused when it begins and when it goes on; what came stays', async (t) => {
  const data = path.join(temporaryFolder(), 'data');
  let server = await startServer(null, { data });
  const specimen = await makeSpecimen(server);
  const address = addressOf(create(server, specimen.id, 100));
  send(server, address, 0, 'abc');
  await server.stop();
  server = await startServer(t, { data, args: ['--limit', `disk_keep_bytes=${2 ** 40}`] });
  const refused = create(server, specimen.id, 100);
  assert.equal(refused.status, 507, refused.text);
  assert.equal(refused.body.code, 'machine');
  assert.equal(send(server, address, 3, 'def').status, 507);
  assert.equal(offsetOf(server, address), 3);
});

test('a piece that drips below the least rate is cut off and keeps what came', async (t) => {
  const server = await startServer(t, { args: ['--limit', 'body_grace_ms=200', '--limit', 'body_rate_bytes=1000000'] });
  const specimen = await makeSpecimen(server);
  const address = addressOf(create(server, specimen.id, 1e6));
  const socket = await beginPiece(server, address, 0, 'v 0 0 0\n');
  let closed = false;
  socket.on('close', () => (closed = true)).resume();
  const drip = () => {
    socket.write('v 0 0 0\n');
    return closed;
  };
  assert.ok(await until(drip, Boolean, 25));
  const arrived = offsetOf(server, address);
  assert.ok(arrived > 0 && arrived % 8 === 0, `${arrived}`);
});
