// space_view.test.mjs - versions in space, in a real browser.
//   sphere_*   a sphere against a smaller one is of one colour, and the legend names its value
//   cage_*     figures, findings, keys, the divider, what the address keeps
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { readFileSync } from 'node:fs';
import { colourAt, parseHex } from '../../static/space/colours.js';
import { makeCollection, makeSpecimen, makeVersion, openPage, sphere, startBrowser, startService } from './support.mjs';

let service;
let browser;
let made;
let round;
before(async () => {
  service = await startService();
  browser = await startBrowser();
  made = await makeCollection(service.address);
  round = await makeSpecimen(service.address, 'NH-0700', 'Sphere in a sphere');
  const scan = await makeVersion(service.address, round.id, sphere(96, 10), { kind: 'scan', name: 'raw.obj' });
  round.mended = await makeVersion(service.address, round.id, sphere(96, 10.5), { kind: 'scan', made_from: scan.id, name: 'b.obj' });
});
after(async () => {
  await browser?.close();
  await service?.stop();
});

async function open(options, hash) {
  const opened = await openPage(browser, options);
  await opened.page.goto(`${service.address}${hash}`);
  await opened.page.waitForFunction(() => document.querySelectorAll('.plate.view canvas').length > 0);
  return opened;
}

/** The colour of a canvas at shares of its width and height, once something is drawn there. */
function pixel(page, x, y, figure = 0) {
  return page.waitForFunction(
    ([px, py, i]) => {
      const canvas = document.querySelectorAll('.plate.view canvas')[i];
      if (!canvas) return null;
      const [r, g, b, a] = canvas
        .getContext('2d')
        .getImageData(Math.floor(px * canvas.width), Math.floor(py * canvas.height), 1, 1).data;
      return a > 0 ? [r, g, b] : null;
    },
    [x, y, figure],
  ).then((handle) => handle.jsonValue());
}

/** The stops of a map, as tokens.css has them. */
function stops(name) {
  const tokens = readFileSync(new URL('../../static/tokens.css', import.meta.url), 'utf8');
  return Array.from({ length: 9 }, (_, i) => parseHex(new RegExp(`--${name}-${i}: (#[0-9a-f]{6})`).exec(tokens)[1]));
}

test('sphere_half_a_millimetre_out_is_of_one_colour', async () => {
  const { page, faults, close } = await open({}, `#/space/${round.id}?versions=${round.mended.id}&colour=invented&range=1`);
  const wanted = colourAt(stops('seq'), 0.5);
  for (const [x, y] of [[0.5, 0.5], [0.4, 0.35], [0.6, 0.4], [0.45, 0.7], [0.62, 0.62]]) {
    const found = await pixel(page, x, y);
    // light takes a tenth at most; the triangles of a sphere and eight bits leave a little
    found.forEach((part, i) =>
      assert.ok(part <= wanted[i] + 4 && part >= 0.9 * wanted[i] - 4, `${found} at ${x}, ${y}; wanted ${wanted}`),
    );
  }
  assert.match(await page.locator('.legend .key').innerText(), /from 0 to 1\s*mm/);
  assert.match(await page.locator('figcaption.fig').innerText(), /at most 0\.(49|5)\d*(–0\.5\d*)?\s*mm/);
  assert.deepEqual(faults, []);
  await close();
});

test('sphere_signed_is_on_the_outer_side_of_the_map', async () => {
  const { page, close } = await open({}, `#/space/${round.id}?versions=${round.mended.id}&colour=signed&range=1`);
  const wanted = colourAt(stops('div'), 0.75);
  const found = await pixel(page, 0.5, 0.5);
  found.forEach((part, i) => assert.ok(part <= wanted[i] + 4 && part >= 0.9 * wanted[i] - 4, `${found}; wanted ${wanted}`));
  await close();
});

test('sphere_picked_face_tells_its_distance', async () => {
  const { page, close } = await open({}, `#/space/${round.id}?versions=${round.mended.id}&colour=invented&range=1`);
  await pixel(page, 0.5, 0.5);
  await page.locator('.plate.view canvas').click();
  assert.match(await page.locator('.picked').innerText(), /Face [\d\u202f]+ of scan 2\. At .* Invented: 0\.5/);
  await close();
});

test('cage_findings_have_links_that_fly_and_come_back', async () => {
  const cage = made.cages[1];
  const { page, faults, close } = await open({}, `#/space/${made.specimen.id}?versions=${cage.id}&colour=invented`);
  await pixel(page, 0.5, 0.5);
  const before_ = await page.evaluate(() => location.hash);
  await page.locator('.findings a.head').first().click();
  assert.equal(await page.locator('.findings li.now').count(), 1);
  await page.waitForFunction((old) => location.hash !== old && /finding=/.test(location.hash) && /view=/.test(location.hash), before_);
  const address = page.url();
  await page.goto('about:blank');
  await page.goto(address);
  await page.locator('.findings li.now').waitFor();
  assert.match(await page.locator('.picked').innerText(), /^1\. /);
  assert.deepEqual(faults, []);
  await close();
});

test('cage_next_and_previous_keys_walk_the_list', async () => {
  const cage = made.cages[1];
  const { page, close } = await open({}, `#/space/${made.specimen.id}?versions=${cage.id}&colour=invented`);
  const now = () => page.locator('.findings li.now > b').innerText();
  const count = await page.locator('.findings > li').count();
  await page.keyboard.press('n');
  assert.equal(await now(), '1');
  await page.keyboard.press('n');
  assert.equal(await now(), '2');
  await page.keyboard.press('p');
  await page.keyboard.press('p');
  assert.equal(await now(), await page.locator('.findings > li > b').nth(count - 1).innerText());
  await close();
});

test('cage_keys_turn_every_figure_alike', async () => {
  const [one, two] = made.cages;
  const { page, close } = await open({}, `#/space/${made.specimen.id}?versions=${one.id},${two.id}&colour=none`);
  const both = () =>
    page.evaluate(() =>
      [...document.querySelectorAll('.plate.view canvas')].map((canvas) => canvas.toDataURL().length > 0 && canvas.toDataURL()),
    );
  await pixel(page, 0.5, 0.5, 1);
  await page.waitForTimeout(500);
  const first = await both();
  await page.locator('.plate.view').first().focus();
  await page.keyboard.press('ArrowLeft');
  await page.waitForFunction(
    (old) => [...document.querySelectorAll('.plate.view canvas')].every((canvas, i) => canvas.toDataURL() !== old[i]),
    first,
  );
  await page.keyboard.press('ArrowRight');
  await page.waitForFunction(
    (old) => [...document.querySelectorAll('.plate.view canvas')].every((canvas, i) => canvas.toDataURL() === old[i]),
    first,
  );
  await close();
});

test('cage_one_over_the_other_is_divided_and_swapped', async () => {
  const [one, , small] = made.cages;
  const { page, close } = await open(
    {},
    `#/space/${made.specimen.id}?versions=${one.id},${small.id}&colour=none&beside=no&view=0_0_0_0_0_6`,
  );
  assert.equal(await page.locator('.plate.view').count(), 1);
  await pixel(page, 0.3, 0.5);
  const differs = () =>
    page.evaluate(() => document.querySelector('.plate.view canvas').toDataURL());
  await page.waitForTimeout(500);
  const divided = await differs();
  await page.keyboard.press(']');
  await page.waitForFunction((old) => document.querySelector('.plate.view canvas').toDataURL() !== old, divided);
  await page.keyboard.press('[');
  await page.keyboard.down('x');
  await page.waitForFunction((old) => document.querySelector('.plate.view canvas').toDataURL() !== old, divided);
  await page.keyboard.up('x');
  await page.waitForFunction((old) => document.querySelector('.plate.view canvas').toDataURL() === old, divided);
  await close();
});

test('cage_section_takes_away_one_half', async () => {
  const [one] = made.cages;
  const { page, close } = await open(
    {},
    `#/space/${made.specimen.id}?versions=${one.id}&colour=none&cut=x0.5&view=0_0_0_0_0_6`,
  );
  await pixel(page, 0.4, 0.5);
  const right = await page.evaluate(() => {
    const canvas = document.querySelector('.plate.view canvas');
    return canvas.getContext('2d').getImageData(Math.floor(0.6 * canvas.width), Math.floor(0.5 * canvas.height), 1, 1).data[3];
  });
  assert.equal(right, 0);
  await close();
});
