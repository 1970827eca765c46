// Uses the page of deploy/node-red/flows.json as a keeper would. usage: node flow.cjs URL FOLDER
const { chromium } = require('playwright-core');

const [url, folder] = process.argv.slice(2);

(async () => {
  const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
  });
  const page = await browser.newPage({ viewport: { width: 1300, height: 1000 } });
  const errors = [];
  page.on('pageerror', (error) => errors.push(String(error)));
  await page.goto(url);
  const see = (text) => page.getByText(text).first().waitFor({ timeout: 20000 });
  await see('online');
  await see('carbonate-jug');
  await see('quay alkalinity');
  await page.getByLabel('Quantity, such as alkalinity').fill('alkalinity');
  await page.getByLabel('Value').fill('7.6');
  await page.getByLabel('Unit, such as dKH').fill('dKH');
  await page.getByRole('button', { name: 'Enter' }).click();
  await see(/^7\.60 ± 0\.\d\d dKH$/);
  await page.getByRole('button', { name: 'Acknowledge all alerts' }).click();
  await see(/acknowledge: \d+ alerts? (is|are) acknowledged/);
  for (let round = 0; round < 2; round++) {
    await page.getByRole('button', { name: 'Hold everything for 1 h' }).click();
    await see(/hold: hold on everything/);
    await see(/^until \d/); // the state, not the answer
    if (folder && round === 0) await page.screenshot({ path: `${folder}/flow.png` });
    await page.getByRole('button', { name: 'Release everything' }).click();
    await see(/release: everything is released/);
  }
  await browser.close();
  if (errors.length > 0) throw new Error(errors.join('\n'));
})().catch((error) => {
  console.error(error);
  process.exit(1);
});
