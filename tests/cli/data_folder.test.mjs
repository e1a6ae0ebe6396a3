// data_folder.test.mjs - fettle verify, backup and remeasure on a data folder, with and without a server beside them.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { chmodSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, describe, test } from 'node:test';
import { box, call, FETTLE, makeSpecimen, startServer, temporaryFolder, upload, waitForVersion } from '../api/support.mjs';

const run = (...args) => {
  const { status, stdout, stderr } = spawnSync(FETTLE, args, { encoding: 'utf8' });
  return { status, stdout, stderr };
};

describe('data folder', () => {
  const folder = temporaryFolder();
  const data = path.join(folder, 'data');
  const copy = path.join(folder, 'copy');
  after(() => rmSync(folder, { recursive: true, force: true }));

  test('wrong usage and missing folders have their exit statuses', () => {
    for (const command of ['verify', 'backup', 'remeasure']) {
      assert.equal(run(command).status, 2, command);
      assert.equal(run(command, '--frobnicate').status, 2, command);
      const help = run(command, '--help');
      assert.equal(help.status, 0);
      assert.match(help.stdout, new RegExp(`^usage: fettle ${command} `));
    }
    const wrong = [
      [['verify'], /--data DIR is missing/],
      [['verify', '--data', data, 'x'], /verify takes no operand, but got 'x'/],
      [['remeasure', 'x', '--data', data], /remeasure takes no operand, but got 'x'/],
      [['remeasure', '--data', data, '--specimen', '0'], /--specimen is a whole number/],
      [['backup', '--data', data], /the destination is missing/],
      [['backup', copy], /--data DIR is missing/],
      [['backup', copy, 'x', '--data', data], /backup takes one destination, but got 'x' too/],
      [['backup', copy, '--data', data, '--all'], /there is no option '--all'/],
    ];
    for (const [args, text] of wrong) {
      const { status, stderr } = run(...args);
      assert.equal(status, 2, args.join(' '));
      assert.match(stderr, text);
    }
    assert.equal(run('verify', '--data', path.join(folder, 'nowhere')).status, 3);
    assert.equal(run('verify', '--data', data, '--sample', '3/2').status, 2);
    assert.equal(run('work').status, 2);
  });

  test('beside a running server all three work, and the copy is whole', async (t) => {
    const server = await startServer(t, { data });
    const specimen = await makeSpecimen(server);
    const made = await upload(server, specimen.id, box({ triangles: true }));
    assert.equal(made.status, 201, made.text);
    await waitForVersion(server, made.body.id);

    const verified = run('verify', '--data', data);
    assert.equal(verified.status, 0, verified.stdout + verified.stderr);
    assert.match(verified.stdout, /: 0 findings, /);

    const backed = run('backup', '--data', data, copy);
    assert.equal(backed.status, 0, backed.stderr);
    assert.match(backed.stdout, /^backed up: \d+ files copied/);
    assert.equal(run('verify', '--data', copy).status, 0);

    const again = run('remeasure', '--data', data, '--all');
    assert.equal(again.status, 0, again.stderr);
    assert.equal(again.stdout, '1 runs queued\n');
    assert.equal(run('remeasure', '--data', data, '--specimen', '999').status, 3);
    assert.equal((await call(server, 'GET', '/healthz')).status, 200);
    await server.stop();
  });

  test('without a server they work too', () => {
    assert.equal(run('backup', '--data', data, path.join(folder, 'second')).status, 0);
    const queued = run('remeasure', '--data', data, '--all');
    assert.equal(queued.status, 0, queued.stderr);
  });

  test('a flipped byte and a missing file are found and named', () => {
    const [blob] = execFileSync('find', [path.join(copy, 'blobs'), '-type', 'f'], { encoding: 'utf8' }).split('\n');
    const bytes = readFileSync(blob);
    chmodSync(blob, 0o600);
    bytes[bytes.length >> 1] ^= 1;
    writeFileSync(blob, bytes);
    const flipped = run('verify', '--data', copy);
    assert.equal(flipped.status, 3);
    assert.match(flipped.stdout, new RegExp(`^finding: blob ${path.basename(blob)} .* is damaged`, 'm'));

    rmSync(blob);
    const missing = run('verify', '--data', copy);
    assert.equal(missing.status, 3);
    assert.match(missing.stdout, /^finding: blob .* is missing/m);
  });

  test('a folder that is no data folder stays untouched', () => {
    const other = path.join(folder, 'other');
    mkdirSync(other);
    for (const args of [['verify'], ['remeasure'], ['backup', copy]])
      assert.equal(run(args[0], '--data', other, ...args.slice(1)).status, 3, args[0]);
    assert.equal(execFileSync('find', [other, '-name', '*.db'], { encoding: 'utf8' }), '');
  });
});
