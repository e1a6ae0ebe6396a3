// bench.mjs - run by `make bench`: prints and writes build/bench.json and build/bench.md. Nothing here is a test.
//   BENCH="pairs scale readers mend page"  the parts to run   RUNS=5  of which medians are taken
//   LIMIT=90  seconds a peer gets for one pair    SIZES="30000 268000-"  triangles of the scans, without it all: 30000 is that
//   size alone, 268000- from there on, -100000 up to there, 30000-268000 from the one to the other
//   PAGE_PARTS="collection table space"  parts of the page's
//   CLASSES="tube plate", PEERS="cgal vtk_cell"  these alone, of bench-pairs' classes and of cgal embree vtk_cell vtk_point (or none)
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import { benchMend, benchReaders, benchScale, STAGES } from './growth.mjs';
import { benchPage, pageRows } from './page.mjs';
import { benchPairs, PEERS } from './pairs.mjs';
import { chosen, settings } from './run.mjs';
import { markdown, pairLine, rateText, seconds, statisticsLine, statisticsSummary, summary, summaryTable } from './tables.mjs';

const firstLine = (command, ...args) => execFileSync(command, args, { encoding: 'utf8' }).split('\n')[0];
const versionOf = (debian) => firstLine('dpkg-query', '-W', '-f', '${Version}', debian).replace(/-[^-]*$/, '').replace(/\+.*/, '');

function machine() {
  return {
    cpu: os.cpus()[0].model, cores: os.cpus().length, memory_gib: Math.round(os.totalmem() / 2 ** 30),
    kernel: os.release(), system: /PRETTY_NAME="(.*)"/.exec(readFileSync('/etc/os-release', 'utf8'))?.[1],
    compiler: firstLine('gcc', '--version'), fettle: firstLine('git', 'describe', '--always', '--dirty'),
  };
}

const save = (results) => writeFileSync('build/bench.json', `${JSON.stringify(results, null, 2)}\n`);

function pairs(results) {
  results.pairs = [];
  for (const row of benchPairs()) {
    results.pairs.push(row);
    console.log(pairLine(row, settings.limit));
    for (const text of row.contradictions)
      console.log(`*** CONTRADICTION: ${row.class} ${row.scan}, ${row.certify}: ${text}`);
    for (const [peer, { unfinished }] of Object.entries(row.peers))
      if (unfinished?.startsWith('failed')) console.log(`*** ${peer} ${unfinished}`);
    save(results);
  }
  results.summaries = Object.fromEntries(Object.keys(PEERS).map((peer) => [peer, summary(results.pairs, peer, settings.limit)]));
  results.statistics = statisticsSummary(results.pairs);
  console.log(`\n${summaryTable(results.summaries)}`);
  if (results.statistics) console.log(`\n${statisticsLine(results.statistics)}`);
}

const stages = (text) => STAGES.map((stage) => `${stage} ${text(stage)}`).join('  ');

function scale(results) {
  results.scale = benchScale((name, row) => console.log(`scan ${row.scan}, ${name} cage of ${row.quads}: `
    + `${stages((s) => seconds(row.timings[s]))}  ${row.bytes_per_triangle.anonymous.toFixed(0)} bytes a triangle`));
  for (const [name, exponents] of Object.entries(results.scale.exponents))
    console.log(`growth, ${name} cage: ${stages((s) => exponents[s].toFixed(2))}`);
}

function readers(results) {
  results.readers = benchReaders((row) => console.log(`${row.format} by ${row.threads}, MB/s: `
    + `${Object.entries(row.mb_per_s).map(([what, rate]) => `${what} ${rateText(rate)}`).join(', ')}; `
    + `topology ${seconds(row.timings.topology)}, quality ${seconds(row.timings.quality)}`));
}

function mend(results) {
  const row = results.mend = benchMend();
  console.log(`mend of ${row.triangles} triangles, ${row.shared_faces} shared, ${row.holes_filled} holes filled, ${row.regions} regions: `
    + `mend ${seconds(row.timings.mend)}, ${stages((s) => seconds(row.timings[s]))}`);
}

async function page(results) {
  results.page = await benchPage((so_far) => { results.page = so_far; save(results); });
  for (const [what, half, most] of pageRows(results.page)) console.log(`${what}: ${seconds(half)}, at most ${seconds(most)}`);
}

const PARTS = { pairs, scale, readers, mend, page };
const parts = chosen('BENCH', Object.keys(PARTS)).map((name) => PARTS[name]);
const results = {
  machine: machine(), runs: settings.runs, limit: settings.limit, sizes: process.env.SIZES ?? 'all',
  versions: { cgal: versionOf('libcgal-dev'), embree: versionOf('libembree-dev'), vtk: versionOf('python3-vtk9') },
};
for (const part of parts) await part(results);
save(results);
writeFileSync('build/bench.md', markdown(results));
const contradicted = (results.pairs ?? []).filter((row) => row.contradictions.length);
if (contradicted.length) console.log(`\n*** ${contradicted.length} pairs contradict a peer: see above. One of the two is wrong.`);
console.log('\nwritten: build/bench.json, build/bench.md');
process.exitCode = contradicted.length ? 1 : 0;
