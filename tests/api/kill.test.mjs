// kill.test.mjs - kill -9 at random moments of uploads, changes, jobs and starts, with a ledger of every 2xx.
// After each restart: nothing acknowledged is lost or altered. At the end: every job has ended once, `fettle verify`
// is clean. FETTLE_KILLS sets the number of kills (100, or one of FETTLE_TEST_SHARE of them), FETTLE_SEED the moments.
import assert from 'node:assert/strict';
import { spawn, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import path from 'node:path';
import { test } from 'node:test';
import { box, call, FETTLE, pause, random, sheet, startServer, temporaryFolder, until, upload } from './support.mjs';

const KILLS = Number(process.env.FETTLE_KILLS ?? Math.ceil(100 / Number(process.env.FETTLE_TEST_SHARE || 1)));
const SEED = Number(process.env.FETTLE_SEED ?? 20261125);
const sha256 = (bytes) => createHash('sha256').update(bytes).digest('hex');

/** A mesh that nobody else sends: mostly tiny, now and then one that takes a moment. */
function mesh(number, next) {
  return next() < 0.2 ? sheet(20 + Math.floor(next() * 60), number) : box({ at: number / 8, triangles: next() < 0.5, open: next() < 0.3 });
}

/** Sends until the server is gone; writes down what was acknowledged, and tells of each answer. */
async function traffic(server, ledger, round, next, alive, answered) {
  const gone = server.ended.then(() => pause(100)).then(() => null); // fetch may wait for ever for a killed server
  const attempt = async (send) => {
    try {
      const answer = await Promise.race([send(), gone]);
      answered();
      return answer;
    } catch (error) {
      if (alive()) throw error;
      return null; // the kill: nobody knows whether it was done
    }
  };
  const made = await attempt(() => call(server, 'POST', '/api/v1/specimens', { json: { catalogue_number: `K-${round}`, title: `Round ${round}`, units: 'mm' } }));
  if (made?.status !== 201) return;
  const specimen = { ...made.body, notes: [''], versions: [] };
  ledger.set(specimen.id, specimen);
  await Promise.all([0, 1, 2].map(async (lane) => {
    for (let i = 0; alive() && i < 4; i++) {
      const bytes = mesh(round * 1000 + lane * 100 + i, next);
      const scan = specimen.versions.find((version) => version.kind === 'scan');
      const values = scan && next() < 0.6 ? { kind: 'cage', made_from: scan.id, name: 'cage.obj' } : { name: 'scan.obj' };
      const answer = await attempt(() => upload(server, specimen.id, bytes, values));
      if (answer === null) return;
      assert.equal(answer.status, 201, answer.text);
      assert.equal(answer.body.file.sha256, sha256(bytes));
      const entry = { ...answer.body, withdrawn: null };
      specimen.versions.push(entry);
      if (next() < 0.2) {
        const note = `note ${round} ${lane} ${i}`;
        specimen.notes.push(note); // asked for: may be there from now on
        const changed = await attempt(() => call(server, 'PATCH', `/api/v1/specimens/${specimen.id}`, { json: { note }, headers: { 'if-match': '*' } }));
        if (changed?.status === 200) specimen.noted = true;
      }
      if (next() < 0.1) {
        const withdrawn = await attempt(() => call(server, 'PATCH', `/api/v1/versions/${answer.body.id}`, { json: { withdrawn: { reason: 'a test' } }, headers: { 'if-match': '*' } }));
        if (withdrawn?.status === 200) entry.withdrawn = 'a test';
      }
    }
  }));
}

async function checkLedger(server, specimens, files) {
  for (const expected of specimens) {
    const specimen = await call(server, 'GET', `/api/v1/specimens/${expected.id}`);
    assert.equal(specimen.status, 200, `specimen ${expected.id} is lost`);
    assert.ok(expected.notes.includes(specimen.body.note));
    if (expected.noted) assert.notEqual(specimen.body.note, '');
    const list = (await call(server, 'GET', `/api/v1/specimens/${expected.id}/versions?limit=500`)).body.items;
    for (const version of expected.versions) {
      const found = list.find((one) => one.id === version.id);
      assert.ok(found, `version ${version.id} is lost`);
      for (const key of ['kind', 'number', 'made_from', 'against', 'by', 'created']) assert.equal(found[key], version[key], key);
      assert.equal(found.file.sha256, version.file.sha256);
      if (version.withdrawn) assert.equal(found.withdrawn?.reason, version.withdrawn);
      assert.ok(version.jobs.every((job) => found.jobs.includes(job)), 'a job is lost');
      if (files) {
        const file = await call(server, 'GET', `/api/v1/versions/${version.id}/file`);
        assert.equal(sha256(file.bytes), version.file.sha256, 'a file is altered');
      }
    }
  }
}

function verify(data) {
  const { status, stdout, stderr } = spawnSync(FETTLE, ['verify', '--data', data], { encoding: 'utf8' });
  assert.equal(status, 0, stdout + stderr);
}

/** Kills a server in the midst of its start. */
async function killWhileStarting(data, ms) {
  const child = spawn(FETTLE, ['serve', '--data', data, '--port', '0'], { stdio: 'ignore' });
  await pause(ms);
  child.kill('SIGKILL');
  await new Promise((resolve) => child.on('close', resolve));
}

/** The kill comes a moment after one of the answers: as much is under way on a slow machine as on a fast one. */
async function trafficUntilKilled(server, ledger, round, next) {
  let [alive, sending, answers] = [true, true, 0];
  const [wanted, more] = [next() * 12, next() * 60];
  const kill = async () => {
    await until(() => answers >= wanted || !sending, Boolean, 1);
    await pause(more);
    alive = false;
    server.child.kill('SIGKILL');
  };
  const send = traffic(server, ledger, round, next, () => alive, () => (answers += 1)).finally(() => (sending = false));
  await Promise.all([kill(), send]);
}

test(`nothing acknowledged is lost in ${KILLS} kills`, async (t) => {
  const next = random(SEED);
  const data = path.join(temporaryFolder(), 'data');
  const ledger = new Map();
  for (let round = 0; round < KILLS; round++) {
    if (round > 0 && next() < 0.1) {
      await killWhileStarting(data, next() * 80);
      continue;
    }
    const server = await startServer(null, { data });
    await checkLedger(server, [...ledger.values()].slice(-1), true);
    await trafficUntilKilled(server, ledger, round, next);
    await server.ended;
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
    if (round % 20 === 19) verify(data);
  }

  const server = await startServer(t, { data });
  await checkLedger(server, ledger.values(), false);
  const acknowledged = [...ledger.values()].flatMap((specimen) => specimen.versions);
  assert.ok(acknowledged.length > KILLS, `${acknowledged.length} versions`);
  let waiting = Infinity;
  for (let idle = 0; waiting > 0; await pause(200)) {
    const totals = await Promise.all(['queued', 'running'].map(async (state) => (await call(server, 'GET', `/api/v1/jobs?state=${state}&limit=1`)).body.total));
    idle = totals[0] + totals[1] < waiting ? 0 : idle + 1;
    waiting = totals[0] + totals[1];
    assert.ok(idle < 300, `no job has ended for a minute, ${waiting} wait`);
  }
  const jobs = [];
  for (let cursor = ''; cursor !== null;) {
    const page = (await call(server, 'GET', `/api/v1/jobs?limit=500${cursor ? `&cursor=${cursor}` : ''}`)).body;
    jobs.push(...page.items);
    cursor = page.next;
  }
  for (const job of jobs) {
    if (job.state === 'failed') assert.equal(job.reason.code, 'crashed', JSON.stringify(job));
    else assert.equal(job.state, 'done', JSON.stringify(job));
  }
  const done = jobs.filter((job) => job.state === 'done');
  assert.equal(new Set(done.map((job) => job.run)).size, done.length, 'no two jobs share a run');
  const known = new Map(jobs.map((job) => [job.id, job]));
  for (const version of acknowledged) {
    const now = (await call(server, 'GET', `/api/v1/versions/${version.id}`)).body;
    const finished = now.jobs.map((id) => known.get(id)).filter((job) => job.state === 'done');
    assert.deepEqual(now.runs.slice().sort(), finished.map((job) => job.run).sort(), 'each job has one run, each run one job');
  }
  t.diagnostic(`${KILLS} kills: ${ledger.size} specimens, ${acknowledged.length} versions acknowledged, ${jobs.length} jobs, ${done.length} done, ${jobs.length - done.length} crashed twice`);
  assert.ok(done.length > jobs.length / 2);
  assert.equal((await server.stop()).code, 0);
  verify(data);
});
