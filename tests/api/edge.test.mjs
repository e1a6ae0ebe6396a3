// edge.test.mjs - what reaches the service before any handler: framing, addresses, hosts, origins, deadlines, limits.
// Sources: RFC 9112 sections 3.2, 6.1, 6.3 (framing, Host), RFC 9110 sections 9 and 15 (methods, statuses).
import assert from 'node:assert/strict';
import { before, test, describe, after } from 'node:test';
import { mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import net from 'node:net';
import { call, makeSpecimen, pause, raw, startServer, statusOf, temporaryFolder, until, upload, box } from './support.mjs';

describe('edge', () => {
  let server;
  const folder = temporaryFolder();
  before(async () => {
    const page = path.join(folder, 'page');
    mkdirSync(path.join(page, 'views'), { recursive: true });
    writeFileSync(path.join(page, 'index.html'), '<!doctype html><title>fettle</title>');
    writeFileSync(path.join(page, 'views/run.js'), 'export {};\n');
    writeFileSync(path.join(page, '.hidden'), 'no');
    writeFileSync(path.join(folder, 'outside.txt'), 'no');
    server = await startServer(null, {
      data: path.join(folder, 'data'),
      args: ['--page', page, '--limit', 'header_ms=700', '--limit', 'body_gap_ms=700', '--limit', 'upload_bytes=3000000',
        '--limit', 'connections_per_host=40'],
    });
  });
  after(async () => {
    const { code } = await server.stop();
    assert.equal(code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  const hostile = {
    'length beside encoding': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n',
    'encoding beside length': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n0\r\n\r\n',
    'two lengths': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\nContent-Length: 40\r\n\r\n{}',
    'two equal lengths': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\nContent-Length: 2\r\n\r\n{}',
    'a list of lengths': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2, 2\r\n\r\n{}',
    'a signed length': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Length: +2\r\n\r\n{}',
    'another encoding': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: xchunked\r\n\r\n0\r\n\r\n',
    'two encodings': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n',
    'encoding in HTTP/1.0': 'POST /api/v1/specimens HTTP/1.0\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n',
    'blank before the colon': 'POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Length : 2\r\n\r\n{}',
    'no host': 'GET /healthz HTTP/1.1\r\n\r\n',
    'two hosts': 'GET /healthz HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\n\r\n',
    'control byte in a field': 'GET /healthz HTTP/1.1\r\nHost: localhost\r\nX-A: a\x0bb\r\n\r\n',
    'target of another host': 'GET http://example.org/healthz HTTP/1.1\r\nHost: localhost\r\n\r\n',
  };
  for (const [name, request] of Object.entries(hostile))
    test(`framing: ${name} is refused and the connection closed`, async () => {
      const smuggled = 'GET /api/v1/limits HTTP/1.1\r\nHost: localhost\r\n\r\n';
      const { text, closed } = await raw(server, request + smuggled);
      assert.equal(statusOf(text), 400, text.slice(0, 300));
      assert.doesNotMatch(text, /^HTTP\/1\.1 (?!400)/m, 'what follows is not answered');
      assert.ok(closed);
    });

  test('framing: a good chunked body is read', async () => {
    const body = JSON.stringify({ catalogue_number: 'CH-1', title: 'Chunked', units: 'mm' });
    const { text } = await raw(server,
      `POST /api/v1/specimens HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n${body.length.toString(16)}\r\n${body}\r\n0\r\n\r\n`);
    assert.equal(statusOf(text), 201, text);
  });

  test('framing: requests in a row on one connection are answered in a row', async () => {
    const one = 'GET /api/v1/limits HTTP/1.1\r\nHost: localhost\r\n\r\n';
    const missing = 'GET /api/v1/nothing HTTP/1.1\r\nHost: localhost\r\n\r\n';
    const last = 'GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n';
    const { text } = await raw(server, one + missing + last);
    assert.deepEqual([...text.matchAll(/HTTP\/1\.1 (\d{3})/g)].map((m) => Number(m[1])), [200, 404, 200]);
  });

  test('host: only loopback names are answered', async () => {
    for (const [host, status] of [['localhost', 200], [`127.0.0.1:${server.port}`, 200], ['[::1]', 200], ['rebound.example', 421], ['127.0.0.1.example', 421]]) {
      const { text } = await raw(server, `GET /healthz HTTP/1.1\r\nHost: ${host}\r\nConnection: close\r\n\r\n`);
      assert.equal(statusOf(text), status, host);
    }
  });

  test('origin: a page of another site cannot change anything, and nobody gets CORS headers', async () => {
    const json = { catalogue_number: 'OR-1', title: 'x', units: 'mm' };
    for (const headers of [{ origin: 'https://example.org' }, { origin: 'null' }, { origin: `http://127.0.0.1:${server.port + 1}` }]) {
      const request = `POST /api/v1/specimens HTTP/1.1\r\nHost: 127.0.0.1:${server.port}\r\nOrigin: ${headers.origin}\r\nContent-Type: application/json\r\nContent-Length: ${JSON.stringify(json).length}\r\nConnection: close\r\n\r\n${JSON.stringify(json)}`;
      const { text } = await raw(server, request);
      assert.equal(statusOf(text), 403, headers.origin);
      assert.doesNotMatch(text, /access-control/i);
    }
    const site = `POST /api/v1/specimens HTTP/1.1\r\nHost: 127.0.0.1:${server.port}\r\nSec-Fetch-Site: cross-site\r\nContent-Type: application/json\r\nContent-Length: 2\r\nConnection: close\r\n\r\n{}`;
    assert.equal(statusOf((await raw(server, site)).text), 403);
    assert.equal((await call(server, 'GET', '/api/v1/specimens?q=OR-1')).body.total, 0);
  });

  test('types: the JSON API takes JSON only', async () => {
    for (const type of ['text/plain', 'application/x-www-form-urlencoded', 'multipart/form-data; boundary=x', '']) {
      const answer = await call(server, 'POST', '/api/v1/specimens', { body: '{}', headers: { 'content-type': type } });
      assert.equal(answer.status, 415, type);
    }
    assert.equal((await call(server, 'POST', '/api/v1/specimens', { body: '{"a":', headers: { 'content-type': 'application/json; charset=utf-8' } })).status, 400);
  });

  test('methods: 405 tells which there are; TRACE and the like are off; HEAD has no body', async () => {
    for (const [method, address, allow] of [['DELETE', '/api/v1/specimens', 'GET, HEAD, POST'], ['PUT', '/api/v1/specimens/1', 'GET, HEAD, PATCH'],
      ['OPTIONS', '/api/v1/runs', 'GET, HEAD, POST'], ['GET', '/api/v1/jobs/1/cancel', 'POST'], ['POST', '/', 'GET, HEAD'], ['POST', '/views/run.js', 'GET, HEAD']]) {
      const answer = await call(server, method, address);
      assert.equal(answer.status, 405, `${method} ${address}`);
      assert.equal(answer.headers.get('allow'), allow);
      assert.equal(answer.body.code, 'method');
    }
    const { text } = await raw(server, 'TRACE /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n');
    assert.equal(statusOf(text), 405);
    const got = await call(server, 'GET', '/api/v1/limits');
    const head = await call(server, 'HEAD', '/api/v1/limits');
    assert.equal(head.status, 200);
    assert.equal(head.bytes.length, 0);
    assert.equal(head.headers.get('content-length'), String(got.bytes.length));
    assert.equal(head.headers.get('etag'), got.headers.get('etag'));
  });

  test('addresses: tricks never reach a file', async () => {
    for (const target of ['/../outside.txt', '/views/../../outside.txt', '/%2e%2e/outside.txt', '/..%2foutside.txt', '/views/%2e%2e/%2e%2e/outside.txt',
      '/..%5coutside.txt', '//etc/passwd', '/%00', '/index.html%00.js', '/views/', '/.hidden', '/%ff', '/index.html/', '/views/run.js%20']) {
      const { text } = await raw(server, `GET ${target} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n`);
      assert.ok([400, 404].includes(statusOf(text)), `${target}: ${text.slice(0, 60)}`);
      assert.match(text, /application\/problem\+json/);
    }
    const encoded = await call(server, 'GET', '/%76iews/run%2Ejs');
    assert.equal(encoded.status, 200, 'a plain name may be written with escapes');
  });

  test('page: files with their types, tags and revalidation', async () => {
    const root = await call(server, 'GET', '/');
    assert.equal(root.headers.get('content-type'), 'text/html; charset=utf-8');
    assert.equal(root.headers.get('cache-control'), 'no-cache');
    const script = await call(server, 'GET', '/views/run.js');
    assert.equal(script.headers.get('content-type'), 'text/javascript; charset=utf-8');
    const again = await call(server, 'GET', '/views/run.js', { headers: { 'if-none-match': `W/"x", ${script.headers.get('etag')}` } });
    assert.equal(again.status, 304);
    assert.equal(again.bytes.length, 0);
    assert.equal(again.headers.get('etag'), script.headers.get('etag'));
  });

  test('limits: long addresses, large headers and large bodies are refused', async () => {
    const long = await call(server, 'GET', `/api/v1/specimens?q=${'a'.repeat(9000)}`);
    assert.equal(long.status, 414);
    const header = await raw(server, `GET /healthz HTTP/1.1\r\nHost: localhost\r\nX-Big: ${'a'.repeat(40000)}\r\n\r\n`);
    assert.ok([431, 414, 413].includes(statusOf(header.text)), header.text.slice(0, 100));
    const json = await call(server, 'POST', '/api/v1/specimens', { json: { catalogue_number: 'x', title: 'x', units: 'mm', note: 'a'.repeat(1 << 20) } });
    assert.equal(json.status, 413);
    assert.match(json.body.detail, /1048576 bytes \(json_bytes\)/);
  });

  test('limits: an upload too large by its length is refused before its body, and with Expect no body is asked for', async () => {
    const specimen = await makeSpecimen(server);
    const head = `POST /api/v1/specimens/${specimen.id}/versions?kind=scan&name=a.obj HTTP/1.1\r\nHost: localhost\r\nContent-Length: 3000001\r\n`;
    const waiting = await raw(server, `${head}Expect: 100-continue\r\n\r\n`);
    assert.equal(statusOf(waiting.text), 413);
    assert.doesNotMatch(waiting.text, /100 Continue/);
    const sending = await raw(server, `${head}\r\n${'a'.repeat(1000000)}`);
    assert.equal(statusOf(sending.text), 413, 'the answer survives the body that was already sent');
  });

  test('limits: a chunked upload that grows too large is told so and leaves nothing', async () => {
    const specimen = await makeSpecimen(server);
    const piece = 'a'.repeat(65536);
    let text = `POST /api/v1/specimens/${specimen.id}/versions?kind=scan&name=a.obj HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n`;
    for (let sent = 0; sent <= 3000000; sent += piece.length) text += `10000\r\n${piece}\r\n`;
    const answer = await raw(server, text);
    assert.equal(statusOf(answer.text), 413);
    assert.match(answer.text, /upload_bytes/);
    assert.equal((await call(server, 'GET', `/api/v1/specimens/${specimen.id}/versions`)).body.total, 0);
  });

  test('limits: Expect: 100-continue is honoured for a good upload', async () => {
    const specimen = await makeSpecimen(server);
    const body = box({ at: 5 });
    const socket = net.connect(server.port, '127.0.0.1');
    let text = '';
    socket.setEncoding('latin1').on('data', (piece) => (text += piece));
    socket.write(`POST /api/v1/specimens/${specimen.id}/versions?kind=scan&name=a.obj HTTP/1.1\r\nHost: localhost\r\nContent-Length: ${body.length}\r\nExpect: 100-continue\r\nConnection: close\r\n\r\n`);
    await until(() => text.includes('100 Continue'));
    assert.match(text, /^HTTP\/1\.1 100 Continue\r\n\r\n$/);
    socket.write(body);
    await until(() => text.includes('HTTP/1.1 201'));
    assert.match(text, /HTTP\/1\.1 201/);
    socket.destroy();
  });

  test('deadlines: a header sent byte by byte, and a body that stalls, are cut off', async () => {
    const slow = net.connect(server.port, '127.0.0.1');
    let closed = false;
    slow.on('close', () => (closed = true)).on('error', () => {});
    slow.write('GET /healthz HTTP/1.1\r\nHost: localhost\r\n');
    const drip = () => {
      slow.write('X');
      return closed;
    };
    assert.ok(await until(drip, Boolean, 50), 'the slow header is cut off though bytes kept coming');

    const specimen = await makeSpecimen(server);
    const stalled = await raw(server,
      `POST /api/v1/specimens/${specimen.id}/versions?kind=scan&name=a.obj HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nv 0 0 0\n`);
    assert.ok(stalled.closed);
    assert.equal(statusOf(stalled.text), 0, 'never acknowledged');
    assert.match((await call(server, 'GET', '/metrics')).text, /^fettle_late_connections_total ([2-9]|\d{2,})$/m);
  });

  test('limits: more connections from one address than allowed are not served, and it recovers', async () => {
    let closed = 0;
    const sockets = [];
    for (let i = 0; i < 60; i++) {
      const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
      socket.on('close', () => (closed += 1)).resume();
      sockets.push(socket);
    }
    assert.ok(await until(() => closed >= 20), `${closed} of 60 were turned away`);
    sockets.forEach((socket) => socket.destroy());
    const health = () => call(server, 'GET', '/healthz').then(({ status }) => status, () => 0);
    assert.equal(await until(health, (status) => status === 200), 200);
  });

  test('uploads that break off leave nothing behind', async () => {
    const specimen = await makeSpecimen(server);
    for (let i = 0; i < 5; i++) {
      const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
      socket.write(`POST /api/v1/specimens/${specimen.id}/versions?kind=scan&name=a.obj HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n\r\n${'v 0 0 0\n'.repeat(1000)}`);
      await pause(50);
      socket.destroy();
    }
    assert.ok(await until(async () => /^fettle_uploads 0$/m.test((await call(server, 'GET', '/metrics')).text)));
    const { readdirSync } = await import('node:fs');
    assert.deepEqual(readdirSync(path.join(server.data, 'uploads')), []);
    assert.equal((await call(server, 'GET', `/api/v1/specimens/${specimen.id}/versions`)).body.total, 0);
    assert.equal((await upload(server, specimen.id, box({ at: 9 }))).status, 201);
  });
});
