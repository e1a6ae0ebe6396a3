// cgal.test.mjs - `fettle measure` against CGAL 5.5 (cgal_measures.cpp).
//   topology   shells, edges, boundary cycles, non-manifold edges and vertices, area and volume of every mesh that CGAL
//              takes as a surface mesh: equal
//   distance   CGAL's bounded-error Hausdorff distance is within its error of the truth on either side, ours is an
//              interval: they must overlap, both ways, and ours must be as narrow as asked for
// Meshes: generated ones, the shared samples, and the meshes of Debian's libcgal-demo where that is installed.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { after, test } from 'node:test';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../../', import.meta.url));
const program = process.env.FETTLE ?? path.join(root, 'build/release/fettle');
const oracle = path.join(root, 'build/oracle/cgal_measures');
const shared = process.env.FETTLE_SHARED ?? path.resolve(root, '../shared');
const demo = '/usr/share/doc/libcgal-dev/data.tar.gz';
const folder = mkdtempSync(path.join(tmpdir(), 'fettle-cgal-'));
after(() => rmSync(folder, { recursive: true, force: true }));

const missing = existsSync(oracle) ? false : 'build/oracle/cgal_measures is missing: make oracles';
const run = (file, args) => JSON.parse(execFileSync(file, args, { encoding: 'utf8', maxBuffer: 1 << 28, stdio: ['ignore', 'pipe', 'ignore'] }));
const cgal = (...args) => run(oracle, args);
const measure = (...args) => run(program, ['measure', ...args, '--json']);

// Meshes in code.

function torus(n, m, { ring = 3, tube = 1, triangles = true, wave = 0 } = {}) {
  const positions = [];
  const faces = [];
  for (let i = 0; i < n; i++)
    for (let j = 0; j < m; j++) {
      const a = (2 * Math.PI * i) / n;
      const b = (2 * Math.PI * j) / m;
      const t = tube + wave * Math.sin(5 * a) * Math.cos(3 * b);
      positions.push([(ring + t * Math.cos(b)) * Math.cos(a), (ring + t * Math.cos(b)) * Math.sin(a), t * Math.sin(b)]);
      const p = i * m + j;
      const q = ((i + 1) % n) * m + j;
      const r = ((i + 1) % n) * m + ((j + 1) % m);
      const s = i * m + ((j + 1) % m);
      faces.push(...(triangles ? [[p, q, r], [p, r, s]] : [[p, q, r, s]]));
    }
  return { positions, faces };
}

function strip(n, { turns = 0 } = {}) {
  const positions = [];
  const faces = [];
  for (let i = 0; i < n; i++)
    for (const side of [-1, 1]) {
      const a = (2 * Math.PI * i) / n;
      const r = 2 + side * Math.cos(turns * a) * 0.5;
      positions.push([r * Math.cos(a), r * Math.sin(a), side * Math.sin(turns * a) * 0.5]);
    }
  for (let i = 0; i + 1 < n; i++) faces.push([2 * i, 2 * i + 1, 2 * i + 3], [2 * i, 2 * i + 3, 2 * i + 2]);
  return { positions, faces };
}

const joined = (...meshes) => meshes.reduce((all, mesh) => ({
  positions: [...all.positions, ...mesh.positions],
  faces: [...all.faces, ...mesh.faces.map((f) => f.map((v) => v + all.positions.length))],
}));
const moved = (mesh, [x, y, z], scale = 1) => ({ ...mesh, positions: mesh.positions.map((p) => [p[0] * scale + x, p[1] * scale + y, p[2] * scale + z]) });
const without = (mesh, drop) => ({ ...mesh, faces: mesh.faces.filter((_, f) => !drop(f)) });

// One number after another, the same in every run: Park and Miller 1988, "Random number generators: good ones are
// hard to find".
function generator(seed) {
  let state = seed;
  return () => (state = (state * 48271) % 2147483647) / 2147483647;
}

function soup(seed, count) {
  const random = generator(seed);
  const positions = Array.from({ length: 3 * count }, () => [random(), random(), random()]);
  return { positions, faces: Array.from({ length: count }, (_, t) => [3 * t, 3 * t + 1, 3 * t + 2]) };
}

const tetrahedron = { positions: [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], faces: [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]] };
const pinched = { positions: [...tetrahedron.positions, [-1, 0, 0], [0, -1, 0], [0, 0, -1]], faces: [...tetrahedron.faces, [0, 4, 5], [0, 6, 4], [4, 6, 5], [0, 5, 6]] };
const book = { positions: [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]], faces: [[0, 1, 2], [1, 0, 3], [0, 1, 4]] };

function readObj(name) {
  const positions = [];
  const faces = [];
  for (const line of readFileSync(name, 'utf8').split('\n')) {
    const words = line.trim().split(/\s+/);
    if (words[0] === 'v') positions.push(words.slice(1, 4).map(Number));
    if (words[0] === 'f') faces.push(words.slice(1).map((w) => Number.parseInt(w, 10) - 1));
  }
  return { positions, faces };
}

let written = 0;
function writeOff({ positions, faces }) {
  const name = path.join(folder, `mesh${written++}.off`);
  const lines = ['OFF', `${positions.length} ${faces.length} 0`, ...positions.map((p) => p.join(' ')), ...faces.map((f) => `${f.length} ${f.join(' ')}`)];
  writeFileSync(name, `${lines.join('\n')}\n`);
  return name;
}

const sample = (name) => ({ name, skip: existsSync(path.join(shared, 'data', name)) ? false : `no ${name}: set FETTLE_SHARED to the folder of shared test data`, load: () => readObj(path.join(shared, 'data', name)) });
const built = (name, mesh) => ({ name, skip: false, load: () => mesh });

function near(ours, theirs, what) {
  assert.ok(Math.abs(ours - theirs) <= 1e-10 * Math.max(1, Math.abs(theirs)), `${what}: ${ours} here, ${theirs} there`);
}

function compareTopology(file) {
  const theirs = cgal(file);
  const ours = measure(file).subject;
  const t = ours.topology;
  assert.equal(ours.counts.faces, theirs.faces, 'faces');
  assert.equal(t.nonmanifold_edges, theirs.nonmanifold_edges, 'non-manifold edges');
  if (!theirs.mesh) return false;
  const mesh = theirs.mesh;
  assert.deepEqual({ shells: t.shells, edges: ours.counts.edges, open: t.open_edges, loops: t.open_loops, pinches: t.nonmanifold_vertices, closed: t.closed },
    { shells: mesh.shells, edges: mesh.edges, open: mesh.open_edges, loops: mesh.boundary_cycles, pinches: mesh.nonmanifold_vertices, closed: mesh.closed });
  if (mesh.area !== undefined) near(ours.area, mesh.area, 'area');
  if (mesh.volume !== undefined) near(ours.volume, mesh.volume, 'volume');
  return true;
}

const topologies = [
  ...['spot_control_mesh.obj', 'spot_quadrangulated.obj', 'fish.obj', 'catmark_rook.obj', 'catmark_nonman_verts.obj'].map(sample),
  built('torus', torus(16, 9)),
  built('torus of quads', torus(16, 9, { triangles: false })),
  built('torus with three holes', without(torus(24, 12), (f) => f === 5 || f === 100 || f === 101 || f === 300)),
  built('two tori and a tetrahedron', joined(torus(8, 6), moved(torus(7, 5), [9, 0, 0]), moved(tetrahedron, [0, 0, 5]))),
  built('open strip', strip(12)),
  built('two tetrahedra at one vertex', pinched),
  built('three triangles on one edge', book),
  built('separate triangles', soup(3, 40)),
];
for (const { name, skip, load } of topologies)
  test(`topology: ${name}`, { skip: missing || skip }, () => {
    compareTopology(writeOff(load()));
  });

function compareDistances(subject, reference, certify) {
  const record = measure(subject, '--against', reference, '--certify', String(certify));
  const width = certify * record.reference.bounds.diagonal;
  const theirs = cgal(subject, reference, String(1e-4 * record.reference.bounds.diagonal)).distance;
  assert.equal(theirs.concave_quads, 0, 'concave quads are cut otherwise there');
  // the maxima are as narrow as asked (below), so the budget may have ended for certified means alone
  const short = ['subject_to_reference', 'reference_to_subject'].some((side) => {
    const { halfwidth, sampled } = record.deviation[side];
    return sampled === null && Math.max(halfwidth.mean, halfwidth.rms) > width;
  });
  assert.equal(record.deviation.budget_exhausted, short);
  for (const side of ['subject_to_reference', 'reference_to_subject']) {
    const { lower, upper } = record.deviation[side].max;
    assert.ok(lower <= theirs[side] + theirs.error && theirs[side] - theirs.error <= upper,
      `${side}: [${lower}, ${upper}] here, ${theirs[side]} +- ${theirs.error} there`);
    assert.ok(upper - lower <= width * (1 + 1e-12), `${side}: [${lower}, ${upper}] is wider than ${width}`);
  }
}

const plain = torus(40, 20);
const pairs = [
  ['torus, finer torus', built('', torus(90, 45)), built('', plain)],
  ['torus, a wavy one', built('', torus(48, 24, { wave: 0.2 })), built('', plain)],
  ['torus of quads, scan', built('', torus(20, 10, { triangles: false })), built('', torus(64, 32))],
  ['torus with a hole, whole', built('', without(plain, (f) => f > 300 && f < 340)), built('', plain)],
  ['torus and a stray shell, torus', built('', joined(plain, moved(tetrahedron, [0, 0, 3], 0.2))), built('', plain)],
  ['torus, itself shifted', built('', moved(plain, [0.01, 0.02, -0.03])), built('', plain)],
  ['soups', built('', soup(11, 60)), built('', soup(12, 45))],
  ['far from the origin', built('', moved(torus(30, 15), [1e6, 1e6, 0])), built('', moved(torus(25, 12), [1e6, 1e6, 0]))],
  ['spot, fish', sample('spot_quadrangulated.obj'), sample('fish.obj')],
  ['rook, itself shifted', { ...sample('catmark_rook.obj'), load: () => moved(readObj(path.join(shared, 'data/catmark_rook.obj')), [0.01, 0, 0.02]) }, sample('catmark_rook.obj')],
];
for (const [name, subject, reference] of pairs)
  for (const certify of [1e-4, 1e-6])
    test(`distance: ${name} to ${certify}`, { skip: missing || subject.skip || reference.skip }, () => {
      compareDistances(writeOff(subject.load()), writeOff(reference.load()), certify);
    });

test('meshes of libcgal-demo', { skip: missing || (existsSync(demo) ? false : 'libcgal-demo is not installed') }, async (t) => {
  const files = execFileSync('tar', ['-xvzf', demo, '-C', folder], { encoding: 'utf8', maxBuffer: 1 << 24 })
    .split('\n').filter((name) => name.endsWith('.off')).map((name) => path.join(folder, name));
  for (const file of files) {
    const size = readFileSync(file).length;
    if (size > 4e6) continue;
    await t.test(path.relative(folder, file), (one) => {
      let theirs;
      try {
        theirs = cgal(file);
      } catch {
        one.skip('CGAL does not read it');
        return;
      }
      if (theirs.faces === 0) one.skip('no faces');
      else compareTopology(file);
    });
  }
});
