// soups.test.mjs - 100,000 random pairs of small soups: the engine's certified intervals against the truth.
//   Pairs of 14 kinds (any, flat, coinciding, shared vertices, slivers, degenerate, any scale, far origin, lattice, closed,
//   sheets over one triangle, other cells, mixed, far apart), both ways, half of them at certify 1e-4, half at 1e-6. The truth
//   is found in long double by soup_maxima.c; a pair that fails is printed after shrinking, as C to paste into a test.
import assert from 'node:assert/strict';
import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import path from 'node:path';
import { test } from 'node:test';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../../', import.meta.url));
const program = process.env.FETTLE ?? path.join(root, 'build/release/fettle');
const soups = path.join(path.dirname(program), 'soup_maxima');
const missing = existsSync(soups) ? false : `${soups} is missing: make oracles`;
const PAIRS = 100000;

const measure = (seed, first, count) =>
  new Promise((resolve, reject) => {
    execFile(soups, [seed, first, count].map(String), { maxBuffer: 1 << 26 }, (error, stdout) => {
      if (error && error.code !== 1) reject(error);
      else resolve(JSON.parse(stdout));
    });
  });

test('the largest distance of every pair, both ways, is in its interval', { skip: missing }, async () => {
  const halves = await Promise.all([measure(1, 0, PAIRS / 2), measure(1, PAIRS / 2, PAIRS / 2)]);
  for (const { failures } of halves)
    for (const { number, kind, certify, back, what, pair } of failures)
      assert.fail(`pair ${number} (${kind}), certify ${certify}, ${back ? 'back' : 'there'}: ${what}\n${pair}`);
  assert.equal(halves[0].intervals + halves[1].intervals, 2 * PAIRS);
});
