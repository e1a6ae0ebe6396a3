// verdict.test.mjs - every quality metric of every face of real meshes against VTK's Verdict (python3-vtk9).
//   quads and triangles agree to 1e-9 relative; values below 1e-3 (sines and cosines near 0, differences of numbers
//   near 1) to 1e-12 absolute. See verdict.py for the metrics that VTK 9.1 has in an older form.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import path from 'node:path';
import { test } from 'node:test';
import { fileURLToPath } from 'node:url';

const here = path.dirname(fileURLToPath(import.meta.url));
const program = path.join(path.dirname(process.env.FETTLE ?? ''), 'face_metrics');
const shared = process.env.FETTLE_SHARED ?? path.resolve(here, '../../../shared');
const python = '/usr/bin/python3';

const samples = [
  { file: 'spot_control_mesh.obj', quads: 160, triangles: 4 },
  { file: 'spot_quadrangulated.obj', quads: 2928, triangles: 0 },
  { file: 'catmark_rook.obj', quads: 733, triangles: 44 },
  { file: 'fish.obj', quads: 0, triangles: 21568 },
];

function whySkipped(file) {
  if (!existsSync(file)) return `no ${path.basename(file)}: set FETTLE_SHARED to the folder of shared test data`;
  if (spawnSync(python, ['-c', 'import vtkmodules.vtkFiltersVerdict']).status !== 0) return 'python3-vtk9 is missing';
  return false;
}

function names() {
  const lines = execFileSync(program, ['--names'], { encoding: 'utf8' }).trim().split('\n');
  return Object.fromEntries(lines.map((line) => [line[0], line.slice(2).split(' ')]));
}

for (const { file, quads, triangles } of samples) {
  const mesh = path.join(shared, 'data', file);
  test(`${file}: Verdict agrees`, { skip: whySkipped(mesh) }, () => {
    const lists = names();
    assert.equal(lists.q.length, 13);
    assert.equal(lists.t.length, 9);
    const ours = execFileSync(program, [mesh], { maxBuffer: 1 << 28 });
    const script = path.join(here, 'verdict.py');
    const told = execFileSync(python, [script, ...Object.entries(lists).map(([k, list]) => `${k}=${list.join(',')}`)],
      { input: ours, maxBuffer: 1 << 24, encoding: 'utf8' });
    const result = JSON.parse(told);
    for (const [kind, count, list] of [['quad', quads, lists.q], ['triangle', triangles, lists.t]]) {
      assert.deepEqual(Object.keys(result[kind]), list);
      for (const [metric, worst] of Object.entries(result[kind])) {
        assert.equal(worst.compared, count, `${kind} ${metric}`);
        assert.ok(worst.difference <= 1e-9,
          `${kind} ${metric} of face ${worst.face}: ${worst.ours} here, ${worst.theirs} there`);
      }
    }
  });
}
