// bench.mjs - times `fettle measure` on generated pairs, stage by stage, medians of RUNS runs; run by `make bench`.
// A pair is a bumpy closed surface r(u, v) as a dense triangle scan and, sampled more coarsely, as an all-quad cage.
// Prints a table and writes build/bench.json with the machine named. Nothing here is a test.
import { execFileSync } from 'node:child_process';
import { createWriteStream, mkdirSync, readFileSync, writeFileSync, existsSync } from 'node:fs';
import { once } from 'node:events';
import os from 'node:os';
import path from 'node:path';

const program = process.env.FETTLE;
const folder = path.resolve('build/bench-files');
const runs = Number(process.env.RUNS ?? 3);

function point(u, v) {
  const r = 40 * (1 + 0.08 * Math.sin(7 * u) * Math.sin(5 * v) + 0.01 * Math.sin(61 * u + 3) * Math.sin(47 * v));
  return [r * Math.sin(v) * Math.cos(u), r * Math.sin(v) * Math.sin(u), 1.3 * r * Math.cos(v)];
}

// n columns around, m rows of points between two poles; quads between rows, triangle fans at the poles.
async function writeSurface(file, n, m, triangles) {
  if (existsSync(file)) return;
  const out = createWriteStream(file);
  const write = async (text) => { if (!out.write(text)) await once(out, 'drain'); };
  for (let j = 1; j <= m; j++) {
    let text = '';
    for (let i = 0; i < n; i++) text += `v ${point((2 * Math.PI * i) / n, (Math.PI * j) / (m + 1)).map((x) => x.toFixed(6)).join(' ')}\n`;
    await write(text);
  }
  await write(`v ${point(0, 0).map((x) => x.toFixed(6)).join(' ')}\nv ${point(0, Math.PI).map((x) => x.toFixed(6)).join(' ')}\n`);
  for (let j = 0; j < m - 1; j++) {
    let text = '';
    for (let i = 0; i < n; i++) {
      const [a, b] = [j * n + i + 1, j * n + ((i + 1) % n) + 1];
      text += triangles ? `f ${a} ${a + n} ${b}\nf ${b} ${a + n} ${b + n}\n` : `f ${a} ${a + n} ${b + n} ${b}\n`;
    }
    await write(text);
  }
  let text = '';
  for (let i = 0; i < n; i++) {
    const next = (i + 1) % n;
    text += `f ${n * m + 1} ${i + 1} ${next + 1}\nf ${n * m + 2} ${(m - 1) * n + next + 1} ${(m - 1) * n + i + 1}\n`;
  }
  await write(text);
  out.end();
  await once(out, 'finish');
}

const median = (values) => values.sort((a, b) => a - b)[values.length >> 1];

function measure(subject, reference) {
  const all = [];
  for (let i = 0; i < runs; i++) {
    const start = process.hrtime.bigint();
    const record = JSON.parse(execFileSync(program, ['measure', subject, '--against', reference, '--json'], { maxBuffer: 1 << 28 }));
    record.timings.process = Number(process.hrtime.bigint() - start) / 1e9;
    all.push(record);
  }
  const timings = Object.fromEntries(Object.keys(all[0].timings).map((key) => [key, median(all.map((r) => r.timings[key]))]));
  return { timings, record: all[0] };
}

mkdirSync(folder, { recursive: true });
const pairs = [
  { name: '100k scan, 6k-quad cage', scan: [320, 156], cage: [110, 55] },
  { name: '1M scan, 50k-quad cage', scan: [1000, 500], cage: [320, 157] },
];
const results = [];
for (const pair of pairs) {
  const scan = path.join(folder, `scan-${pair.scan.join('x')}.obj`);
  const cage = path.join(folder, `cage-${pair.cage.join('x')}.obj`);
  await writeSurface(scan, ...pair.scan, true);
  await writeSurface(cage, ...pair.cage, false);
  const { timings, record } = measure(cage, scan);
  results.push({ pair: pair.name, scan_faces: record.reference.counts.faces, cage_faces: record.subject.counts.faces,
    hausdorff: record.deviation.hausdorff, budget_exhausted: record.deviation.budget_exhausted, timings });
  console.log(`\n${pair.name}: ${record.reference.counts.faces} triangles against ${record.subject.counts.faces} faces`);
  for (const [stage, seconds] of Object.entries(timings)) console.log(`  ${stage.padEnd(20)} ${seconds === null ? '-' : seconds.toFixed(3).padStart(9)}`);
  console.log(`  hausdorff            ${record.deviation.hausdorff.lower} to ${record.deviation.hausdorff.upper}`);
}
const machine = { cpu: os.cpus()[0].model, cores: os.cpus().length, memory_gib: Math.round(os.totalmem() / 2 ** 30),
  kernel: os.release(), compiler: execFileSync('gcc', ['--version']).toString().split('\n')[0] };
writeFileSync('build/bench.json', `${JSON.stringify({ machine, runs, results }, null, 2)}\n`);
console.log(`\n${machine.cpu}, ${machine.cores} cores, ${machine.compiler}; written to build/bench.json`);
