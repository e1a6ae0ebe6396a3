// glance.test.mjs - the first answers about a specimen, and what they rest on. Pure modules alone.
//   places_*   findings of two versions matched by kind and place, by the rule of same-place.js
//   facts_*    what is certainly better; which has the least, which none beats
//   weigh_*    two costs against each other, against every pair by the words of the definition
//   order_*    columns by a row
//   csv_*      the comparison as rows
//   decimals_* numbers with as many as the reader wants
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { cellText, endsOf, isBetter, orderByRow } from '../../static/comparison.js';
import { comparisonRows, csvText } from '../../static/csv.js';
import { formatInterval, formatPlusMinus } from '../../static/format.js';
import { fewPlaces, isWeighed, leastOf, merits, unbeaten, weighable } from '../../static/glance.js';
import { countPlaces, matchPlaces, placesOf } from '../../static/same-place.js';
import { tradeOff, turned } from '../../static/trade-off.js';

const hole = (x, radius, rest = {}) => ({
  kind: 'open_loop',
  mesh: 'subject',
  severity: 'fault',
  at: [x, 0, 0],
  radius,
  ...rest,
});
const lost = (x, lower, rest = {}) => ({
  kind: 'lost',
  mesh: 'reference',
  severity: 'warning',
  at: [x, 0, 0],
  radius: 1,
  distance: { lower, upper: lower + 0.1 },
  ...rest,
});

/** What a run found: its findings, the level from which it lists places, and how many it found where its list was cut. */
function found(items, { level = 0.5, edge = 0.1, reference = 'r', cut = {} } = {}) {
  const record = {
    subject: { edge_length: { median: edge }, bounds: { diagonal: 100 } },
    reference: reference && { file: { sha256: reference } },
    deviation: { places: { lost: { level }, invented: { level } } },
    findings_by_kind: cut,
  };
  return placesOf(record, { items });
}
const states = (before, after) => {
  const match = matchPlaces(before, after);
  return [match.before, match.after].map((side) => side.map(({ state }) => state));
};

test('places_that_were_left_alone_are_matched_before_their_neighbours', () => {
  // Two holes whose balls meet; one is closed. The closed one must not be taken for the one that was left open.
  const before = found([hole(0, 5), hole(4, 5)]);
  assert.deepEqual(states(before, found([hole(4, 5)])), [['gone', 'still'], ['still']]);
  assert.deepEqual(states(before, found([hole(0, 5)])), [['still', 'gone'], ['still']]);
});

test('places_that_shrank_or_fell_apart_are_still_there', () => {
  assert.deepEqual(states(found([hole(0, 5)]), found([hole(2, 1), hole(-3, 1), hole(20, 1)])), [
    ['still'],
    ['still', 'still', 'new'],
  ]);
});

test('places_of_no_size_match_within_an_edge', () => {
  const pinched = (x) => hole(x, 0, { kind: 'nonmanifold_vertex' });
  assert.deepEqual(states(found([pinched(0)], { edge: 1 }), found([pinched(0.9)])), [['still'], ['still']]);
  assert.deepEqual(states(found([pinched(0)], { edge: 1 }), found([pinched(1.1)])), [['gone'], ['new']]);
});

test('places_match_only_within_their_kind_and_mesh', () => {
  const [old, now] = [lost(0, 2), lost(0, 2, { mesh: 'subject', kind: 'invented' })];
  assert.deepEqual(states(found([old]), found([now])), [['gone'], ['new']]);
});

test('places_of_deviation_are_gone_only_beyond_the_level_of_the_later_run', () => {
  assert.deepEqual(states(found([lost(0, 2)]), found([], { level: 1.9 }))[0], ['gone']);
  assert.deepEqual(states(found([lost(0, 2)]), found([], { level: 2.1 }))[0], ['open']);
  assert.deepEqual(states(found([], { level: 1.9 }), found([lost(0, 2)]))[1], ['new']);
  assert.deepEqual(states(found([], { level: 2.1 }), found([lost(0, 2)]))[1], ['open']);
});

test('places_of_deviation_say_nothing_against_another_reference', () => {
  const other = { reference: 's' };
  assert.deepEqual(states(found([lost(0, 2), hole(9, 1)]), found([lost(50, 2)], other)), [['open', 'gone'], ['open']]);
  assert.deepEqual(states(found([lost(0, 2)]), found([], { reference: null }))[0], ['open']);
});

test('places_missing_from_a_list_that_was_cut_are_not_told_apart', () => {
  assert.deepEqual(states(found([hole(0, 1)]), found([hole(50, 1)], { cut: { open_loop: 300 } })), [['open'], ['new']]);
});

test('places_are_counted_on_the_side_that_has_them', () => {
  const [before, after] = [found([hole(0, 1), hole(9, 1)]), found([hole(9, 1), hole(30, 1, { severity: 'note' })])];
  const match = matchPlaces(before, after);
  assert.deepEqual(countPlaces(match, before, after), { gone: 1, fresh: 1, still: 1, less: 0, more: 0, open: 0 });
  assert.equal(countPlaces(match, before, after, ({ severity }) => severity === 'fault').fresh, 0);
});

test('places_that_stay_are_less_far_or_farther_only_where_the_intervals_tell', () => {
  const before = found([lost(0, 2), lost(20, 2), lost(40, 2), hole(60, 1)]);
  const after = found([lost(0, 1.5), lost(20, 2.05), lost(40, 2.2), hole(60, 1)]);
  const { still, less, more } = countPlaces(matchPlaces(before, after), before, after);
  assert.deepEqual({ still, less, more }, { still: 4, less: 1, more: 1 });
});

test('places_told_first_are_apart_and_one_is_of_the_mesh_itself', () => {
  const listed = (...findings) => findings.map((finding, i) => ({ finding, number: i + 1 }));
  const numbers = (places, most = 3) => fewPlaces(places, most).map(({ number }) => number);
  assert.deepEqual(numbers(listed(lost(0, 3), lost(0.6, 2), lost(9, 2), lost(20, 1))), [1, 3, 4]);
  assert.deepEqual(numbers(listed(lost(0, 3), lost(9, 2), lost(20, 1), hole(0, 1), hole(50, 1))), [1, 2, 4]);
  assert.deepEqual(numbers(listed(hole(0, 1), lost(0, 3))), [1, 2], 'of other kinds they are two');
});

const count = {
  measure: 'c',
  name: 'c',
  unit: 'count',
  direction: 'lower',
  values: [0, 3, 0],
  comparable: [true, true, true],
};
const loss = {
  measure: 'l',
  name: 'l',
  unit: 'length',
  direction: 'lower',
  values: [1.2, 1.1, 0.5],
  lower: [1, 1.05, 0.4],
  upper: [1.2, 1.1, 0.5],
  sampled: [false, false, false],
};
const column = (runIndex, rest = {}) => ({
  runIndex,
  version: { id: String(runIndex), kind: 'cage', number: runIndex, withdrawn: null, ...rest },
  run: { kind: 'cage', comparable: true, reference_sha256: 'r', ...rest },
});
const three = [column(0), column(1), column(2)];
const at = (columns) => columns.map(({ runIndex }) => runIndex);

test('facts_are_better_only_where_the_intervals_have_no_point_in_common', () => {
  assert.equal(isBetter(loss, 1, 0), false);
  assert.equal(isBetter(loss, 2, 0), true);
  assert.equal(isBetter({ ...loss, direction: 'higher' }, 0, 2), true);
  assert.equal(isBetter({ ...loss, direction: 'none' }, 2, 0), false);
});

test('facts_that_were_computed_need_more_than_rounding', () => {
  const area = { ...count, unit: 'ratio', values: [1, 1 + 1e-12, 2] };
  assert.equal(isBetter(area, 0, 1), false);
  assert.equal(isBetter(area, 0, 2), true);
});

test('facts_that_rest_on_samples_without_a_half_width_are_not_known', () => {
  const angle = { ...count, unit: 'degree', values: [1, 80, 5], sampled: [true, true, true] };
  assert.equal(endsOf(angle, 0), null);
  assert.equal(isBetter(angle, 0, 1), false);
});

test('facts_name_all_that_have_the_least_and_none_where_that_is_all', () => {
  assert.deepEqual(at(leastOf(count, three)), [0, 2]);
  assert.deepEqual(at(leastOf(loss, three)), [2]);
  assert.equal(leastOf(count, [three[0], three[2]]), null);
  assert.equal(leastOf({ ...loss, sampled: [true, true, true] }, three), null);
  assert.equal(leastOf({ ...loss, sampled: [true, false, false] }, three), null, 'nothing is least beside a sample');
  assert.equal(isWeighed({ ...loss, sampled: [true, false, false] }, three), false);
});

test('facts_tell_which_none_beats_and_by_what', () => {
  const thin = { ...count, measure: 't', values: [2, 1, 9] };
  assert.deepEqual(at(unbeaten([count, loss], three)), [2]);
  assert.deepEqual(at(unbeaten([count, loss, thin], three)), [0, 1, 2]);
  assert.deepEqual(
    merits([count, loss, thin], three[1], three, three).map((row) => row.measure),
    ['t'],
  );
});

test('facts_weigh_only_what_was_measured_alike', () => {
  const columns = [
    three[0],
    column(1, { reference_sha256: 's' }),
    column(2, { withdrawn: {} }),
    column(0, { comparable: false }),
  ];
  assert.deepEqual(at(weighable(columns, three[0])), [0]);
});

test('weigh_finds_the_front_by_the_words_of_its_definition', () => {
  // Park and Miller's generator (1988) places 60 points with intervals; each is compared with all others.
  let seed = 11;
  const next = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  const cost = () => {
    const [value, half] = [Math.ceil(next() * 20), Math.floor(next() * 3)];
    return { value, lower: value - half, upper: value + half };
  };
  const points = Array.from({ length: 60 }, () => ({ x: cost(), y: cost() }));
  tradeOff(points).forEach(({ state }, i) => {
    const a = points[i];
    const others = points.filter((b) => b !== a);
    const beaten = others.some(
      ({ x, y }) => x.upper <= a.x.lower && y.upper <= a.y.lower && (x.upper < a.x.lower || y.upper < a.y.lower),
    );
    const drawnBeaten = others.some(
      ({ x, y }) => x.value <= a.x.value && y.value <= a.y.value && (x.value < a.x.value || y.value < a.y.value),
    );
    assert.equal(state, beaten ? 'beaten' : drawnBeaten ? 'open' : 'front', JSON.stringify(a));
  });
});

test('weigh_turns_a_cost_of_which_more_is_better', () => {
  assert.deepEqual(turned({ lower: 1, upper: 3, value: 2 }), { lower: -3, upper: -1, value: -2 });
});

test('order_by_a_row_puts_the_best_first_and_the_unknown_last', () => {
  const row = { ...count, values: [3, null, 1] };
  assert.deepEqual(at(orderByRow(three, row)), [2, 0, 1]);
  assert.deepEqual(at(orderByRow(three, { ...row, direction: 'higher' })), [0, 2, 1]);
});

test('csv_says_its_units_and_keeps_what_the_page_rounds', () => {
  const comparison = {
    rows: [
      {
        ...loss,
        name: 'a, "b"',
        group: 'g',
        values: [0.1 + 0.2],
        lower: [0.3],
        upper: [0.1 + 0.2],
        differences: [-1e-17],
        verdicts: ['not told apart'],
      },
    ],
  };
  const rows = comparisonRows(comparison, [{ label: 'cage 2', runIndex: 0 }], {
    number: 'N',
    units: 'mm',
    baseline: 'cage 1',
  });
  assert.equal(
    csvText(rows),
    'specimen,measure,name,group,unit (lengths in mm),better when,cage 2,cage 2 lower,cage 2 upper,cage 2 minus cage 1,cage 2 against cage 1\r\n' +
      'N,l,"a, ""b""",g,mm,lower,0.30000000000000004,0.3,0.30000000000000004,-1e-17,not told apart\r\n',
  );
});

test('decimals_of_the_reader_still_round_outward', () => {
  assert.equal(formatInterval(0.6162, 0.6275, 'to', 2), '0.61–0.63');
  assert.equal(formatPlusMinus(0.0414, 0.0006, 2), '0.04 ±\u00a00.01');
  const scale = { factor: 1, unit: 'mm', decimals: 1 };
  assert.equal(cellText({ values: [2.26] }, 0, {}, scale), '2.3');
});
