// upload.test.mjs - the list of files on their way in.
//   folder_*  a folder as the browser hands it over, and what its names tell
//   left_*    what cannot be sent, and why
//   row_*     what a row wants, what stands against sending it, what is remembered of it
//   next_*    which rows are sent
//   all_*     what is told of all rows
//   upload_*  in a real browser, over a service that is killed meanwhile
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { fileOfSource, filesOfEntries, filesOfHandle, mayRead } from '../../static/dropped-files.js';
import { readFilePath } from '../../static/file-name.js';
import {
  canResume,
  completeRows,
  groupsOf,
  isReady,
  looksLike,
  newRow,
  nextRows,
  recallRow,
  rememberRow,
  sortOut,
  totalsOf,
} from '../../static/upload-rows.js';
import { cube, eventually, jobsEnd, openPage, startBrowser, startService, tabTo as tabToElement } from './support.mjs';

for (const { path, ...told } of [
  { path: 'NH-0042_cage_0.4mm.obj', number: 'NH-0042', kind: 'cage', faceSize: '0.4mm', title: '' },
  { path: 'batch/NH-0042_scan.ply', number: 'NH-0042', kind: 'scan', faceSize: '', title: '' },
  { path: 'NH-0042/scan.ply', number: 'NH-0042', kind: 'scan', faceSize: '', title: '' },
  { path: 'NH-0042 Ring/cages/0.4mm.obj', number: 'NH-0042', kind: 'cage', faceSize: '0.4mm', title: 'Ring' },
  { path: 'NH 0042 Ring/scans/a.ply', number: 'NH 0042', kind: 'scan', faceSize: '', title: 'Ring' },
  { path: 'NH-0042/2026-09-12/raw.stl', number: 'NH-0042', kind: 'scan', faceSize: '', title: '' },
  { path: 'NH-0042/coil_cage_0.75%.obj', number: 'NH-0042', kind: 'cage', faceSize: '0.75%', title: '' },
  { path: 'ring/cage.obj', number: 'ring', kind: 'cage', faceSize: '', title: '' },
  { path: 'exports/cage.obj', number: '', kind: 'cage', faceSize: '', title: '' },
  { path: 'folder/shell.off', number: 'shell', kind: '', faceSize: '', title: '' },
  { path: 'NH-0042/coil_scan.off', number: 'NH-0042', kind: 'scan', faceSize: '', title: '' },
])
  test(`folder_names_${path}`, () => assert.deepEqual(readFilePath(path, (number) => number === 'ring'), told));

/** A folder or a file as the File and Directory Entries API has it; its reader hands out two at a time. */
function entry(path, content) {
  const common = { name: path.split('/').at(-1), fullPath: path, isFile: !Array.isArray(content) };
  if (common.isFile)
    return { ...common, file: (resolve, reject) => (content === null ? reject(new Error()) : resolve(content)) };
  const createReader = () => {
    const left = [...content];
    return { readEntries: (resolve) => resolve(left.splice(0, 2)) };
  };
  return { ...common, createReader };
}

test('folder_is_read_to_its_end_with_the_folders_in_it', async () => {
  const files = ['e', 'd', 'c', 'b', 'a'].map((name) => entry(`/top/${name}.obj`, name));
  const found = await filesOfEntries([entry('/top', [...files, entry('/top/in', [entry('/top/in/f.obj', 'f')])])]);
  assert.deepEqual(found.map(({ path }) => path), [...'abcde'].map((name) => `top/${name}.obj`).concat('top/in/f.obj'));
  assert.deepEqual(found.map(({ file }) => file).join(''), 'abcdef');
});

test('folder_entry_that_cannot_be_read_is_told', async () => {
  assert.deepEqual(await filesOfEntries([entry('/a.obj', null)]), [{ file: null, path: 'a.obj', source: null }]);
});

/** A folder or a file as the File System Access API has it. */
function handle(name, content) {
  if (!Array.isArray(content))
    return { name, kind: 'file', getFile: async () => content ?? Promise.reject(new Error()), requestPermission: async ({ mode }) => (mode === 'read' ? 'granted' : 'denied') };
  const child = (kind) => async (wanted) => content.find((each) => each.kind === kind && each.name === wanted) ?? Promise.reject(new Error());
  return { name, kind: 'directory', async *values() { yield* content; }, getFileHandle: child('file'), getDirectoryHandle: child('directory') };
}

test('folder_by_its_handle_tells_where_each_file_can_be_read_again', async () => {
  const top = handle('top', [handle('a.obj', 'a'), handle('in', [handle('b.obj', 'b'), handle('c.obj', null)])]);
  const found = await filesOfHandle(top);
  assert.deepEqual(
    found.map(({ file, path, source }) => [file, path, source?.way.join('/') ?? null]),
    [
      ['a', 'top/a.obj', 'a.obj'],
      ['b', 'top/in/b.obj', 'in/b.obj'],
      [null, 'top/in/c.obj', null],
    ],
  );
  assert.equal(await fileOfSource(found[1].source), 'b');
  await assert.rejects(fileOfSource({ root: top, way: ['out', 'b.obj'] }));
});

test('folder_and_file_are_read_again_only_where_the_reader_allows_it', async () => {
  const [{ file, path, source }] = await filesOfHandle(handle('a.obj', 'a'));
  assert.deepEqual([file, path, source.way], ['a', 'a.obj', []]);
  assert.equal(await fileOfSource(source), 'a');
  assert.equal(await mayRead(source), true);
  assert.equal(await mayRead({ root: { requestPermission: async () => 'denied' } }), false);
  assert.equal(await mayRead({ root: { requestPermission: async () => Promise.reject(new Error('no click')) } }), false);
});

const file = (name, size = 10) => ({ name, size, lastModified: 1 });
const found = (path, size) => ({ file: file(path.split('/').at(-1), size), path });

test('left_out_files_have_their_reason', () => {
  const { meshes, leftOut } = sortOut(
    [found('a/b.obj'), found('a/b.mtl'), found('a/c.ply', 0), found('a/d.stl', 11), { file: null, path: 'a/e.off' }],
    10,
  );
  assert.deepEqual(meshes.map(({ path }) => path), ['a/b.obj']);
  assert.deepEqual(leftOut, [
    { path: 'a/b.mtl', why: 'name' },
    { path: 'a/c.ply', why: 'empty' },
    { path: 'a/d.stl', why: 'large' },
    { path: 'a/e.off', why: 'unread' },
  ]);
});

const RING = { id: '1', catalogue_number: 'NH-1', title: 'Ring' };
const SCAN = { id: '7', specimen: '1', kind: 'scan', number: 2, withdrawn: null };

function known() {
  return {
    specimens: [RING],
    versions: new Map([['1', [{ ...SCAN, id: '5', number: 1 }, SCAN]]]),
    fresh: new Map([['NH-2', { title: '', units: 'mm' }]]),
  };
}

/** Rows as they are once looked over: NAME, or [NAME, what differs]. */
function rowsOf(...wanted) {
  const rows = wanted.map((each, i) => {
    const [path, changes] = [each].flat();
    const row = newRow(String(i), file(path.split('/').at(-1)), path, readFilePath(path));
    return Object.assign(row, { digest: `of ${path}`, hashed: row.size, twins: [] }, changes);
  });
  completeRows(rows, known());
  return rows;
}

test('row_of_a_cage_is_made_from_the_newest_scan', () => {
  const [cage, scan] = rowsOf('NH-1_cage.obj', 'NH-2_scan.obj');
  assert.equal(cage.madeFrom, '7');
  assert.equal(scan.madeFrom, '');
  const [coming] = rowsOf('NH-1_cage.obj', 'NH-1_scan.obj');
  assert.equal(coming.madeFrom, 'row 1');
});

test('row_wants_one_thing_after_the_other', () => {
  const wants = (path, changes) => rowsOf([path, changes])[0].wants;
  assert.equal(wants('cage.obj'), 'specimen');
  assert.equal(wants('NH-1.obj'), 'kind');
  assert.equal(wants('NH-2_scan.obj'), 'title');
  assert.equal(wants('NH-1_cage.obj', { faceSize: 'wide' }), 'faceSize');
  assert.equal(wants('NH-1_cage.obj'), null);
});

test('row_of_bytes_that_are_here_is_sent_only_when_wanted', () => {
  const twin = { id: '9', specimen: '3', catalogue_number: 'NH-9', kind: 'scan', number: 1 };
  const [held] = rowsOf(['NH-1_scan.obj', { twins: [twin] }]);
  assert.deepEqual(held.obstacle, { twin, same: false });
  assert.ok(!isReady(held));
  assert.ok(isReady(rowsOf(['NH-1_scan.obj', { twins: [twin], anyway: true }])[0]));
});

test('row_of_bytes_that_its_specimen_has_is_never_sent', () => {
  const other = { ...SCAN, specimen: '3' };
  const [row] = rowsOf(['NH-1_scan.obj', { twins: [other, SCAN], anyway: true }]);
  assert.deepEqual(row.obstacle, { twin: SCAN, same: true });
  assert.ok(!isReady(row));
});

test('row_of_the_bytes_of_another_row_is_held_back_until_that_is_gone', () => {
  const rows = rowsOf(['NH-1_scan.obj', { digest: 'x' }], ['NH-1_scan_copy.obj', { digest: 'x' }]);
  assert.deepEqual(rows.map(isReady), [true, false]);
  const left = rows.slice(1);
  completeRows(left, known());
  assert.ok(isReady(left[0]));
});

test('row_is_remembered_without_its_file_and_waits_for_it', () => {
  const [row] = rowsOf(['in/NH-2_scan.obj', { phase: 'sending', address: '/api/v1/uploads/a', note: 'n', sent: 4 }]);
  const kept = JSON.parse(JSON.stringify(rememberRow(row)));
  assert.equal(kept.file, undefined);
  assert.deepEqual(kept.fresh, { title: '', units: 'mm' });
  const again = recallRow(kept);
  assert.deepEqual(
    [again.phase, again.file, again.address, again.note, again.digest, again.folder],
    ['absent', null, '/api/v1/uploads/a', 'n', row.digest, 'in'],
  );
  assert.ok(looksLike(again, file('NH-2_scan.obj')));
  assert.ok(!looksLike(again, file('NH-2_scan.obj', 11)));
  assert.ok(!looksLike(row, file('NH-2_scan.obj')), 'it is on its way');
});

test('row_is_not_made_from_what_is_no_memory', () => {
  for (const kept of [null, 3, {}, { id: 'a' }, { id: 'a', name: 'b', size: 'c' }]) assert.equal(recallRow(kept), null);
});

test('next_are_scans_then_the_cages_made_from_them', () => {
  const waiting = { phase: 'waiting' };
  const rows = rowsOf(['NH-1_cage.obj', waiting], ['NH-1_scan.obj', waiting], ['NH-2_cage.obj', waiting]);
  const names = (list) => list.map((row) => row.name);
  assert.equal(rows[0].madeFrom, null, 'what is on its way is not guessed anew');
  rows[0].madeFrom = 'row 1';
  assert.deepEqual(names(nextRows(rows, 2)), ['NH-1_scan.obj', 'NH-2_cage.obj']);
  rows[1].phase = 'sending';
  assert.deepEqual(names(nextRows(rows, 2)), ['NH-2_cage.obj']);
  Object.assign(rows[1], { phase: 'sent', version: SCAN });
  assert.deepEqual(names(nextRows(rows, 2)), ['NH-1_cage.obj', 'NH-2_cage.obj']);
});

test('next_is_nothing_whose_twins_are_not_known', () => {
  assert.deepEqual(nextRows(rowsOf(['NH-1_scan.obj', { phase: 'waiting', twins: null }]), 2), []);
  assert.deepEqual(nextRows(rowsOf(['NH-1_scan.obj', { phase: 'waiting', hashed: 3 }]), 2), []);
});

test('all_counts_and_bytes_are_told', () => {
  const rows = rowsOf(
    ['NH-1_scan_a.obj', { phase: 'sending', sent: 6, base: 2, began: 1000 }],
    ['NH-1_scan_b.obj', { phase: 'absent', sent: 5 }],
    ['NH-1_scan_c.obj', { phase: 'sent', version: SCAN, sent: 10 }],
    'NH-1_scan_d.obj',
    'NH-1.obj',
  );
  const { sending, measuring, needing, ready, asked, arrived, speed } = totalsOf(rows, 3000);
  assert.deepEqual({ sending, measuring, needing, ready }, { sending: 1, measuring: 1, needing: 2, ready: 1 });
  assert.deepEqual({ asked, arrived, speed }, { asked: 30, arrived: 21, speed: 2 });
});

test('all_rows_can_be_chosen_by_kind_folder_and_specimen', () => {
  const rows = rowsOf('x/NH-1_scan.obj', 'x/NH-1_cage.obj', ['y/NH-2_cage.obj', { phase: 'sending' }], 'y/a.obj');
  assert.deepEqual(
    groupsOf(rows).map(({ value, ids }) => [value, ids.join()]),
    [
      ['all', '0,1,3'],
      ['kind scan', '0'],
      ['kind cage', '1'],
      ['kind ', '3'],
      ['folder x', '0,1'],
      ['folder y', '3'],
      ['specimen NH-1', '0,1'],
      ['specimen a', '3'],
      ['none', ''],
    ],
  );
});

describe('upload in a browser', () => {
  const folder = mkdtempSync(join(tmpdir(), 'fettle-files-'));
  let service;
  let browser;
  before(async () => {
    service = await startService();
    browser = await startBrowser();
  });
  after(async () => {
    await browser?.close();
    await service?.stop();
    rmSync(folder, { recursive: true, force: true });
  });

  function write(path, text) {
    mkdirSync(dirname(join(folder, path)), { recursive: true });
    writeFileSync(join(folder, path), text);
    return join(folder, path);
  }

  async function openUpload(options) {
    const opened = await openPage(browser, options);
    await opened.page.goto(`${service.address}#/upload`);
    await opened.page.locator('.queue').waitFor();
    return opened;
  }

  const versionsOf = async (number) => {
    const { items } = await (await fetch(`${service.address}api/v1/specimens?q=${number}`)).json();
    await jobsEnd(service.address, items[0].id);
    return (await (await fetch(`${service.address}api/v1/specimens/${items[0].id}/versions`)).json()).items;
  };

  test('upload_of_a_folder_with_one_value_for_a_column_of_many_files_by_keys_alone', async () => {
    const top = join(folder, 'export');
    write('export/NH-0700 Plain cube/scan.obj', cube(6, 11, { triangles: true }));
    write('export/NH-0700 Plain cube/cages/2mm.obj', cube(5, 11));
    write('export/NH-0700 Plain cube/cages/loose.obj', cube(4, 11));
    write('export/NH-0700 Plain cube/notes.txt', 'no mesh');
    const { page, faults, close } = await openUpload();
    await page.setInputFiles('#choose-folder', top);
    await page.getByRole('button', { name: 'Send 3 files' }).waitFor();
    assert.equal(await page.locator('input[name=title]').inputValue(), 'Plain cube');
    assert.match(await page.locator('.left-out').textContent(), /notes\.txt is not called/);
    const tabTo = (selector) => tabToElement(page, (el, wanted) => el.matches(wanted), selector);
    await tabTo('select[name=group]');
    await page.keyboard.type('cages');
    await page.getByRole('button', { name: 'Set for 2 files' }).waitFor();
    await tabTo('select[name=column]');
    await page.keyboard.type('What');
    await page.locator('.bulk input[name=value]').waitFor();
    await tabTo('.bulk input[name=value]');
    await page.keyboard.type('first try');
    await page.keyboard.press('Enter');
    await page.waitForFunction(() => document.querySelectorAll('.queue input[name=note]')[2].value === 'first try');
    await tabTo('[data-key=send]');
    await page.keyboard.press('Enter');
    await page.locator('.queue').getByText('measured', { exact: true }).nth(2).waitFor();
    assert.deepEqual(
      (await versionsOf('NH-0700')).map(({ file: { name }, kind, note, face_size: size }) => [name, kind, note, size]).sort(),
      [
        ['2mm.obj', 'cage', 'first try', 2],
        ['loose.obj', 'cage', 'first try', null],
        ['scan.obj', 'scan', '', null],
      ],
    );
    assert.deepEqual(faults, []);
    await close();
  });

  test('upload_survives_a_reload_of_the_page_and_a_killed_server', async () => {
    const text = cube(6, 12, { triangles: true }) + `# ${'.'.repeat(1021)}\n`.repeat(8192);
    const path = write('NH-0701_scan.obj', text);
    const { page, faults, close, slowUploads } = await openUpload();
    await page.addInitScript(() => delete window.showOpenFilePicker); // as in a browser that has no such picker
    const partIsThere = () =>
      page.waitForFunction(() => document.querySelector('.queue .running ~ progress')?.value > 0.15);
    await slowUploads(512 << 10); // what is left then takes longer than anything that is done meanwhile

    await dropFile(page, path);
    await page.getByLabel('Title', { exact: true }).fill('Interrupted');
    await page.getByRole('button', { name: 'Send 1 file' }).click();
    await partIsThere();
    await page.reload();
    const row = page.locator('.queue > li');
    await row.getByText('waiting for the file').waitFor();
    await row.getByText(/[1-9][\d.]*\sMiB of 8\.0\sMiB are there and kept until/).waitFor();

    write('other/NH-0701_scan.obj', text.replace('# .', '# :'));
    await page.setInputFiles('#choose-files', join(folder, 'other/NH-0701_scan.obj'));
    await row.getByText('has other bytes than the file that was on its way').waitFor();

    const [chooser] = await Promise.all([
      page.waitForEvent('filechooser'),
      row.getByRole('button', { name: 'Choose the file' }).click(),
    ]);
    await chooser.setFiles(path);
    await row.getByText('sending').waitFor();
    await partIsThere();
    await service.crash();
    await row.getByText('waiting for the server').waitFor();
    await service.start();
    await slowUploads(-1);
    await row.getByText('measured', { exact: true }).waitFor();

    const [version] = await versionsOf('NH-0701');
    assert.equal(version.file.sha256, createHash('sha256').update(text).digest('hex'));
    assert.equal(await page.evaluate(() => Object.keys(localStorage).filter((key) => key.includes('upload')).length), 0);
    await page.setInputFiles('#choose-files', path);
    await page.locator('.queue > li').nth(1).getByText('already here as scan 1').waitFor();
    assert.deepEqual(
      faults.filter((fault) => !/ERR_(CONNECTION|INCOMPLETE|EMPTY_RESPONSE)|423/.test(fault)),
      [],
    );
    await close();
  });

  test('upload_goes_on_after_a_reload_without_choosing_the_files_again', async () => {
    const { page, faults, close } = await openUpload();
    // what a reader picks: files of the page's own, so that no picker of the browser has to be worked
    await page.addInitScript(() => {
      const own = navigator.storage.getDirectory();
      window.showDirectoryPicker = async () => (await own).getDirectoryHandle('NH-0702 Again');
      window.showOpenFilePicker = async () => {
        const names = ['NH-0702_cage_2mm.obj', 'NH-0702_cage_3mm.obj'];
        return Promise.all(names.map(async (name) => (await own).getFileHandle(name)));
      };
    });
    await page.reload();
    await page.evaluate(async (files) => {
      for (const [way, text] of files) {
        let folder = await navigator.storage.getDirectory();
        for (const name of way.slice(0, -1)) folder = await folder.getDirectoryHandle(name, { create: true });
        const writer = await (await folder.getFileHandle(way.at(-1), { create: true })).createWritable();
        await writer.write(text);
        await writer.close();
      }
    }, [
      [['NH-0702 Again', 'scans', 'scan.obj'], cube(6, 14, { triangles: true })],
      [['NH-0702_cage_2mm.obj'], cube(5, 14)],
      [['NH-0702_cage_3mm.obj'], cube(4, 14)],
    ]);
    /** What this browser keeps of where files lie; that of the name in `aged` becomes eight days older. */
    const kept = (aged) =>
      page.evaluate(async (name) => {
        const data = await new Promise((resolve) => {
          const request = indexedDB.open('fettle');
          request.onsuccess = () => resolve(request.result);
        });
        const store = data.transaction('sources', 'readwrite').objectStore('sources');
        const all = await new Promise((resolve) => (store.getAll().onsuccess = (event) => resolve(event.target.result)));
        const done = new Promise((resolve) => (store.transaction.oncomplete = resolve));
        for (const each of all.filter(({ root }) => root.name === name)) store.put({ ...each, kept: each.kept - 8 * 24 * 3600 * 1000 });
        await done;
        data.close();
        return all.map(({ root, way }) => [root.name, ...way].join('/')).sort();
      }, aged);

    let holds = true;
    await page.route('**/api/v1/uploads/*', async (route) => {
      if (!holds || route.request().method() !== 'PATCH') await route.continue();
    });
    await page.getByLabel('Choose a folder').press('Enter');
    await page.locator('.queue b').getByText('scan.obj').waitFor();
    await page.getByLabel('Choose files').press('Enter');
    await page.getByRole('button', { name: 'Send 3 files' }).waitFor();
    const created = page.waitForResponse(isCreation);
    await page.getByRole('button', { name: 'Send 3 files' }).click();
    await created;
    await page.reload();
    await page.getByRole('button', { name: 'Go on with 3 files' }).waitFor();
    assert.deepEqual(await kept(), ['NH-0702 Again/scans/scan.obj', 'NH-0702_cage_2mm.obj', 'NH-0702_cage_3mm.obj']);

    await kept('NH-0702_cage_3mm.obj');
    await page.evaluate(async () => (await navigator.storage.getDirectory()).removeEntry('NH-0702_cage_2mm.obj'));
    await page.reload();
    const row = (name) => page.locator('.queue > li').filter({ has: page.locator('.file b', { hasText: name }) });
    await row('3mm').getByText('cannot find it again by itself').waitFor(); // a week is over
    await page.evaluate(() => (FileSystemHandle.prototype.requestPermission = async () => 'denied'));
    await page.getByRole('button', { name: 'Go on with 2 files' }).click();
    await row('scan.obj').getByText('was not allowed to read it').waitFor();
    await page.evaluate(() => (FileSystemHandle.prototype.requestPermission = async () => 'granted'));
    holds = false;
    await page.getByRole('button', { name: 'Go on with 2 files' }).click();
    await row('2mm').getByText('no longer where it was').waitFor();
    await row('scan.obj').getByText('measured', { exact: true }).waitFor();
    for (const name of ['2mm', '3mm']) await row(name).getByRole('button', { name: 'Cancel' }).click();
    await page.waitForFunction(() => document.querySelectorAll('.queue > li').length === 1);
    await eventually(async () => assert.deepEqual(await kept(), []));
    assert.deepEqual((await versionsOf('NH-0702')).map(({ kind }) => kind), ['scan']);
    assert.deepEqual(faults, []);
    await close();
  });

  test('upload_that_is_paused_goes_on_and_one_that_is_cancelled_is_forgotten_by_the_server', async () => {
    const { page, faults, close } = await openUpload();
    let holds = true;
    await page.route('**/api/v1/uploads/*', async (route) => {
      if (!holds || route.request().method() !== 'PATCH') await route.continue();
    });
    await page.setInputFiles('#choose-files', [
      write('NH-0700_scan_2.obj', cube(7, 11, { triangles: true })),
      write('NH-0700_scan_3.obj', cube(8, 11, { triangles: true })),
    ]);
    const created = [page.waitForResponse(isCreation), page.waitForResponse(isCreation)];
    await page.getByRole('button', { name: 'Send 2 files' }).click();
    await Promise.all(created);
    await page.getByRole('button', { name: 'Pause NH-0700_scan_2.obj' }).click();
    await page.getByText('paused at').waitFor();
    const second = await page.context().newPage();
    await second.goto(service.address);
    await second.goto(`${service.address}#/upload`);
    await second.getByText('No files yet.').waitFor(); // the first page goes on with them
    await second.close();
    const [gone] = await Promise.all([
      page.waitForResponse((answer) => answer.request().method() === 'DELETE'),
      page.getByRole('button', { name: 'Cancel NH-0700_scan_3.obj' }).click(),
    ]);
    assert.equal(gone.status(), 204);
    assert.equal((await fetch(gone.url())).status, 404);
    holds = false;
    await page.getByRole('button', { name: 'Go on NH-0700_scan_2.obj' }).click();
    await page.locator('.queue').getByText('measured', { exact: true }).waitFor();
    assert.deepEqual(faults, []);
    await close();
  });
});

const isCreation = (answer) => answer.request().method() === 'POST' && answer.url().endsWith('/uploads');

/** Drops a file on the place for it, as a file manager does. */
async function dropFile(page, path) {
  const transfer = await page.evaluateHandle(
    ([name, text]) => {
      const made = new DataTransfer();
      made.items.add(new File([text], name));
      return made;
    },
    [path.split('/').at(-1), readFileSync(path, 'utf8')],
  );
  await page.locator('.drop').dispatchEvent('drop', { dataTransfer: transfer });
}
