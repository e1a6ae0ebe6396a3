// record.test.mjs - the run record: its schema, its numbers, the list of measures.
//   schema_*    every record is valid by a JSON Schema library (ajv), and broken ones are not
//   numbers_*   shortest texts: JSON.stringify of the parsed record gives the same bytes
//   measures_*  every path of schema/measures.json leads somewhere
import test from 'node:test';
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { appendFileSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { cube, fanned, fettle, leaves, measure, root, schemaErrors, temporaryFolder, torus, writeObj } from './measure_support.mjs';

function cageAgainstScan(folder) {
  const cage = writeObj(folder, 'cage.obj', torus(12, 8));
  const scan = writeObj(folder, 'scan.obj', fanned(torus(24, 16)));
  return [cage, '--against', scan, '--tolerance', '0.3', '--tolerance', '0.01'];
}

test('schema_holds for a cage against a scan, and for each alone', (t) => {
  const folder = temporaryFolder(t);
  const [cage, , scan] = cageAgainstScan(folder);
  for (const args of [cageAgainstScan(folder), [cage], [scan], [scan, '--against', scan, '--units', 'mm']])
    assert.deepEqual(schemaErrors(measure(args)), [], args.join(' '));
});

test('schema_holds for meshes with defects', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = cube();
  const broken = {
    'open.obj': { positions, faces: faces.slice(1) },
    'doubled.obj': { positions, faces: [...faces, faces[0]] },
    'flipped.obj': { positions, faces: [[...faces[0]].reverse(), ...faces.slice(1)] },
    'repeated.obj': { positions, faces: [...faces, [0, 0, 1], [0, 1, 1, 2]] },
    'loose.obj': { positions: [...positions, [9, 9, 9]], faces },
    'fin.obj': { positions: [...positions, [0.5, 0.5, 2]], faces: [...faces, [4, 5, 8]] },
    'hexagon.obj': { positions: [0, 1, 2, 3, 4, 5].map((k) => [Math.cos(k), Math.sin(k), 0]), faces: [[0, 1, 2, 3, 4, 5]] },
  };
  const reference = writeObj(folder, 'reference.obj', fanned(cube()));
  for (const [name, mesh] of Object.entries(broken)) {
    const path = writeObj(folder, name, mesh);
    assert.deepEqual(schemaErrors(measure([path])), [], name);
    assert.deepEqual(schemaErrors(measure([path, '--against', reference])), [], name);
  }
});

test('schema_refuses a missing key, a text for a number, a reference without deviation', (t) => {
  const record = measure(cageAgainstScan(temporaryFolder(t)));
  const breakings = [
    (r) => delete r.subject.topology.genus,
    (r) => delete r.subject.quality.quad.taper.p99,
    (r) => delete r.deviation.signed,
    (r) => delete r.timings.peak_rss_mib,
    (r) => delete r.findings_by_kind.open_loop,
    (r) => (r.subject.area = 'NaN'),
    (r) => (r.deviation.hausdorff.upper = null),
    (r) => (r.subject.counts.faces = 1.5),
    (r) => (r.reference = null),
    (r) => (r.deviation = null),
    (r) => (r.schema = 'fettle/run/2'),
  ];
  for (const breaking of breakings) {
    const copy = structuredClone(record);
    breaking(copy);
    assert.notDeepEqual(schemaErrors(copy), [], breaking.toString());
  }
});

test('numbers_are finite, and as short as JSON.stringify makes them', (t) => {
  const done = fettle(['measure', ...cageAgainstScan(temporaryFolder(t)), '--json']);
  assert.equal(done.status, 0);
  const record = JSON.parse(done.stdout);
  // keys that are whole numbers come first in a JavaScript object; those of the record are ascending already
  assert.equal(done.stdout, `${JSON.stringify(record)}\n`);
  for (const [path, value] of leaves(record)) if (typeof value === 'number') assert.ok(Number.isFinite(value), path);
});

test('measures_lead somewhere in a real record', (t) => {
  const folder = temporaryFolder(t);
  const record = measure([...cageAgainstScan(folder), '--surface', 'both', '--tolerance', '0.1']);
  const raw = fanned(torus(24, 16));
  const positions = raw.positions.map(([x, y, z], v) => [x, y, v === 7 ? z + 0.1 : z]);
  const moved = writeObj(folder, 'moved.obj', { ...raw, positions });
  const { mend } = measure([moved, '--against', writeObj(folder, 'raw.obj', raw)]);
  const { definitions, measures } = JSON.parse(readFileSync(join(root, 'schema/measures.json'), 'utf8'));
  const at = (path) => path.split('.').reduce((node, key) => node?.[key], { ...record, mend });

  assert.equal(definitions, record.engine.definitions);
  for (const measure of measures)
    for (const path of [measure.path, measure.lower, measure.upper, measure.halfwidth].filter(Boolean)) {
      const value = measure.per === 'tolerance' ? at(path)?.[0]?.share.upper : at(path);
      assert.ok(value !== undefined, `${path} leads nowhere`);
      assert.ok(value === null || typeof value === 'number', `${path} is a ${typeof value}`);
      // a torus of quads beside a closed scan: only the qualities of triangles have nothing to tell of
      if (!path.startsWith('subject.quality.tri.')) assert.notEqual(value, null, `${path} is null`);
    }
});

test('measures_are exact where they are said to be: direction, unit and certainty words', () => {
  const { measures, groups } = JSON.parse(readFileSync(join(root, 'schema/measures.json'), 'utf8'));
  const ids = groups.map((g) => g.id);
  for (const m of measures) {
    assert.ok(['lower', 'higher', 'none'].includes(m.direction), m.path);
    assert.ok(['count', 'length', 'area', 'volume', 'degree', 'share', 'ratio'].includes(m.unit), m.path);
    assert.ok(['exact', 'certified', 'sampled'].includes(m.certified), m.path);
    assert.ok(ids.includes(m.group), m.path);
  }
});

// Cube and torus on paper: V - E + F = 8 - 12 + 6 = 2, genus 0; nm - 2nm + nm = 0, genus 1.
test('record_of a cube and of a torus is what paper says', (t) => {
  const folder = temporaryFolder(t);
  const record = measure([writeObj(folder, 'cube.obj', cube(2)), '--units', 'cm']);
  assert.equal(record.kind, 'cage');
  assert.equal(record.subject.file.units, 'cm');
  assert.deepEqual([record.subject.counts.vertices, record.subject.counts.edges, record.subject.counts.faces], [8, 12, 6]);
  assert.equal(record.subject.topology.euler_characteristic, 2);
  assert.equal(record.subject.topology.genus, 0);
  assert.equal(record.subject.area, 24);
  assert.equal(record.subject.volume, 8);
  // two roundings more than Math.sqrt(12): within two units in the last place
  assert.ok(Math.abs(record.subject.bounds.diagonal - Math.sqrt(12)) <= 2 * 2 ** -51);
  assert.equal(record.reference, null);
  assert.equal(record.deviation, null);

  const ring = measure([writeObj(folder, 'torus.obj', torus(10, 6))]);
  assert.equal(ring.subject.topology.genus, 1);
  assert.equal(ring.subject.valence.irregular_share, 0);
});

test('record_names the file by its last part, with the digest of its bytes', (t) => {
  const path = writeObj(temporaryFolder(t), 'NH-0042_cage_0.4mm.obj', cube());
  const { file } = measure([path]).subject;
  assert.equal(file.name, 'NH-0042_cage_0.4mm.obj');
  assert.equal(file.sha256, createHash('sha256').update(readFileSync(path)).digest('hex'));
  assert.equal(file.bytes, statSync(path).size);
  assert.equal(file.inflated_bytes, file.bytes);
  assert.equal(file.compression, null);
});

test('record_states the settings it was made with', (t) => {
  const folder = temporaryFolder(t);
  const [cage, , scan] = cageAgainstScan(folder);
  const { settings } = measure([cage, '--against', scan, '--tolerance', '1cm', '--units', 'mm', '--certify', '1e-3', '--tolerance',
    '0.5mm', '--tolerance', '10', '--boundary', 'edge-only', '--no-creases', '--threads', '1', '--kind', 'cage']).engine;
  assert.deepEqual(settings, { certify: 0.001, surface: 'both', boundary_rule: 'edge-only', creases: false,
    tolerances: [0.5, 10], threads: 1 });
});

test('record_of a cage has the surfaces that were asked for', (t) => {
  const folder = temporaryFolder(t);
  const [cage, , scan] = cageAgainstScan(folder);
  const of = (...options) => measure([cage, '--against', scan, '--kind', 'cage', ...options]);
  for (const [options, control, limit] of [[[], true, true], [['--surface', 'both'], true, true],
    [['--surface', 'control'], true, false], [['--surface', 'limit'], false, true]]) {
    const record = of(...options);
    assert.equal(record.deviation?.surface ?? null, control ? 'control' : null, options.join(' '));
    assert.equal(record.deviation_limit?.surface ?? null, limit ? 'limit' : null, options.join(' '));
    assert.equal(record.timings.limit > 0, limit);
    assert.equal(record.control_excess !== null, control && limit);
  }
  assert.equal(of('--surface', 'both', '--boundary', 'edge-only').deviation_limit.boundary_rule, 'edge-only');
  const scanned = measure([cage, '--against', scan, '--kind', 'scan']);
  assert.equal(scanned.deviation_limit, null);
  assert.equal(scanned.engine.settings.surface, 'control');
});

// All edges sharp for ever: the limit of a cube is the cube, 0 away from it. Without creases its corners are rounded off: with
// n = 3, (n^2 v + 4 sum e + sum d) / (n (n + 5)) puts the corner (1, 1, 1) about the centre at (9 + 4 - 1) / 24 of it.
test('record_of a cube with creases is that of the cube, without them of a round body', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = cube(2);
  const edges = new Set(faces.flatMap((face) => face.map((a, i) => [a, face[(i + 1) % face.length]].sort((x, y) => x - y).join(' '))));
  const path = writeObj(folder, 'sharp.obj', { positions, faces });
  appendFileSync(path, [...edges].map((edge) => `t crease 2/1/0 ${edge} 10\n`).join(''));
  const of = (...options) => measure([path, '--against', path, '--surface', 'limit', ...options]);
  const sharp = of();
  assert.deepEqual(sharp.subject.file.warnings.map(({ code, count }) => [code, count]), [['creases_read', 12]]);
  assert.ok(sharp.deviation_limit.hausdorff.upper < 1e-3);
  const corner = Math.sqrt(3) / 2;
  const round = of('--no-creases'), { lower, upper } = round.deviation_limit.reference_to_subject.max;
  assert.ok(lower <= corner && corner <= upper, `${lower} to ${upper}, not ${corner}`);
  // the limit alone was measured: what is far from it is listed, here one place that is farthest at a corner
  const lost = round.findings.filter(({ kind }) => kind === 'lost');
  assert.equal(lost.length, 1);
  assert.equal(round.deviation_limit.places.lost.count, 1);
  assert.ok(lost[0].at.every((x) => x === 0 || x === 2), lost[0].at.join(' '));
});

// A cube against itself moved by (0, 0, 1): every point of a side of the one is at most 1 from the other, its top is exactly 1.
test('record_of two cubes a length apart holds that length in the certified interval', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = cube(4);
  const moved = { positions: positions.map(([x, y, z]) => [x, y, z + 1]), faces };
  const { deviation } = measure([writeObj(folder, 'a.obj', { positions, faces }), '--against', writeObj(folder, 'b.obj', moved)]);
  for (const { lower, upper } of [deviation.hausdorff, deviation.reference_to_subject.max, deviation.subject_to_reference.max]) {
    assert.ok(lower <= 1 && 1 <= upper, `${lower} to ${upper}`);
    assert.ok(upper - lower <= 1e-4 * Math.sqrt(48) * 1.0001, `${lower} to ${upper}`);
  }
});
