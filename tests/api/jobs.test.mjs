// jobs.test.mjs - the queue: states, places, cancel, retry, and a reason for every file that cannot be measured.
import assert from 'node:assert/strict';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { box, call, listen, makeSpecimen, sheet, startServer, temporaryFolder, until, upload, waitForJob } from './support.mjs';

describe('jobs', () => {
  let server, specimen;
  const folder = temporaryFolder();
  const job = async (id) => (await call(server, 'GET', `/api/v1/jobs/${id}`)).body;
  const post = (id, what, options = { json: {} }) => call(server, 'POST', `/api/v1/jobs/${id}/${what}`, options);

  before(async () => {
    server = await startServer(null, { data: path.join(folder, 'data'), args: ['--workers', '1', '--limit', 'queued_jobs=12'] });
    specimen = await makeSpecimen(server);
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('a file that is broken fails with its place and what to do', async () => {
    const bytes = 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n';
    const version = (await upload(server, specimen.id, bytes)).body;
    const failed = await waitForJob(server, version.jobs[0]);
    assert.equal(failed.state, 'failed');
    assert.equal(failed.run, null);
    assert.equal(failed.reason.code, 'reject-data');
    assert.equal(failed.reason.format, 'obj');
    assert.equal(failed.reason.line, 4);
    assert.ok(failed.reason.text.length > 10 && failed.reason.do.length > 10);
    assert.equal(failed.attempt, 1, 'a refusal is final');
    const now = (await call(server, 'GET', `/api/v1/specimens/${specimen.id}`)).body;
    assert.equal(now.jobs.failed, 1);
    assert.equal(now.trend.at(-1).run, null);
    assert.equal((await call(server, 'GET', '/api/v1/jobs?state=failed')).body.total, 1);
  });

  test('a failed job is retried, and fails for the same reason', async () => {
    const failed = (await call(server, 'GET', '/api/v1/jobs?state=failed')).body.items[0];
    const again = await post(failed.id, 'retry');
    assert.equal(again.status, 200, again.text);
    assert.equal(again.body.reason, null);
    const ended = await waitForJob(server, failed.id);
    assert.equal(ended.state, 'failed');
    assert.equal(ended.reason.code, 'reject-data');
  });

  test('a queued job has a place, a running one tells its progress; both can be cancelled, and measured after all', async () => {
    const stream = await listen(server);
    const big = (await upload(server, specimen.id, sheet(400), { name: 'big.obj' })).body;
    const waiting = (await upload(server, specimen.id, box({ at: 3 }), { name: 'small.obj' })).body;
    const versions = [];
    await until(() => job(big.jobs[0]), ({ state }) => state !== 'queued');
    const queued = await job(waiting.jobs[0]);
    if (queued.state === 'queued') assert.equal(queued.position, 1);
    const cancelledQueued = await post(waiting.jobs[0], 'cancel');
    assert.equal(cancelledQueued.status, 200, cancelledQueued.text);
    const first = await waitForJob(server, waiting.jobs[0]);
    assert.equal(first.state, 'cancelled');

    const running = await post(big.jobs[0], 'cancel', {});
    assert.equal(running.status, 200, running.text);
    const second = await waitForJob(server, big.jobs[0]);
    assert.equal(second.state, 'cancelled');
    assert.equal(second.reason.code, 'cancelled');
    assert.equal((await post(big.jobs[0], 'cancel')).status, 409, 'it has ended');

    assert.equal((await post(big.jobs[0], 'retry')).status, 200);
    assert.equal((await post(big.jobs[0], 'retry')).status, 409, 'it waits already');
    const done = await waitForJob(server, big.jobs[0]);
    assert.equal(done.state, 'done');
    assert.equal(done.progress, 1);
    assert.ok(done.run);
    assert.equal((await post(big.jobs[0], 'retry')).status, 409, 'it is done');
    await stream.wait((event) => event.name === 'job' && event.data.id === big.jobs[0] && event.data.state === 'done');
    versions.push(...stream.events.filter((event) => event.name === 'job' && event.data.id === big.jobs[0] && event.data.state === 'running'));
    assert.ok(versions.length > 0);
    assert.ok(versions.every((event) => event.data.progress >= 0 && event.data.progress <= 1));
    stream.close();
    assert.equal((await post(waiting.jobs[0], 'retry')).status, 200);
    assert.equal((await waitForJob(server, waiting.jobs[0])).state, 'done');
  });

  test('what is no job, no state or no body is refused', async () => {
    assert.equal((await call(server, 'GET', '/api/v1/jobs/424242')).status, 404);
    assert.equal((await post('424242', 'cancel')).status, 404);
    assert.equal((await post('424242', 'retry')).status, 404);
    assert.equal((await call(server, 'GET', '/api/v1/jobs?state=lost')).status, 400);
    assert.equal((await post('1', 'cancel', { json: { why: 'x' } })).status, 400);
    assert.equal((await call(server, 'GET', '/api/v1/jobs/1/cancel')).status, 405);
  });

  test('a full queue is told, and uploads come through again when it has emptied', async () => {
    const other = await makeSpecimen(server);
    await upload(server, other.id, sheet(300, 2), { name: 'big.obj' });
    const answers = [];
    for (let i = 0; i < 20; i++) answers.push(await upload(server, other.id, box({ at: 200 + i }), { name: `q${i}.obj` }));
    const refused = answers.filter((answer) => answer.status !== 201);
    assert.ok(refused.every((answer) => answer.status === 503 && answer.headers.get('retry-after')), JSON.stringify(refused.map((r) => r.body)));
    for (const answer of answers) if (answer.status === 201) await waitForJob(server, answer.body.jobs[0]);
    assert.equal((await upload(server, other.id, box({ at: 300 }))).status, 201);
  });

  test('the list is paged, newest first', async () => {
    const seen = [];
    let cursor = null;
    do {
      const page = (await call(server, 'GET', `/api/v1/jobs?specimen=${specimen.id}&limit=2${cursor ? `&cursor=${cursor}` : ''}`)).body;
      seen.push(...page.items.map((item) => Number(item.id)));
      cursor = page.next;
    } while (cursor);
    assert.ok(seen.length >= 3);
    assert.deepEqual(seen, [...new Set(seen)].sort((a, b) => b - a));
  });
});
