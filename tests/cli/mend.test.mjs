// mend.test.mjs - fettle measure of a mended scan against the scan before: the key `mend` of the record, the table.
//   record_*   totals and regions, valid by the schema, the same for any listing, format and number of threads
//   table_*    what people read
// The meshes are boxes and flat grids: areas and volumes are known on paper.
import test from 'node:test';
import assert from 'node:assert/strict';
import { comparable, cube, fanned, fettle, measure, schemaErrors, temporaryFolder, torus, writeObj } from './measure_support.mjs';

/** A cube of side 2 in triangles, one square left out, beside a stray cube of side 0.5. */
function rawBox() {
  const box = fanned(cube(2));
  const stray = fanned(cube(0.5));
  return {
    positions: [...box.positions, ...stray.positions.map(([x, y, z]) => [x + 9, y, z])],
    faces: [...box.faces.filter((face) => !face.every((v) => v >= 4)), ...stray.faces.map((f) => f.map((v) => v + 8))],
  };
}

/** The stray gone, the hole under a roof of height 3. */
function mendedBox() {
  const { positions, faces } = rawBox();
  return {
    positions: [...positions.slice(0, 8), [1, 1, 5]],
    faces: [...faces.slice(0, 10), [4, 5, 8], [5, 6, 8], [6, 7, 8], [7, 4, 8]],
  };
}

function pair(t) {
  const folder = temporaryFolder(t);
  return { folder, raw: writeObj(folder, 'raw.obj', rawBox()), mended: writeObj(folder, 'mended.obj', mendedBox()) };
}

test('record_tells a filled hole and a stray shell taken away', (t) => {
  const { raw, mended } = pair(t);
  const record = measure([mended, '--against', raw]);
  const { mend } = record;
  assert.deepEqual(schemaErrors(record), []);
  assert.deepEqual(
    [mend.shared_faces, mend.added_faces, mend.removed_faces, mend.turned_faces, mend.regions_total],
    [10, 4, 12, 0, 2],
  );
  assert.deepEqual(mend.regions_by_kind, { filled: 1, extended: 0, added: 0, replaced: 0, removed: 1 });
  const [filled, removed] = mend.regions;
  assert.equal(filled.kind, 'filled');
  assert.ok(Math.abs(filled.volume - 4) < 1e-14, `${filled.volume}`);
  assert.equal(filled.holes_filled, 1);
  assert.equal(filled.open_edges_gone, 4);
  assert.equal(filled.outline, 8);
  assert.equal(filled.first_added, 10);
  assert.equal(filled.first_removed, null);
  assert.equal(removed.kind, 'removed');
  assert.equal(removed.volume, -0.125);
  assert.equal(removed.outline, 0);
  assert.deepEqual([mend.holes_filled, mend.holes_opened, mend.filled_volume], [1, 0, filled.volume]);
  assert.equal(mend.volume_change, null);
  assert.equal(mend.moved_vertices, null);
  assert.ok(Math.abs(mend.added_area - 4 * Math.sqrt(10)) < 1e-13);
  assert.equal(mend.removed_area, 1.5);
  assert.equal(mend.reference_share, 20 / 21.5);
  assert.deepEqual(
    [mend.farthest_change.lower, mend.farthest_change.upper],
    [record.deviation.hausdorff.lower, record.deviation.hausdorff.upper],
  );
});

test('record_is the same for any number of threads', (t) => {
  const { raw, mended } = pair(t);
  const runs = [1, 2, 5].map((threads) => comparable(measure([mended, '--against', raw, '--threads', `${threads}`])));
  assert.deepEqual(runs[1], runs[0]);
  assert.deepEqual(runs[2], runs[0]);
});

test('record_of vertices moved in place names the farthest', (t) => {
  const folder = temporaryFolder(t);
  const raw = fanned(torus(24, 16));
  const moved = { ...raw, positions: raw.positions.map(([x, y, z], v) => [x, y, v === 100 ? z + 0.25 : v === 200 ? z - 0.125 : z]) };
  const { mend } = measure([writeObj(folder, 'moved.obj', moved), '--against', writeObj(folder, 'raw.obj', raw)]);
  assert.equal(mend.moved_vertices.count, 2);
  assert.equal(mend.moved_vertices.vertex, 100);
  assert.ok(Math.abs(mend.moved_vertices.largest - 0.25) < 1e-15);
  assert.equal(mend.regions_by_kind.replaced, 2);
  const sum = mend.regions.reduce((volume, region) => volume + region.volume, 0);
  assert.ok(Math.abs(sum - mend.volume_change) < 1e-13, `${sum}, ${mend.volume_change}`);
});

test('record_of a mesh made anew says that nothing is shared, and lists nothing', (t) => {
  const folder = temporaryFolder(t);
  const record = measure([
    writeObj(folder, 'b.obj', fanned(torus(30, 20))),
    '--against',
    writeObj(folder, 'a.obj', fanned(torus(24, 16))),
  ]);
  assert.deepEqual(schemaErrors(record), []);
  assert.equal(record.mend.shared_faces, 0);
  assert.equal(record.mend.holes_filled, null);
  assert.equal(record.mend.regions_by_kind.added, null);
  assert.deepEqual(record.mend.regions, []);
});

test('record_of a cage, or of a scan alone, has no mend', (t) => {
  const folder = temporaryFolder(t);
  const cage = writeObj(folder, 'cage.obj', torus(12, 8));
  const scan = writeObj(folder, 'scan.obj', fanned(torus(24, 16)));
  assert.equal(measure([cage, '--against', scan]).mend, null);
  assert.equal(measure([scan]).mend, null);
  assert.doesNotMatch(fettle(['measure', cage, '--against', scan]).stdout, /Changed by the mend/);
});

test('table_lists the regions in words', (t) => {
  const { raw, mended } = pair(t);
  const { stdout } = fettle(['measure', mended, '--against', raw, '--units', 'mm']);
  const lines = stdout.split('\n');
  const row = (name) => lines.find((line) => line.startsWith(`  ${name} `));
  assert.match(row('Faces in both files'), / 10$/);
  assert.match(row('Area removed'), / 1\.5 mm²$/);
  assert.match(row('Holes filled'), / 1$/);
  assert.match(row('filled'), /at \(1, 1, 3\): 4 faces, 12\.65 mm²; closes 1 hole of 4 edges; volume \+4 mm³/);
  assert.match(row('removed'), /: 12 faces, 1\.5 mm²; volume −0\.125 mm³/);
  assert.match(fettle(['measure', raw, '--against', raw]).stdout, /Nothing is changed: both files hold the same faces\./);
});
