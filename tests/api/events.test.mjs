// events.test.mjs - server-sent events: what happens is told, in order, once; a stream that comes back misses nothing.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { box, call, listen, makeSpecimen, pause, startServer, until, upload, validateAs } from './support.mjs';

test('an upload is told as version, job, specimen and run', async (t) => {
  const server = await startServer(t);
  const stream = await listen(server);
  t.after(stream.close);
  const specimen = await makeSpecimen(server);
  await stream.wait((event) => event.name === 'specimen' && event.data.id === specimen.id);
  const version = (await upload(server, specimen.id, box())).body;
  await stream.wait((event) => event.name === 'version' && event.data.id === version.id);
  const done = await stream.wait((event) => event.name === 'job' && event.data.state === 'done');
  const run = await stream.wait((event) => event.name === 'run');
  assert.equal(run.data.id, done.data.run);
  assert.equal(run.data.version, version.id);
  assert.equal(run.data.specimen, specimen.id);
  await stream.wait((event) => event.name === 'specimen' && event.data.trend[0]?.run === run.data.id);
  for (const { name, data } of stream.events) validateAs({ job: 'Job', version: 'Version', specimen: 'Specimen', run: 'RunEvent' }[name], data);
  const ids = stream.events.map((event) => Number(event.id));
  assert.deepEqual(ids, [...new Set(ids)].sort((a, b) => a - b), 'numbers only grow');
});

test('a stream of one specimen tells of that one only', async (t) => {
  const server = await startServer(t);
  const mine = await makeSpecimen(server);
  const other = await makeSpecimen(server);
  const stream = await listen(server, `/api/v1/events?specimen=${mine.id}`);
  t.after(stream.close);
  const version = (await upload(server, other.id, box({ at: 1 }))).body;
  const own = (await upload(server, mine.id, box({ at: 2 }))).body;
  await stream.wait((event) => event.name === 'version' && event.data.id === own.id);
  await pause(500);
  assert.ok(!JSON.stringify(stream.events).includes(`"version":"${version.id}"`));
  assert.ok(stream.events.filter((event) => event.name === 'specimen').every((event) => event.data.id === mine.id));
});

test('a stream that comes back goes on after the last event it has seen', async (t) => {
  const server = await startServer(t);
  const first = await listen(server);
  const a = await makeSpecimen(server);
  const seen = await first.wait((event) => event.name === 'specimen' && event.data.id === a.id);
  first.close();
  const b = await makeSpecimen(server);
  await pause(600);
  const second = await listen(server, '/api/v1/events', { 'last-event-id': seen.id });
  t.after(second.close);
  const missed = await second.wait((event) => event.data.id === b.id);
  assert.ok(Number(missed.id) > Number(seen.id));
  assert.ok(!second.events.some((event) => event.data.id === a.id), 'nothing twice');
});

test('a stream whose place is gone is told to read everything anew', async (t) => {
  const server = await startServer(t);
  for (const id of ['1', '99999999999999999', 'x']) {
    const stream = await listen(server, '/api/v1/events', { 'last-event-id': id });
    await stream.wait((event) => event.name === 'reset');
    stream.close();
  }
});

test('a silent stream is kept alive, and streams have a limit of their own', async (t) => {
  const server = await startServer(t, { args: ['--limit', 'keep_alive_ms=200', '--limit', 'event_streams=2'] });
  const one = await listen(server);
  const two = await listen(server);
  t.after(one.close);
  const third = await call(server, 'GET', '/api/v1/events');
  assert.equal(third.status, 503);
  assert.match(third.body.detail, /event_streams/);
  assert.ok(await until(() => one.comments >= 3));
  two.close();
  const again = async () => {
    const controller = new AbortController();
    const { status } = await fetch(`${server.origin}/api/v1/events`, { signal: controller.signal });
    controller.abort();
    return status;
  };
  assert.equal(await until(again, (status) => status !== 503), 200, 'a stream that went away makes room');
});

test('many streams hear the same, and all end when the service stops', async (t) => {
  const server = await startServer(t);
  const streams = await Promise.all(Array.from({ length: 40 }, () => listen(server)));
  const specimen = await makeSpecimen(server);
  for (const stream of streams) await stream.wait((event) => event.data.id === specimen.id);
  assert.equal((await server.stop()).code, 0);
  assert.ok(await until(() => streams.every((stream) => stream.ended)));
});
