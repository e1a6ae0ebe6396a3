// truth.test.mjs - fettle measure against the ground truth of fixtures/: the small set, every version.
//   deterministic  the generator writes the same bytes twice
//   counts         topology and counts: by formula, by the account of planted defects, by the generator's own census
//   places         each planted defect has a finding of its kind where it was planted, and a place lost or invented there
//   distances      the certified intervals meet the brackets of a brute-force search, and the exact distances
//   Against: fixtures/collection.h says what each basis means; the generator shares no measuring code with the program.
import test, { after, before } from 'node:test';
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { measure, program, temporaryFolder } from './measure_support.mjs';

const generator = process.env.FIXTURES ?? join(dirname(program), 'fettle-fixtures');
let folder;
let truth;
const records = new Map();

/** Fills a folder; everything the generator says is an error. */
function generate(into, ...options) {
  const done = spawnSync(generator, [into, '--small', ...options], { encoding: 'utf8', timeout: 300000 });
  if (done.error) throw done.error;
  assert.equal(done.stderr, '');
  assert.equal(done.status, 0);
}

function digests(of) {
  return Object.fromEntries(
    readdirSync(of).map((name) => [name, createHash('sha256').update(readFileSync(join(of, name))).digest('hex')]),
  );
}

/** The record of a version's faces as they are, against what it was made over; measured once. */
function recordOf(version) {
  if (!records.has(version.file)) {
    const against = version.against ? ['--against', join(folder, version.against)] : [];
    records.set(version.file, measure([join(folder, version.file), '--kind', version.kind, '--units', 'mm', '--surface', 'control', ...against]));
  }
  return records.get(version.file);
}

const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
const at = (record, path) => path.split('.').reduce((value, key) => value[key], record.subject);
const versions = () => truth.specimens.flatMap((specimen) => specimen.versions);

before(() => {
  folder = mkdtempSync(join(tmpdir(), 'fettle-truth-'));
  generate(folder);
  truth = JSON.parse(readFileSync(join(folder, 'truth.json'), 'utf8'));
});
after(() => rmSync(folder, { recursive: true, force: true }));

test('deterministic: two runs write the same bytes', (t) => {
  const again = temporaryFolder(t);
  generate(again, '--only', 'NH-0063');
  const first = digests(folder);
  const second = digests(again);
  const names = Object.keys(second).filter((name) => name.startsWith('NH-'));
  assert.ok(names.length >= 9);
  for (const name of names) assert.equal(second[name], first[name], name);
});

test('the set holds eight specimens, each expected number has a basis', () => {
  assert.equal(truth.schema, 'fettle/truth/1');
  assert.equal(truth.specimens.length, 8);
  for (const version of versions())
    for (const [path, { basis }] of Object.entries(version.expect))
      assert.ok(['formula', 'planted', 'counted'].includes(basis), `${version.file} ${path}`);
});

test('counts agree with the truth in every version', () => {
  for (const version of versions()) {
    const record = recordOf(version);
    const found = Object.fromEntries(Object.keys(version.expect).map((path) => [path, at(record, path)]));
    const told = Object.fromEntries(Object.entries(version.expect).map(([path, { value }]) => [path, value]));
    assert.deepEqual(found, told, version.file);
  }
});

test('genus by formula: ring 9, coupon 5, gastropod, urchin, lamella and colony 0', () => {
  const genus = { 'NH-0063': 9, 'NH-0005': 5, 'NH-0042': 0, 'NH-0017': 0, 'NH-0071': 0, 'NH-0080': 0 };
  for (const [number, value] of Object.entries(genus)) {
    const specimen = truth.specimens.find((one) => one.catalogue_number === number);
    const mended = specimen.versions.filter((version) => version.kind === 'scan')[1];
    assert.equal(mended.expect['topology.genus'].basis, 'formula', number);
    assert.equal(recordOf(mended).subject.topology.genus, value, number);
  }
});

test('places: every planted defect is found where it was planted', () => {
  // what a census of kinds in the truth calls them, and the finding that each must give
  const finding = {
    hole: 'open_loop',
    'flipped faces': 'flipped_faces',
    'duplicate face': 'duplicate_faces',
    fin: 'nonmanifold_edge',
    'touching shell': 'nonmanifold_vertex',
    'welded vertices': 'nonmanifold_vertex',
    'stray shell': 'stray_shell',
    'collapsed face': 'degenerate_faces',
  };
  let checked = 0;
  for (const version of versions()) {
    const record = recordOf(version);
    for (const [kind, least] of Object.entries(version.findings_at_least))
      assert.ok(record.findings_by_kind[kind] >= least, `${version.file}: ${kind} ${record.findings_by_kind[kind]} < ${least}`);
    for (const planted of version.planted.filter(({ kind }) => kind !== 'mended hole')) {
      const near = record.findings.some(
        (one) =>
          one.kind === finding[planted.kind] &&
          one.mesh === 'subject' &&
          distance(one.at, planted.at) <= one.radius + 2 * record.subject.edge_length.median,
      );
      assert.ok(near, `${version.file}: no ${finding[planted.kind]} near ${planted.at}`);
      checked++;
    }
  }
  assert.ok(checked > 100, `${checked} places`);
});

test('places: what a hole takes away is lost there, what a shell or a fin adds is invented there', () => {
  const finding = { hole: 'lost', 'stray shell': 'invented', fin: 'invented', 'touching shell': 'invented' };
  let checked = 0;
  for (const version of versions().filter(({ against }) => against)) {
    const record = recordOf(version);
    for (const planted of version.planted.filter(({ kind }) => finding[kind])) {
      const near = record.findings.some(
        (one) =>
          one.kind === finding[planted.kind] &&
          one.mesh === (one.kind === 'lost' ? 'reference' : 'subject') &&
          distance(one.at, planted.at) <= one.radius + 2 * record.subject.edge_length.median,
      );
      assert.ok(near, `${version.file}: nothing ${finding[planted.kind]} near ${planted.at}`);
      checked++;
    }
  }
  assert.ok(checked > 30, `${checked} places`);
});

test('places: the farthest is the certified maximum, none is nearer than the level, mending all holes leaves none open', () => {
  for (const version of versions().filter(({ against }) => against)) {
    const { deviation, findings } = recordOf(version);
    for (const [kind, way] of [['lost', 'reference_to_subject'], ['invented', 'subject_to_reference']]) {
      const places = findings.filter((one) => one.kind === kind);
      const { level, count } = deviation.places[kind];
      const { lower, upper } = deviation[way].max;
      assert.equal(places.length, Math.min(count, 200), version.file);
      assert.equal(count > 0, lower > level || places.length > 0, version.file);
      for (const place of places) {
        assert.ok(place.distance.lower > level && place.distance.upper <= upper, `${version.file} ${kind} at ${place.at}`);
        assert.equal(place.unit, 'mm²');
        assert.ok(place.size > 0 && place.faces.length === Math.min(64, place.faces_total), version.file);
      }
      if (count > 0) assert.ok(Math.max(...places.map((place) => place.distance.lower)) >= lower, version.file);
    }
    if (version.planted.length && version.planted.every(({ kind }) => kind === 'mended hole'))
      assert.ok(!findings.some(({ text }) => text.startsWith('the cage is open here')), version.file);
  }
});

test('holes: where only holes were planted, each open loop has its number of edges', () => {
  const only = versions().filter(
    ({ planted }) => planted.length && planted.every(({ kind }) => kind === 'hole' || kind === 'mended hole'),
  );
  assert.ok(only.length >= 5);
  for (const version of only) {
    const open = version.planted.filter(({ kind }) => kind === 'hole').map((hole) => hole.border_edges);
    const loops = recordOf(version).subject.topology.open_loop_list.map((loop) => loop.edges);
    assert.deepEqual(loops.sort((a, b) => a - b), open.sort((a, b) => a - b), version.file);
  }
});

test('distances: both certified intervals meet the brackets of every pair tried', () => {
  const pairs = versions().filter((version) => version.deviation);
  assert.ok(pairs.length > 30);
  for (const version of pairs) {
    const { deviation, reference } = recordOf(version);
    const slack = 1e-9 * reference.bounds.diagonal;
    for (const direction of ['reference_to_subject', 'subject_to_reference']) {
      const { lower, upper } = deviation[direction].max;
      const { at_least: least, at_most: most } = version.deviation[direction];
      const text = `${version.file} ${direction}: ${lower} to ${upper}, expected ${least} to ${most}`;
      assert.ok(lower <= upper && upper >= least - slack && lower <= most + slack, text);
    }
  }
});

test('distances: exact ones lie in the certified interval', () => {
  const exact = versions().filter((version) => version.deviation && 'exact' in version.deviation.reference_to_subject);
  assert.equal(exact.length, 4);
  for (const version of exact)
    for (const direction of ['reference_to_subject', 'subject_to_reference']) {
      const { lower, upper } = recordOf(version).deviation[direction].max;
      const { exact: value, within } = version.deviation[direction];
      const text = `${version.file} ${direction}: ${lower} to ${upper}, exactly ${value}`;
      assert.ok(lower <= value + within && upper >= value - within, text);
    }
});
