// records.test.mjs - the record of a measurement by a program for arm64 is, byte for byte, that of one for x86-64.
//
// The arm64 program runs under qemu-user. What tells the builds and the run apart is taken out of both: the
// commit and the timings. FETTLE and FETTLE_ARM64 are the two commands, as in `make arm64`.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, test } from 'node:test';

const folder = mkdtempSync(join(tmpdir(), 'fettle-arm64-'));
after(() => rmSync(folder, { recursive: true, force: true }));

const programs = { x86: process.env.FETTLE.split(' '), arm64: process.env.FETTLE_ARM64.split(' ') };
const shared = process.env.FETTLE_SHARED || '../shared';

function record(program, args) {
  const out = execFileSync(program[0], [...program.slice(1), 'measure', ...args, '--json'], {
    encoding: 'utf8',
    maxBuffer: 1 << 28,
  });
  return out
    .replace(/"commit":"[^"]*"/, '"commit":""')
    .replace(/"timings":\{[^}]*\}/, '"timings":{}')
    .replace(/"threads":\d+/, '"threads":0');
}

/** The first difference with what stands around it: a whole record is too long to be shown. */
function expectSame(args) {
  const one = record(programs.x86, args);
  const other = record(programs.arm64, args);
  let at = 0;
  while (at < one.length && one[at] === other[at]) at++;
  const around = (text) => text.slice(Math.max(0, at - 200), at + 60);
  assert.ok(one === other, `at byte ${at}:\n  x86-64 ${around(one)}\n  arm64  ${around(other)}`);
  assert.match(one, /"sha256":"[0-9a-f]{64}"/);
  return one;
}

/** A wavy torus of n by n quads, some cut, without its first faces; its coordinates are decimals, so that both programs read the same. */
function torus(name, n, wave, cut, without = 0) {
  const lines = [];
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      const [u, v] = [(2 * Math.PI * i) / n, (2 * Math.PI * j) / n];
      const r = 1 + wave * Math.sin(5 * u + 3 * v);
      const point = [(3 + r * Math.cos(v)) * Math.cos(u), (3 + r * Math.cos(v)) * Math.sin(u), r * Math.sin(v)];
      lines.push(`v ${point.map((c) => c.toFixed(7)).join(' ')}`);
    }
  const at = (i, j) => (i % n) * n + (j % n) + 1;
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      const [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
      lines.push(...((i + j) % cut ? [`f ${a} ${b} ${c} ${d}`] : [`f ${a} ${b} ${c}`, `f ${a} ${c} ${d}`]));
    }
  lines.splice(n * n, without);
  const path = join(folder, name);
  writeFileSync(path, lines.join('\n') + '\n');
  return path;
}

test('one_mesh_alone', () => expectSame([torus('alone.obj', 40, 0.1, 3)]));

test('a_cage_against_a_scan', () => {
  expectSame([torus('cage.obj', 12, 0, 1e9), '--against', torus('scan.obj', 48, 0.02, 1), '--tolerance', '0.01']);
});

test('a_mended_scan_against_the_one_before', () => {
  const one = expectSame([torus('mended.obj', 24, 0.05, 1), '--against', torus('holed.obj', 24, 0.05, 1, 5)]);
  assert.match(one, /"mend":\{.*"filled"/);
});

for (const name of ['spot_control_mesh.obj', 'spot_quadrangulated.obj', 'fish.obj', 'catmark_rook.obj']) {
  const path = join(shared, 'data', name);
  test(`a_real_cage_${name}`, { skip: !existsSync(path) && `no ${path}` }, () => expectSame([path]));
}
