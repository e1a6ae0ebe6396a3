// pure.test.mjs
//   names_*   what a file's name fills in
//   routes_*  address to state and back
//   csv_*     quoting, formulas
//   views_*   what this browser keeps of the collection's views
//   text_*    the catalogue has what the page asks for, and no text stands elsewhere
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { test } from 'node:test';
import { csvField, csvText } from '../../static/csv.js';
import { isFaceSize, isMeshName, readFileName } from '../../static/file-name.js';
import { readRoute, writeRoute } from '../../static/route.js';
import { forgetView, isView, readViews, saveView } from '../../static/saved-views.js';
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

function keeper(kept = null) {
  return { getItem: () => kept, setItem: (_, value) => (kept = value) };
}

test('views_are_kept_by_name_and_replaced_by_the_same_name', () => {
  const storage = keeper();
  saveView('worst', { q: 'shell', sort: 'lost', order: 'desc', view: 'old name' }, storage);
  saveView('a first one', { state: 'ready' }, storage);
  saveView('worst', { sort: 'faults', order: 'desc' }, storage);
  assert.deepEqual(readViews(storage), [
    { name: 'a first one', query: { state: 'ready' } },
    { name: 'worst', query: { sort: 'faults', order: 'desc' } },
  ]);
  forgetView('worst', storage);
  assert.deepEqual(readViews(storage).map(({ name }) => name), ['a first one']);
});

test('views_are_told_by_name_and_content', () => {
  const view = { name: 'worst', query: { sort: 'lost', order: 'desc' } };
  assert.ok(isView(view, { view: 'worst', order: 'desc', sort: 'lost' }));
  assert.ok(!isView(view, { sort: 'lost', order: 'desc' }));
  assert.ok(!isView(view, { sort: 'lost', order: 'asc', view: 'worst' }));
});

test('views_that_cannot_be_read_are_none', () => {
  for (const kept of ['{', '3', 'null', '[{}]', '[{"name":"","query":{}}]', '[{"name":"a","query":null}]'])
    assert.deepEqual(readViews(keeper(kept)), [], kept);
  const broken = { getItem() { throw new Error('no'); }, setItem() { throw new Error('no'); } };
  saveView('a', {}, broken);
  assert.deepEqual(readViews(broken), []);
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

/** Literals that are not text of the page: names and commands that no language changes, words of the API and of files. */
const NOT_TEXT = new Set([
  'NH-0042_cage_0.4mm.obj',
  'NH-0042 Ring/cages/0.4mm.obj',
  'curl --data-binary @FILE',
  '0.4mm, 0.75%',
  'not told apart',
  'does not conform',
  'units of length',
  'unit of the file',
  // words of the service by which the page knows a state, or the field a sentence speaks of
  'signed by one of two',
  'the uncertainty is in',
  'has that id too',
  'what has to equal',
]);

/** Our modules without comments, shader programs, and sentences of errors that only a console shows. */
function sources() {
  const folder = new URL('../../static/', import.meta.url);
  return ['', 'views/', 'joins/', 'space/'].flatMap((sub) =>
    readdirSync(new URL(sub, folder))
      .filter((file) => file.endsWith('.js') && file !== 'text.js')
      .map((file) => {
        const text = readFileSync(new URL(sub + file, folder), 'utf8');
        return {
          file: sub + file,
          text: text
            .replace(/\/\*[\s\S]*?\*\//g, '')
            .replace(/(^|\s)\/\/.*$/gm, '')
            .replace(/`\s*precision [\s\S]*?`/g, '``')
            .replace(/\bkey: (['`])(?:(?!\1).)*\1/g, '') // by which a part is found again
            .replace(/new (Error|TypeError|RangeError)\([^;]*;/g, ''),
        };
      }),
  );
}

test('text_stands_in_the_catalogue_alone', () => {
  const found = [];
  for (const { file, text } of sources()) {
    const note = (literal) => {
      const words = literal.replace(/\$\{[^}]*\}/g, '');
      if (/\p{L}{2}/u.test(words) && TEXT[literal] === undefined && !NOT_TEXT.has(literal)) found.push(`${file}: ${literal}`);
    };
    // what is put into the page as text, or as a name that is read aloud
    const given = /(?:\btext|\btitle|\blabel|'aria-label'|\bplaceholder|\balt|textContent =|ariaLabel =|\.title =):? (['`])((?:(?!\1).)*)\1/g;
    for (const [, , literal] of text.matchAll(given)) note(literal);
    // what reads as a sentence, wherever it stands: not selectors, media, fonts
    for (const [, , literal] of text.matchAll(/(['`])((?:\\.|(?!\1)[^\\])*?)\1/g))
      if (/^\p{Lu}\p{Ll}+ \p{Ll}+|\p{Ll}{2,} \p{Ll}{2,} \p{Ll}{2,}|\p{L} \p{L}+.*[.!?]$/u.test(literal.replace(/\$\{[^}]*\}/g, ''))) note(literal);
  }
  assert.deepEqual([...new Set(found)], []);
});

test('text_of_the_document_is_filled_in_from_the_catalogue', () => {
  const html = readFileSync(new URL('../../static/index.html', import.meta.url), 'utf8');
  const words = html
    .replace(/<!--[\s\S]*?-->|<(title|noscript)>[\s\S]*?<\/\1>/g, '')
    .replace(/<[^>]*>/g, ' ')
    .split(/\s+/)
    .filter((word) => word !== '');
  assert.deepEqual(words, ['fettle']); // its name; without scripts there is no catalogue: noscript
  assert.deepEqual(
    [...html.matchAll(/data-say(?:-label)?="([^"]+)"/g)].map((match) => match[1]).filter((key) => TEXT[key] === undefined),
    [],
  );
  assert.doesNotMatch(html, /(aria-label|placeholder|alt|title)="/);
});
