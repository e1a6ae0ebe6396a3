// limits.test.mjs - limits that need a server of their own: rate of a body, a response that nobody takes, free disk,
// memory under many connections.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import net from 'node:net';
import { test } from 'node:test';
import { box, call, makeSpecimen, pause, startServer, statusOf, until, upload } from './support.mjs';

test('a body that drips below the least rate is cut off', async (t) => {
  const server = await startServer(t, { args: ['--limit', 'body_grace_ms=500', '--limit', 'body_rate_bytes=100000'] });
  const specimen = await makeSpecimen(server);
  const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
  let closed = false;
  let text = '';
  socket.setEncoding('latin1').on('data', (piece) => (text += piece)).on('close', () => (closed = true));
  socket.write(`POST /api/v1/specimens/${specimen.id}/versions?kind=scan&name=a.obj HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n\r\n`);
  const drip = () => {
    socket.write('v 0 0 0\n');
    return closed;
  };
  assert.ok(await until(drip, Boolean, 25));
  assert.equal(statusOf(text), 0);
  assert.equal((await call(server, 'GET', `/api/v1/specimens/${specimen.id}/versions`)).body.total, 0);
});

test('a response that nobody takes is given up', async (t) => {
  const server = await startServer(t, { args: ['--limit', 'write_gap_ms=1000'] });
  const specimen = await makeSpecimen(server);
  const version = (await upload(server, specimen.id, 'v 0 0 0\n'.repeat(4 << 20))).body;
  await call(server, 'POST', `/api/v1/jobs/${version.jobs[0]}/cancel`);
  const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
  socket.pause();
  socket.write(`GET /api/v1/versions/${version.id}/file HTTP/1.1\r\nHost: localhost\r\n\r\n`);
  const open = async () => Number(/^fettle_connections (\d+)$/m.exec((await call(server, 'GET', '/metrics')).text)[1]);
  assert.ok((await until(open, (count) => count >= 2)) >= 2);
  assert.equal(await until(open, (count) => count <= 1, 50), 1, 'only the one that asks');
  socket.destroy();
});

test('a kept connection that asks nothing is closed', async (t) => {
  const server = await startServer(t, { args: ['--limit', 'idle_ms=1000'] });
  const socket = net.connect(server.port, '127.0.0.1').on('error', () => {});
  let closed = false;
  let text = '';
  socket.setEncoding('latin1').on('data', (piece) => (text += piece)).on('close', () => (closed = true));
  socket.write('GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n');
  assert.ok(await until(() => closed));
  assert.equal(statusOf(text), 200);
});

test('an upload that would eat into the reserve of the disk is refused before its body; reads go on', async (t) => {
  const server = await startServer(t, { args: ['--limit', `disk_keep_bytes=${2 ** 40}`] });
  const specimen = await makeSpecimen(server);
  const answer = await upload(server, specimen.id, box());
  assert.equal(answer.status, 507, answer.text);
  assert.equal(answer.body.code, 'machine');
  assert.equal((await call(server, 'GET', `/api/v1/specimens/${specimen.id}`)).status, 200);
  const limits = (await call(server, 'GET', '/api/v1/limits')).body.items;
  assert.equal(limits.find((limit) => limit.name === 'disk_keep_bytes').value, 2 ** 40);
});

test('two hundred slow headers do not keep others from their answer', async (t) => {
  const server = await startServer(t);
  const sockets = Array.from({ length: 200 }, () => net.connect(server.port, '127.0.0.1').on('error', () => {}));
  sockets.forEach((socket) => socket.write('GET /healthz HTTP/1.1\r\nHost: local'));
  await pause(200);
  for (let i = 0; i < 20; i++) assert.equal((await call(server, 'GET', '/api/v1/specimens')).status, 200);
  const peak = Number(/VmHWM:\s+(\d+) kB/.exec(readFileSync(`/proc/${server.child.pid}/status`, 'utf8'))[1]) / 1024;
  t.diagnostic(`peak ${peak.toFixed(1)} MiB`);
  sockets.forEach((socket) => socket.destroy());
});
