// work.test.mjs - the collection and the main job in a real browser, over a real service.
//   collection_*  a long one: what is drawn of it, its keys, saved views, changes while somebody reads
//   job_*         files, measurement, comparison, finding, its link, opened again: by pointer, then by keys alone
// In what is done by keys each stop of Tab has to be in the window, with its ring.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { cube, makeSpecimen, meshFile, openPage, startBrowser, startService } from './support.mjs';

let service;
let browser;
before(async () => {
  service = await startService();
  browser = await startBrowser();
});
after(async () => {
  await browser?.close();
  await service?.stop();
});

/** Runs a test in a page of its own, and holds that nothing went wrong in it. */
function inPage(name, act) {
  test(name, async () => {
    const { page, faults, close } = await openPage(browser);
    try {
      await act(page);
      assert.deepEqual(faults, []);
    } finally {
      await close();
    }
  });
}

const open = (page, hash) => page.goto(service.address + hash);

describe('collection', () => {
  const LENGTH = 120;
  const number = (i) => `TR-${String(i).padStart(4, '0')}`;
  const inTray = '#/?q=TR-&sort=number&order=asc';
  const focused = (page) => page.evaluate(() => document.activeElement.closest('tr')?.querySelector('.no')?.textContent);
  const focusOn = (page, wanted) =>
    page.waitForFunction((text) => document.activeElement.closest('tr')?.querySelector('.no')?.textContent === text, wanted);
  const changeTitle = async (id, title) => {
    const headers = { 'Content-Type': 'application/json', 'If-Match': '*' };
    const answer = await fetch(`${service.address}api/v1/specimens/${id}`, { method: 'PATCH', headers, body: JSON.stringify({ title }) });
    assert.equal(answer.status, 200);
  };
  const ids = [];
  before(async () => {
    for (let i = 1; i <= LENGTH; i += 1) ids.push((await makeSpecimen(service.address, number(i), `Tray ${i}`)).id);
  });

  inPage('collection_draws_only_the_rows_near_the_window', async (page) => {
    await open(page, inTray);
    await page.getByText('120 specimens found.').waitFor();
    const drawn = () => page.locator('.register a.what').count();
    await page.locator('.register a.what').first().waitFor();
    assert.ok((await drawn()) < 60, String(await drawn()));
    assert.equal(await page.getByRole('table').getAttribute('aria-rowcount'), '121');
    await tabTo(page, page.locator('.register a.what').first());
    await page.keyboard.press('End');
    await focusOn(page, number(LENGTH));
    assert.ok((await drawn()) < 60, String(await drawn()));
    assert.equal(await page.evaluate(() => document.activeElement.closest('tr').getAttribute('aria-rowindex')), '121');
    for (const [key, row] of [['ArrowUp', 119], ['PageUp', 109], ['ArrowDown', 110], ['PageDown', 120], ['Home', 1], ['PageDown', 11]]) {
      await page.keyboard.press(key);
      await focusOn(page, number(row));
      assert.ok(await page.evaluate(isFocusSeen), `${key}: the focus is not to be seen`);
    }
  });

  inPage('collection_is_found_again_where_it_was_left', async (page) => {
    await open(page, inTray);
    await tabTo(page, page.locator('.register a.what').first());
    await page.keyboard.press('End');
    await focusOn(page, number(LENGTH));
    await page.keyboard.press('ArrowUp');
    await focusOn(page, number(LENGTH - 1));
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: `Tray ${LENGTH - 1}` }).waitFor();
    await page.goBack();
    await focusOn(page, number(LENGTH - 1));
    assert.ok(await page.evaluate(isFocusSeen));
  });

  inPage('collection_counts_and_sorts_what_the_search_finds', async (page) => {
    await open(page, '#/');
    await page.getByLabel('Find a specimen').fill('Tray 11');
    await page.getByText('11 specimens found.').waitFor(); // 11 and 110 to 119
    assert.match(await page.locator('.chips').textContent(), /all 11new 11in work 0/);
    for (const [name, first] of [['Number and title', 11], ['Number and title', 119]]) {
      await page.getByRole('button', { name }).click();
      await page.waitForFunction((wanted) => document.querySelector('.register .no').textContent === wanted, number(first));
    }
    assert.equal(await page.getByRole('columnheader', { name: 'Number and title' }).getAttribute('aria-sort'), 'descending');
  });

  inPage('collection_keeps_a_view_under_a_name_and_gives_its_link', async (page) => {
    await open(page, inTray);
    await page.getByRole('button', { name: 'Save this view' }).click();
    await page.getByLabel('Name', { exact: true }).fill('The trays');
    await page.locator('dialog').getByRole('button', { name: 'Save this view' }).click();
    const link = page.getByRole('link', { name: 'The trays' });
    await link.and(page.locator('[aria-current]')).waitFor();
    const address = page.url();
    assert.match(address, /q=TR-&sort=number&order=asc&view=The(%20|\+)trays/);
    await page.getByLabel('Find a specimen').fill('Tray 1');
    await page.waitForURL(/q=Tray/);
    assert.doesNotMatch(page.url(), /view=/);
    await link.click();
    await page.waitForURL(address);
    await page.getByText('120 specimens found.').waitFor();
    await page.getByRole('button', { name: 'Forget this view' }).click();
    await link.waitFor({ state: 'detached' });
    await page.goto('about:blank');
    await page.goto(address); // as somebody else gets it
    await page.getByText('This view is called “The trays”.').waitFor();
    await page.getByText('120 specimens found.').waitFor();
  });

  inPage('collection_shows_a_change_in_its_row_and_moves_nothing', async (page) => {
    await open(page, '#/?q=TR-'); // last change first
    const last = page.locator('.register tr', { hasText: number(LENGTH) });
    await tabTo(page, last.locator('a.what'));
    await changeTitle(ids[LENGTH - 3], 'Tray, renamed');
    await page.locator('.register tr', { hasText: number(LENGTH - 2) }).getByText('Tray, renamed').waitFor();
    await page.getByText('their order has changed').waitFor();
    assert.equal(await page.locator('.register .no').first().textContent(), number(LENGTH));
    assert.equal(await focused(page), number(LENGTH));
    await page.getByRole('button', { name: 'Show the present order' }).click();
    await page.waitForFunction((wanted) => document.querySelector('.register .no').textContent === wanted, number(LENGTH - 2));
    await page.getByText('their order has changed').waitFor({ state: 'detached' });
  });
});

/** The two ways to work. */
const byPointer = {
  press: (page, control) => control.click(),
  write: (page, field, text) => field.fill(text),
  pick: (page, input, files) => input.setInputFiles(files),
  openCard: (page) => page.locator('.versions .num').first().click(),
};
const byKeys = {
  async press(page, control) {
    await tabTo(page, control);
    await page.keyboard.press('Enter');
  },
  async write(page, field, text) {
    await tabTo(page, field);
    await page.keyboard.type(text);
    await page.keyboard.press('Tab');
  },
  async pick(page, input, files) {
    await tabTo(page, input);
    const [chooser] = await Promise.all([page.waitForEvent('filechooser'), page.keyboard.press('Enter')]);
    await chooser.setFiles(files);
  },
  async openCard(page) {
    await tabTo(page, page.locator('.versions [tabindex="0"]').first());
    for (const key of ['ArrowDown', 'ArrowDown', 'End', 'Enter']) await page.keyboard.press(key);
  },
};

async function mainJob(page, number, { press, write, pick, openCard }) {
  await open(page, '#/');
  await press(page, page.getByRole('link', { name: 'Upload files' }));
  await pick(page, page.getByLabel('Choose files'), [
    meshFile(`${number}_scan.obj`, cube(3, 10, { triangles: true })),
    meshFile(`${number}_cage_2mm.obj`, cube(5, 10, { without: [7, 80] })), // whichever arrives last has two windows
    meshFile(`${number}_cage_2.5mm.obj`, cube(4, 10, { without: [5, 90] })),
  ]);
  await write(page, page.getByLabel('Title', { exact: true }), 'From files to a link');
  await press(page, page.getByRole('button', { name: 'Send 3 files' }));
  await page.getByText('measured', { exact: true }).nth(2).waitFor();
  await press(page, page.getByRole('link', { name: 'Show cage 2' }));

  await page.getByRole('heading', { name: 'From files to a link' }).waitFor();
  await page.getByText(/Against cage 1, cage 2 is/).waitFor();
  await openCard(page);
  await page.locator('.card').getByText('Engine').waitFor();
  await page.keyboard.press('Escape');
  await page.locator('.card').waitFor({ state: 'detached' });
  await page.getByText(/Findings of cage 2/).waitFor();
  await press(page, page.getByRole('link', { name: 'Show in space' }).first());

  await page.waitForURL(/#\/space\/.*finding=/);
  await page.locator('.findings li.now').waitFor();
  assert.match(await page.locator('.findings li.now').textContent(), /Open loop.*4 edges/s);
  const address = page.url();
  await page.reload();
  await page.locator('.findings li.now').waitFor();
  assert.match(await page.locator('.findings li.now').textContent(), /Open loop.*4 edges/s);
  return address;
}

describe('job', () => {
  inPage('job_from_files_to_the_link_of_a_finding', async (page) => {
    const address = await mainJob(page, 'NH-0401', byPointer);
    const other = await openPage(browser); // the link, as somebody else opens it
    await other.page.goto(address);
    await other.page.locator('.findings li.now').waitFor();
    assert.deepEqual(other.faults, []);
    await other.close();
  });

  inPage('job_from_files_to_the_link_of_a_finding_by_keys_alone', async (page) => {
    await page.addInitScript(() => {
      globalThis.pointed = 0;
      for (const name of ['pointerdown', 'mousedown', 'pointermove', 'mousemove', 'wheel', 'touchstart'])
        addEventListener(name, () => (globalThis.pointed += 1), true);
    });
    await mainJob(page, 'NH-0402', byKeys);
    assert.equal(await page.evaluate(() => globalThis.pointed), 0);
  });
});

/** Presses Tab until the focus is on the element; each stop on the way must be to be seen. */
async function tabTo(page, wanted) {
  await wanted.waitFor({ state: 'attached' });
  for (let presses = 0; presses < 120; presses += 1) {
    if (await wanted.evaluate((el) => el === document.activeElement)) return;
    await page.keyboard.press('Tab');
    const unseen = await page.evaluate(isFocusSeen).then((seen) => (seen ? null : page.evaluate(() => document.activeElement.outerHTML.slice(0, 200))));
    assert.equal(unseen, null, 'the focus is not to be seen');
  }
  assert.fail(`Tab does not reach ${wanted}`);
}

/** Whether what has the focus is in the window and has its ring; a file input that is hidden has it on the button that stands for it. */
function isFocusSeen() {
  const el = document.activeElement;
  if (el === document.body || el === document.documentElement) return true; // past the last stop, in the browser's own frame
  const shown = el.matches('input.hide') ? (el.labels?.[0] ?? el.nextElementSibling) : el;
  const { left, right, top, bottom } = shown.getBoundingClientRect();
  const { outlineStyle, outlineWidth } = getComputedStyle(shown);
  const inWindow = bottom > 0 && top < window.innerHeight && right > 0 && left < window.innerWidth;
  return inWindow && outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2;
}
