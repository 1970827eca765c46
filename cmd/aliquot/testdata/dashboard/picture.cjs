// Takes pictures of a dashboard's pages in a headless browser, logged in with tokens that the test has.
// usage: node picture.cjs BASE TOKENS FOLDER PAGE...   where PAGE is name=path
const { chromium } = require('playwright-core');

const [base, tokens, folder, ...pages] = process.argv.slice(2);

(async () => {
  const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
  });
  const context = await browser.newContext({ viewport: { width: 1500, height: 1840 } });
  await context.addInitScript(([base, tokens]) => {
    localStorage.setItem('hassTokens', JSON.stringify({ ...JSON.parse(tokens), hassUrl: base, clientId: base + '/', expires: Date.now() + 1500000 }));
  }, [base, tokens]);
  const page = await context.newPage();
  for (const one of pages) {
    const [name, path] = one.split('=');
    await page.goto(base + path);
    await page.waitForTimeout(9000);
    await page.screenshot({ path: `${folder}/${name}.png` });
  }
  await browser.close();
})().catch((error) => {
  console.error(error);
  process.exit(1);
});
