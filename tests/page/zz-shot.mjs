import { startBrowser, openPage } from './support.mjs';
const [,, base] = process.argv;
const browser = await startBrowser();
for (const [name, options] of [['wide', { viewport: { width: 1280, height: 1000 } }], ['small', { viewport: { width: 360, height: 800 }, colorScheme: 'dark' }]]) {
  const { page, faults, close } = await openPage(browser, options);
  page.setDefaultTimeout(20000);
  await page.goto(`${base}#/specs`);
  await page.getByRole('button', { name: 'Write the next version' }).click();
  await page.locator('.cards').waitFor();
  await page.screenshot({ path: `/tmp/s8/forms/${name}-1.png`, fullPage: true });
  await page.locator('.cards summary').nth(1).click();
  await page.locator('[data-key="r2 measure"]').click();
  await page.keyboard.type('haus');
  await page.screenshot({ path: `/tmp/s8/forms/${name}-2.png`, fullPage: true });
  await page.keyboard.press('Enter');
  await page.locator('[data-key="r2 decision"]').selectOption('guarded');
  await page.locator('[data-key="r2 limit"]').fill('0.1234567');
  await page.locator('#fault-r2-limit').getByText('digits').waitFor();
  await page.screenshot({ path: `/tmp/s8/forms/${name}-3.png`, fullPage: true });
  console.log(name, faults, await page.evaluate(() => document.documentElement.scrollWidth));
  await close();
}
await browser.close();
