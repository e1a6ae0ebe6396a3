// threads.test.mjs - the same bytes give the same record, whatever the threads, the locale and the moment.
import test from 'node:test';
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { comparable, fanned, measure, temporaryFolder, torus, writeObj } from './measure_support.mjs';

function pair(folder) {
  const dented = fanned(torus(90, 60));
  dented.positions = dented.positions.map(([x, y, z], i) => [x, y, z + 0.05 * Math.sin(i)]);
  dented.faces.splice(100, 7);
  const cage = writeObj(folder, 'cage.obj', torus(40, 24));
  return [cage, '--against', writeObj(folder, 'scan.obj', dented), '--tolerance', '0.05', '--certify', '1e-3'];
}

test('the record is the same for one, two and three threads', { timeout: 300000 }, (t) => {
  const args = pair(temporaryFolder(t));
  const texts = ['1', '2', '3'].map((threads) => JSON.stringify(comparable(measure([...args, '--threads', threads]))));
  assert.equal(texts[1], texts[0]);
  assert.equal(texts[2], texts[0]);
});

test('the record is the same twice over', { timeout: 300000 }, (t) => {
  const args = pair(temporaryFolder(t));
  assert.deepEqual(comparable(measure(args)), comparable(measure(args)));
});

test('the record is the same in a locale with a decimal comma', (t) => {
  const folder = temporaryFolder(t);
  const made = spawnSync('localedef', ['-i', 'de_DE', '-f', 'UTF-8', `${folder}/de_DE.UTF-8`]);
  if (made.status !== 0) return t.skip('no locale with a decimal comma can be made (package locales)');
  const env = { ...process.env, LC_ALL: 'de_DE.UTF-8', LOCPATH: folder };
  assert.equal(spawnSync('locale', ['decimal_point'], { encoding: 'utf8', env }).stdout, ',\n');
  const args = pair(folder);
  const there = measure(args, { env });
  const here = measure(args, { env: { ...process.env, LC_ALL: 'C' } });
  assert.deepEqual(comparable(there), comparable(here));
});
