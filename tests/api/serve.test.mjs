// serve.test.mjs - the command itself: options, address, signals, what survives a restart, what it says on the way.
import assert from 'node:assert/strict';
import { spawn, spawnSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import net from 'node:net';
import path from 'node:path';
import { test } from 'node:test';
import { box, call, FETTLE, listen, makeSpecimen, pause, startServer, temporaryFolder, until, upload, waitForVersion } from './support.mjs';

const serve = (...args) => spawnSync(FETTLE, ['serve', ...args], { encoding: 'utf8', timeout: 20000 });

test('wrong calls end with status 2 and a sentence', (t) => {
  const data = path.join(temporaryFolder(), 'data');
  for (const [args, words] of [
    [[], /--data DIR is missing/],
    [['--data', data, '--port', '70000'], /--port/],
    [['--data', data, '--limit', 'nothing=1'], /no limit is called "nothing"/],
    [['--data', data, '--limit', 'json_bytes'], /NAME=VALUE/],
    [['--data', data, '--limit', 'page_size=0'], /from 1 to/],
    [['--data', data, 'more'], /no operand/],
  ]) {
    const { status, stderr, stdout } = serve(...args);
    assert.equal(status, 2, stderr);
    assert.match(stderr, words);
    assert.equal(stdout, '');
  }
});

test('any address but a loopback one is refused', (t) => {
  const data = path.join(temporaryFolder(), 'data');
  for (const address of ['0.0.0.0', '::', '192.0.2.1', 'example.org', '']) {
    const { status, stderr } = serve('--data', data, '--port', '0', '--address', address);
    assert.equal(status, 2, stderr);
    assert.match(stderr, /no accounts yet/);
  }
});

test('a page folder that is named must be one', (t) => {
  const folder = temporaryFolder();
  mkdirSync(path.join(folder, 'empty'));
  for (const page of ['missing', 'empty']) {
    const { status, stderr } = serve('--data', path.join(folder, 'data'), '--port', '0', '--page', path.join(folder, page));
    assert.notEqual(status, 0);
    assert.match(stderr, /page/);
  }
});

test('a data folder is served by one process at a time', async (t) => {
  const server = await startServer(t);
  const { status, stderr } = serve('--data', server.data, '--port', '0');
  assert.equal(status, 5, stderr);
  assert.match(stderr, /^fettle: /m);
});

test('a taken port is told', async (t) => {
  const server = await startServer(t);
  const { status, stderr } = serve('--data', path.join(temporaryFolder(), 'data'), '--port', String(server.port));
  assert.equal(status, 5);
  assert.match(stderr, /cannot listen on port/);
});

test('standard output is the address alone; every line on standard error from then on is JSON', async (t) => {
  const data = path.join(temporaryFolder(), 'data');
  const child = spawn(FETTLE, ['serve', '--data', data, '--port', '0'], { stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  let log = '';
  child.stdout.on('data', (text) => (out += text));
  child.stderr.on('data', (text) => (log += text));
  await until(() => out.includes('\n'));
  const origin = out.trim().slice(0, -1);
  await fetch(`${origin}/api/v1/specimens?q=${encodeURIComponent('\u001b[31mred"')}`).catch(() => {});
  await fetch(`${origin}/nothing%22%20here`);
  child.kill('SIGINT');
  const code = await new Promise((resolve) => child.on('close', resolve));
  assert.equal(code, 0);
  assert.match(out, /^http:\/\/127\.0\.0\.1:\d+\/\n$/);
  const lines = log.trim().split('\n').filter((line) => !line.startsWith('fettle: the page'));
  const events = lines.map((line) => JSON.parse(line).event);
  assert.ok(events.includes('started') && events.includes('request') && events.at(-1) === 'stopped');
  assert.doesNotMatch(log, /\u001b/);
});

test('IPv6 loopback is served too', async (t) => {
  const data = path.join(temporaryFolder(), 'data');
  const child = spawn(FETTLE, ['serve', '--data', data, '--port', '0', '--address', '::1'], { stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  let log = '';
  child.stdout.on('data', (text) => (out += text));
  child.stderr.on('data', (text) => (log += text));
  await until(() => out.includes('\n') || child.exitCode !== null);
  if (/Cannot assign requested address|not supported/.test(log)) return t.skip('no IPv6 here');
  assert.match(out, /^http:\/\/\[::1\]:\d+\/\n$/, log);
  assert.equal((await fetch(`${out.trim()}healthz`)).status, 200);
  child.kill();
  assert.equal(await new Promise((resolve) => child.on('close', resolve)), 0);
});

test('a stop lets answers and uploads finish, and a restart has everything', async (t) => {
  const first = await startServer(t);
  const specimen = await makeSpecimen(first);
  const version = (await upload(first, specimen.id, box({ at: 1 }))).body;
  await waitForVersion(first, version.id);
  let feed;
  const body = new ReadableStream({ start: (controller) => (feed = controller) });
  const slow = call(first, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan&name=slow.obj`, { body });
  feed.enqueue(new TextEncoder().encode(box({ at: 2 })));
  assert.ok(await until(async () => /^fettle_uploads 1$/m.test((await call(first, 'GET', '/metrics')).text)));
  const stream = await listen(first);
  const stopped = first.stop();
  const knock = () => new Promise((resolve) => {
    const socket = net.connect(first.port, '127.0.0.1', () => socket.write('GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n'));
    socket.on('error', () => {}).on('close', () => resolve('let go')).on('data', () => resolve('answered') ?? socket.destroy());
  });
  assert.equal(await until(knock, (answer) => answer === 'let go'), 'let go', 'nobody new is let in');
  feed.close();
  const made = await slow;
  assert.equal(made.status, 201, 'the upload that was under way is finished');
  assert.equal((await stopped).code, 0);
  assert.ok(await until(() => stream.ended));

  const second = await startServer(t, { data: first.data });
  const list = (await call(second, 'GET', `/api/v1/specimens/${specimen.id}/versions`)).body;
  assert.deepEqual(list.items.map((item) => item.id), [version.id, made.body.id]);
  assert.equal((await waitForVersion(second, made.body.id)).runs.length, 1);
});

test('a connection that stays open does not hold up the stop', async (t) => {
  const server = await startServer(t, { args: ['--limit', 'stop_ms=1000'] });
  const specimen = await makeSpecimen(server);
  const body = new ReadableStream({ start: (controller) => controller.enqueue(new TextEncoder().encode('v 0 0 0\n')) });
  const never = call(server, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan&name=n.obj`, { body }).catch(() => 'cut off');
  assert.ok(await until(async () => /^fettle_uploads 1$/m.test((await call(server, 'GET', '/metrics')).text)));
  assert.equal((await server.stop()).code, 0);
  assert.equal(await never, 'cut off');
});

test('the page is served where it is named', async (t) => {
  const folder = temporaryFolder();
  writeFileSync(path.join(folder, 'index.html'), '<!doctype html><title>page</title>');
  const server = await startServer(t, { args: ['--page', folder] });
  const page = await call(server, 'GET', '/');
  assert.equal(page.status, 200);
  assert.equal(page.text, '<!doctype html><title>page</title>');
});
