// badinput.test.mjs - every file of shared/badinput gets its expected outcome from `fettle measure --json`.
//   one test a row: class, exit status, the refusal's first line, time and resident memory
//   Against: MANIFEST.tsv, an independent corpus of 276 files. Skipped with a reason where it is absent.
//   FETTLE_SANITIZED=1 (a build with sanitizers): five times the time, no memory limit.
import { describe, test } from 'node:test';
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { existsSync, readFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { program, root, schemaErrors } from './measure_support.mjs';

const corpus = join(process.env.FETTLE_SHARED || join(root, '../shared'), 'badinput');
const sanitized = process.env.FETTLE_SANITIZED === '1';
const timeoutMs = sanitized ? 50000 : 10000;
const memoryKib = sanitized ? Infinity : 512 * 1024;
const unread = new Set(['gltf', 'glb', '3mf']); // formats that are refused as a whole

/** Peak resident memory so far, 0 when the process is gone. */
function peakKib(pid) {
  try {
    return Number(/VmHWM:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1] ?? 0);
  } catch {
    return 0;
  }
}

/** Runs the program and watches its memory; 512 MiB cannot be touched between two looks unseen. */
function run(args) {
  return new Promise((resolve, reject) => {
    const child = spawn(program, args, { stdio: ['ignore', 'pipe', 'pipe'], timeout: timeoutMs, killSignal: 'SIGKILL' });
    const result = { stdout: '', stderr: '', peak: 0 };
    const watch = setInterval(() => (result.peak = Math.max(result.peak, peakKib(child.pid))), 5);
    child.stdout.setEncoding('utf8').on('data', (text) => (result.stdout += text));
    child.stderr.setEncoding('utf8').on('data', (text) => (result.stderr += text));
    child.on('error', reject);
    child.on('close', (status, signal) => {
      clearInterval(watch);
      resolve({ ...result, status, signal });
    });
  });
}

/** What in the record tells the user that something is odd about the mesh; README of the corpus, accept-warn. */
function oddities(record) {
  const { file, counts, topology, quality, volume } = record.subject;
  const told = {
    warnings: file.warnings_total,
    findings: record.findings_total,
    open_edges: topology.open_edges,
    nonmanifold: topology.nonmanifold_edges + topology.nonmanifold_vertices,
    inconsistent: topology.inconsistent_edges,
    shells: topology.shells - 1,
    degenerate: counts.degenerate_faces,
    duplicates: counts.duplicate_faces,
    unreferenced: counts.unreferenced_vertices,
    coincident: counts.coincident_vertices,
    ngons: counts.ngons,
    concave: quality.quad?.concave ?? 0,
    inside_out: volume !== null && volume < 0 ? 1 : 0,
  };
  return Object.entries(told).filter(([, count]) => count > 0);
}

function checkAccepted(done, expected) {
  assert.equal(done.stderr, '');
  const record = JSON.parse(done.stdout);
  assert.deepEqual(schemaErrors(record), []);
  assert.ok(record.timings.peak_rss_mib * 1024 <= memoryKib, `${record.timings.peak_rss_mib} MiB`);
  if (expected === 'accept') assert.deepEqual(record.subject.file.warnings, []);
  if (expected === 'accept-warn' || expected === 'warn-or-reject')
    assert.notDeepEqual(oddities(record), [], 'a silent clean pass');
}

function checkRefused(done, expected) {
  const line = done.stderr.split('\n')[0];
  const parts = /^fettle: (reject-(?:syntax|data|limit|type|empty)): [0-9A-Z]+: (?:line|byte) \d+: \S.*$/.exec(line);
  assert.ok(parts, `the first line of standard error is '${line}'`);
  assert.equal(done.status, parts[1] === 'reject-limit' ? 4 : 3);
  assert.equal(done.stdout, '');
  assert.ok(!done.stderr.includes(dirname(corpus)), 'a path of the machine is shown');
  if (expected.startsWith('reject-')) assert.equal(parts[1], expected, line);
}

if (!existsSync(join(corpus, 'MANIFEST.tsv'))) {
  test('bad input', { skip: 'no shared/badinput here; FETTLE_SHARED names the folder' }, () => {});
} else {
  const [heading, ...rows] = readFileSync(join(corpus, 'MANIFEST.tsv'), 'utf8').trimEnd().split('\n').map((l) => l.split('\t'));
  test('the manifest has its 276 rows', () => {
    assert.deepEqual(heading.slice(0, 4), ['file', 'format', 'trait', 'expected']);
    assert.equal(rows.length, 276);
  });
  // the sanitizer build is run by itself, so two at a time; the release build shares the machine with another file
  describe('each file', { concurrency: sanitized ? 2 : 1 }, () => {
    for (const [file, format, , manifest, expectation] of rows) {
      const expected = unread.has(format) ? 'reject-type' : manifest;
      test(`${basename(file)}: ${expected}, ${expectation}`, async () => {
        const done = await run(['measure', join(corpus, file), '--json']);
        assert.equal(done.signal, null, `ended by ${done.signal} (${timeoutMs} ms at most)`);
        assert.ok(done.peak <= memoryKib, `${done.peak} KiB resident`);
        if (done.status === 0) {
          assert.ok(!expected.startsWith('reject-'), 'read, though it is to be refused');
          checkAccepted(done, expected);
        } else {
          assert.ok(!expected.startsWith('accept'), `refused, though it is to be read: ${done.stderr}`);
          checkRefused(done, expected);
        }
      });
    }
  });
}
