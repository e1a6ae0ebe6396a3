// model.test.mjs
//   order_*    columns, baseline, the latest
//   axes_*     round numbers
//   shares_*   histograms of a record
//   cells_*    what a cell of the table says
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { edgeTicks, linearTicks, logTicks } from '../../static/axes.js';
import {
  cellText,
  certifiedOf,
  changeText,
  defaultBaseline,
  latestMeasured,
  orderVersions,
  placeOf,
} from '../../static/comparison.js';
import { filledRange, metricShares, valenceShares } from '../../static/histogram.js';

const version = (kind, number, rest = {}) => ({
  id: `${kind}${number}`,
  kind,
  number,
  withdrawn: null,
  latest_run: `r${kind}${number}`,
  runs: [`r${kind}${number}`],
  face_size: null,
  ...rest,
});
const names = (versions) => versions.map(({ id }) => id);

test('order_puts_cages_first_the_newest_first_and_the_withdrawn_last', () => {
  const versions = [version('scan', 1), version('cage', 1), version('cage', 3, { withdrawn: {} }), version('cage', 2)];
  assert.deepEqual(names(orderVersions(versions, 'newest')), ['cage2', 'cage1', 'cage3', 'scan1']);
});

test('order_by_face_size_begins_with_the_finest_and_ends_with_the_unknown', () => {
  const versions = [version('cage', 1, { face_size: 2 }), version('cage', 2), version('cage', 3, { face_size: 0.5 })];
  assert.deepEqual(names(orderVersions(versions, 'face_size')), ['cage3', 'cage1', 'cage2']);
});

test('order_takes_the_measured_version_before_the_latest_as_baseline', () => {
  const versions = [
    version('cage', 1),
    version('cage', 2, { latest_run: null, runs: [] }),
    version('cage', 3),
    version('cage', 4, { latest_run: null, runs: [] }),
  ];
  assert.equal(latestMeasured(versions).id, 'cage3');
  assert.equal(defaultBaseline(versions).id, 'cage1');
  assert.equal(defaultBaseline([version('scan', 1)]).id, 'scan1');
  assert.equal(defaultBaseline([]), null);
});

test('axes_have_round_numbers_that_reach_the_greatest', () => {
  assert.deepEqual(linearTicks(71, 4), [0, 20, 40, 60, 80]);
  assert.deepEqual(linearTicks(3, 5, true), [0, 1, 2, 3]);
  assert.deepEqual(linearTicks(0, 5, true), [0, 1]);
  assert.deepEqual(logTicks(0.3, 6), [0.5, 1, 2, 5]);
  assert.ok(logTicks(1e-13, 1).length <= 8);
});

test('axes_find_the_place_of_a_number_among_uneven_bins', () => {
  const ticks = edgeTicks([1, 2, 4, 8]);
  assert.deepEqual(
    ticks.map(({ text }) => text),
    ['2', '4', '6', '8'],
  );
  assert.deepEqual(
    ticks.map(({ at }) => at),
    [1, 2, 2.5, 3],
  );
});

test('shares_of_valence_leave_out_the_regular_and_gather_the_high', () => {
  const record = { kind: 'cage', subject: { valence: { interior: { 3: 2, 4: 90, 5: 4, 8: 1, 9: 3 } } } };
  const { labels, shares, regularShare } = valenceShares(record);
  assert.deepEqual(labels, [2, 3, 5, 6, 7]);
  assert.deepEqual(shares, [0, 0.2, 0.4, 0, 0.4]);
  assert.equal(regularShare, 0.9);
});

test('shares_of_a_metric_count_what_lies_outside_its_edges', () => {
  const record = {
    subject: {
      quality: {
        quad: {
          skew: { count: 10, median: 0.1, histogram: { edges: [0, 0.5, 1], counts: [5, 3], below: 0, above: 2 } },
        },
      },
    },
  };
  const { shares, above } = metricShares(record, 'quad.skew');
  assert.deepEqual(shares, [0.5, 0.3]);
  assert.equal(above, 0.2);
  assert.equal(metricShares(record, 'tri.skew'), null);
});

test('shares_show_the_filled_bins_and_one_beside_them', () => {
  assert.deepEqual(filledRange([{ shares: [0, 0, 1, 0, 0, 0] }, { shares: [0, 0, 0, 1, 0, 0] }]), [1, 5]);
  assert.deepEqual(filledRange([{ shares: [1, 0] }]), [0, 2]);
});

const length = { factor: 10, unit: 'mm' };
const row = {
  values: [0.0628, 0.1938],
  lower: [0.0616, 0.1926],
  upper: [0.0628, 0.1938],
  differences: [-0.131, 0],
  verdicts: ['better', null],
};

test('cells_print_an_interval_in_the_unit_shown', () => {
  assert.equal(cellText(row, 0, { certified: 'certified' }, length), '0.616–0.628');
});

test('cells_mark_what_one_run_sampled_and_another_certified', () => {
  const row = { values: [0.5, 0.5], lower: [0.49, 0.49], upper: [0.51, 0.51], sampled: [true, false] };
  const texts = [0, 1].map((i) => cellText(row, i, { certified: 'certified' }, { factor: 1, unit: '' }));
  assert.deepEqual(texts.map((text) => text.startsWith('≈')), [true, false]);
});

test('cells_mark_what_was_sampled', () => {
  const sampled = { values: [0.5], lower: [0.49], upper: [0.51] };
  assert.equal(
    cellText(sampled, 0, { certified: 'sampled' }, { factor: 1, unit: '' }).replaceAll('\u00a0', ' '),
    '≈ 0.50 ± 0.01',
  );
});

test('cells_tell_a_change_to_the_place_that_both_values_know', () => {
  // The two half-widths are 0.006 each: together 0.012, so that the hundredths are the last place told.
  assert.deepEqual(changeText(row, 0, 1, length), { verdict: 'better', text: '−1.31 better' });
  assert.equal(changeText(row, 1, 1, length), null);
});

test('cells_find_what_is_certified_beside_what_was_sampled', () => {
  const certified = { mean: { lower: 0.1, upper: 0.9 }, p95: { lower: null, upper: null }, coverage: [{ tolerance: 0.5, share: { lower: 0.2, upper: 0.8 } }] };
  const record = { deviation: { lost: { sampled: { N: 9 }, certified }, invented: { sampled: null, certified }, older: { sampled: { N: 9 } } } };
  assert.deepEqual(certifiedOf(record, 'deviation.lost.mean'), { lower: 0.1, upper: 0.9 });
  assert.deepEqual(certifiedOf(record, 'deviation.lost.coverage@0.5'), { lower: 0.2, upper: 0.8 });
  assert.equal(certifiedOf(record, 'deviation.lost.coverage@0.25'), null);
  assert.equal(certifiedOf(record, 'deviation.lost.p95'), null, 'not defined');
  assert.equal(certifiedOf(record, 'deviation.invented.mean'), null, 'its value is certified');
  assert.equal(certifiedOf(record, 'deviation.older.mean'), null, 'of before these were kept');
  assert.equal(certifiedOf(record, 'subject.area'), null);
});

test('cells_find_the_place_of_a_number_in_its_record', () => {
  const record = {
    deviation: { lost: { max: { upper: 1, at: [1, 2, 3] } } },
    subject: { quality: { quad: { skew: { max: 1, worst_face: 9 } } }, area: 4 },
  };
  assert.deepEqual(placeOf(record, 'deviation.lost.max.upper'), { at: [1, 2, 3] });
  assert.deepEqual(placeOf(record, 'subject.quality.quad.skew.max'), { face: 9 });
  assert.equal(placeOf(record, 'subject.area'), null);
});
