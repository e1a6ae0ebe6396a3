// report.test.mjs - the report of an audit as PDF and as HTML: what it holds, that it is the same every time, and what names may hold.
// poppler (pdfinfo, pdffonts, pdftotext) reads the PDF. The box of side 0.9 in one of side 1 is that of audits.test.mjs.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { box, call, FETTLE, makeSpecimen, startServer, temporaryFolder, upload, waitForVersion } from './support.mjs';

const rule = (id, more) => ({ id, reason: `because of ${id}`, source: 'common practice, no source', ...more });
const near = { measure: 'deviation.hausdorff', relation: 'at most', limit: 0.173, unit: 'mm' };
const spec = (name, rules) => ({ schema: 'fettle/spec/1', name, purpose: 'to be tried', rules });
const HOSTILE = `<script>alert("x")</script>'&"${'ABCDEFGHIJ'.repeat(20)} שלום \u202etxt.exe 🦴`;

describe('reports', () => {
  let server, specimen, cage, made;
  const folder = temporaryFolder();
  const data = path.join(folder, 'data');
  const judge = async (wanted) => {
    const added = await call(server, 'POST', '/api/v1/specs', { json: wanted });
    assert.equal(added.status, 201, added.text);
    const judged = await call(server, 'POST', '/api/v1/audits', { json: { run: cage.runs[0], spec: added.body.id } });
    assert.equal(judged.status, 201, judged.text);
    return judged.body;
  };
  const report = (id, format) => call(server, 'GET', `/api/v1/audits/${id}/report?format=${format}`);
  /** What poppler says of a PDF. */
  function poppler(program, bytes, ...args) {
    const file = path.join(folder, 'poppler.pdf');
    writeFileSync(file, bytes);
    return execFileSync(program, [...args, file, ...(program === 'pdftotext' ? ['-'] : [])], { encoding: 'utf8' });
  }
  const words = (text) => text.replace(/\s+/g, ' ');

  before(async () => {
    server = await startServer(null, { data });
    specimen = await makeSpecimen(server, { title: HOSTILE, note: 'one\ntwo' });
    const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimen.id, bytes, values)).body.id);
    const scan = await put(box({ triangles: true }), { name: 'scan.obj', by: HOSTILE.slice(0, 60) });
    cage = await put(box({ size: 0.9 }), { kind: 'cage', name: `${'x'.repeat(180)}<b>.obj`, made_from: scan.id });
    made = await judge(spec('Close', [
      rule('near', near),
      rule('closed', { measure: 'subject.topology.closed', relation: 'equals', limit: true }),
      rule('guarded', { ...near, limit: 0.2, uncertainty: { standard: 0.02, unit: 'mm', source: 'the scanner’s certificate' }, decision: 'guarded' }),
    ]));
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
  });

  test('both hold specimen, versions with digests, every value as judged, and the cautions', async () => {
    const pdf = words(poppler('pdftotext', (await report(made.id, 'pdf')).bytes, '-layout'));
    const html = (await report(made.id, 'html')).text.replace(/<style>.*<\/style>/s, '').replace(/<[^>]+>/g, ' ').replaceAll('&#39;', "'");
    for (const text of [pdf, words(html)]) {
      assert.ok(text.includes(specimen.catalogue_number));
      assert.ok(text.includes('does not conform'));
      for (const each of made.audit.rules) {
        assert.ok(text.replace(/ /g, '').includes(each.value_text.replace(/ /g, '')), each.value_text);
        assert.ok(text.includes(each.reason), each.reason);
      }
      for (const digest of [made.audit.run.subject_sha256, made.audit.run.reference_sha256, made.audit.spec.sha256, made.sha256])
        assert.ok(text.includes(digest), digest);
      assert.match(text, /DejaVuSans\.ttf [0-9a-f]{64}/);
      for (const caution of made.audit.cautions) assert.ok(text.includes(caution), caution);
      assert.match(text, /asks for one person to sign; this audit is not signed/);
      assert.match(text, /Fig\. 1\. Lost: scan 1, each face in the colour of an upper bound of its/);
      assert.match(text, /Fig\. 2\. Invented: cage 1/);
    }
  });

  test('the PDF says what it is, when it was judged, embeds every font and numbers its pages', async () => {
    const { bytes, headers } = await report(made.id, 'pdf');
    assert.equal(headers.get('content-type'), 'application/pdf');
    assert.match(headers.get('content-disposition'), /^attachment; filename="NH-.*_cage_1_audit_\d+\.pdf"/);
    const info = poppler('pdfinfo', bytes, '-isodates');
    assert.match(info, new RegExp(`Title: +Audit ${made.id} of ${specimen.catalogue_number}, cage 1`));
    assert.match(info, new RegExp(`CreationDate: +${made.created.replace('Z', '')}`));
    assert.match(info, /Page size: .*A4/);
    const pages = Number(/Pages: +(\d+)/.exec(info)[1]);
    assert.ok(pages >= 1 && pages <= 3, info);
    const text = poppler('pdftotext', bytes, '-layout');
    for (let page = 1; page <= pages; page += 1) assert.ok(text.includes(`page ${page} of ${pages}`));
    const fonts = poppler('pdffonts', bytes).trim().split('\n').slice(2);
    assert.ok(fonts.length > 0);
    for (const font of fonts) assert.match(font, /^[A-Z]{6}\+DejaVu.* yes +yes +/);
  });

  test('what has no letter in the fonts is told by its number, and nothing of a name is lost', async () => {
    const text = poppler('pdftotext', (await report(made.id, 'pdf')).bytes).replace(/\s+/g, '');
    assert.ok(text.includes('[U+1F9B4]'));
    assert.ok(text.includes('[U+202E]'));
    assert.ok(text.includes(`<script>alert("x")</script>'&"${'ABCDEFGHIJ'.repeat(20)}`));
    assert.ok(text.includes(`${'x'.repeat(180)}<b>.obj`));
  });

  test('the HTML is one file that may do nothing and asks for nothing', async () => {
    const { text, headers } = await report(made.id, 'html');
    assert.match(headers.get('content-disposition'), /^inline; filename="NH-.*\.html"/);
    assert.match(headers.get('content-security-policy'), /^sandbox; .*default-src 'none'; style-src 'unsafe-inline'; img-src data:/);
    assert.doesNotMatch(text, /<script|<link|<iframe|<object| href=|@import|url\((?!#)/i);
    assert.ok(text.includes('&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt;'));
    for (const [, source] of text.matchAll(/ src='([^']*)'/g)) assert.match(source, /^data:image\/png;base64,[A-Za-z0-9+/]+=*$/);
  });

  test('the same audit is the same bytes: asked again, from another process beside the server, and after a restart', async () => {
    const first = {};
    for (const format of ['pdf', 'html']) {
      const { bytes, headers } = await report(made.id, format);
      first[format] = bytes;
      const again = await call(server, 'GET', `/api/v1/audits/${made.id}/report?format=${format}`, { headers: { 'if-none-match': headers.get('etag') } });
      assert.equal(again.status, 304);
      assert.equal(headers.get('etag'), `"${createHash('sha256').update(bytes).digest('hex').slice(0, 32)}"`);
      const out = path.join(folder, `beside.${format}`);
      execFileSync(FETTLE, ['report', '--audit', made.id, '--data', data, '--out', out]);
      assert.deepEqual(readFileSync(out), bytes);
    }
    assert.equal((await server.stop()).code, 0);
    server = await startServer(null, { data });
    for (const format of ['pdf', 'html']) assert.deepEqual((await report(made.id, format)).bytes, first[format]);
  });

  test('sixty rules go over as many pages as they take, each with its number and the heads again', async () => {
    const rules = Array.from({ length: 60 }, (_, i) => rule(`rule-${i}`, { ...near, limit: 1 + i, name: `Rule number ${i}` }));
    const many = await judge(spec('Many', rules));
    const { bytes } = await report(many.id, 'pdf');
    const text = poppler('pdftotext', bytes, '-layout');
    for (let i = 0; i < 60; i += 1) assert.ok(text.includes(`Rule number ${i} `), `rule ${i}`);
    assert.ok(text.match(/Value as judged/g).length >= 2);
    assert.ok(Number(/Pages: +(\d+)/.exec(poppler('pdfinfo', bytes))[1]) > 3);
  });

  test('a sign-off is printed with its name, its state and the key, beside the server too', async () => {
    const good = await judge(spec('Loose', [rule('near', { ...near, limit: 1 })]));
    const signed = await call(server, 'POST', `/api/v1/audits/${good.id}/sign-offs`, { json: { by: 'Ines Quill', role: 'keeper' } });
    assert.equal(signed.status, 201, signed.text);
    const { bytes } = await report(good.id, 'pdf');
    const text = words(poppler('pdftotext', bytes, '-layout'));
    assert.match(text, /this audit is signed off/);
    assert.match(text, /Ines Quill/);
    assert.match(text, /keeper \(name as stated\) Holds: sealed by Ed25519/);
    assert.match(text, /Key, SHA-256 of its SubjectPublicKeyInfo: [0-9a-f]{20}/);
    const out = path.join(folder, 'signed.pdf');
    execFileSync(FETTLE, ['report', '--audit', good.id, '--data', data, '--out', out]);
    assert.deepEqual(readFileSync(out), bytes);
  });

  test('what cannot be made is refused with a reason', async () => {
    assert.equal((await report(99, 'pdf')).status, 404);
    const other = await report(made.id, 'odt');
    assert.equal(other.status, 400);
    assert.match(other.body.detail, /pdf or html, not as "odt"/);
    const beside = (args, env = {}) => spawnSync(FETTLE, ['report', ...args], { encoding: 'utf8', env: { ...process.env, ...env } });
    const whole = ['--audit', made.id, '--data', data, '--out', path.join(folder, 'r.pdf')];
    const fontless = beside(whole, { FETTLE_FONTS: '/nowhere' });
    assert.equal(fontless.status, 5);
    assert.match(fontless.stderr, /the font DejaVuSans\.ttf is missing: install the package fonts-dejavu-core/);
    assert.equal(beside([...whole.slice(0, 4), '--out', 'r.doc']).status, 2);
    assert.equal(beside(whole.slice(0, 4)).status, 2);
    assert.equal(beside(['--audit', '99', ...whole.slice(2)]).status, 3);
  });
});
