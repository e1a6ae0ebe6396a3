// every_view.mjs - every view of the page over a small collection, with what opens it: for axe, and for every width.
import { cube, makeAudit, makeCollection, makeMendedScan, makeSpecimen, meshFile, startBrowser, startService } from './support.mjs';

/**
 * A service with its collection, a browser, and the views: { name, go(page), part, missing }.
 *   part     what of the view others do not show: axe takes up to ten seconds for a whole specimen
 *   missing  the view is of something that is not there
 */
export async function startEveryView() {
  const service = await startService();
  const browser = await startBrowser();
  const made = await makeCollection(service.address);
  const empty = await makeSpecimen(service.address, 'NH-0500', 'Nothing measured yet');
  const repaired = await makeMendedScan(service.address, 'NH-0501');
  const failing = await makeAudit(service.address, made.cages[1], 'Subdivision cage for CAD');
  const signed = await makeAudit(service.address, made.cages[2], 'Teaching cast', 'Ines Quill');

  async function open(page, hash, ready) {
    await page.goto(service.address + hash);
    await page.locator(ready).first().waitFor();
  }

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
    { name: 'audit', go: (page) => open(page, `#/audit/${made.specimen.id}?version=${made.cages[1].id}&spec=${failing.spec.id}`, '.rules td') },
    {
      name: 'audit signed, and being signed',
      async go(page) {
        await open(page, `#/audit/${made.specimen.id}?version=${made.cages[2].id}&spec=${signed.spec.id}`, '.signed');
        await page.locator('summary', { hasText: 'in the log' }).click();
        await page.locator('[data-key=signOff]').click();
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

  async function stop() {
    await browser.close();
    await service.stop();
  }
  return { browser, made, open, stop, views };
}
