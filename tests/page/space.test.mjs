// space.test.mjs
//   surface_*   bytes as server/picture/surface.h lays them out, clusters among them; a corner of its own for every triangle
//   form_*      aspect ratios, edges and shells from their bytes, as server/picture/surface_form.h says them
//   camera_*    turning, panning and the address
//   colour_*    stops, ranges, histograms; which number belongs to which corner
//   pick_*      the first triangle on a ray
//   tags_*      none hides another
//   marks_*     open edges, crowded edges, irregular vertices of meshes known on paper
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { axesOf, between, cameraText, lookAt, pan, project, rayThrough, readCamera, turn, wholeView, zoom } from '../../static/space/camera.js';
import { classTable, colourAt, colourTable, parseHex, roundRange, shareOf } from '../../static/space/colours.js';
import { aspectOf, faceForm, isMostAspect, valenceClass, valenceCounts, valenceOf } from '../../static/space/form.js';
import { findMarks, irregularVertices, uniqueSides } from '../../static/space/marks.js';
import { firstHit } from '../../static/space/picking.js';
import { freeSight } from '../../static/space/sight.js';
import {
  ballOf,
  clustersNear,
  drawnCorners,
  faceOf,
  faceSides,
  formBytes,
  levelFor,
  nearestVertex,
  normalOf,
  ownCorners,
  placeOf,
  readCluster,
  readForm,
  readHead,
  readSurface,
  readTable,
  vertexOf,
  viewParts,
} from '../../static/space/surface.js';
import { placeTags } from '../../static/space/tags.js';
import { areaShares, cornerValues, extent, formValues, pickDoubles, picksOf } from '../../static/space/values.js';

/** The bytes of a surface: corners quantised in a cube of 65535 steps of the given length from the origin. */
function bytesOf({ corners, triangles, coarse = null, coarsest = null, faces = null, sources = null, aspects = [], shells = [], edges = [], step = 1 / 65535, origin = [0, 0, 0] }) {
  const aligned = (x) => Math.ceil(x / 8) * 8;
  const sizes = [
    8 * corners.length,
    12 * (coarsest?.length ?? 0),
    12 * (coarse?.length ?? 0),
    12 * triangles.length,
    faces ? 4 * faces.length : 0,
    sources ? 4 * sources.length : 0,
    2 * aspects.length,
    2 * shells.length,
    edges.length,
  ];
  const sections = [184];
  sizes.forEach((size) => sections.push(aligned(sections.at(-1) + size)));
  sections.push(sections.at(-1));
  const buffer = new ArrayBuffer(sections.at(-1));
  const view = new DataView(buffer);
  [...'fettleS3'].forEach((letter, i) => view.setUint8(i, letter.charCodeAt(0)));
  view.setUint32(8, 184, true);
  view.setUint32(12, (sources ? 1 + 4 : 0) + (faces ? 2 : 0), true);
  view.setUint32(16, corners.length, true);
  view.setUint32(20, triangles.length, true);
  view.setUint32(24, coarse?.length ?? 0, true);
  view.setUint32(28, coarsest?.length ?? 0, true);
  origin.forEach((x, i) => view.setFloat64(40 + 8 * i, x, true));
  view.setFloat64(64, step, true);
  view.setBigUint64(88, BigInt(aspects.length || (faces ? Math.max(...faces) + 1 : triangles.length)), true);
  sections.forEach((at, i) => view.setBigUint64(96 + 8 * i, BigInt(at), true));
  corners.forEach((corner, v) => corner.forEach((q, i) => view.setUint16(sections[0] + 8 * v + 2 * i, q, true)));
  [coarsest, coarse, triangles].forEach((level, i) => level?.flat().forEach((v, k) => view.setUint32(sections[1 + i] + 4 * k, v, true)));
  faces?.forEach((f, t) => view.setUint32(sections[4] + 4 * t, f, true));
  sources?.forEach((v, t) => view.setUint32(sections[5] + 4 * t, v, true));
  aspects.forEach((code, i) => view.setUint16(sections[6] + 2 * i, code, true));
  shells.forEach((code, i) => view.setUint16(sections[7] + 2 * i, code, true));
  edges.forEach((code, i) => view.setUint8(sections[8] + i, code));
  return buffer;
}

/** As the worker reads it: part by part. */
function surfaceFrom(buffer) {
  const head = readHead(buffer);
  return readSurface(head, viewParts(head).map(([begin, end]) => buffer.slice(begin, end)));
}

/** As the worker makes it: every triangle with a corner of its own. */
const owning = (surface) => ({ ...surface, twins: ownCorners(surface) });

const MOST = 65535;
/** The unit square in z = 0 as one quad, seen from above; its normals point up. */
const square = () =>
  surfaceFrom(
    bytesOf({
      corners: [[0, 0, 0, 0], [MOST, 0, 0, 0], [MOST, MOST, 0, 0], [0, MOST, 0, 0]],
      triangles: [[0, 1, 2], [0, 2, 3]],
      faces: [0, 0],
    }),
  );

test('surface_square_is_read_as_it_was_written', () => {
  const surface = square();
  assert.equal(surface.vertexCount, 4);
  assert.deepEqual(placeOf(surface, 2), [1, 1, 0]);
  assert.deepEqual([faceOf(surface, 0), faceOf(surface, 1)], [0, 0]);
  assert.deepEqual(normalOf(surface, 0), [0, 0, 1]);
  assert.deepEqual(viewParts(surface), [[184, 184 + 32], [184 + 32, 184 + 32 + 24 + 8]]);
  assert.equal(nearestVertex(surface, [0.9, 0.2, 5]), 1);
  assert.throws(() => readHead(new ArrayBuffer(200)), /not a surface/);
});

test('surface_level_is_the_finest_that_is_allowed_else_the_coarsest', () => {
  const corners = [[0, 0, 0, 0], [MOST, 0, 0, 0], [MOST, MOST, 0, 0], [0, MOST, 0, 0]];
  const triangles = [[0, 1, 2], [0, 2, 3], [1, 2, 3], [0, 1, 3]];
  const surface = surfaceFrom(bytesOf({ corners, triangles, coarse: [[0, 1, 3], [1, 2, 3]], coarsest: [[0, 2, 3]] }));
  assert.deepEqual([Infinity, 4, 3, 2, 1, 0.5].map((most) => levelFor(surface, most).length / 3), [4, 4, 2, 2, 1, 1]);
  assert.deepEqual([...levelFor(surface, 1)], [0, 2, 3]);
  const small = square(); // its own, for it has no others
  assert.equal(levelFor(small, 0), small.triangles);
});

test('sight_of_a_place_is_from_where_nothing_stands_before_it', () => {
  // a floor that faces up and a lid over all of it but one side: seen straight on, the middle of the floor is hidden
  const floor = [[0, 0, 0], [MOST, 0, 0], [MOST, MOST, 0], [0, MOST, 0], [MOST / 2, MOST / 2, 0]].map((place) => [...place, 0]);
  const lid = [[0, 0, 20000], [MOST, 0, 20000], [MOST, 40000, 20000], [0, 40000, 20000]].map((place) => [...place, 0]);
  const around = [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]];
  const seen = (corners, triangles) => {
    const surface = surfaceFrom(bytesOf({ corners, triangles }));
    return freeSight({ ...surface, ball: ballOf(surface) }, [0.5, 0.5, 0], 0.1);
  };
  assert.deepEqual(seen(floor, around), [0, 0, 1], 'nothing stands before it: from the front');
  const [x, y, z] = seen([...floor, ...lid], [...around, [5, 6, 7], [5, 7, 8]]);
  // a ray from the middle passes the lid's far side (y = 40000 of 65535, 20000 up) where it leans that way
  assert.ok(z > 0 && y / z > (40000 - MOST / 2) / 20000, `${[x, y, z]}`);
});

test('surface_normal_below_the_plane_is_folded', () => {
  // (0, 0, -1) is the corner (127, 127) of the folded octahedron
  const surface = surfaceFrom(bytesOf({ corners: [[0, 0, 0, 127 + 256 * 127]], triangles: [[0, 0, 0]] }));
  const [x, y, z] = normalOf(surface, 0);
  assert.ok(Math.abs(x) < 1e-12 && Math.abs(y) < 1e-12 && z === -1);
});

test('surface_every_triangle_owns_its_last_corner', () => {
  // a fan of five triangles about vertex 0 and one more over the same corners: more triangles than corners
  const triangles = [[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 5], [0, 5, 1], [1, 2, 3], [1, 3, 4]];
  const corners = [0, 1, 2, 3, 4, 5].map((v) => [100 * v, 7 * v * v, v, 0]);
  const surface = owning(surfaceFrom(bytesOf({ corners, triangles })));
  const own = triangles.map((_, t) => surface.triangles[3 * t + 2]);
  assert.equal(new Set(own).size, triangles.length);
  const all = drawnCorners(surface);
  assert.ok(surface.twins.length >= 1);
  triangles.forEach((triangle, t) => {
    const now = [0, 1, 2].map((i) => vertexOf(surface, surface.triangles[3 * t + i]));
    const turned = [triangle, [...triangle.slice(1), triangle[0]], [triangle[2], ...triangle.slice(0, 2)]];
    assert.ok(turned.some((each) => each.every((v, i) => v === now[i])), `${now} of ${triangle}`);
    for (const i of [0, 1, 2])
      assert.deepEqual([...all.subarray(4 * surface.triangles[3 * t + i]).slice(0, 4)], corners[now[i]], 'a double lies where its vertex does');
  });
});

/** One cluster of one triangle, and the table that leads to it, in a file of their own. */
function clusterBytes() {
  const buffer = new ArrayBuffer(72 + 24 + 8 + 8 + 16 + 8 + 8 + 8);
  const view = new DataView(buffer);
  [1, 2, 3, 4, 5, 6].forEach((x, i) => view.setFloat32(4 * i, x, true));
  [10, 20, 30, 0.5].forEach((x, i) => view.setFloat64(24 + 8 * i, x, true));
  view.setBigUint64(56, 72n, true);
  view.setUint32(64, 3, true);
  view.setUint32(68, 1, true);
  [[0, 0, 0, 0], [2, 0, 0, 0], [0, 4, 0, 0]].flat().forEach((q, i) => view.setUint16(72 + 2 * i, q, true));
  [0, 1, 2].forEach((v, i) => view.setUint16(96 + 2 * i, v, true));
  view.setUint32(104, 77, true);
  [5, 6, 9].forEach((v, i) => view.setUint32(112 + 4 * i, v, true));
  view.setUint16(128, 2048, true);
  view.setUint16(136, 3, true);
  [6, 5, 32 + 4].forEach((code, i) => view.setUint8(144 + i, code));
  return buffer;
}

test('surface_cluster_is_read_as_it_was_written', () => {
  const buffer = clusterBytes();
  const [entry] = readTable({ clusterCount: 1 }, buffer);
  assert.deepEqual([entry.low, entry.high, entry.begin, entry.end], [[1, 2, 3], [4, 5, 6], 72, 152]);
  const cluster = readCluster(entry, buffer.slice(entry.begin, entry.end));
  assert.deepEqual(placeOf(cluster, 2), [10, 22, 30]);
  assert.deepEqual([faceOf(cluster, 0), ...cluster.sources], [77, 5, 6, 9]);
  const { aspect, shell, valences } = faceForm(cluster.form, 0, [0, 1, 2], 'scan');
  assert.deepEqual([aspect, shell, valences.map(({ off }) => off)], [1.5, 3, [0, -1, 0]]);
});

test('surface_clusters_near_a_place_are_those_its_ball_meets', () => {
  const boxes = [0, 1, 2, 3].map((x) => ({ low: [x, 0, 0], high: [x + 1, 1, 1], triangleCount: 10 }));
  const near = (radius, most) => clustersNear(boxes, [0.5, 0.5, 0.5], radius, most);
  assert.deepEqual(near(0.4, 100), { taken: [boxes[0]], radius: 0.4 });
  assert.deepEqual(near(1.6, 100).taken, boxes.slice(0, 3));
  assert.deepEqual(near(1.6, 20), { taken: boxes.slice(0, 2), radius: 1.5 }, 'only so far as all of it is there');
  assert.equal(near(0.1, 5).taken.length, 1, 'one at least');
});

test('form_aspect_ratio_comes_back_from_its_sixteen_bits', () => {
  assert.deepEqual([0, 2048, 4096, 4096 * 10].map(aspectOf), [1, 1.5, 2, 1024]);
  assert.ok(Number.isNaN(aspectOf(65535)));
  assert.ok(isMostAspect(65534) && !isMostAspect(65533) && aspectOf(65534) > 65000);
});

test('form_regular_is_four_and_three_in_a_cage_six_and_four_in_a_scan', () => {
  assert.deepEqual(valenceOf(5, 'cage'), { edges: 5, place: 'inside', off: 1 });
  assert.deepEqual(valenceOf(5, 'scan'), { edges: 5, place: 'inside', off: -1 });
  assert.deepEqual([valenceOf(32 + 3, 'cage').off, valenceOf(32 + 4, 'scan').off], [0, 0]);
  assert.deepEqual(valenceOf(32 + 64 + 2, 'cage'), { edges: 2, place: 'corner', off: null });
  assert.equal(valenceOf(128 + 6, 'scan').place, 'nonmanifold');
  assert.deepEqual([2, 3, 4, 5, 9, 98, 134].map((code) => valenceClass(code, 'cage')), [0, 1, 2, 3, 4, 5, 6]);
  assert.ok(Number.isNaN(valenceClass(0, 'cage')));
  assert.deepEqual(irregularVertices(Uint8Array.from([4, 3, 98, 0, 7]), 'cage'), [{ vertex: 1, edges: 3 }, { vertex: 4, edges: 7 }]);
});

/** A grid of 2 x 2 quads: one vertex inside, four on the sides, four corners. */
test('form_classes_are_counted_as_the_record_does', () => {
  const record = { kind: 'cage', subject: { valence: { interior: { 4: 1 }, boundary: { 2: 4, 3: 4 }, nonmanifold: 0, corners: 4 } } };
  assert.deepEqual(valenceCounts(record), [0, 0, 5, 0, 0, 4, 0]);
  assert.deepEqual(valenceCounts({ ...record, kind: 'scan' }), [1, 4, 0, 0, 0, 4, 0]);
});

test('form_is_read_and_given_to_the_corners_of_faces', () => {
  const buffer = bytesOf({
    corners: [[0, 0, 0, 0], [MOST, 0, 0, 0], [MOST, MOST, 0, 0], [0, MOST, 0, 0], [0, 0, MOST, 0]],
    triangles: [[0, 1, 2], [0, 2, 3], [0, 3, 4]],
    faces: [0, 0, 1],
    aspects: [2048, 4096],
    shells: [0, 9],
    edges: [4, 2, 2, 3, 2],
  });
  const read = surfaceFrom(buffer);
  const [begin, end] = formBytes(read);
  const form = readForm(read, buffer.slice(begin, end));
  const surface = owning(read);
  const at = (subject, name) => {
    const values = cornerValues(surface, subject, formValues(form, name, 'cage'));
    return [0, 1, 2].map((t) => values[surface.triangles[3 * t + 2]]);
  };
  const [a, b, c] = at({ form: 'aspects', per: 'face' }, 'aspects').map((value) => 2 ** value);
  assert.ok(Math.abs(a - 1.5) < 1e-6 && Math.abs(b - 1.5) < 1e-6 && c === 2);
  assert.deepEqual(at({ form: 'shells', per: 'face' }, 'shells'), [0, 0, 7]);
  assert.deepEqual([...form.edges], [4, 2, 2, 3, 2]);
});

test('surface_sides_leave_out_the_cut_through_a_quad', () => {
  const pairs = [...faceSides(owning(square()))];
  assert.equal(pairs.length, 8);
  const has = (a, b) => pairs.some((v, k) => k % 2 === 0 && v === a && pairs[k + 1] === b);
  assert.ok(has(0, 1) && has(1, 2) && has(2, 3) && has(3, 0) && !has(0, 2) && !has(2, 0));
});

test('camera_turns_and_keeps_orthonormal_axes', () => {
  let camera = { yaw: 0, pitch: 0, target: [0, 0, 0], half: 1 };
  assert.deepEqual(axesOf(camera).towards.map((x) => Math.round(x)), [0, -1, 0]);
  for (let i = 0; i < 30; i += 1) camera = turn(camera, 15, 7);
  assert.equal(camera.pitch, 90);
  assert.ok(Math.abs(camera.yaw - 90) < 1e-9);
  const { right, up, towards } = axesOf({ ...camera, pitch: 40 });
  const dot = (a, b) => a.reduce((sum, x, i) => sum + x * b[i], 0);
  for (const [a, b, value] of [[right, up, 0], [up, towards, 0], [right, towards, 0], [up, up, 1], [right, right, 1]])
    assert.ok(Math.abs(dot(a, b) - value) < 1e-12);
});

test('camera_zoom_keeps_the_point_under_the_pointer', () => {
  const camera = { yaw: 20, pitch: 30, target: [1, 2, 3], half: 5 };
  const point = rayThrough(camera, 300, 40, 400, 300, 0).origin;
  const after = zoom(camera, 3, (300 - 200) / 150, (150 - 40) / 150);
  const at = project(after, point, 400, 300);
  assert.ok(Math.abs(at.x - 300) < 1e-9 && Math.abs(at.y - 40) < 1e-9);
  assert.ok(Math.abs(after.half - 5 / 1.25 ** 3) < 1e-12);
});

test('camera_pan_moves_what_is_seen_to_the_right', () => {
  const camera = { yaw: 0, pitch: 0, target: [0, 0, 0], half: 2 };
  const at = project(pan(camera, 0.5, 0), [0, 0, 0], 200, 200);
  assert.ok(Math.abs(at.x - 150) < 1e-9 && Math.abs(at.y - 100) < 1e-9);
});

test('camera_whole_view_holds_every_corner', () => {
  const ball = ballOf(square());
  const camera = wholeView(ball);
  for (const corner of ball.corners) {
    const at = project(camera, corner, 240, 200);
    assert.ok(at.x >= 0 && at.x <= 240 && at.y >= 0 && at.y <= 200);
  }
});

test('camera_looks_at_a_place_from_outside', () => {
  const camera = lookAt([1, 2, 3], [1, 0, 0], 4);
  const { towards } = axesOf(camera);
  assert.ok(towards[0] > 0.999);
});

test('camera_comes_back_from_the_address', () => {
  const camera = { yaw: -35.5, pitch: 12.25, target: [1.5, -2.25, 1e-3], half: 0.125 };
  assert.deepEqual(readCamera(cameraText(camera)), camera);
  for (const text of [null, '', '1_2_3', '1_2_3_4_5_0', 'a_2_3_4_5_6']) assert.equal(readCamera(text), null);
});

test('camera_flies_the_short_way_round', () => {
  const from = { yaw: 170, pitch: 0, target: [0, 0, 0], half: 1 };
  const to = { yaw: -170, pitch: 0, target: [2, 0, 0], half: 4 };
  assert.deepEqual(between(from, to, -9), between(from, to, 0)); // a clock that goes back throws nothing away
  assert.deepEqual(between(from, to, 9), between(from, to, 1));
  const middle = between(from, to, 0.5);
  assert.equal(middle.yaw, 180);
  assert.equal(middle.half, 2);
  assert.deepEqual(middle.target, [1, 0, 0]);
});

test('colour_is_linear_between_stops', () => {
  const stops = ['#000000', '#64c8ff'].map(parseHex);
  assert.deepEqual(colourAt(stops, 0.5), [50, 100, 127.5]);
  assert.deepEqual(colourAt(stops, 7), [100, 200, 255]);
  assert.deepEqual([...colourTable(stops).slice(-4)], [100, 200, 255, 255]);
  assert.equal(shareOf(-0.5, 1, true), 0.25);
  assert.equal(shareOf(0.5, 2, false), 0.25);
});

test('colour_range_is_round_and_no_less_than_the_value', () => {
  for (const [value, range] of [[2.37, 2.5], [0.469, 0.5], [1, 1], [0.0061, 0.008], [86, 100], [0, 1]])
    assert.equal(roundRange(value), range);
});

test('colour_histogram_is_by_area', () => {
  const surface = square();
  const values = Float32Array.from([0.1, 0.1, 0.1, 0.7]); // means of the two triangles: 0.1 and 0.3; their last corners: 0.1 and 0.7
  const shares = (per, range, count) => [...areaShares({ surface, values, map: 'seq', per }, range, count)];
  assert.deepEqual(shares('vertex', 1, 4), [0.5, 0.5, 0, 0, 0]);
  assert.deepEqual(shares('vertex', 0.2, 2), [0, 0.5, 0.5]);
  assert.deepEqual(shares('face', 1, 4), [0.5, 0, 0.5, 0, 0]);
});

test('colour_classes_have_a_pixel_each', () => {
  assert.deepEqual([...classTable([[1, 2, 3], [4, 5, 6]]).slice(0, 9)], [1, 2, 3, 255, 4, 5, 6, 255, 0]);
});

test('colour_numbers_of_faces_and_vertices_reach_their_corners', () => {
  // a quad, then a triangle: 0 1 2, 0 2 3 and 0 1 3, so that the last has a double of its own where all its corners are taken
  const corners = [[0, 0, 0, 0], [MOST, 0, 0, 0], [MOST, MOST, 0, 0], [0, MOST, 0, 0]];
  const surface = owning(surfaceFrom(bytesOf({ corners, triangles: [[0, 1, 2], [0, 2, 3], [0, 1, 3], [0, 3, 1], [1, 2, 3]], faces: [0, 0, 1, 2, 3] })));
  const byFace = cornerValues(surface, { field: 'x', per: 'face' }, Float32Array.from([10, 11, 12, 13]));
  assert.deepEqual([0, 1, 2, 3, 4].map((t) => byFace[surface.triangles[3 * t + 2]]), [10, 10, 11, 12, 13]);
  const byVertex = cornerValues(surface, { field: 'x', per: 'vertex' }, Float32Array.from([20, 21, 22, 23]));
  surface.triangles.forEach((v) => assert.equal(byVertex[v], 20 + vertexOf(surface, v)));
  const simplified = { ...surface, simplified: true, vertexFaces: Uint32Array.from([8, 6, 7, 5]), sources: Uint32Array.from([2, 3, 5, 9]) };
  assert.deepEqual([...picksOf(simplified, { field: 'x', per: 'face' })], [8, 6, 7, 5]);
  assert.deepEqual([...picksOf(simplified, { field: 'x', per: 'vertex' })], [2, 3, 5, 9]);
  for (const [each, subject] of [[surface, { field: 'x', per: 'face' }], [surface, { field: 'x', per: 'vertex' }], [simplified, { form: 'x', per: 'face' }]])
    assert.equal(picksOf(each, subject), null, 'all, as they come');
  assert.deepEqual([...cornerValues(simplified, { field: 'x', per: 'face' }, Float32Array.from([1, 2, 3, 4])).slice(0, 4)], [1, 2, 3, 4]);
  assert.deepEqual(extent(Float32Array.from([3, NaN, -1])), { least: -1, most: 3 });
});

test('colour_numbers_are_picked_from_pieces_of_any_length', () => {
  const bytes = new Uint8Array(Float64Array.from([10, 11, 12, 13, 14]).buffer);
  const picks = Uint32Array.from([3, 0, 3, 4]);
  for (const count of [5, 2 ** 22 + 1])
    for (const length of [1, 3, 8, 13, 40]) {
      const picker = pickDoubles(picks, count);
      for (let at = 0; at < bytes.length; at += length) picker.take(bytes.slice(at, at + length));
      assert.deepEqual([...picker.values()], [13, 10, 13, 14], `pieces of ${length} bytes`);
      const all = pickDoubles(null, 5);
      for (let at = 0; at < bytes.length; at += length) all.take(bytes.slice(at, at + length));
      assert.deepEqual([...all.values()], [10, 11, 12, 13, 14]);
    }
});

test('pick_nearest_of_two_squares_and_none_where_it_is_cut_away', () => {
  const both = surfaceFrom(
    bytesOf({
      corners: [0, MOST].flatMap((z) => [[0, 0, z, 0], [MOST, 0, z, 0], [MOST, MOST, z, 0], [0, MOST, z, 0]]),
      triangles: [[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]],
    }),
  );
  const ray = { origin: [0.75, 0.25, 5], direction: [0, 0, -1] };
  const hit = firstHit(both, ray);
  assert.equal(hit.triangle, 2);
  assert.ok(Math.abs(hit.along - 4) < 1e-9 && Math.abs(hit.at[2] - 1) < 1e-9);
  assert.equal(firstHit(both, ray, [0, 0, 1, 0.5]).triangle, 0);
  assert.equal(firstHit(both, { ...ray, origin: [2, 2, 5] }), null);
});

test('marks_square_has_four_open_edges_as_its_face_lists_them', () => {
  const surface = owning(square());
  const marks = findMarks(surface, faceSides(surface));
  const pairs = [0, 2, 4, 6].map((k) => [...marks.open.slice(k, k + 2)].join());
  assert.deepEqual(pairs.sort(), ['0,1', '1,2', '2,3', '3,0']);
  assert.equal(marks.crowded.length, 0);
});

test('marks_cube_of_quads_is_closed_with_twelve_edges', () => {
  const quads = [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]];
  const surface = owning(
    surfaceFrom(
      bytesOf({
        corners: Array.from({ length: 8 }, (_, v) => [v % 4 === 1 || v % 4 === 2 ? MOST : 0, v % 4 > 1 ? MOST : 0, v > 3 ? MOST : 0, 0]),
        triangles: quads.flatMap(([a, b, c, d]) => [[a, b, c], [a, c, d]]),
        faces: quads.flatMap((_, f) => [f, f]),
      }),
    ),
  );
  assert.equal(findMarks(surface, faceSides(surface)).open.length, 0);
  assert.equal(uniqueSides(faceSides(surface)).length, 24);
});

test('marks_three_faces_at_one_edge_are_crowded', () => {
  const surface = owning(
    surfaceFrom(
      bytesOf({
        corners: [[0, 0, 0, 0], [MOST, 0, 0, 0], [0, MOST, 0, 0], [0, 0, MOST, 0], [0, MOST, MOST, 0]],
        triangles: [[0, 1, 2], [0, 1, 3], [0, 1, 4]],
      }),
    ),
  );
  const marks = findMarks(surface, faceSides(surface));
  assert.deepEqual([...marks.crowded], [0, 1]);
  assert.equal(marks.open.length, 12);
});

test('tags_hang_where_they_are_wanted_and_move_aside_for_the_ones_before', () => {
  assert.deepEqual(placeTags([{ x: 100, y: 100 }, { x: 110, y: 104 }, { x: 200, y: 104 }], 400, 300), [
    { x: 100, y: 100 },
    { x: 110, y: 78 + 52 },
    { x: 200, y: 104 },
  ]);
  assert.deepEqual(placeTags([{ x: -50, y: 900 }], 400, 300), [{ x: 4, y: 270 }]);
});

test('tags_of_one_place_are_never_one_over_the_other_and_those_without_room_are_left_out', () => {
  const spots = placeTags(Array.from({ length: 60 }, (_, i) => ({ x: 150 + (i % 7), y: 150 + (i % 5) })), 400, 300);
  const shown = spots.filter((spot) => spot !== null);
  assert.ok(shown.length > 5 && shown.length < 60, String(shown.length));
  assert.deepEqual(spots[0], { x: 150, y: 150 });
  for (const [i, a] of shown.entries())
    for (const b of shown.slice(0, i)) assert.ok(Math.abs(a.x - b.x) >= 40 || Math.abs(a.y - b.y) >= 26, JSON.stringify([a, b]));
});
