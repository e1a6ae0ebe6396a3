// documents.test.mjs - what a program for arm64 writes, signs and verifies of a folder is what one for x86-64 does.
//
// The arm64 program runs under qemu-user; the service that fills the folder is the other one, so that little has to.
// FETTLE and FETTLE_ARM64 are the two commands, as in `make arm64`.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import path from 'node:path';
import { before, test } from 'node:test';
import { box, call, makeSpecimen, startServer, temporaryFolder, upload, waitForVersion } from '../api/support.mjs';

const programs = { x86: process.env.FETTLE.split(' '), arm64: process.env.FETTLE_ARM64.split(' ') };
const folder = temporaryFolder();
const data = path.join(folder, 'data');
const file = (name) => path.join(folder, name);
const run = (program, ...args) => execFileSync(program[0], [...program.slice(1), ...args], { encoding: 'utf8' });

let audit;
before(async () => {
  const server = await startServer(null, { data });
  const specimen = await makeSpecimen(server);
  const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimen.id, bytes, values)).body.id);
  const scan = await put(box({ triangles: true }), { name: 'scan.obj' });
  const cage = await put(box({ size: 0.9 }), { kind: 'cage', name: 'cage.obj', made_from: scan.id });
  const json = {
    schema: 'fettle/spec/1', name: 'Near', purpose: 'to be near its scan',
    rules: [{ id: 'near', measure: 'deviation.hausdorff', relation: 'at most', limit: 0.2, unit: 'mm', reason: 'because', source: 'ours' }],
  };
  const spec = (await call(server, 'POST', '/api/v1/specs', { json })).body;
  audit = (await call(server, 'POST', '/api/v1/audits', { json: { run: cage.latest_run, spec: spec.id } })).body;
  assert.equal(audit.outcome, 'conforms');
  assert.equal((await server.stop()).code, 0);
});

for (const kind of ['pdf', 'html'])
  test(`a report as ${kind} is the same bytes`, () => {
    for (const name of Object.keys(programs))
      run(programs[name], 'report', '--audit', audit.id, '--data', data, '--out', file(`${name}.${kind}`));
    const [one, other] = Object.keys(programs).map((name) => readFileSync(file(`${name}.${kind}`)));
    assert.ok(one.length > 10000);
    assert.ok(one.equals(other));
  });

test('what one signs and hands over the other finds to hold', () => {
  run(programs.arm64, 'sign-off', '--data', data, '--audit', audit.id, '--by', 'Ines Quill');
  run(programs.x86, 'verify', '--data', data);
  run(programs.arm64, 'handoff', '--audit', audit.id, '--data', data, '--out', file('arm64.zip'));
  assert.match(run(programs.x86, 'verify-handoff', file('arm64.zip')), /signed off by Ines Quill[\s\S]*0 values differ[\s\S]*The handoff holds\.$/m);
  run(programs.x86, 'handoff', '--audit', audit.id, '--data', data, '--out', file('x86.zip'));
  assert.match(run(programs.arm64, 'verify-handoff', file('x86.zip')), /signed off by Ines Quill[\s\S]*0 values differ[\s\S]*The handoff holds\.$/m);
});
