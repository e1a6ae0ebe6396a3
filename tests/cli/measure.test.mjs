// measure.test.mjs - fettle measure as a command: options, exit statuses, table, --out, --fields.
//   usage_*   status 2 and a text that says what to do
//   input_*   statuses 3 and 4, and the first line of a refusal
//   limits_*  address space
//   output_*  table, --out, --fields, and status 5 where they cannot be written
import test from 'node:test';
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, readdirSync, statSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { comparable, cube, fanned, fettle, measure, program, temporaryFolder, torus, writeObj } from './measure_support.mjs';

const firstLine = (text) => text.split('\n')[0];

test('usage_help and version go to standard output', () => {
  for (const args of [['--help'], ['measure', '--help'], ['--version']]) {
    const done = fettle(args);
    assert.equal(done.status, 0);
    assert.equal(done.stderr, '');
    assert.match(done.stdout, args[0] === '--version' ? /^fettle \d+\.\d+\.\d+ \(.+\), definitions \d+\n$/ : /^usage: fettle /);
  }
});

test('usage_wrong calls have status 2, say why, and print nothing else', (t) => {
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', cube());
  const calls = [
    [[], /^usage: fettle/],
    [['remesh'], /no command 'remesh'/],
    [['measure'], /name the FILE/],
    [['measure', file, file], /one FILE .* one too many/],
    [['measure', file, '--kin', 'scan'], /no option '--kin'/],
    [['measure', file, '--kind'], /'--kind' needs a value/],
    [['measure', file, '--kind', 'mesh'], /--kind is one of scan, cage, not 'mesh'/],
    [['measure', file, '--units', 'km'], /--units is one of mm, cm, m, in, unknown/],
    [['measure', file, '--tolerance', '0,4'], /'0,4' is not a length/],
    [['measure', file, '--tolerance', '0.4mm'], /--units/],
    [['measure', file, '--tolerance', '-1'], /not a length/],
    [['measure', file, '--certify', '0'], /--certify is a share/],
    [['measure', file, '--certify', 'nan'], /--certify is a number/],
    [['measure', file, '--threads', '0'], /--threads is a whole number from 1/],
    [['measure', file, '--threads', '1', '--threads', '2'], /twice/],
    [['measure', file, '--kind', 'scan', '--surface', 'limit'], /--surface limit: the file is a scan/],
    [['measure', file, '--surface', 'inner'], /--surface is one of/],
    [['measure', file, '--boundary', 'none'], /--boundary is one of/],
    [['measure', file, '--json', '--out', join(folder, 'r.json')], /one of them/],
    [['measure', file, '--fields', join(folder, 'f')], /--against/],
    [['measure', file, ...Array(17).fill('--tolerance=1')], /more than 16/],
  ];
  for (const [args, text] of calls) {
    const done = fettle(args);
    assert.equal(done.status, 2, args.join(' '));
    assert.match(args.length ? firstLine(done.stderr) : done.stderr, text, args.join(' '));
    assert.equal(done.stdout, '', args.join(' '));
  }
  assert.ok(!existsSync(join(folder, 'f')));
});

test('usage_options come in any order', (t) => {
  const folder = temporaryFolder(t);
  const a = writeObj(folder, 'a.obj', cube());
  const b = writeObj(folder, 'b.obj', fanned(cube()));
  const one = measure([a, '--against', b, '--units', 'mm', '--tolerance', '0.1mm']);
  const other = measure(['--tolerance=0.1mm', '--against', b, '--units=mm', '--', a].filter((x) => x !== '--'));
  assert.deepEqual(comparable(one), comparable(other));
});

test('input_that is not there or not a file has status 3 at once', { timeout: 60000 }, (t) => {
  const folder = temporaryFolder(t);
  const good = writeObj(folder, 'a.obj', cube());
  spawnSync('mkfifo', [join(folder, 'pipe.obj')]);
  const inputs = [
    [join(folder, 'none.obj'), /^fettle: cannot read '.*none\.obj': No such file/],
    [folder, /^fettle: '.*' is a folder/],
    [join(folder, 'pipe.obj'), /^fettle: '.*pipe\.obj' is not a regular file/],
    ['/dev/null', /^fettle: '\/dev\/null' is not a regular file/],
    ['/dev/stdin', /^fettle: '\/dev\/stdin' is not a regular file/],
  ];
  for (const [path, text] of inputs)
    for (const args of [[path], [good, '--against', path]]) {
      const done = fettle(['measure', ...args, '--json']);
      assert.equal(done.status, 3, path);
      assert.match(firstLine(done.stderr), text);
      assert.equal(done.stdout, '');
    }
});

test('input_refused says which rule, format and place on the first line', (t) => {
  const folder = temporaryFolder(t);
  const write = (name, text) => {
    writeFileSync(join(folder, name), text);
    return join(folder, name);
  };
  const inputs = [
    [write('syntax.obj', 'v 0 0 0\nv 1 0 0\nv 0 x 0\nf 1 2 3\n'), /^fettle: reject-syntax: OBJ: line 3: ./],
    [write('data.obj', 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4\n'), /^fettle: reject-data: OBJ: line 4: ./],
    [write('points.obj', 'v 0 0 0\nv 1 0 0\n'), /^fettle: reject-empty: OBJ: ./],
    [write('picture.png', '\x89PNG\r\n\x1a\nnot a mesh'), /^fettle: reject-type: ./],
  ];
  const good = writeObj(folder, 'good.obj', cube());
  for (const [path, text] of inputs) {
    const done = fettle(['measure', path, '--json']);
    assert.equal(done.status, 3, path);
    assert.match(firstLine(done.stderr), text);
    assert.equal(done.stdout, '');
    const against = fettle(['measure', good, '--against', path]);
    assert.equal(against.status, 3, path);
    assert.match(firstLine(against.stderr), /in the reference: /);
  }
});

test('output_table is for people: short, aligned, with units', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = torus(40, 30);
  const cage = writeObj(folder, 'cage.obj', { positions, faces: faces.slice(1) });
  const scan = writeObj(folder, 'scan.obj', fanned(torus(60, 45)));
  const done = fettle(['measure', cage, '--against', scan, '--units', 'mm', '--tolerance', '1m', '--surface', 'both']);
  assert.equal(done.status, 0);
  assert.equal(done.stderr, '');
  const lines = done.stdout.split('\n');
  const row = (name) => lines.find((l) => l.startsWith(`  ${name} `));
  assert.match(lines[0], /^cage +cage\.obj \(obj, .* KiB, units: mm\)$/);
  assert.match(lines[1], /^ +taken for a cage by the corners of its faces; --kind sets it$/);
  assert.match(lines[2], /^against +scan\.obj /);
  assert.match(row('Open edges'), / 4 +0$/);
  assert.match(row('Faces'), / 1\u202f199 +5\u202f400$/);
  assert.match(row('Greatest loss'), / \d+\.\d+–\d+\.\d+ mm$/);
  assert.match(row('Mean loss'), / \d+\.\d+ ± \d+\.\d+ mm$/);
  assert.match(row('Area within 1\u202f000 mm'), / 100 %$/);
  assert.match(row('Genus'), / 1 +1$/);
  assert.match(row('Limit: greatest loss'), / \d+\.\d+–\d+\.\d+ mm$/);
  assert.match(row('Polygon: greatest loss'), / −?\d+(\.\d+)?–−?\d+(\.\d+)? mm$/);
  assert.ok(lines.length < 80, `${lines.length} lines`);
  assert.ok(lines.every((l) => l.length <= 160));
  // the greatest loss of the table is the certified interval of the record, rounded outward
  const { lower, upper } = measure([cage, '--against', scan, '--units', 'mm']).deviation.reference_to_subject.max;
  const [low, high] = row('Greatest loss').match(/[\d.]+/g).map(Number);
  assert.ok(low <= lower && upper <= high, `${low} to ${high} for ${lower} to ${upper}`);
});

test('output_table shows no control character of a file name', (t) => {
  const file = writeObj(temporaryFolder(t), 'a\u001b[31m\nb.obj', cube());
  assert.match(fettle(['measure', file]).stdout, /^cage +a\?\[31m\?b\.obj /);
  assert.equal(measure([file]).subject.file.name, 'a\u001b[31m\nb.obj');
});

test('output_table of a mesh alone has no deviation and no reference', (t) => {
  const done = fettle(['measure', writeObj(temporaryFolder(t), 'scan.obj', fanned(cube()))]);
  assert.equal(done.status, 0);
  assert.match(done.stdout, /^scan /);
  assert.doesNotMatch(done.stdout, /Deviation|reference|NaN|undefined/);
});

test('output_out writes the record whole, under its name only', (t) => {
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', cube());
  const target = join(folder, 'kept.json');
  writeFileSync(target, 'old');
  symlinkSync(target, join(folder, 'link.json'));
  const done = fettle(['measure', file, '--out', join(folder, 'link.json')]);
  assert.equal(done.status, 0);
  assert.match(done.stdout, /^cage /);
  assert.deepEqual(comparable(JSON.parse(readFileSync(target, 'utf8'))), comparable(measure([file])));
  assert.deepEqual(readdirSync(folder).sort(), ['a.obj', 'kept.json', 'link.json']);

  const inside = fettle(['measure', file, '--out', 'here.json'], { cwd: folder });
  assert.equal(inside.status, 0);
  assert.ok(existsSync(join(folder, 'here.json')));
});

test('output_out writes to a pipe as it is', (t) => {
  const file = writeObj(temporaryFolder(t), 'a.obj', cube());
  const line = '"$1" measure "$2" --out /dev/fd/3 3>&1 >/dev/null | cat';
  const piped = spawnSync('bash', ['-c', line, 'bash', program, file], { encoding: 'utf8', timeout: 60000 });
  assert.deepEqual(comparable(JSON.parse(piped.stdout)), comparable(measure([file])));
});

test('output_out that cannot be written has a status and leaves nothing', (t) => {
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', cube());
  const missing = fettle(['measure', file, '--out', join(folder, 'no/such/r.json')]);
  assert.equal(missing.status, 5);
  assert.match(firstLine(missing.stderr), /^fettle: cannot write /);
  const refused = fettle(['measure', file, '--out', folder]);
  assert.equal(refused.status, 2);
  assert.match(firstLine(refused.stderr), /is a folder/);
  const full = fettle(['measure', file, '--out', '/dev/full']);
  assert.equal(full.status, 5);
  assert.match(firstLine(full.stderr), /^fettle: cannot write '\/dev\/full': /);
  assert.equal(full.stdout, '');
  assert.deepEqual(readdirSync(folder), ['a.obj']);
});

test('output_fields are little-endian doubles, listed in fields.json', (t) => {
  const folder = temporaryFolder(t);
  const cage = torus(12, 8);
  const args = [writeObj(folder, 'cage.obj', cage), '--against', writeObj(folder, 'scan.obj', fanned(torus(24, 16)))];
  const target = join(folder, 'fields');
  assert.equal(fettle(['measure', ...args, '--surface', 'both', '--fields', target]).status, 0);
  const list = JSON.parse(readFileSync(join(target, 'fields.json'), 'utf8'));
  assert.equal(list.mesh, 'subject');
  assert.deepEqual(list.fields.map((f) => f.name).sort(),
    ['distance', 'distance_lower', 'distance_upper', 'face_distance_lower', 'face_distance_peak', 'face_distance_upper',
      'limit_position', 'nearest_face', 'normal_angle', 'reference_face_distance_lower', 'reference_face_distance_peak',
      'reference_face_distance_upper', 'signed']);
  assert.deepEqual(readdirSync(target).sort(), [...list.fields.map((f) => f.file), 'fields.json'].sort());
  const values = {};
  for (const field of list.fields) {
    const bytes = readFileSync(join(target, field.file));
    assert.equal(field.type, 'float64-le');
    const faces = field.mesh === 'reference' ? 2 * 24 * 16 : cage.faces.length;
    assert.equal(field.count, (field.per === 'face' ? faces : cage.positions.length)
      * (field.name === 'limit_position' ? 3 : 1), field.name);
    assert.equal(bytes.length, 8 * field.count, field.name);
    values[field.name] = Array.from({ length: field.count }, (_, i) => bytes.readDoubleLE(8 * i));
  }
  const { subject_to_reference: invented } = measure(args).deviation;
  assert.ok(values.distance.every((d) => d >= 0 && d <= invented.max.upper));
  assert.ok(values.face_distance_peak.every((d, f) => d >= 0 && d <= values.face_distance_upper[f]
    && values.face_distance_lower[f] <= values.face_distance_upper[f]));
  assert.ok(Math.max(...values.face_distance_peak) >= invented.max.lower * (1 - 2 ** -23)); // floats, rounded down
  assert.ok(values.nearest_face.every((f) => Number.isInteger(f) && f >= 0 && f < 2 * 24 * 16));
  // at the highest vertex of a tube of 8 the spline along it is at (4 + 2 cos 45 degrees) / 6 of the height
  const heights = (points) => Math.max(...points);
  const limit = heights(values.limit_position.filter((_, i) => i % 3 === 2));
  const top = heights(cage.positions.map((p) => p[2]));
  assert.ok(Math.abs(limit / top - (4 + Math.SQRT2) / 6) < 1e-12, `${limit} of ${top}`);
});

test('output_that is closed, full or has no reader left has status 5', (t) => {
  const file = writeObj(temporaryFolder(t), 'a.obj', cube());
  const shell = (line) => spawnSync('bash', ['-c', line, 'bash', program, file], { encoding: 'utf8', timeout: 60000 });
  for (const line of [
    '"$1" measure "$2" --json >&-',
    '"$1" measure "$2" >&-',
    '"$1" measure "$2" --json >/dev/full',
    '"$1" measure "$2" >/dev/full',
    '"$1" --help >/dev/full',
    'exec 3> >(true); wait $!; "$1" measure "$2" --json >&3',
  ])
    assert.equal(shell(line).status, 5, line);
  assert.match(shell('"$1" measure "$2" --json >/dev/full').stderr, /^fettle: standard output could not be written: /);
  assert.equal(shell('"$1" measure "$2" --json 2>&- <&- | wc -l').stdout.trim(), '1');
});

test('output_into a fields folder that cannot be made has status 5', (t) => {
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', cube());
  mkdirSync(join(folder, 'd'));
  writeFileSync(join(folder, 'd', 'file'), '');
  const done = fettle(['measure', file, '--against', file, '--fields', join(folder, 'd', 'file')]);
  assert.equal(done.status, 5);
  assert.match(firstLine(done.stderr), /^fettle: cannot open the folder /);
});

test('output_progress goes to a terminal only', (t) => {
  const file = writeObj(temporaryFolder(t), 'a.obj', fanned(torus(60, 40)));
  const line = `'${program}' measure '${file}' --against '${file}' --json >/dev/null`;
  const shown = spawnSync('script', ['-qefc', line, '/dev/null'], { encoding: 'utf8', timeout: 60000 });
  if (shown.error) return t.skip('there is no script(1) to make a terminal');
  assert.equal(shown.status, 0);
  assert.match(shown.stdout, /\r\u001b\[Kread \d+ %/);
  assert.match(shown.stdout, /hausdorff \d+ %/);
  assert.match(shown.stdout, /\r\u001b\[K$/);
  assert.equal(fettle(['measure', file, '--json']).stderr, '');
});

// The service gives each measurement that much address space.
test('limits_of address space of 4 GiB and 12 times the file are enough', (t) => {
  if (process.env.FETTLE_SANITIZED) return t.skip('a sanitizer needs terabytes of address space');
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', fanned(torus(200, 100)));
  const kib = 4 * 1024 * 1024 + (12 * statSync(file).size) / 1024;
  const done = spawnSync('bash', ['-c', `ulimit -v ${Math.floor(kib)}; exec "$1" measure "$2" --against "$2"`, 'bash', program, file],
    { encoding: 'utf8', timeout: 120000 });
  assert.equal(done.stderr, '');
  assert.equal(done.status, 0);
});
