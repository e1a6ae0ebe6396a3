// space.test.mjs
//   surface_*   bytes as server/picture/surface.h lays them out
//   camera_*    turning, panning and the address
//   colour_*    stops, ranges, histograms
//   pick_*      the first triangle on a ray
//   marks_*     open edges, crowded edges, irregular vertices of meshes known on paper
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { axesOf, between, cameraText, lookAt, pan, project, rayThrough, readCamera, turn, wholeView, zoom } from '../../static/space/camera.js';
import { colourAt, colourTable, parseHex, roundRange, shareOf } from '../../static/space/colours.js';
import { findMarks } from '../../static/space/marks.js';
import { firstHit } from '../../static/space/picking.js';
import { ballOf, faceOf, faceSides, nearestVertex, normalOf, placeOf, readSurface, viewBytes } from '../../static/space/surface.js';
import { areaShares, extent, faceValues, vertexValues } from '../../static/space/values.js';

/** The bytes of a surface: corners quantised in a cube of 65535 steps of the given length from the origin. */
function bytesOf({ corners, triangles, faces = null, sources = null, step = 1 / 65535, origin = [0, 0, 0] }) {
  const aligned = (x) => Math.ceil(x / 8) * 8;
  const sizes = [8 * corners.length, 12 * triangles.length, 0, faces ? 4 * faces.length : 0, sources ? 4 * sources.length : 0];
  const sections = [144];
  sizes.forEach((size) => sections.push(aligned(sections.at(-1) + size)));
  sections.push(sections.at(-1));
  const buffer = new ArrayBuffer(sections.at(-1));
  const view = new DataView(buffer);
  [...'fettleS1'].forEach((letter, i) => view.setUint8(i, letter.charCodeAt(0)));
  view.setUint32(8, 144, true);
  view.setUint32(12, (sources ? 1 + 4 : 0) + (faces ? 2 : 0), true);
  view.setUint32(16, corners.length, true);
  view.setUint32(20, triangles.length, true);
  origin.forEach((x, i) => view.setFloat64(32 + 8 * i, x, true));
  view.setFloat64(56, step, true);
  view.setBigUint64(80, BigInt(faces ? Math.max(...faces) + 1 : triangles.length), true);
  sections.forEach((at, i) => view.setBigUint64(88 + 8 * i, BigInt(at), true));
  corners.forEach((corner, v) => corner.forEach((q, i) => view.setUint16(sections[0] + 8 * v + 2 * i, q, true)));
  triangles.flat().forEach((v, k) => view.setUint32(sections[1] + 4 * k, v, true));
  faces?.forEach((f, t) => view.setUint32(sections[3] + 4 * t, f, true));
  sources?.forEach((v, t) => view.setUint32(sections[4] + 4 * t, v, true));
  return buffer;
}

const MOST = 65535;
/** The unit square in z = 0 as one quad, seen from above; its normals point up. */
const square = () =>
  readSurface(
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
  assert.equal(viewBytes(surface), 144 + 32 + 24 + 8);
  assert.equal(nearestVertex(surface, [0.9, 0.2, 5]), 1);
  assert.throws(() => readSurface(new ArrayBuffer(200)), /not a surface/);
});

test('surface_normal_below_the_plane_is_folded', () => {
  // (0, 0, -1) is the corner (127, 127) of the folded octahedron
  const surface = readSurface(bytesOf({ corners: [[0, 0, 0, 127 + 256 * 127]], triangles: [[0, 0, 0]] }));
  const [x, y, z] = normalOf(surface, 0);
  assert.ok(Math.abs(x) < 1e-12 && Math.abs(y) < 1e-12 && z === -1);
});

test('surface_sides_leave_out_the_cut_through_a_quad', () => {
  const pairs = [...faceSides(square())];
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
  const values = Float32Array.from([0.1, 0.1, 0.1, 0.7]); // means of the two triangles: 0.1 and 0.3
  assert.deepEqual([...areaShares(surface, values, 1, false, 4)], [0.5, 0.5, 0, 0, 0]);
  assert.deepEqual([...areaShares(surface, values, 0.2, false, 2)], [0, 0.5, 0.5]);
});

test('colour_values_of_faces_and_vertices', () => {
  const surface = square();
  assert.deepEqual([...faceValues(surface, [4])], [4, 4, 4, 4]);
  assert.deepEqual([...vertexValues({ ...surface, sources: Uint32Array.from([2, 0]) }, [5, 6, 7])], [7, 5]);
  assert.deepEqual(extent(Float32Array.from([3, NaN, -1])), { least: -1, most: 3 });
});

test('pick_nearest_of_two_squares_and_none_where_it_is_cut_away', () => {
  const both = readSurface(
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

test('marks_square_has_four_open_edges', () => {
  const surface = square();
  const marks = findMarks(surface, faceSides(surface), 400);
  assert.equal(marks.open.length, 8);
  assert.equal(marks.crowded.length, 0);
  assert.equal(marks.irregularCount, 0);
});

test('marks_cube_of_quads_is_closed_with_eight_irregular_vertices', () => {
  const quads = [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]];
  const surface = readSurface(
    bytesOf({
      corners: Array.from({ length: 8 }, (_, v) => [v % 4 === 1 || v % 4 === 2 ? MOST : 0, v % 4 > 1 ? MOST : 0, v > 3 ? MOST : 0, 0]),
      triangles: quads.flatMap(([a, b, c, d]) => [[a, b, c], [a, c, d]]),
      faces: quads.flatMap((_, f) => [f, f]),
    }),
  );
  const marks = findMarks(surface, faceSides(surface), 400);
  assert.equal(marks.open.length, 0);
  assert.deepEqual(marks.irregular.map(({ edges }) => edges), Array(8).fill(3));
  assert.deepEqual(findMarks(surface, faceSides(surface), 7).irregular, []);
});

test('marks_three_faces_at_one_edge_are_crowded', () => {
  const surface = readSurface(
    bytesOf({
      corners: [[0, 0, 0, 0], [MOST, 0, 0, 0], [0, MOST, 0, 0], [0, 0, MOST, 0], [0, MOST, MOST, 0]],
      triangles: [[0, 1, 2], [0, 1, 3], [0, 1, 4]],
    }),
  );
  const marks = findMarks(surface, faceSides(surface), 400);
  assert.deepEqual([...marks.crowded], [0, 1]);
  assert.equal(marks.open.length, 12);
});
