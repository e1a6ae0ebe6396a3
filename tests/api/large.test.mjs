// large.test.mjs - large uploads: memory of the service stays small, hashes are right, ranges far into the file work.
// The bound of 64 MiB resident for 2 GiB is a requirement of this project. FETTLE_LARGE=1 sends 2 GiB, else 256 MiB.
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { closeSync, ftruncateSync, openSync, readFileSync, rmSync, statfsSync, writeSync } from 'node:fs';
import path from 'node:path';
import { test } from 'node:test';
import { call, curl, makeSpecimen, startServer, temporaryFolder } from './support.mjs';

const MIB = 2 ** 20;
const SIZE = (process.env.FETTLE_LARGE === '1' ? 2048 : 256) * MIB;

function peakResidentMib(pid) {
  return Number(/VmHWM:\s+(\d+) kB/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))[1]) / 1024;
}

test(`an upload of ${SIZE / MIB} MiB keeps the service under 64 MiB resident`, async (t) => {
  const folder = temporaryFolder();
  const { bavail, bsize } = statfsSync(folder);
  if (bavail * bsize < 3 * SIZE + 4 * 2 ** 30) return t.skip('the disk is too full for it');
  const server = await startServer(t, { data: path.join(folder, 'data'), args: ['--limit', 'disk_keep_bytes=1'] });
  const specimen = await makeSpecimen(server);
  const file = path.join(folder, 'large.obj');
  const fd = openSync(file, 'w'); // sparse: only the ends hold something
  writeSync(fd, 'v 0 0 0\n');
  ftruncateSync(fd, SIZE - 4);
  writeSync(fd, 'end\n', SIZE - 4);
  closeSync(fd);

  const begin = Date.now();
  const address = `${server.origin}/api/v1/specimens/${specimen.id}/versions?kind=scan&name=large.obj`;
  const version = JSON.parse(curl('--max-time', '600', '-T', file, '-X', 'POST', address));
  const seconds = (Date.now() - begin) / 1000;
  const peak = peakResidentMib(server.child.pid);
  t.diagnostic(`${SIZE / MIB} MiB in ${seconds.toFixed(1)} s, ${(SIZE / MIB / seconds).toFixed(0)} MiB/s, peak ${peak.toFixed(1)} MiB`);
  assert.equal(version.file?.bytes, SIZE, JSON.stringify(version));
  if (!process.env.FETTLE_SANITIZED) assert.ok(peak <= 64, `${peak} MiB`);

  const hash = createHash('sha256');
  const block = Buffer.alloc(MIB);
  hash.update('v 0 0 0\n').update(block.subarray(0, MIB - 8));
  for (let i = 1; i < SIZE / MIB - 1; i++) hash.update(block);
  hash.update(block.subarray(0, MIB - 4)).update('end\n');
  assert.equal(version.file.sha256, hash.digest('hex'));

  for (const job of version.jobs) await call(server, 'POST', `/api/v1/jobs/${job}/cancel`, { json: {} });
  const tail = await call(server, 'GET', `/api/v1/versions/${version.id}/file`, { headers: { range: 'bytes=-6' } });
  assert.equal(tail.status, 206);
  assert.equal(tail.text, '\0\0end\n');
  const out = path.join(folder, 'back');
  curl('--max-time', '600', '-o', out, `${server.origin}/api/v1/versions/${version.id}/file`);
  rmSync(file);
  if (!process.env.FETTLE_SANITIZED) assert.ok(peakResidentMib(server.child.pid) <= 64, 'sending it back neither');
});

test('eight uploads at once all arrive whole', async (t) => {
  const server = await startServer(t);
  const specimen = await makeSpecimen(server);
  const size = 8 * MIB;
  const files = Array.from({ length: 8 }, (_, i) => {
    const bytes = Buffer.alloc(size, `v ${i} 0 0\n`);
    return { bytes, sha256: createHash('sha256').update(bytes).digest('hex') };
  });
  const answers = await Promise.all(files.map(({ bytes }, i) => call(server, 'POST', `/api/v1/specimens/${specimen.id}/versions?kind=scan&name=${i}.obj`, { body: bytes })));
  assert.deepEqual(answers.map((answer) => answer.status), Array(8).fill(201));
  assert.deepEqual(answers.map((answer) => answer.body.file.sha256), files.map((file) => file.sha256));
  if (!process.env.FETTLE_SANITIZED) assert.ok(peakResidentMib(server.child.pid) <= 64);
});
