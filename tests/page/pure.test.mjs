// pure.test.mjs
//   names_*   what a file's name fills in
//   routes_*  address to state and back
//   csv_*     quoting, formulas
//   text_*    the catalogue has what the page asks for, and nothing else
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { test } from 'node:test';
import { csvField, csvText } from '../../static/csv.js';
import { isFaceSize, isMeshName, readFileName } from '../../static/file-name.js';
import { readRoute, writeRoute } from '../../static/route.js';
import { say } from '../../static/say.js';
import { TEXT } from '../../static/text.js';

for (const { name, number, kind, faceSize } of [
  { name: 'NH-0042_cage_0.4mm.obj', number: 'NH-0042', kind: 'cage', faceSize: '0.4mm' },
  { name: 'NH-0042_cage_0.75pct_b.ply', number: 'NH-0042', kind: 'cage', faceSize: '0.75%' },
  { name: 'NH-0042_cage_0,75%.ply', number: 'NH-0042', kind: 'cage', faceSize: '0.75%' },
  { name: 'NH-0042_cage_7.obj', number: 'NH-0042', kind: 'cage', faceSize: '' },
  { name: 'NH-0042_scan_2.ply.gz', number: 'NH-0042', kind: 'scan', faceSize: '' },
  { name: 'NH 0042 raw.stl', number: 'NH 0042', kind: 'scan', faceSize: '' },
  { name: 'folder/shell.off', number: 'shell', kind: '', faceSize: '' },
]) {
  test(`names_${name}`, () => assert.deepEqual(readFileName(name), { number, kind, faceSize }));
}

test('names_other_files_are_left_out', () => {
  assert.ok(isMeshName('a.OBJ') && isMeshName('a.off.zst'));
  assert.ok(!isMeshName('a.mtl') && !isMeshName('obj'));
});

test('names_face_sizes_that_can_be_sent', () => {
  for (const good of ['', '0.4', '0.4mm', '0.75 %', '12 in']) assert.ok(isFaceSize(good), good);
  for (const bad of ['0', '-1', 'mm', '1e3', '0.4 furlong']) assert.ok(!isFaceSize(bad), bad);
});

test('routes_read_what_they_write', () => {
  const route = { view: 'specimen', id: '7', query: { baseline: '12', only: 'differs', fold: 'Faces & edges' } };
  assert.deepEqual(readRoute(writeRoute(route)), route);
  assert.equal(writeRoute({ view: 'collection', query: { q: '' } }), '#/');
});

test('routes_unknown_addresses_lead_nowhere', () => {
  for (const hash of ['#/nope', '#/specimen', '#/upload/3', '#/specimen/3/4'])
    assert.equal(readRoute(hash).view, 'nowhere', hash);
  for (const hash of ['', '#', '#/']) assert.equal(readRoute(hash).view, 'collection', hash);
});

test('csv_never_begins_a_formula', () => {
  // The four characters and two controls of OWASP's page on CSV injection.
  for (const start of ['=', '+', '-', '@', '\t', '\r']) assert.match(csvField(`${start}1`), /^"?'/);
  assert.equal(csvField(-1.5), '-1.5');
});

test('csv_quotes_by_rfc_4180', () => {
  assert.equal(csvText([['a,b', 'say "x"', 'two\nlines', null]]), '"a,b","say ""x""","two\nlines",\r\n');
});

test('csv_keeps_full_digits', () => {
  assert.equal(csvField(0.1 + 0.2), '0.30000000000000004');
});

test('text_plurals_follow_the_language', () => {
  assert.equal(say('count.faults', { n: 1 }), '1 fault');
  assert.equal(say('count.faults', { n: 2 }), '2 faults');
});

test('text_has_every_key_that_the_page_names', () => {
  const folder = new URL('../../static/', import.meta.url);
  const files = ['', 'views/', 'joins/'].flatMap((sub) =>
    readdirSync(new URL(sub, folder))
      .filter((f) => f.endsWith('.js'))
      .map((f) => sub + f),
  );
  const source = files
    .filter((f) => f !== 'text.js' && f !== 'say.js')
    .map((f) => readFileSync(new URL(f, folder), 'utf8'))
    .join('\n');
  const asked = [...source.matchAll(/\b(?:say|sayWith|canSay)\(\s*'([\w.-]+)'/g)].map((m) => m[1]);
  assert.ok(asked.length > 50);
  assert.deepEqual(
    asked.filter((key) => TEXT[key] === undefined),
    [],
  );
});
