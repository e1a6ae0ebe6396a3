// pictures.test.mjs - what the page draws of a version: its surface and its thumbnail, as bytes that never change.
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { box, call, makeSpecimen, startServer, temporaryFolder, until, upload, waitForVersion } from './support.mjs';

const CACHE = 'private, max-age=31536000, immutable';

describe('pictures', () => {
  let server;
  let version;
  const folder = temporaryFolder();
  before(async () => {
    server = await startServer(null, { data: path.join(folder, 'data') });
    const specimen = await makeSpecimen(server);
    version = (await upload(server, specimen.id, box({ size: 2 }), { kind: 'cage' })).body.id;
    await waitForVersion(server, version);
    assert.ok(await until(async () => (await call(server, 'GET', `/api/v1/versions/${version}`)).body.has_pictures));
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });
  const get = (which, headers = {}, method = 'GET') => call(server, method, `/api/v1/versions/${version}/${which}`, { headers });

  for (const [which, type, begin] of [
    ['surface', 'application/octet-stream', 'fettleS3'],
    ['thumbnail', 'image/png', '\x89PNG\r\n\x1a\n'],
  ]) {
    test(`a ${which} is named by its digest and kept for ever`, async () => {
      const { status, headers, bytes } = await get(which);
      assert.equal(status, 200);
      assert.equal(headers.get('content-type'), type);
      assert.equal(headers.get('cache-control'), CACHE);
      assert.equal(bytes.toString('latin1', 0, 8), begin);
      const digest = createHash('sha256').update(bytes).digest();
      assert.equal(headers.get('etag'), `"${digest.toString('hex')}"`);
      assert.equal(headers.get('repr-digest'), `sha-256=:${digest.toString('base64')}:`);
      const same = await get(which, { 'if-none-match': headers.get('etag') });
      assert.deepEqual([same.status, same.bytes.length], [304, 0]);
      assert.equal((await get(which, { 'if-none-match': '"other"' })).status, 200);
    });

    test(`a part of a ${which} is had by its range`, async () => {
      const { headers, bytes } = await get(which);
      const part = await get(which, { range: 'bytes=8-15' });
      assert.equal(part.status, 206);
      assert.equal(part.headers.get('content-range'), `bytes 8-15/${bytes.length}`);
      assert.deepEqual([...part.bytes], [...bytes.slice(8, 16)]);
      assert.deepEqual([...(await get(which, { range: 'bytes=-4' })).bytes], [...bytes.slice(-4)]);
      assert.equal((await get(which, { range: `bytes=${bytes.length}-` })).status, 416);
      assert.equal((await get(which, { range: 'bytes=0-3', 'if-range': '"other"' })).status, 200, 'of another state: all');
      assert.equal((await get(which, { range: 'bytes=0-3', 'if-range': headers.get('etag') })).status, 206);
      assert.deepEqual((await get(which, {}, 'HEAD')).headers.get('content-length'), String(bytes.length));
    });

    test(`there is no ${which} of what is not there, nor of what is not measured`, async () => {
      const missing = await call(server, 'GET', `/api/v1/versions/999/${which}`);
      assert.equal(missing.status, 404);
      assert.match(missing.body.detail, /there is no version 999/);
      const specimen = await makeSpecimen(server);
      const broken = (await upload(server, specimen.id, 'v 0 0 0\nf 1 2 3\n')).body.id;
      const none = await call(server, 'GET', `/api/v1/versions/${broken}/${which}`);
      assert.equal(none.status, 404);
      assert.match(none.body.detail, /has no picture yet/);
    });
  }

  test('a surface tells how many triangles and faces there are, and where its parts lie', async () => {
    const { bytes } = await get('surface');
    assert.deepEqual([16, 20].map((at) => bytes.readUInt32LE(at)), [8, 12]);
    assert.equal(bytes.readBigUInt64LE(88), 6n);
    assert.equal(Number(bytes.readBigUInt64LE(96 + 8 * 10)), bytes.length);
  });
});
