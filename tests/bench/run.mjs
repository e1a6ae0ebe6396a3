// run.mjs - what every part of the bench uses: its settings, generated files, one run of fettle or of a peer, medians.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';

const bin = process.env.BENCH_BIN;
export const folder = path.resolve('build/bench-files');
const words = (text) => text.trim().split(/[\s,]+/);

/** Ends the bench before it has begun. */
function giveUp(message) {
  process.stderr.write(`bench: ${message}\n`);
  process.exit(2);
}

/** What a variable lists, each of the names that there are; without it, all of them. */
export function chosen(variable, names) {
  const list = words(process.env[variable] ?? names.join(' ')), strange = list.find((name) => !names.includes(name));
  if (strange !== undefined) giveUp(`${variable}: there is no '${strange}'; choose among ${names.join(', ')}`);
  return list;
}

function positive(variable, usual) {
  const text = process.env[variable] ?? usual;
  return Number(text) > 0 ? Number(text) : giveUp(`${variable}: '${text}' is no number above 0`);
}

/** Sizes as [least, most] from words like 30000, 268000-, -100000, 30000-268000. */
function parseSizes(text) {
  return words(text).map((word) => {
    const [, from, dash, to] = /^(\d*)(-?)(\d*)$/.exec(word) ?? [];
    const range = dash ? [Number(from || 0), Number(to || Infinity)] : [Number(from), Number(from)];
    if (!from && !to || range[0] > range[1])
      giveUp(`SIZES: '${word}' is no size; write 30000, 268000-, -100000 or 30000-268000 triangles, or several of these`);
    return range;
  });
}

export const settings = {
  runs: Math.ceil(positive('RUNS', 5)),
  sizes: parseSizes(process.env.SIZES ?? '0-'), // triangles of the scans
  limit: positive('LIMIT', 90), // seconds that a peer gets
};

/** True for a scan of so many triangles that SIZES names. */
export const isWanted = (triangles) => settings.sizes.some(([least, most]) => least <= triangles && triangles <= most);
/** The scan of the parts that measure one alone: a million triangles, or the largest that SIZES names below. */
export const oneSize = () => Math.min(1e6, Math.max(...settings.sizes.map(([, most]) => most)));

export const sum = (values) => values.reduce((a, b) => a + b, 0);
export const median = (values) => [...values].sort((a, b) => a - b)[(values.length - 1) >> 1];
export const geometricMean = (values) => Math.exp(sum(values.map(Math.log)) / values.length);

/** The exponent p of y = c x^p by least squares over the logarithms. */
export function growthExponent(points) {
  const logs = points.map(([x, y]) => [Math.log(x), Math.log(y)]);
  const [mx, my] = [0, 1].map((i) => sum(logs.map((p) => p[i])) / logs.length);
  return sum(logs.map(([x, y]) => (x - mx) * (y - my))) / sum(logs.map(([x]) => (x - mx) ** 2));
}

/** Makes the pairs of one scan size, once: { class: { subject, reference } } of file paths. */
export function makePairs(triangles, classes) {
  const generator = path.join(bin, 'bench-pairs');
  const list = path.join(folder, `${triangles}-${classes.join('-').replaceAll(':', '')}.list`);
  mkdirSync(folder, { recursive: true });
  if (!existsSync(list) || statSync(list).mtimeMs < statSync(generator).mtimeMs) {
    process.stderr.write(`making the pairs of ${triangles} triangles\n`);
    const made = spawnSync(generator, [folder, String(triangles), ...classes], { encoding: 'utf8' });
    if (made.status !== 0) throw new Error(`bench-pairs failed: ${made.stderr}`);
    writeFileSync(list, made.stdout);
  }
  const pairs = {};
  for (const line of readFileSync(list, 'utf8').trim().split('\n')) {
    const [name, subject, reference] = line.split(' ');
    const key = name === 'scan' ? path.extname(subject).slice(1) : name;
    pairs[key] = { subject: path.join(folder, subject), reference: path.join(folder, reference) };
  }
  return pairs;
}

/** What a program of ours prints. */
export function runOwn(program, args) {
  const ran = spawnSync(path.join(bin, program), args.map(String), { encoding: 'utf8' });
  if (ran.status !== 0) throw new Error(`${program} ${args.join(' ')}: ${ran.stderr}`);
  return JSON.parse(ran.stdout);
}

/** The record of one measurement, with timings.process, the seconds of the whole process. */
export function measure(args) {
  const begin = process.hrtime.bigint();
  const ran = spawnSync(process.env.FETTLE, ['measure', ...args, '--json'], { encoding: 'utf8', maxBuffer: 1 << 30 });
  const seconds = Number(process.hrtime.bigint() - begin) / 1e9;
  if (ran.status !== 0) throw new Error(`fettle measure ${args.join(' ')}: ${ran.stderr}`);
  const record = JSON.parse(ran.stdout);
  record.timings.process = seconds;
  return record;
}

/** Medians of each timing. */
export function medianTimings(records) {
  const stages = Object.keys(records[0].timings);
  return Object.fromEntries(stages.map((stage) => [stage, median(records.map((r) => r.timings[stage]))]));
}

/** One run of a peer: its answer, or { unfinished: why }. A peer that is killed, or fails, ends nothing else. */
export function runPeer(program, args) {
  const [command, ...first] = program.endsWith('.py')
    ? ['/usr/bin/python3', path.resolve('tests/bench', program)] : [path.join(bin, program)];
  const ran = spawnSync(command, [...first, ...args.map(String)],
    { encoding: 'utf8', timeout: 1000 * (2 * settings.limit + 120), killSignal: 'SIGKILL' });
  if (ran.status === 0) return JSON.parse(ran.stdout);
  if (ran.signal === 'SIGALRM') return { unfinished: `not in ${settings.limit} s` };
  const why = ran.error?.message ?? ran.stderr.trim().split('\n')[0];
  return { unfinished: `failed (${ran.signal ?? `status ${ran.status}`}): ${why}` };
}
