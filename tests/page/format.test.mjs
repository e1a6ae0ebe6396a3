// format.test.mjs
//   counts_*      grouping, minus
//   intervals_*   a printed interval still holds the true value
//   halfwidths_*  value ± half-width
//   units_*       conversion, face size
//   times_*       days, bytes, time left
import assert from 'node:assert/strict';
import { test } from 'node:test';
import * as format from '../../static/format.js';

/** Narrow and plain no-break spaces as ordinary ones, so that the expectations can be read. */
const plain = (text) => text.replaceAll('\u202f', '_').replaceAll('\u00a0', ' ');

for (const { name, got, want } of [
  { name: 'counts_below_1000_are_not_grouped', got: format.formatCount(999), want: '999' },
  { name: 'counts_from_four_digits_on_are_grouped', got: format.formatCount(1000), want: '1_000' },
  { name: 'counts_of_millions_are_grouped_twice', got: format.formatCount(1234567), want: '1_234_567' },
  { name: 'counts_use_the_true_minus', got: format.formatCount(-57), want: '−57' },
  { name: 'counts_zero_has_no_minus', got: format.formatFixed(-0.0001, 2), want: '0.00' },
  { name: 'values_have_four_digits', got: format.formatValue(122.4449), want: '122.4' },
  { name: 'values_drop_trailing_zeros', got: format.formatValue(0.042), want: '0.042' },
  { name: 'values_of_many_digits_stay_whole', got: format.formatValue(14204.6), want: '14_205' },
  { name: 'values_that_are_tiny_have_a_power', got: format.formatValue(-1.5e-9), want: '−1.5 × 10⁻⁹' },
  { name: 'values_zero', got: format.formatValue(0), want: '0' },
  { name: 'intervals_round_outward', got: format.formatInterval(0.61637, 0.62711), want: '0.616–0.628' },
  { name: 'intervals_that_are_exact_stay', got: format.formatInterval(0.5, 0.5), want: '0.5' },
  {
    name: 'intervals_without_width_still_hold_the_value',
    got: format.formatInterval(Math.sqrt(3) / 10, Math.sqrt(3) / 10),
    want: '0.173205–0.173206',
  },
  {
    name: 'intervals_about_a_round_number_stay_narrow',
    got: format.formatInterval(0.49993, 0.50012),
    want: '0.4999–0.5002',
  },
  {
    name: 'intervals_of_rounding_errors_give_the_upper_end',
    got: format.formatInterval(0, 1.21e-12),
    want: '≤ 1.3 × 10⁻¹²',
  },
  {
    name: 'halfwidths_of_rounding_errors_are_not_printed',
    got: format.formatPlusMinus(1.2e-13, 1e-14),
    want: '1.2 × 10⁻¹³',
  },
  { name: 'intervals_from_zero', got: format.formatInterval(0, 0.0123), want: '0.000–0.013' },
  { name: 'intervals_with_a_sign', got: format.formatInterval(-0.00293, 0.0038), want: '−0.003 to +0.004' },
  { name: 'intervals_of_large_numbers', got: format.formatInterval(1234.21, 1310.78), want: '1_234.2–1_310.8' },
  { name: 'halfwidths_give_the_place', got: format.formatPlusMinus(0.0414, 0.0006), want: '0.0414 ± 0.0006' },
  { name: 'halfwidths_are_rounded_up', got: format.formatPlusMinus(0.0414, 0.00051), want: '0.0414 ± 0.0006' },
  { name: 'halfwidths_carry', got: format.formatPlusMinus(0.7, 0.0951), want: '0.7 ± 0.1' },
  {
    name: 'halfwidths_cover_the_rounding_of_the_value',
    got: format.formatPlusMinus(0.04144, 0.00058),
    want: '0.0414 ± 0.0007',
  },
  {
    name: 'halfwidths_far_below_the_value_stop_at_six_digits',
    got: format.formatPlusMinus(0.1, 1e-13),
    want: '0.100000 ± 0.000001',
  },
  { name: 'halfwidths_of_zero_are_not_printed', got: format.formatPlusMinus(2.5, 0), want: '2.5' },
  { name: 'safe_ends_round_up_for_the_greatest', got: format.formatSafeEnd(0.62711), want: '≤ 0.628' },
  { name: 'safe_ends_round_down_for_a_share', got: format.formatSafeEnd(93.29, '≥'), want: '≥ 93.2' },
  { name: 'differences_have_a_sign', got: format.formatDifference(0.48123, 0.0061), want: '+0.481' },
  { name: 'differences_stop_at_what_can_be_told', got: format.formatDifference(-1.3102, 0.012), want: '−1.31' },
  { name: 'differences_have_four_digits_at_most', got: format.formatDifference(-1.25, 1e-13), want: '−1.250' },
  { name: 'differences_of_counts', got: format.formatDifference(-57), want: '−57' },
  { name: 'differences_of_nothing_have_no_sign', got: format.formatDifference(0), want: '0' },
  { name: 'units_follow_after_a_no_break_space', got: format.withUnit('0.042', 'mm'), want: '0.042 mm' },
  { name: 'units_degree_follows_at_once', got: format.withUnit('8.3', '°'), want: '8.3°' },
  {
    name: 'units_face_size_gives_length_then_share',
    got: format.formatFaceSize(0.918, 0.0075, 'mm'),
    want: '0.918 mm (0.75 %)',
  },
  { name: 'times_bytes', got: format.formatBytes(4404019), want: '4.2 MiB' },
  { name: 'times_small_bytes', got: format.formatBytes(1023), want: '1_023 B' },
  { name: 'times_of_day', got: format.formatTime('2026-09-12T17:40:00Z', 'UTC'), want: '12 Sep 2026, 17:40' },
  {
    name: 'times_of_day_in_another_zone',
    got: format.formatTime('2026-09-12T23:40:00Z', 'Asia/Tokyo'),
    want: '13 Sep 2026, 08:40',
  },
  {
    name: 'times_day_without_this_year',
    got: format.formatDay('2026-09-12T17:40:00Z', new Date('2026-11-01'), 'UTC'),
    want: '12 Sep',
  },
  {
    name: 'times_day_with_another_year',
    got: format.formatDay('2025-09-12T17:40:00Z', new Date('2026-11-01'), 'UTC'),
    want: '12 Sep 2025',
  },
  { name: 'times_progress_is_100_only_at_the_end', got: format.formatProgress(0.999), want: '99 %' },
  { name: 'times_left', got: format.formatSeconds(8.2), want: '9 s' },
]) {
  test(name, () => assert.equal(plain(got), want));
}

test('intervals_printed_hold_the_measured_ends', () => {
  // A fixed multiplicative generator (Park and Miller 1988) gives 2000 intervals of many sizes.
  let seed = 20261125;
  const next = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  for (let i = 0; i < 2000; i += 1) {
    const lower = next() * 10 ** Math.floor(next() * 7 - 3);
    const upper = lower + lower * 10 ** -(1 + next() * 5);
    const [low, high] = format.formatInterval(lower, upper).replaceAll('\u202f', '').split('–').map(Number);
    assert.ok(low <= lower && upper <= high, `${lower} ${upper}`);
  }
});

test('halfwidths_printed_hold_the_measured_range', () => {
  let seed = 11252026;
  const next = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  for (let i = 0; i < 2000; i += 1) {
    const value = next() * 10 ** Math.floor(next() * 5 - 2);
    const half = value * 10 ** -(1 + next() * 4);
    const [mid, width] = format.formatPlusMinus(value, half).replaceAll('\u202f', '').split('±').map(Number);
    const slack = 1e-12 * value;
    assert.ok(mid - width <= value - half + slack && value + half <= mid + width + slack, `${value} ${half}`);
  }
});

test('units_convert_by_the_international_inch', () => {
  // 1 in = 25.4 mm exactly: international yard and pound agreement, 1959.
  assert.equal(format.lengthFactor('in', 'mm'), 25.4);
  assert.equal(format.unitFor('area', 'cm', 'mm').factor, 100);
  assert.equal(format.unitFor('volume', 'mm', 'cm').unit, 'cm³');
  assert.equal(format.unitFor('length', 'unknown', 'mm').unit, '');
});
