// tolerances.test.mjs - tolerances as people type them, runs made with others, and distances by class. Without a browser.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { deviationShares, filledClasses, placeInClasses } from '../../static/histogram.js';
import { columnsOfOtherTolerances, readTolerances, writeTolerances } from '../../static/tolerances.js';

test('tolerances_typed in any order and any of the ways to part them are lengths in order, each once', () => {
  assert.deepEqual(readTolerances(''), []);
  assert.deepEqual(readTolerances('  '), []);
  assert.deepEqual(readTolerances('0.5 0.1'), [0.1, 0.5]);
  assert.deepEqual(readTolerances('0.5; 0.1;.25, 5e-1'), [0.1, 0.25, 0.5]);
  assert.deepEqual(readTolerances(writeTolerances([0.1, 1e-7, 25])), [1e-7, 0.1, 25]);
});

test('tolerances_that are no lengths above nought, or more than sixteen, are told', () => {
  for (const text of ['0', '-1', 'x', '0,1', '0.1mm', 'Infinity', 'NaN', '1e999', '0x10', '0.1,0.2'])
    assert.equal(readTolerances(text), null, text);
  const seventeen = Array.from({ length: 17 }, (_, i) => i + 1);
  assert.equal(readTolerances(seventeen.join(' ')), null);
  assert.equal(readTolerances(seventeen.slice(1).join(' ')).length, 16);
});

test('tolerances_other than those stated are those of the newest run against a scan, of a version not withdrawn', () => {
  const column = (id, tolerances, more = {}) => ({
    version: { id, latest_run: `r${id}`, withdrawn: null, ...more.version },
    run: { id: `r${id}`, against: '1', tolerances, ...more.run },
  });
  const columns = [
    column('2', [0.1, 0.5]),
    column('3', []),
    column('4', [0.1]),
    column('5', [], { run: { against: null } }),
    column('6', [], { version: { withdrawn: { reason: 'x' } } }),
    column('7', [], { version: { latest_run: 'r99' } }),
    { version: { id: '8', latest_run: null, withdrawn: null }, run: null },
  ];
  assert.deepEqual(
    columnsOfOtherTolerances(columns, [0.1, 0.5]).map(({ version }) => version.id),
    ['3', '4'],
  );
});

const share = (lower, upper, sampled = false) => ({ lower, upper, sampled });
const record = {
  reference: { file: { sha256: 'r' } },
  deviation: {
    reference_to_subject: {
      median: 0.01,
      histogram: { edges: [0.01, 0.016, 0.025], shares: [share(0.5, 0.5), share(0.25, 0.75, true), share(0, 0), share(0, 0.0001)] },
    },
    subject_to_reference: { median: 0 },
  },
};

test('histogram_of distances has the middle of each share, its ends, and whether it is sampled', () => {
  const found = deviationShares(record, 'lost');
  assert.deepEqual(found.shares, [0.5, 0.5, 0, 0.00005]);
  assert.deepEqual(found.ends[1], [0.25, 0.75]);
  assert.deepEqual(found.sampled, [false, true, false, false]);
  assert.equal(found.reference, 'r');
  assert.equal(deviationShares(record, 'invented'), null, 'of a record from before');
  assert.equal(deviationShares({ deviation: null }, 'lost'), null, 'measured alone');
  assert.deepEqual(filledClasses([found]), [0, 2]);
});

test('place_of a length among the classes is even in its logarithm', () => {
  const edges = [0.01, 0.016, 0.025];
  assert.equal(placeInClasses(edges, 0.01), 1);
  assert.equal(placeInClasses(edges, 0.016), 2);
  assert.ok(Math.abs(placeInClasses(edges, Math.sqrt(0.01 * 0.016)) - 1.5) < 1e-12);
  assert.equal(placeInClasses(edges, 0.005), null);
  assert.equal(placeInClasses(edges, 0.03), null);
});
