// widths.test.mjs - no view scrolls sideways from 360 to 2560 px; nothing moves for who wants none of it; nothing is asked of another
// machine; the reader's theme overrules the system's; paper gets what can be read on paper.
import assert from 'node:assert/strict';
import { after, test } from 'node:test';
import { startEveryView } from './every_view.mjs';
import { eventually, openPage } from './support.mjs';

const { browser, made, open, stop, views } = await startEveryView();
after(stop);

test('width_from_360_to_2560_px_is_never_scrolled_sideways', async () => {
  const { page, close } = await openPage(browser);
  try {
    for (const view of views) {
      await view.go(page);
      for (const width of [360, 700, 1024, 1280, 1920, 2560]) {
        await page.setViewportSize({ width, height: 900 });
        await page.waitForFunction((wanted) => window.innerWidth === wanted, width);
        await eventually(async () => {
          const { by, beyond } = await page.evaluate(overflow);
          assert.ok(by <= 0, `${view.name} at ${width} px by ${by} px: ${beyond}`);
        });
      }
      await page.goto('about:blank');
    }
  } finally {
    await close();
  }
});

/** How far the page is wider than the window, and what reaches out of it. */
function overflow() {
  const room = document.documentElement.clientWidth;
  const within = '.scroll, .hide, .defs, .skip, .skip *';
  const wide = [...document.querySelectorAll('body *')].find(
    (el) => el.getBoundingClientRect().right > room + 1 && el.checkVisibility() && !el.closest(within),
  );
  return { by: document.documentElement.scrollWidth - room, beyond: wide?.outerHTML.slice(0, 120) };
}

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
    for (const gone of ['.masthead nav', '.controls', '.label .acts']) await page.locator(gone).first().waitFor({ state: 'hidden' });
    for (const kept of ['.label h1', '.versions .num', '.caution']) await page.locator(kept).first().waitFor();
  } finally {
    await close();
  }
});
