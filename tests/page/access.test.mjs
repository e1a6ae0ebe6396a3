// access.test.mjs - every view in both themes, at 360 and at 1280 px: axe finds nothing to object to by WCAG 2.2 A and AA, the
// page never scrolls sideways, and what is to be pressed is at least 24 px high and wide (2.5.8) or stands in a line of text.
// Nothing moves for who wants none of it; nothing is asked of another machine; paper gets what can be read on paper.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, describe, test } from 'node:test';
import { cube, makeCollection, makeMendedScan, makeSpecimen, meshFile, openPage, startBrowser, startService } from './support.mjs';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

let service;
let browser;
let made;
let empty;
let repaired;
before(async () => {
  service = await startService();
  browser = await startBrowser();
  made = await makeCollection(service.address);
  empty = await makeSpecimen(service.address, 'NH-0500', 'Nothing measured yet');
  repaired = await makeMendedScan(service.address, 'NH-0501');
});
after(async () => {
  await browser?.close();
  await service?.stop();
});

// part: what of the view others do not show; axe takes up to ten seconds for a whole specimen
const views = [
  { name: 'collection', go: (page) => open(page, '#/', '.register .what') },
  { name: 'collection under a name', go: (page) => open(page, '#/?q=NH&state=new&view=The%20new%20ones', '.saved em') },
  { name: 'collection without a match', go: (page) => open(page, '#/?q=nothing%20like%20this', '.empty') },
  {
    name: 'dialog of a saved view',
    async go(page) {
      await open(page, '#/', '.register .what');
      await page.getByRole('button', { name: 'Save this view' }).click();
      await page.locator('dialog').waitFor();
    },
  },
  { name: 'specimen', go: (page) => open(page, `#/specimen/${made.specimen.id}?fold=none`, '.drawing') },
  {
    name: 'specimen with findings',
    part: '.findings',
    go: (page) => open(page, `#/specimen/${made.specimen.id}?version=${made.cages[1].id}`, '.findings li'),
  },
  {
    name: 'specimen with a mended scan',
    part: 'section[aria-labelledby=mend]',
    go: (page) => open(page, `#/specimen/${repaired.specimen.id}`, 'section[aria-labelledby=mend] td'),
  },
  {
    name: 'space',
    go: (page) => open(page, `#/space/${made.specimen.id}?versions=${made.cages[2].id},${made.cages[1].id}&colour=invented`, '.plate.view .tag'),
  },
  {
    name: 'space by shells',
    go: (page) => open(page, `#/space/${made.specimen.id}?versions=${made.cages[2].id},${made.cages[1].id}&colour=shell`, '.legend table'),
  },
  {
    name: 'space one over the other with a section',
    go: (page) => open(page, `#/space/${made.specimen.id}?versions=${made.cages[2].id},${made.cages[1].id}&colour=signed&beside=no&cut=x0.5`, '.plate.view canvas'),
  },
  { name: 'run that is not there', missing: true, go: (page) => open(page, '#/run/999999', 'h1') },
  { name: 'specimen without versions', go: (page) => open(page, `#/specimen/${empty.id}`, '.empty') },
  {
    name: 'number card',
    part: '.card',
    async go(page) {
      await open(page, `#/specimen/${made.specimen.id}`, '.drawing');
      await page.locator('.versions .num').first().click();
      await page.locator('.card').getByText('Engine').waitFor();
    },
  },
  {
    name: 'withdraw dialog',
    async go(page) {
      await open(page, `#/specimen/${made.specimen.id}`, '.drawing');
      await page.getByRole('button', { name: 'cage 3', exact: true }).click();
      await page.locator('.card').getByRole('button', { name: 'Withdraw' }).click();
      await page.locator('dialog').waitFor();
    },
  },
  {
    name: 'upload',
    async go(page) {
      await open(page, '#/upload', '.empty');
      await page.setInputFiles('#choose-files', [
        meshFile('NH-0042_cage_1mm.obj', cube(2, 10)),
        meshFile('NH-0900_scan.ply', 'x'),
        meshFile('thing.off', 'OFF'),
        meshFile('NH-0042_cage_2mm.obj', cube(5, 10)),
        meshFile('notes.txt', 'no mesh'),
      ]);
      await page.locator('.left-out summary').click();
      await page.getByText('already here as cage 1').waitFor();
    },
  },
  {
    name: 'audit',
    async go(page) {
      await open(page, `#/audit/${made.specimen.id}?version=${made.cages[1].id}`, 'h1');
      await page.locator('select[name=spec]').selectOption({ label: 'Subdivision cage for CAD, version 1' });
      await page.getByRole('button', { name: /^Judge/ }).click();
      await page.locator('.rules td').first().waitFor();
    },
  },
  {
    name: 'audit signed, and being signed',
    async go(page) {
      await open(page, `#/audit/${made.specimen.id}`, 'h1');
      await page.locator('select[name=spec]').selectOption({ label: 'Teaching cast, version 1' });
      await page.getByRole('button', { name: /^Judge/ }).click();
      const sign = page.locator('[data-key=signOff]');
      await sign.waitFor();
      if ((await sign.textContent()) === 'Sign off') {
        await sign.click();
        await page.getByLabel('Your name').fill('Ines Quill');
        await page.keyboard.press('Enter');
        await page.locator('.signed').filter({ hasText: 'signed off' }).waitFor();
      }
      await page.locator('summary', { hasText: 'in the log' }).click();
      await sign.click();
      await page.locator('dialog textarea').waitFor();
    },
  },
  { name: 'standing', go: (page) => open(page, '#/standing', '.stands .what') },
  { name: 'standing without a match', go: (page) => open(page, '#/standing?q=nothing%20like%20this', '.empty') },
  { name: 'audit not judged yet', go: (page) => open(page, `#/audit/${made.specimen.id}?version=${made.scan.id}`, '.empty') },
  { name: 'specs', go: (page) => open(page, '#/specs', '.rules td') },
  {
    name: 'verify, refused',
    async go(page) {
      await open(page, '#/verify', '.drop');
      await page.setInputFiles('.drop input', meshFile('thing.zip', 'no zip'));
      await page.getByText('this is no zip').waitFor();
    },
  },
  {
    name: 'spec being written',
    async go(page) {
      await open(page, '#/specs', '.rules td');
      await page.getByRole('button', { name: 'Write the next version' }).click();
      await page.locator('.cards summary').first().click();
      await page.locator('[data-key="r1 measure"]').click();
      await page.locator('[role=option]').first().waitFor();
    },
  },
  {
    name: 'spec being written as text',
    async go(page) {
      await open(page, '#/specs', '.rules td');
      await page.getByRole('button', { name: 'Write the next version' }).click();
      await page.getByRole('button', { name: 'Text' }).click();
      await page.locator('textarea').waitFor();
    },
  },
  { name: 'definitions', go: (page) => open(page, '#/help', '.definitions') },
  { name: 'nowhere', go: (page) => open(page, '#/nothing', 'h1') },
];

async function open(page, hash, ready) {
  await page.goto(service.address + hash);
  await page.locator(ready).first().waitFor();
}

// with a share of the long tests (FETTLE_TEST_SHARE) each theme and each width once, instead of each with each
const shared = Number(process.env.FETTLE_TEST_SHARE || 1) > 1;
for (const colorScheme of ['light', 'dark']) {
  for (const width of [360, 1280].filter((each) => !shared || (each === 360) === (colorScheme === 'light'))) {
    describe(`${colorScheme}, ${width} px`, () => {
      for (const view of views) {
        test(`axe_is_content_with_${view.name.replaceAll(' ', '_')}`, async () => {
          const { page, faults, close } = await openPage(browser, {
            colorScheme,
            viewport: { width, height: 900 },
            reducedMotion: 'reduce',
          });
          try {
            await view.go(page);
            await page.evaluate(AXE);
            const { violations } = await page.evaluate(
              ({ part, tags }) => globalThis.axe.run(part ? { include: [part] } : document, { runOnly: tags }),
              { part: view.part, tags: TAGS },
            );
            assert.deepEqual(
              violations.map(
                ({ id, nodes }) =>
                  `${id}: ${nodes
                    .slice(0, 3)
                    .map((node) => node.html.slice(0, 160))
                    .join(' | ')}`,
              ),
              [],
            );
            const sideways = await page.evaluate(
              () => document.documentElement.scrollWidth - document.documentElement.clientWidth,
            );
            assert.ok(sideways <= 0, `scrolls sideways by ${sideways} px`);
            assert.deepEqual(await page.evaluate(smallTargets), []);
            assert.deepEqual(view.missing ? faults.filter((fault) => !fault.includes('404')) : faults, []);
          } finally {
            await close();
          }
        });
      }
    });
  }
}

/** Controls smaller than 24 by 24 px that do not stand in a line of text; a checkbox counts with its label. */
function smallTargets() {
  const controls = [...document.querySelectorAll('button, select, input:not(.hide), summary, .button, .masthead a')];
  return controls
    .filter((el) => el.checkVisibility())
    .map((el) => (['checkbox', 'radio'].includes(el.type) ? el.closest('label') : el))
    .filter((el) => {
      const { width, height } = el.getBoundingClientRect();
      return width < 23.5 || height < 23.5;
    })
    .map(
      (el) => `${el.outerHTML.slice(0, 100)} ${el.getBoundingClientRect().width}x${el.getBoundingClientRect().height}`,
    );
}

test('width_from_360_to_2560_px_is_never_scrolled_sideways', async () => {
  const { page, close } = await openPage(browser);
  try {
    for (const view of views) {
      await view.go(page);
      for (const width of [360, 700, 1024, 1280, 1920, 2560]) {
        await page.setViewportSize({ width, height: 900 });
        const { by, beyond } = await page.evaluate(() => {
          const room = document.documentElement.clientWidth;
          const within = '.scroll, .hide, .defs, .skip, .skip *';
          const wide = [...document.querySelectorAll('body *')].find(
            (el) => el.getBoundingClientRect().right > room + 1 && el.checkVisibility() && !el.closest(within),
          );
          return { by: document.documentElement.scrollWidth - room, beyond: wide?.outerHTML.slice(0, 120) };
        });
        assert.ok(by <= 0, `${view.name} at ${width} px by ${by} px: ${beyond}`);
      }
      await page.goto('about:blank');
    }
  } finally {
    await close();
  }
});

test('motion_that_the_reader_does_not_want_is_none', async () => {
  const { page, close } = await openPage(browser, { reducedMotion: 'reduce' });
  try {
    await open(page, `#/specimen/${made.specimen.id}`, '.drawing');
    const moving = await page.evaluate(() =>
      [...document.querySelectorAll('*')]
        .filter((el) => {
          const { transitionDuration, animationName, animationDuration } = getComputedStyle(el);
          return /[1-9]/.test(transitionDuration) || (animationName !== 'none' && /[1-9]/.test(animationDuration));
        })
        .map((el) => el.outerHTML.slice(0, 80)),
    );
    assert.deepEqual(moving, []);
    assert.equal(await page.evaluate(() => getComputedStyle(document.documentElement).getPropertyValue('--fly')), '0s');
  } finally {
    await close();
  }
});

test('internet_is_forbidden_to_the_page', async () => {
  const { page, close } = await openPage(browser);
  const left = [];
  await page.route((address) => address.hostname !== '127.0.0.1', (route) => {
    left.push(route.request().url());
    return route.abort();
  });
  try {
    await open(page, '#/', '.register .what');
    const refused = await page.evaluate(async () => {
      const told = [];
      document.addEventListener('securitypolicyviolation', ({ effectiveDirective }) => told.push(effectiveDirective));
      await fetch('http://192.0.2.1/').catch(() => {}); // an address for documents, RFC 5737
      document.body.append(Object.assign(new Image(), { src: 'http://192.0.2.1/a.png' }));
      document.head.append(Object.assign(document.createElement('script'), { src: 'http://192.0.2.1/a.js' }));
      while (told.length < 3) await new Promise((resolve) => requestAnimationFrame(resolve));
      return told.sort();
    });
    assert.deepEqual(refused, ['connect-src', 'img-src', 'script-src-elem']);
    assert.deepEqual(left, []);
  } finally {
    await close();
  }
});

test('theme_chosen_by_the_reader_overrules_the_system', async () => {
  const { page, close } = await openPage(browser, { colorScheme: 'light' });
  try {
    await open(page, '#/', '.register .what');
    const paper = () => page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor);
    const light = await paper();
    await page.getByLabel('Light or dark').selectOption('dark');
    const dark = await paper();
    assert.notEqual(dark, light);
    await page.reload();
    assert.equal(await paper(), dark);
  } finally {
    await close();
  }
});

test('print_leaves_out_what_cannot_be_pressed_on_paper', async () => {
  const { page, close } = await openPage(browser);
  try {
    await open(page, `#/specimen/${made.specimen.id}`, '.drawing');
    await page.emulateMedia({ media: 'print' });
    for (const gone of ['.masthead nav', '.controls', '.label .acts'])
      assert.equal(await page.locator(gone).first().isVisible(), false, gone);
    for (const kept of ['.label h1', '.versions .num', '.caution'])
      assert.equal(await page.locator(kept).first().isVisible(), true, kept);
  } finally {
    await close();
  }
});
