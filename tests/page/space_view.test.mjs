// space_view.test.mjs - versions in space, in a real browser.
//   sphere_*   a sphere against a smaller one is of one colour, and the legend names its value
//   form_*     faces by aspect ratio and shell, vertices by edges: colours, counts and places
//   detail_*   near a finding on a simplified surface, all of the mesh's triangles; a face pointed at there is the mesh's
//   tags_*     the end of a thread stays at its tag while a plate has another size than its picture
//   legend_*   marks at the tolerances, at both sides where there is a sign
//   touch_*    two fingers draw near and pan
//   keys_*     what is shown is chosen without a pointer
//   cage_*     figures, findings, keys, the divider, what the address keeps
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { readFileSync } from 'node:fs';
import { colourAt, parseHex } from '../../static/space/colours.js';
import { cube, eventually, makeCollection, makeSpecimen, makeVersion, ofKey, openPage, sphere, startBrowser, startService, tabTo as tabToElement } from './support.mjs';

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
/** Two cubes of quads as one mesh: 96 faces about the origin, 6 faces twelve to the right. */
function twoCubes() {
  const lines = (text, letter) => text.split('\n').filter((line) => line.startsWith(letter));
  const [large, small] = [cube(4, 10), cube(1, 4)];
  const count = lines(large, 'v').length;
  const moved = lines(small, 'v').map((line) => {
    const [, x, y, z] = line.split(' ').map(Number);
    return `v ${x + 12} ${y} ${z}`;
  });
  const faces = lines(small, 'f').map((line) => `f ${line.split(' ').slice(1).map((v) => Number(v) + count).join(' ')}`);
  return [...lines(large, 'v'), ...moved, ...lines(large, 'f'), ...faces].join('\n');
}

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

/** A place has a colour, in light that leaves so much of it, once what was asked for last is drawn; triangles and eight bits leave a little. */
function pixelIs(page, x, y, wanted, least) {
  return eventually(async () => {
    const found = await pixel(page, x, y);
    found.forEach((part, i) => assert.ok(part <= wanted[i] + 4 && part >= least * wanted[i] - 4, `${found} at ${x}, ${y}; wanted ${wanted}`));
  });
}

/** Everything is drawn, marks too. */
const settled = (page) => page.locator('.plates[aria-busy=false]').waitFor();

/** The stops of a map, as tokens.css has them. */
function stops(name) {
  const tokens = readFileSync(new URL('../../static/tokens.css', import.meta.url), 'utf8');
  return Array.from({ length: 9 }, (_, i) => parseHex(new RegExp(`--${name}-${i}: (#[0-9a-f]{6})`).exec(tokens)[1]));
}

test('sphere_half_a_millimetre_out_is_of_one_colour', async () => {
  const { page, faults, close } = await open({}, `#/space/${round.id}?versions=${round.mended.id}&colour=invented&range=1`);
  // light takes a tenth at most
  for (const [x, y] of [[0.5, 0.5], [0.4, 0.35], [0.6, 0.4], [0.45, 0.7], [0.62, 0.62]]) await pixelIs(page, x, y, colourAt(stops('seq'), 0.5), 0.9);
  assert.match(await page.locator('.legend .key').innerText(), /from 0 to 1\s*mm/);
  assert.match(await page.locator('figcaption.fig').innerText(), /: 0\.(49|5)\d*(–0\.5\d*)?\s*mm at the farthest/);
  assert.deepEqual(faults, []);
  await close();
});

test('sphere_signed_is_on_the_outer_side_of_the_map', async () => {
  const { page, close } = await open({}, `#/space/${round.id}?versions=${round.mended.id}&colour=signed&range=1`);
  await pixelIs(page, 0.5, 0.5, colourAt(stops('div'), 0.75), 0.9);
  await close();
});

test('sphere_picked_face_tells_its_distance', async () => {
  const { page, close } = await open({}, `#/space/${round.id}?versions=${round.mended.id}&colour=invented&range=1`);
  await pixel(page, 0.5, 0.5);
  await page.locator('.plate.view canvas').click();
  await page.locator('.picked', { hasText: 'Area' }).waitFor();
  assert.match(
    (await page.locator('.picked').innerText()).replace(/\s/g, ' '),
    /^Face [\d ]+ of scan 2\. At .* mm\. All of it is 0\.\d+–0\.5\d* mm from scan 1\. Aspect ratio 1\.\d+\. Edges at its vertices: 6, 6, 6\. Shell 1\. Area 0\.\d+ mm²\.$/,
  );
  await close();
});

const FRONT = '0_0_6_0_0_10'; // 12 to each side of x = 6

/** A token of the page as bytes. */
function token(name) {
  const tokens = readFileSync(new URL('../../static/tokens.css', import.meta.url), 'utf8');
  const value = new RegExp(`--${name}: ([^;]+);`).exec(tokens)[1];
  return value.startsWith('var(--') ? token(value.slice(6, -1)) : parseHex(value);
}
test('form_shells_aspects_and_edges_of_two_cubes', async () => {
  const specimen = await makeSpecimen(service.address, 'NH-0800', 'Two cubes');
  const { id } = await makeVersion(service.address, specimen.id, twoCubes(), { kind: 'cage', name: 'two.obj' });
  const hash = (colour) => `#/space/${specimen.id}?versions=${id}&colour=${colour}&view=${FRONT}`;
  const { page, faults, close } = await open({}, hash('shell'));
  await pixelIs(page, 0.27, 0.45, token('shell-0'), 0.72);
  await pixelIs(page, 0.75, 0.5, token('shell-1'), 0.72);
  await page.locator('.legend tbody tr').first().waitFor();
  assert.deepEqual(await page.locator('.legend tbody tr').allInnerTexts(), ['cage 1: shell 1\t96\t600\u00a0mm²\t0', 'cage 1: shell 2\t6\t96\u00a0mm²\t0']);
  await page.locator('.legend button', { hasText: 'shell 2' }).click();
  await page.waitForFunction((old) => !location.hash.includes(old), FRONT);
  await pixel(page, 0.5, 0.5);

  await page.locator('select[name=colour]').selectOption('aspect');
  await page.locator('.legend svg').waitFor();
  await page.evaluate((to) => (location.hash = to), hash('aspect'));
  await pixelIs(page, 0.27, 0.45, stops('seq')[0], 0.9);
  await eventually(async () =>
    assert.match(await page.locator('.legend .key').innerText(), /aspect ratio from 1 to 2.*1\.3: up to here a face is well shaped/s),
  );

  await page.evaluate((to) => (location.hash = to), `${hash('valence')}&irregular=no`);
  await page.locator('.legend table').waitFor();
  const rows = await page.locator('.legend tbody tr').allInnerTexts();
  assert.deepEqual(rows.map((row) => row.split('\t')[1]), ['0', '16', '90', '0', '0', '0', '0']);
  // the corners of a cube have three edges: one fewer. On the small one, half a patch away from one, then its middle
  await pixelIs(page, 0.75 - 1.9 / 24, 0.5 - 1.9 / 20, token('valence-1'), 0.72);
  assert.deepEqual(faults, []);
  await close();
});

/** The mesh of an OBJ file as numbers. */
function readObj(text) {
  const rows = (letter) => text.split('\n').filter((line) => line.startsWith(`${letter} `)).map((line) => line.split(' ').slice(1).map(Number));
  return { points: rows('v'), triangles: rows('f').map((face) => face.map((v) => v - 1)) };
}

const CUBE = 11; // about both spheres
const STEP = (2 * CUBE) / 65535;
const EVEN = 0; // codes of aspect ratios as surface_form.h has them: 1, and 8
const LONG = 3 * 4096;
const quantised = (point) => [...point.map((x) => Math.round((x + CUBE) / STEP)), 127]; // normals do not matter here

/** One array after another, each at a multiple of 8. */
function joined(begin, arrays) {
  const places = [begin];
  for (const { byteLength } of arrays) places.push(8 * Math.ceil((places.at(-1) + byteLength) / 8));
  const bytes = new Uint8Array(places.at(-1) - begin);
  arrays.forEach((array, i) => bytes.set(new Uint8Array(array.buffer), places[i] - begin));
  return { places, bytes };
}

/** A surface of server/picture/surface.h: few triangles, all even, stand for the many of one cluster, all long. */
function simplifiedSurface(few, many) {
  const corners = ({ points }) => Uint16Array.from(points.flatMap(quantised));
  const filled = (Type, length, value) => new Type(length).fill(value);
  const [v, t] = [few.points.length, many.triangles.length];
  const indices = Uint32Array.from({ length: v }, (_, i) => i);
  const drawn = joined(184, [corners(few), new Uint32Array(0), new Uint32Array(0), Uint32Array.from(few.triangles.flat()), indices, indices,
    filled(Uint16Array, v, EVEN), new Uint16Array(0), filled(Uint8Array, v, 6)]);
  const table = drawn.places.at(-1);
  const cluster = joined(table + 72, [corners(many), Uint16Array.from(many.triangles.flat()), Uint32Array.from({ length: t }, (_, i) => i),
    Uint32Array.from({ length: many.points.length }, (_, i) => i), filled(Uint16Array, t, LONG), new Uint16Array(t), filled(Uint8Array, many.points.length, 6)]);
  const file = new ArrayBuffer(cluster.places.at(-1));
  const view = new DataView(file);
  const doubles = (at, values) => values.forEach((x, i) => view.setFloat64(at + 8 * i, x, true));
  new Uint8Array(file).set(new TextEncoder().encode('fettleS3'));
  [184, 1 + 2 + 4, v, few.triangles.length, 0, 0, 1].forEach((x, i) => view.setUint32(8 + 4 * i, x, true));
  doubles(40, [-CUBE, -CUBE, -CUBE, STEP, STEP, 0.25]);
  [t, ...drawn.places, cluster.places.at(-1)].forEach((x, i) => view.setBigUint64(88 + 8 * i, BigInt(x), true));
  [-CUBE, -CUBE, -CUBE, CUBE, CUBE, CUBE].forEach((x, i) => view.setFloat32(table + 4 * i, x, true));
  doubles(table + 24, [-CUBE, -CUBE, -CUBE, STEP]);
  view.setBigUint64(table + 56, BigInt(table + 72), true);
  [many.points.length, t].forEach((x, i) => view.setUint32(table + 64 + 4 * i, x, true));
  new Uint8Array(file).set(drawn.bytes, 184);
  new Uint8Array(file).set(cluster.bytes, table + 72);
  return Buffer.from(file);
}

test('detail_near_a_finding_is_of_the_mesh_and_elsewhere_of_the_simplified_surface', async () => {
  const version = await (await fetch(`${service.address}api/v1/versions/${round.mended.id}`)).json();
  const finding = { kind: 'invented', severity: 'warning', mesh: 'subject', at: [0, -10.5, 0], radius: 0.5, text: 'A place.' };
  const surface = simplifiedSurface(readObj(sphere(24, 10.5)), readObj(sphere(96, 10.5)));
  const asked = [];
  const { page, faults, close } = await openPage(browser);
  await page.route('**/surface', (route) => {
    const [begin, end] = /=(\d+)-(\d+)/.exec(route.request().headers().range).slice(1).map(Number);
    asked.push(begin);
    return route.fulfill({ status: 206, contentType: 'application/octet-stream', body: surface.subarray(begin, end + 1) });
  });
  await page.route('**/runs/*/findings', (route) => route.fulfill({ contentType: 'application/json', body: JSON.stringify({ items: [finding] }) }));
  const link = `#/space/${round.id}?versions=${round.mended.id}&colour=aspect&range=8&open=no&irregular=no`;
  await page.goto(`${service.address}${link}`);
  const [even, long] = [stops('seq')[0], stops('seq').at(-1)];
  await pixelIs(page, 0.5, 0.5, even, 0.9);
  assert.ok(asked.every((begin) => begin < surface.length / 2), 'clusters are not fetched before they are wanted');

  await page.evaluate((hash) => { location.hash = hash; }, `${link}&finding=${version.latest_run}.1`);
  await page.locator('figcaption.fig', { hasText: 'All faces near the chosen finding' }).waitFor();
  await page.waitForFunction(
    (dark) => {
      const canvas = document.querySelector('.plate.view canvas');
      const { data } = canvas.getContext('2d').getImageData(canvas.width >> 1, canvas.height >> 1, 1, 1);
      return dark.every((part, i) => Math.abs(data[i] - part) <= 4 + part / 10);
    },
    long,
  );

  await page.locator('.plate.view canvas').click();
  await page.locator('.picked', { hasText: 'Area' }).waitFor();
  const told = (await page.locator('.picked').innerText()).replace(/\s/g, ' ');
  const [, face] = /^Face ([\d ]+) of scan 2\. At .*, −10\.5, .* mm\. All of it is 0\.\d+–0\.5\d* mm from scan 1\. Aspect ratio 8\. .* Area 0\.\d+ mm²\.$/.exec(told);
  const { points, triangles } = readObj(sphere(96, 10.5));
  const corners = triangles[Number(face.replaceAll(' ', ''))].map((v) => points[v]);
  assert.ok(corners.every((corner) => Math.hypot(...corner.map((x, i) => x - finding.at[i])) < 1.5), `${face}: ${corners}`);

  await page.locator('.plate.view').focus();
  await page.keyboard.press('0');
  await page.waitForFunction(
    (colours) => {
      const canvas = document.querySelector('.plate.view canvas');
      const { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
      const counts = colours.map(() => 0);
      for (let at = 0; at < data.length; at += 4)
        colours.forEach((colour, i) => {
          if (data[at + 3] === 255 && colour.every((part, k) => Math.abs(data[at + k] - part) <= 4 + part / 10)) counts[i] += 1;
        });
      return counts.every((count) => count > 200);
    },
    [even, long],
  );
  const box = await page.locator('.plate.view canvas').boundingBox();
  await eventually(async () => {
    // pointed at again until the view has come to rest
    await page.locator('.plate.view canvas').click({ position: { x: box.width / 2, y: 0.22 * box.height } });
    assert.match(await page.locator('.picked').innerText(), /A face of the simplified surface/);
  });
  assert.deepEqual(faults, []);
  await close();
});

test('tags_keep_to_the_picture_that_was_drawn_when_the_plate_is_resized', async () => {
  const finding = { kind: 'invented', severity: 'warning', mesh: 'subject', at: [8, 0, 6], radius: 0.5, text: 'A place.' };
  const { page, close } = await openPage(browser);
  await page.route('**/runs/*/findings', (route) => route.fulfill({ contentType: 'application/json', body: JSON.stringify({ items: [finding] }) }));
  await page.goto(`${service.address}#/space/${round.id}?versions=${round.mended.id}&colour=none`);
  await settled(page);
  await page.locator('.tags .tag').waitFor();
  const [drawn, stretched] = await page.evaluate(() => {
    const plate = document.querySelector('.plate.view');
    const share = () => {
      const [box, tag] = [plate.querySelector('canvas'), plate.querySelector('.tag')].map((part) => part.getBoundingClientRect());
      return [(tag.left + 16 - box.left) / box.width, (tag.top + 12 - box.top) / box.height, box.width];
    };
    const before = share();
    plate.style.width = '50%'; // and looks at once, before anything is drawn anew
    return [before, share()];
  });
  assert.ok(stretched[2] < 0.7 * drawn[2]);
  for (const axis of [0, 1]) assert.ok(Math.abs(stretched[axis] - drawn[axis]) < 0.002, `${drawn} and ${stretched}`);
  await close();
});

test('legend_has_marks_at_the_tolerances', async () => {
  const { page, close } = await openPage(browser);
  await page.goto(`${service.address}#/help`);
  const marks = await page.evaluate(async () => {
    const { spaceLegend } = await import('/views/space-legend.js');
    const surface = { corners: new Uint16Array(12), triangles: Uint32Array.from([0, 1, 2]), vertexCount: 3 };
    const figure = (map) => ({ map, per: 'vertex', name: 'a', surface, values: new Float32Array(3), record: { engine: { settings: { tolerances: [0.25, 3] } } } });
    const state = (map) => ({ figures: [figure(map)], colour: 'invented', range: 1, factor: 2, unit: 'mm', lengthText: (x, decimals) => (decimals === undefined ? `${2 * x} mm` : 'rounded') });
    return ['seq', 'div'].map((map) => {
      const legend = spaceLegend(state(map));
      return { places: [...legend.querySelectorAll('.wedge')].map((each) => each.getAttribute('d').split(' ')[0]), text: legend.innerText };
    });
  });
  assert.deepEqual(marks.map(({ places }) => places), [['M88.5'], ['M126.8', 'M203.3']]);
  assert.match(marks[0].text, /tolerances: 0\.5 mm/);
  await close();
});

test('touch_of_two_fingers_draws_near_and_pans', async () => {
  const { page, close } = await open(
    { hasTouch: true, viewport: { width: 390, height: 800 } },
    `#/space/${made.specimen.id}?versions=${made.cages[0].id}&colour=none&view=0_0_0_0_0_6`,
  );
  await pixel(page, 0.5, 0.5);
  await page.locator('.plate.view').scrollIntoViewIfNeeded();
  const box = await page.locator('.plate.view').boundingBox();
  const devtools = await page.context().newCDPSession(page);
  const touch = (type, points) =>
    devtools.send('Input.dispatchTouchEvent', {
      type,
      touchPoints: points.map(([x, y], id) => ({ x: box.x + x * box.width, y: box.y + y * box.height, id })),
    });
  const camera = () => page.evaluate(() => /view=([^&]*)/.exec(location.hash)[1].split('_').map(Number));
  const gesture = async (from, to) => {
    const before_ = await page.evaluate(() => location.hash);
    await touch('touchStart', from);
    await touch('touchMove', to);
    await touch('touchEnd', []);
    await page.waitForFunction((old) => location.hash !== old, before_);
    return camera();
  };
  const near = await gesture([[0.4, 0.5], [0.6, 0.5]], [[0.3, 0.5], [0.7, 0.5]]);
  assert.ok(Math.abs(near.at(-1) - 3) < 0.2, `twice as far apart, twice as near: ${near}`);
  const moved = await gesture([[0.4, 0.5], [0.6, 0.5]], [[0.5, 0.5], [0.7, 0.5]]);
  assert.ok(Math.abs(moved.at(-1) - near.at(-1)) < 0.1 && moved[2] < near[2] - 0.2, `panned: ${moved}`);
  const turned = await gesture([[0.4, 0.5]], [[0.6, 0.5]]);
  assert.ok(turned[0] !== moved[0] && turned.at(-1) === moved.at(-1), `turned: ${turned}`);
  await close();
});

test('keys_alone_choose_colour_range_section_and_finding', async () => {
  const { page, faults, close } = await open({}, `#/space/${made.specimen.id}?versions=${made.cages[1].id}&colour=invented`);
  const tabTo = (key) => tabToElement(page, ofKey, key);
  const hash = (part) => page.waitForFunction((wanted) => location.hash.includes(wanted), part);
  const has = (key) => page.waitForFunction((wanted) => document.activeElement.dataset.key === wanted, key);
  await tabTo('colour');
  await page.keyboard.press('ArrowDown');
  await hash('colour=signed');
  await has('colour');
  await tabTo('range');
  await page.keyboard.press('Control+a');
  await page.keyboard.type('0,25');
  await page.keyboard.press('Enter');
  await hash('range=0.25');
  await has('range');
  await page.locator('.legend .key', { hasText: /0\.25\s*mm inside/ }).waitFor();
  await tabTo('cut');
  await page.keyboard.press('ArrowDown');
  await hash('cut=x0.5');
  await tabTo('cut share');
  await page.keyboard.press('ArrowRight');
  await hash('cut=x0.51');
  await tabTo('next');
  await page.keyboard.press('Enter');
  await hash('finding=');
  await page.locator('.findings li.now').waitFor();
  await has('next');
  assert.deepEqual(faults, []);
  await close();
});

test('keys_choose_a_finding_while_a_section_is_still_being_loaded_and_both_stay', async () => {
  const { page, faults, close } = await open({}, `#/space/${made.specimen.id}?versions=${made.cages[1].id}&colour=invented&cut=x0.5`);
  const hash = () => page.evaluate(() => location.hash);
  let letGo;
  const held = new Promise((resolve) => (letGo = resolve));
  await page.locator('.findings li').first().waitFor();
  await page.route('**/specimens/*/versions?*', (route) => held.then(() => route.continue()));
  const [asked] = await Promise.all([
    page.waitForRequest('**/specimens/*/versions?*'),
    (async () => {
      await tabToElement(page, ofKey, 'cut share');
      await page.keyboard.press('ArrowRight');
    })(),
  ]);
  await tabToElement(page, ofKey, 'next');
  await page.keyboard.press('Enter');
  await page.locator('.findings li.now').waitFor();
  letGo();
  await (await asked.response()).finished();
  await page.locator('[data-key="cut share"][value="0.51"]').waitFor();
  await eventually(async () => assert.match(await hash(), /finding=/));
  assert.match(await hash(), /cut=x0\.51/);
  assert.equal(await page.locator('.findings li.now').count(), 1);
  assert.deepEqual(faults, []);
  await page.unroute('**/specimens/*/versions?*');
  await close();
});

test('cage_findings_have_links_that_fly_and_come_back', async () => {
  const cage = made.cages[1];
  const { page, faults, close } = await open({}, `#/space/${made.specimen.id}?versions=${cage.id}&colour=invented`);
  await pixel(page, 0.5, 0.5);
  const before_ = await page.evaluate(() => location.hash);
  await page.locator('.findings a.head').first().click();
  await page.locator('.findings li.now').waitFor();
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
  await settled(page);
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
  await settled(page);
  const divided = await differs();
  await page.keyboard.press(']');
  await page.waitForFunction((old) => document.querySelector('.plate.view canvas').toDataURL() !== old, divided);
  await page.keyboard.press('[');
  await page.waitForFunction((old) => document.querySelector('.plate.view canvas').toDataURL() === old, divided);
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
