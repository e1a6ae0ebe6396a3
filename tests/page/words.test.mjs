// words.test.mjs
//   ruler_*     lengths, areas, points in each unit and with the decimals wanted
//   finding_*   the sentence of each kind and form of finding, made from its fields
//   size_*      how large a finding is
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { findingText, kindName, lineText, sizeText } from '../../static/finding-text.js';
import { rulerOf } from '../../static/ruler.js';
import { TEXT } from '../../static/text.js';

const plain = (text) => text.replaceAll('\u00a0', ' ').replaceAll('\u202f', ' ');
const names = (ruler) => ({ version: 'cage 7', reference: 'scan 2', ruler });
const mm = rulerOf('mm', 'mm');

/** One finding as the record has it. */
const finding = (kind, rest = {}) => ({
  kind,
  severity: 'fault',
  certainty: 'certain',
  mesh: 'subject',
  at: [0, 0, 0],
  radius: 1,
  size: 3,
  unit: 'faces',
  faces: [1, 2, 3],
  faces_total: 3,
  text: 'as the server says it',
  ...rest,
});
const lost = finding('lost', { form: 'patch', size: 25.4, unit: 'mm²', distance: { lower: 0.503, upper: 0.738 } });

test('ruler_prints_a_length_in_each_unit', () => {
  const shown = (unit) => plain(rulerOf('mm', unit).length(25.4));
  assert.deepEqual(['mm', 'cm', 'm', 'in'].map(shown), ['25.4 mm', '2.54 cm', '0.0254 m', '1 in']);
  assert.deepEqual(['mm', 'cm', 'm', 'in'].map((unit) => plain(rulerOf('in', unit).area(2))), ['1 290 mm²', '12.9 cm²', '0.00129 m²', '2 in²']);
});

test('ruler_prints_no_unit_where_the_files_have_none', () => {
  const bare = rulerOf('unknown', 'mm');
  assert.equal(bare.length(25.4), '25.4');
  assert.equal(bare.area(2), '2');
  assert.equal(bare.point([1, 2, 3]), '1, 2, 3');
});

test('ruler_prints_the_decimals_wanted', () => {
  const two = rulerOf('mm', 'cm', 2);
  assert.equal(plain(two.length(1.26)), '0.13 cm');
  assert.equal(plain(two.area(126)), '1.26 cm²');
  assert.equal(plain(two.point([1, 20, 300])), '0.10, 2.00, 30.00 cm');
  assert.equal(plain(two.point([1, 20, 300], ' × ')), '0.10 × 2.00 × 30.00 cm');
});

test('ruler_rounds_the_ends_of_an_interval_outward', () => {
  assert.equal(plain(rulerOf('mm', 'cm', 1).interval({ lower: 0.51, upper: 0.59 })), '0.0–0.1 cm');
  assert.equal(plain(rulerOf('mm', 'mm', 1).most(0.51)), '≤ 0.6 mm');
  assert.equal(plain(rulerOf('mm', 'mm', 1).most(0)), '≤ 0.0 mm');
  assert.equal(plain(mm.most(0.51111)), '≤ 0.512 mm');
  assert.equal(plain(mm.bound(0.0031001)), '0.0032 mm');
  assert.equal(plain(mm.bound(0)), '0 mm');
});

test('ruler_says_one_number_in_a_sentence_where_three_digits_tell_no_more', () => {
  assert.equal(plain(mm.about({ lower: 2.86552, upper: 2.86553 })), '2.87 mm');
  assert.equal(plain(mm.about({ lower: 3.1821, upper: 3.1879 })), '3.18–3.19 mm');
  assert.equal(plain(mm.about({ lower: 0, upper: 0 })), '0 mm');
  assert.equal(plain(rulerOf('mm', 'mm', 1).about({ lower: 2.8651, upper: 2.9421 })), '2.9 mm');
});

test('ruler_keeps_a_face_size_as_it_was_said', () => {
  assert.equal(plain(rulerOf('mm', 'cm', 0).faceSize(0.4, 0.0075)), '0.04 cm (0.75 %)');
});

for (const { name, given, want } of [
  { name: 'one_edge', given: finding('nonmanifold_edge', { size: 1, unit: 'edges' }), want: /^1 edge has more than two faces\. / },
  { name: 'joined_edges', given: finding('nonmanifold_edge', { size: 1200, unit: 'edges' }), want: /^1 200 joined edges have / },
  { name: 'flipped', given: finding('flipped_faces', { form: 'two_sided' }), want: /^3 faces run against the faces around them\. / },
  { name: 'one_sided', given: finding('flipped_faces', { form: 'one_sided' }), want: /^The surface has but one side/ },
  { name: 'duplicate', given: finding('duplicate_faces', { size: 1 }), want: /^1 face repeats / },
  { name: 'degenerate', given: finding('degenerate_faces'), want: /^3 faces name a vertex twice or have no area\. / },
  { name: 'open_loop', given: finding('open_loop', { size: 8, unit: 'mm', edges: 4 }), want: /^The surface is open along 4 edges\. / },
  { name: 'pinched', given: finding('nonmanifold_vertex', { fans: 2, vertex: 0 }), want: /^2 separate fans of faces meet at vertex 0 alone\. / },
  { name: 'stray', given: finding('stray_shell', { size: 8, unit: 'mm²' }), want: /^A separate shell of 3 faces is small / },
]) {
  test(`finding_text_of_${name}`, () => assert.match(plain(findingText(given, names(mm))), want));
}

for (const kind of ['lost', 'invented'])
  for (const form of ['patch', 'hole', 'shell', 'everything'])
    test(`finding_text_of_${kind}_${form}_has_its_distance_in_the_unit_shown`, () => {
      const told = (unit, decimals) => plain(findingText({ ...lost, kind, form }, names(rulerOf('mm', unit, decimals))));
      for (const [unit, distance] of [
        ['mm', '0.503–0.738 mm'],
        ['cm', '0.0503–0.0738 cm'],
        ['m', '0.000503–0.000738 m'],
        ['in', '0.0198–0.0291 in'],
      ])
        assert.ok(told(unit).includes(` ${distance}`), `${told(unit)} has no ${distance}`);
      assert.ok(told('mm', 1).includes(' 0.5–0.8 mm'), told('mm', 1));
      assert.ok(told('mm').includes('cage 7') && told('mm').includes('scan 2'));
    });

test('finding_has_a_text_for_every_kind_and_form_of_the_record', () => {
  const schema = JSON.parse(readFileSync(new URL('../../schema/run-record.schema.json', import.meta.url), 'utf8')).$defs;
  const forms = schema.finding.properties.form.enum;
  const sides = forms.filter((form) => form.endsWith('_sided'));
  const formsOf = { flipped_faces: sides, lost: forms.filter((form) => !sides.includes(form)) };
  formsOf.invented = formsOf.lost;
  for (const kind of schema.kinds.required) {
    assert.ok(TEXT[`finding.${kind}`], kind);
    for (const key of (formsOf[kind] ?? ['']).map((form) => ['finding', kind, form, 'text'].filter(Boolean).join('.')))
      assert.ok(TEXT[key], key);
  }
});

test('finding_that_the_page_does_not_know_is_told_in_the_words_of_the_server', () => {
  const { form, ...older } = lost; // a record of an earlier fettle
  for (const each of [
    finding('twisted_faces'),
    older,
    { ...lost, form: 'ravine' },
    { ...lost, distance: undefined },
    finding('open_loop', { unit: 'mm' }),
    finding('nonmanifold_vertex'),
    finding('flipped_faces'),
  ])
    assert.equal(findingText(each, names(mm)), 'as the server says it', each.kind);
  assert.equal(kindName('twisted_faces'), 'twisted faces');
});

test('size_is_told_in_each_unit', () => {
  const size = (each, unit, rest = {}) => plain(sizeText(each, { ruler: rulerOf('mm', unit), ...rest }));
  assert.equal(size(lost, 'mm'), '0.50–0.74 mm over 25.4 mm²');
  assert.equal(size(lost, 'in'), '0.019–0.030 in over 0.0394 in²');
  assert.equal(size(finding('open_loop', { size: 8, unit: 'mm' }), 'cm', { faceSize: 4 }), '0.8 cm, 2 face sizes');
  assert.equal(size(finding('stray_shell', { size: 8, unit: 'mm²' }), 'cm'), '0.08 cm²');
  assert.equal(size(finding('duplicate_faces', { size: 1 }), 'cm'), '1 face');
  assert.equal(size(finding('nonmanifold_edge', { size: 2, unit: 'edges' }), 'm'), '2 edges');
});

test('size_of_a_finding_in_one_line', () => {
  assert.equal(plain(lineText({ ...lost, at: [1, 2, 3] }, { ruler: rulerOf('mm', 'cm') })), 'Lost, 0.0503–0.0738 cm over 0.254 cm², at 0.1, 0.2, 0.3 cm');
});
