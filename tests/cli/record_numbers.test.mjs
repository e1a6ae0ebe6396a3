// record_numbers.test.mjs - the numbers of records are what ECMAScript prints, for any bit pattern.
//   Against: String(x) of the running node, on 200,000 random patterns, on all neighbours of powers of two and of ten.
import test from 'node:test';
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../../', import.meta.url));
const view = new DataView(new ArrayBuffer(8));

function bitsOf(x) {
  view.setFloat64(0, x);
  return view.getBigUint64(0);
}

function fromBits(bits) {
  view.setBigUint64(0, bits);
  return view.getFloat64(0);
}

// SplitMix64, so that a failure can be seen again.
function* randomBits(seed) {
  const mask = (1n << 64n) - 1n;
  for (let state = seed; ; ) {
    state = (state + 0x9e3779b97f4a7c15n) & mask;
    let z = state;
    z = ((z ^ (z >> 30n)) * 0xbf58476d1ce4e5b9n) & mask;
    z = ((z ^ (z >> 27n)) * 0x94d049bb133111ebn) & mask;
    yield z ^ (z >> 31n);
  }
}

function textsOf(patterns) {
  const folder = mkdtempSync(join(tmpdir(), 'fettle-number-'));
  try {
    const program = join(folder, 'number_lines');
    execFileSync('cc', ['-std=c17', '-O2', '-I', 'server', 'tests/json/programs/number_lines.c', 'server/json/number.c',
      '-lm', '-o', program], { cwd: root });
    const input = patterns.map((bits) => bits.toString(16).padStart(16, '0')).join('\n');
    return execFileSync(program, { input, maxBuffer: 1 << 28 }).toString().trimEnd().split('\n');
  } finally {
    rmSync(folder, { recursive: true });
  }
}

test('numbers are the texts of String(x)', { timeout: 120000 }, () => {
  const patterns = [];
  const random = randomBits(1n);
  for (let i = 0; i < 200000; i++) patterns.push(random.next().value);
  // numbers as they come in records: few digits, or some units apart
  for (let i = 0; i < 20000; i++) patterns.push(bitsOf(Number(random.next().value % 1000000n) / 10 ** (i % 9)));
  // whole numbers of any length, up to beyond those that a double holds exactly
  for (let i = 0; i < 20000; i++) patterns.push(bitsOf(Number(random.next().value >> BigInt(4 + (i % 60)))));
  for (let e = -1074; e <= 1023; e++)
    for (const step of [-1n, 0n, 1n]) patterns.push(bitsOf(2 ** e) + (e === -1074 && step < 0n ? 0n : step));
  for (let e = -323; e <= 308; e++)
    for (const step of [-1n, 0n, 1n]) patterns.push(bitsOf(Number(`1e${e}`)) + step);

  const texts = textsOf(patterns);
  assert.equal(texts.length, patterns.length);
  patterns.forEach((bits, i) => {
    const x = fromBits(bits);
    const expected = Number.isFinite(x) ? String(x) : 'null';
    if (texts[i] !== expected) assert.fail(`${bits.toString(16)}: '${texts[i]}' instead of '${expected}'`);
  });
});
