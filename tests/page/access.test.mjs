// access.test.mjs - every view in both themes, at 360 and at 1280 px: axe finds nothing to object to by WCAG 2.2 A and AA, the
// page never scrolls sideways, and what is to be pressed is at least 24 px high and wide (2.5.8) or stands in a line of text.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, describe, test } from 'node:test';
import { startEveryView } from './every_view.mjs';
import { openPage } from './support.mjs';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

const { browser, stop, views } = await startEveryView();
after(stop);

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
