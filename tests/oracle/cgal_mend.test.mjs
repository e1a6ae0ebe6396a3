// cgal_mend.test.mjs - the mend of `fettle measure` against CGAL 5.5 (cgal_mend.cpp).
//   filled     holes with flat and with curved rims: volumes of what fills them
//   moved      a patch pushed out, a patch cut otherwise and moved: volumes, how far it moved
//   removed    a handle taken off and its two mouths closed; a shell taken away
// Faces of both, of one alone and areas are equal; volumes of gaps are closed by the cone of the definition and, where
// rims are flat, also as CGAL fills holes; the certified moves overlap CGAL's bounded-error distances.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { after, test } from 'node:test';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../../', import.meta.url));
const program = process.env.FETTLE ?? path.join(root, 'build/release/fettle');
const oracle = path.join(root, 'build/oracle/cgal_mend');
const folder = mkdtempSync(path.join(tmpdir(), 'fettle-cgal-mend-'));
after(() => rmSync(folder, { recursive: true, force: true }));

const skip = existsSync(oracle) ? false : 'build/oracle/cgal_mend is missing: make oracles';
const run = (file, args) => JSON.parse(execFileSync(file, args, { encoding: 'utf8', maxBuffer: 1 << 28, stdio: ['ignore', 'pipe', 'ignore'] }));

// Meshes in code: faces of triangles over a list of points.

/** A torus of n x m cells about the axis z; cell (i, j) is the faces 2 (i m + j) and the next. */
function torus(n, m) {
  const positions = [], faces = [];
  for (let i = 0; i < n; i++)
    for (let j = 0; j < m; j++) {
      const a = (2 * Math.PI * i) / n, b = (2 * Math.PI * j) / m, t = 1 + 0.1 * Math.sin(5 * a) * Math.cos(3 * b);
      positions.push([(3 + t * Math.cos(b)) * Math.cos(a), (3 + t * Math.cos(b)) * Math.sin(a), t * Math.sin(b)]);
      const at = (k, l) => ((i + k) % n) * m + ((j + l) % m);
      faces.push([at(0, 0), at(1, 0), at(1, 1)], [at(0, 0), at(1, 1), at(0, 1)]);
    }
  return { positions, faces };
}

/** A box of n x n cells a side, from 0 to size; the top is the last 2 n n faces. */
function box(n, size) {
  const positions = [], faces = [], numbers = new Map();
  const vertex = (p) => {
    const key = p.join();
    if (!numbers.has(key)) numbers.set(key, positions.push(p.map((x) => (x * size) / n)) - 1);
    return numbers.get(key);
  };
  for (const axis of [0, 1, 2])
    for (const side of [0, n])
      for (let i = 0; i < n; i++)
        for (let j = 0; j < n; j++) {
          const corner = (u, v) => {
            const p = [0, 0, 0];
            p[axis] = side;
            p[(axis + 1) % 3] = u;
            p[(axis + 2) % 3] = v;
            return vertex(p);
          };
          const quad = [corner(i, j), corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)];
          if (!side) quad.reverse();
          faces.push([quad[0], quad[1], quad[2]], [quad[0], quad[2], quad[3]]);
        }
  return { positions, faces };
}

const cellsOfTop = (n, cells) => cells.flatMap(([i, j]) => [0, 1].map((k) => 10 * n * n + 2 * (i * n + j) + k));
const cells = (from, to, rows = [from, to]) => Array.from({ length: to - from }, (_, i) => Array.from({ length: rows[1] - rows[0] }, (_, j) => [from + i, rows[0] + j])).flat();
const cellsOfTorus = (m, list) => list.flatMap(([i, j]) => [2 * (i * m + j), 2 * (i * m + j) + 1]);

function without({ positions, faces }, drop) {
  const gone = new Set(drop);
  return { positions, faces: faces.filter((_, f) => !gone.has(f)) };
}

/** The rims of some faces, each a cycle of vertices in the direction that new faces in their place have. */
function rims(faces) {
  const next = new Map(), cycles = [];
  for (const face of faces) face.forEach((v, i) => next.set(`${v} ${face[(i + 1) % 3]}`, [v, face[(i + 1) % 3]]));
  const open = new Map([...next.values()].filter(([a, b]) => !next.has(`${b} ${a}`)));
  while (open.size) {
    const cycle = [open.keys().next().value];
    for (let v; (v = open.get(cycle.at(-1))) !== undefined; cycle.push(v)) open.delete(cycle.at(-1));
    cycles.push(cycle.slice(0, -1));
  }
  return cycles;
}

/** With a fan over each rim of the faces dropped, about a point that `tip` makes of the rim's mean. */
function fanned(mesh, dropped, tip) {
  const positions = [...mesh.positions], faces = [...without(mesh, dropped).faces];
  for (const rim of rims(dropped.map((f) => mesh.faces[f]))) {
    const mean = [0, 1, 2].map((k) => rim.reduce((sum, v) => sum + mesh.positions[v][k], 0) / rim.length);
    const top = positions.push(tip(mean)) - 1;
    rim.forEach((v, i) => faces.push([v, rim[(i + 1) % rim.length], top]));
  }
  return { positions, faces };
}

const moved = ({ positions, faces }, move) => ({ positions: positions.map(move), faces });
const joined = (a, b) => ({ positions: [...a.positions, ...b.positions], faces: [...a.faces, ...b.faces.map((f) => f.map((v) => v + a.positions.length))] });

/** A pipe of rings between two rims, mirror images of each other in a plane x = c, along half ellipses over them. */
function piped(mesh, from, to, rings) {
  const positions = [...mesh.positions], faces = [...mesh.faces], count = from.length;
  const back = [...to].reverse(); // the far mouth runs the other way round
  const pairs = from.map((v, i) => [mesh.positions[v], mesh.positions[back[i]]]);
  let ring = from;
  for (let r = 1; r <= rings; r++) {
    const turn = (Math.PI * r) / rings;
    const place = ([a, b]) => [(a[0] + b[0]) / 2 - ((b[0] - a[0]) / 2) * Math.cos(turn), a[1], a[2] + (b[0] - a[0]) * Math.sin(turn)];
    const upper = r === rings ? back : pairs.map((pair) => positions.push(place(pair)) - 1);
    for (let i = 0; i < count; i++) {
      const k = (i + 1) % count;
      faces.push([ring[i], ring[k], upper[k]], [ring[i], upper[k], upper[i]]);
    }
    ring = upper;
  }
  return { positions, faces };
}

let written = 0;
function writeOff({ positions, faces }) {
  const name = path.join(folder, `mesh${written++}.off`);
  writeFileSync(name, [`OFF\n${positions.length} ${faces.length} 0`, ...positions.map((p) => p.join(' ')), ...faces.map((f) => `3 ${f.join(' ')}`), ''].join('\n'));
  return name;
}

function near(ours, theirs, what) {
  assert.ok(Math.abs(ours - theirs) <= 1e-10 * Math.max(1, Math.abs(theirs)), `${what}: ${ours} here, ${theirs} there`);
}

const firsts = ({ first_added, first_removed }) => `${first_added} ${first_removed}`;

/** All that both tell, and the kinds of the regions. `flat`: rims are. */
function compare(after_, before, { flat, kinds }) {
  const subject = writeOff(after_), reference = writeOff(before);
  const record = run(program, ['measure', subject, '--against', reference, '--kind', 'scan', '--json']);
  const width = 1e-4 * record.reference.bounds.diagonal, ours = record.mend;
  const theirs = run(oracle, [subject, reference, String(width)]);
  for (const key of ['shared_faces', 'added_faces', 'removed_faces']) assert.equal(ours[key], theirs[key], key);
  near(ours.shared_area, theirs.shared_area, 'shared area');
  if (theirs.subject_volume !== null && theirs.reference_volume !== null)
    near(ours.volume_change, theirs.subject_volume - theirs.reference_volume, 'change of volume');
  else assert.equal(ours.volume_change, null);
  assert.deepEqual(ours.regions.map((r) => r.kind).sort(), kinds);
  assert.deepEqual(ours.regions.map(firsts).sort(), theirs.regions.map(firsts).sort());
  for (const there of theirs.regions) {
    const here = ours.regions.find((r) => firsts(r) === firsts(there)), name = `${here.kind} at ${firsts(here)}`;
    assert.deepEqual([here.added_faces, here.removed_faces], [there.added, there.removed], name);
    for (const key of ['added_area', 'removed_area', 'outline']) near(here[key], there[key], `${name}: ${key}`);
    near(here.volume, there.volume_by_cones, `${name}: volume`);
    if (flat) near(here.volume, there.volume_by_holes, `${name}: volume with gaps as CGAL fills them`);
    assert.equal(here.move === null, here.kind !== 'replaced', `${name}: move`);
    if (!here.move) continue;
    assert.ok(here.move.lower <= there.move + theirs.error && there.move - theirs.error <= here.move.upper,
      `${name}: moved [${here.move.lower}, ${here.move.upper}] here, ${there.move} +- ${theirs.error} there`);
    assert.ok(here.move.upper - here.move.lower <= width * (1 + 1e-12), `${name}: move is too wide`);
  }
  return ours;
}

test('filled: holes with flat rims, under a roof and flat', { skip }, () => {
  const whole = box(12, 3), holes = [cellsOfTop(12, cells(1, 4)), cellsOfTop(12, cells(6, 10, [2, 9]))];
  const raw = without(whole, holes.flat());
  const roofs = fanned(whole, holes.flat(), ([x, y, z]) => [x + 0.1, y, z + 0.7]);
  const mend = compare(roofs, raw, { flat: true, kinds: ['filled', 'filled'] });
  near(mend.filled_volume, mend.regions[0].volume + mend.regions[1].volume, 'sum');
  assert.ok(mend.filled_volume > 0.1);
  assert.equal(compare(whole, raw, { flat: true, kinds: ['filled', 'filled'] }).filled_volume, 0);
});

test('filled: holes with curved rims, in two ways', { skip }, () => {
  const whole = torus(40, 24), holes = [cellsOfTorus(24, cells(3, 9, [1, 8])), cellsOfTorus(24, cells(20, 28, [10, 20]))];
  const raw = without(whole, holes.flat());
  compare(whole, raw, { flat: false, kinds: ['filled', 'filled'] });
  const mend = compare(fanned(whole, holes.flat(), ([x, y, z]) => [1.1 * x, 1.1 * y, z]), raw, { flat: false, kinds: ['filled', 'filled'] });
  assert.equal(mend.holes_filled, 2);
});

test('moved: a patch pushed out, and one cut otherwise and moved', { skip }, () => {
  const raw = torus(60, 36), patch = cellsOfTorus(36, cells(10, 16, [3, 12]));
  const pushed = moved(raw, (p, v) => {
    const [i, j] = [Math.floor(v / 36), v % 36], by = Math.max(0, 1 - ((i - 40) ** 2 + (j - 20) ** 2) / 30);
    return [p[0], p[1], p[2] + 0.4 * by * by];
  });
  compare(pushed, raw, { flat: true, kinds: ['replaced'] });
  const cut = fanned(raw, patch, ([x, y, z]) => [1.05 * x, 1.05 * y, z + 0.05]);
  compare(cut, raw, { flat: true, kinds: ['replaced'] });
  const both = compare(fanned(pushed, patch, ([x, y, z]) => [1.05 * x, 1.05 * y, z + 0.05]), raw, { flat: true, kinds: ['replaced', 'replaced'] });
  near(both.regions[0].volume + both.regions[1].volume, both.volume_change, 'sum over the regions');
});

test('removed: a handle taken off and its mouths closed, a shell taken away', { skip }, () => {
  const whole = box(12, 3), mouths = [cells(2, 4, [5, 7]), cells(8, 10, [5, 7])].map((c) => cellsOfTop(12, c));
  const [[from], [to]] = mouths.map((mouth) => rims(mouth.map((f) => whole.faces[f])));
  const start = (rim, key) => { // both rims from the corner of least x + y, so that the pipe is not twisted
    const at = rim.reduce((best, v, i) => (key(whole.positions[v]) < key(whole.positions[rim[best]]) ? i : best), 0);
    return [...rim.slice(at), ...rim.slice(0, at)];
  };
  const far = start(to, ([x, y]) => -x + y);
  const handled = piped(without(whole, mouths.flat()), start(from, ([x, y]) => x + y), [...far.slice(1), far[0]], 16);
  const mend = compare(whole, handled, { flat: true, kinds: ['replaced'] });
  assert.ok(mend.regions[0].volume < -0.1 && mend.regions[0].move.lower > 1.5, 'the handle is 2 high');
  near(mend.regions[0].volume, mend.volume_change, 'the whole');
  const stray = moved(torus(20, 12), ([x, y, z]) => [0.1 * x, 0.1 * y, 0.1 * z + 4]);
  const away = compare(whole, joined(handled, stray), { flat: true, kinds: ['removed', 'replaced'] });
  assert.ok(away.regions.find((r) => r.kind === 'removed').volume < 0);
});

test('removed: a patch taken out, which leaves a curved rim', { skip }, () => {
  const whole = torus(40, 24);
  const mend = compare(without(whole, cellsOfTorus(24, cells(5, 12, [4, 10]))), whole, { flat: false, kinds: ['removed'] });
  assert.equal(mend.holes_opened, 1);
});
