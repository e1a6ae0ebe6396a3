// runs.test.mjs - runs: the record that the command line gives, findings, fields, measuring again, comparing.
// Expected numbers of the boxes are elementary: 12 edges (18 with diagonals), area 6 s^2, four open edges without
// a face; a box of side s against one of side s + d at the same corner is d sqrt(3) away at the far corner.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { box, call, FETTLE, makeSpecimen, startServer, temporaryFolder, upload, waitForJob, waitForVersion } from './support.mjs';

/** The record without what may differ between two doors. */
function comparable(text) {
  const record = JSON.parse(text);
  delete record.timings;
  delete record.engine.settings.threads;
  return record;
}

describe('runs', () => {
  let server, specimen, scan, scan2, cage, finer;
  const folder = temporaryFolder();
  const record = async (id) => (await call(server, 'GET', `/api/v1/runs/${id}`)).body;

  before(async () => {
    server = await startServer(null, { data: path.join(folder, 'data') });
    specimen = await makeSpecimen(server, { units: 'mm' });
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimen.id, bytes, values)).body.id);
    scan = await put(box({ triangles: true }), { name: 'scan.obj' });
    cage = await put(box({ size: 0.9, open: true }), { kind: 'cage', name: 'cage.obj', made_from: scan.id, face_size: '0.9mm' });
    finer = await put(box({ size: 0.99 }), { kind: 'cage', name: 'finer.obj', made_from: cage.id, face_size: '0.5mm' });
    scan2 = await put(box({ size: 1.5, triangles: true }), { name: 'scan2.obj' });
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('command line and service give the same record', async () => {
    writeFileSync(path.join(folder, 'scan.obj'), box({ triangles: true }));
    writeFileSync(path.join(folder, 'cage.obj'), box({ size: 0.9, open: true }));
    const measure = (...args) => execFileSync(FETTLE, ['measure', ...args, '--units', 'mm', '--json'], { encoding: 'utf8', cwd: folder });
    const alone = await call(server, 'GET', `/api/v1/runs/${scan.latest_run}`);
    assert.deepEqual(comparable(alone.text), comparable(measure('scan.obj', '--kind', 'scan')));
    const against = await call(server, 'GET', `/api/v1/runs/${cage.latest_run}`);
    assert.deepEqual(comparable(against.text), comparable(measure('cage.obj', '--kind', 'cage', '--against', 'scan.obj')));
    assert.ok(against.text.endsWith('}\n'), 'the bytes of --json, line end included');
    assert.equal(against.headers.get('link'), `</api/v1/versions/${cage.id}>; rel="describes"`);
    assert.match(against.headers.get('content-type'), /^application\/json/);
    assert.equal((await call(server, 'GET', `/api/v1/runs/${cage.latest_run}`, { headers: { 'if-none-match': against.headers.get('etag') } })).status, 304);
  });

  test('a specimen with tolerances is measured with them, as the command line does; runs made before keep theirs', async () => {
    const own = await makeSpecimen(server, { units: 'mm' });
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, own.id, bytes, values)).body.id);
    const first = await put(box({ triangles: true }), { name: 'scan.obj' });
    const second = await put(box({ size: 0.9 }), { kind: 'cage', name: 'small.obj', made_from: first.id });
    const before = second.latest_run;
    assert.deepEqual((await record(before)).engine.settings.tolerances, []);
    const tag = (await call(server, 'GET', `/api/v1/specimens/${own.id}`)).headers.get('etag');
    await call(server, 'PATCH', `/api/v1/specimens/${own.id}`, { json: { tolerances: [0.2, 0.05] }, headers: { 'if-match': tag } });

    const asked = await call(server, 'POST', '/api/v1/runs', { json: { version: second.id } });
    assert.equal(asked.status, 202, 'no longer the run that is there');
    const after = (await waitForVersion(server, second.id)).latest_run;
    writeFileSync(path.join(folder, 'scan.obj'), box({ triangles: true }));
    writeFileSync(path.join(folder, 'small.obj'), box({ size: 0.9 }));
    const line = execFileSync(FETTLE, ['measure', 'small.obj', '--kind', 'cage', '--against', 'scan.obj', '--units', 'mm', '--json', '--tolerance', '0.05', '--tolerance', '0.2mm'], { encoding: 'utf8', cwd: folder });
    assert.deepEqual(comparable((await call(server, 'GET', `/api/v1/runs/${after}`)).text), comparable(line));
    assert.equal((await call(server, 'POST', '/api/v1/runs', { json: { version: first.id } })).status, 200, 'alone: nothing to measure anew');

    const compared = (await call(server, 'GET', `/api/v1/compare?runs=${before},${after}`)).body;
    assert.deepEqual(compared.runs.map((run) => run.tolerances), [[], [0.05, 0.2]]);
    const rows = compared.rows.filter((row) => row.tolerance !== undefined);
    const lost = rows.filter((row) => row.group === 'lost');
    assert.deepEqual(lost.map((row) => row.tolerance), [0.05, 0.2]);
    assert.ok(lost.every((row) => row.values[0] === null && row.lower[1] <= row.values[1] && row.values[1] <= row.upper[1]));
    // all of the scan is within 0.1 sqrt(3) of the smaller box
    assert.deepEqual([lost[1].lower[1], lost[1].upper[1]], [1, 1]);
    assert.match(compared.runs[1].why, /other tolerances/);
  });

  test('a finer certify is another run: recorded, current, the latest, compared with the others, as the command line measures it', async () => {
    const own = await makeSpecimen(server, { units: 'mm' });
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, own.id, bytes, values)).body.id);
    const first = await put(box({ triangles: true }), { name: 'scan.obj' });
    const second = await put(box({ size: 0.9 }), { kind: 'cage', name: 'small.obj', made_from: first.id });
    const start = (json) => call(server, 'POST', '/api/v1/runs', { json: { version: second.id, ...json } });

    const asked = await start({ certify: 1e-6 });
    assert.equal(asked.status, 202);
    const job = await waitForJob(server, asked.body.id);
    assert.equal((await record(job.run)).engine.settings.certify, 1e-6);
    writeFileSync(path.join(folder, 'scan.obj'), box({ triangles: true }));
    writeFileSync(path.join(folder, 'small.obj'), box({ size: 0.9 }));
    const line = execFileSync(FETTLE, ['measure', 'small.obj', '--kind', 'cage', '--against', 'scan.obj', '--units', 'mm', '--json', '--certify', '1e-6'], { encoding: 'utf8', cwd: folder });
    assert.deepEqual(comparable((await call(server, 'GET', `/api/v1/runs/${job.run}`)).text), comparable(line));

    assert.equal((await start({ certify: 1e-6 })).body.run.id, job.run);
    assert.equal((await start({})).body.run.id, second.latest_run);
    const runs = (await call(server, 'GET', `/api/v1/runs?version=${second.id}`)).body.items;
    assert.deepEqual(runs.map((run) => [run.id, run.current]), [[job.run, true], [second.latest_run, true]]);
    assert.equal((await call(server, 'GET', `/api/v1/versions/${second.id}`)).body.latest_run, job.run);
    const compared = (await call(server, 'GET', `/api/v1/compare?runs=${second.latest_run},${job.run}`)).body;
    assert.deepEqual(compared.runs.map((run) => run.comparable), [true, true]);
    assert.match(compared.runs[1].why, /another width of interval/);
    assert.ok(compared.rows.find((row) => row.measure === 'deviation.hausdorff.upper').comparable[1]);

    for (const certify of [1e-3, 1e-10, 0, -1, '1e-5', null])
      assert.equal((await start({ certify })).status, 400, String(certify));
  });

  test('the summary holds the numbers of the record', async () => {
    const list = (await call(server, 'GET', `/api/v1/runs?version=${cage.id}`)).body;
    assert.equal(list.items.length, 1);
    const [run] = list.items;
    const full = await record(run.id);
    assert.equal(run.against, scan.id);
    assert.equal(run.current, true);
    assert.equal(run.summary.open_edges, 4);
    assert.equal(run.summary.open_edges, full.subject.topology.open_edges);
    assert.equal(run.summary.lost, full.deviation.reference_to_subject.max.upper);
    assert.equal(run.summary.invented, full.deviation.subject_to_reference.max.upper);
    assert.equal(run.summary.hausdorff, full.deviation.hausdorff.upper);
    const specimenNow = (await call(server, 'GET', `/api/v1/specimens/${specimen.id}`)).body;
    const trend = specimenNow.trend.find((entry) => entry.version === cage.id);
    assert.equal(trend.run, run.id);
    assert.equal(trend.open_edges, 4);
    assert.equal(trend.faults, run.summary.faults);
    assert.equal(trend.face_size, 0.9);
    assert.equal(specimenNow.scan_diagonal, (await record(scan2.latest_run)).subject.bounds.diagonal);
    assert.equal((await call(server, 'GET', '/api/v1/runs?version=424242')).status, 404);
    assert.equal((await call(server, 'GET', '/api/v1/runs?version=x')).status, 400);
  });

  test('findings are those of the record, all or by kind and severity', async () => {
    const full = await record(cage.latest_run);
    const ask = async (query = '') => (await call(server, 'GET', `/api/v1/runs/${cage.latest_run}/findings${query}`)).body;
    assert.deepEqual((await ask()).items, full.findings);
    const loops = await ask('?kind=open_loop&severity=fault');
    assert.equal(loops.total, 1);
    assert.equal(loops.items[0].kind, 'open_loop');
    assert.equal((await ask('?kind=open_loop&severity=note')).total, 0);
    assert.equal((await ask('?kind=nothing')).total, 0);
  });

  test('fields are the bytes that --fields writes', async () => {
    const file = path.join(folder, 'cage2.obj');
    writeFileSync(file, box({ size: 0.9, open: true }));
    writeFileSync(path.join(folder, 'scan.obj'), box({ triangles: true }));
    const fields = path.join(folder, 'fields');
    execFileSync(FETTLE, ['measure', file, '--kind', 'cage', '--against', path.join(folder, 'scan.obj'), '--units', 'mm', '--json', '--fields', fields]);
    const { readFileSync } = await import('node:fs');
    const list = JSON.parse(readFileSync(path.join(fields, 'fields.json'), 'utf8')).fields;
    assert.ok(list.some((field) => field.name === 'distance'));
    for (const field of list) {
      const answer = await call(server, 'GET', `/api/v1/runs/${cage.latest_run}/fields/${field.name}`);
      assert.equal(answer.status, 200, answer.text);
      assert.equal(answer.headers.get('fettle-per'), field.per);
      assert.equal(answer.bytes.length, 8 * field.count);
      assert.ok(answer.bytes.equals(readFileSync(path.join(fields, field.file))), field.name);
    }
    for (const name of ['nothing', 'record.json', '%2e%2e', 'distance.bin'])
      assert.ok([400, 404].includes((await call(server, 'GET', `/api/v1/runs/${cage.latest_run}/fields/${name}`)).status), name);
    const first = await call(server, 'GET', `/api/v1/runs/${cage.latest_run}/fields/distance`, { headers: { range: 'bytes=0-7' } });
    assert.equal(first.status, 206);
    assert.equal(first.bytes.length, 8);
  });

  test('an identical run is found; again measures again and keeps the old one; another reference is another run', async () => {
    const start = (json) => call(server, 'POST', '/api/v1/runs', { json });
    const found = await start({ version: cage.id });
    assert.equal(found.status, 200);
    assert.equal(found.body.run.id, cage.latest_run);
    const again = await start({ version: cage.id, again: true });
    assert.equal(again.status, 202);
    assert.equal(again.headers.get('location'), `/api/v1/jobs/${again.body.id}`);
    const job = await waitForJob(server, again.body.id);
    assert.equal(job.state, 'done');
    assert.notEqual(job.run, cage.latest_run);
    assert.deepEqual(comparable(JSON.stringify(await record(job.run))), comparable(JSON.stringify(await record(cage.latest_run))));
    const other = await start({ version: cage.id, against: scan2.id });
    assert.equal(other.status, 202);
    assert.equal((await waitForJob(server, other.body.id)).against, scan2.id);
    const alone = await start({ version: cage.id, against: null });
    assert.equal(alone.status, 202);
    assert.equal((await record((await waitForJob(server, alone.body.id)).run)).reference, null);
    assert.equal((await start({ version: '424242' })).status, 404);
    assert.equal((await start({ version: 7 })).status, 400);
    assert.equal((await start({})).status, 400);
    assert.equal((await start({ version: cage.id, against: finer.id })).status, 400, 'a cage is no reference');
  });

  const compare = (runs, baseline) => call(server, 'GET', `/api/v1/compare?runs=${runs.join(',')}${baseline ? `&baseline=${baseline}` : ''}`);
  const row = (body, measure) => body.rows.find((one) => one.measure === measure);

  test('two cages side by side: differences and verdicts', async () => {
    const { body, status, text } = await compare([cage.latest_run, finer.latest_run]);
    assert.equal(status, 200, text);
    assert.equal(body.baseline, cage.latest_run);
    assert.deepEqual(body.runs.map((run) => [run.label, run.comparable, run.why]), [['cage 1', true, null], ['cage 2', true, null]]);
    assert.deepEqual(body.runs.map((run) => run.face_size), [0.9, 0.5]);
    const open = row(body, 'subject.topology.open_edges');
    assert.deepEqual(open.values, [4, 0]);
    assert.deepEqual(open.differences, [0, -4]);
    assert.deepEqual(open.verdicts, [null, 'better']);
    const vertices = row(body, 'subject.counts.vertices');
    assert.deepEqual(vertices.values, [8, 8]);
    assert.equal(vertices.verdicts[1], 'no change');
    const lost = body.rows.find((one) => one.measure.startsWith('deviation.reference_to_subject.max'));
    assert.equal(lost.verdicts[1], 'better');
    assert.ok(lost.upper[1] < lost.lower[0]);
    assert.deepEqual(lost.values, lost.upper);
    for (const one of body.rows)
      for (const key of ['values', 'differences', 'verdicts', 'comparable', ...(one.lower ? ['lower', 'upper'] : [])])
        assert.equal(one[key].length, 2, `${one.measure} ${key}`);
    const measures = (await call(server, 'GET', '/api/v1/measures')).body.measures
      .filter((measure) => measure.kinds.includes('cage') && measure.per === undefined); // without tolerances
    assert.deepEqual(body.rows.map((one) => one.measure), measures.map((measure) => measure.path));
  });

  test('the baseline may be any column', async () => {
    const { body } = await compare([cage.latest_run, finer.latest_run], finer.latest_run);
    assert.equal(body.baseline, finer.latest_run);
    assert.deepEqual(row(body, 'subject.topology.open_edges').verdicts, ['worse', null]);
  });

  test('the same run twice is no change, and not told apart where there are intervals or samples', async () => {
    const job = await waitForJob(server, (await call(server, 'POST', '/api/v1/runs', { json: { version: finer.id, again: true } })).body.id);
    const { body } = await compare([finer.latest_run, job.run]);
    for (const one of body.rows)
      if (one.values[0] !== null) assert.equal(one.verdicts[1], one.lower || one.sampled[1] ? 'not told apart' : 'no change', one.measure);
  });

  test('a scan beside a cage is marked and not differenced', async () => {
    const { body } = await compare([scan.latest_run, cage.latest_run]);
    assert.deepEqual(body.runs.map((run) => run.comparable), [true, false]);
    assert.match(body.runs[1].why, /cage/);
    for (const one of body.rows) {
      assert.equal(one.differences[1], null);
      assert.equal(one.verdicts[1], null);
      assert.equal(one.comparable[1], false);
    }
  });

  test('another reference takes the deviations out, and nothing else', async () => {
    const list = (await call(server, 'GET', `/api/v1/runs?version=${cage.id}`)).body.items;
    const other = list.find((run) => run.against === scan2.id);
    const { body } = await compare([cage.latest_run, other.id]);
    assert.equal(body.runs[1].comparable, true);
    assert.match(body.runs[1].why, /another reference/);
    for (const one of body.rows) assert.equal(one.comparable[1], !/^(deviation|control_excess)/.test(one.measure), one.measure);
  });

  test('wrong comparisons are refused', async () => {
    for (const [query, status] of [['', 400], ['runs=', 400], ['runs=x', 400], ['runs=1,,2', 400], ['runs=1,2,', 400], ['runs=424242', 404],
      [`runs=${cage.latest_run}&baseline=${scan.latest_run}`, 400], [`runs=${Array(65).fill(cage.latest_run).join(',')}`, 400]])
      assert.equal((await call(server, 'GET', `/api/v1/compare?${query}`)).status, status, query);
  });
});
