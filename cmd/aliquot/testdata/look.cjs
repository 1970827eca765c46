// Looks at pages as a phone and as a desk would, by day and by night, and says what is wrong with them as JSON: errors of
// the console and of the content policy, what an audit for accessibility finds, and what is wider than the screen.
// node look.cjs FOLDER NAME=URL…
const { chromium } = require("playwright-core");
const fs = require("fs");
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
// The audit is put in from outside the page, which its policy would not let a page do.
const audited = async (context, page) => {
  const cdp = await context.newCDPSession(page);
  await cdp.send("Runtime.evaluate", { expression: axe });
  const answer = await cdp.send("Runtime.evaluate", { awaitPromise: true, returnByValue: true, expression: "axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(v => ({id: v.id, impact: v.impact, nodes: v.nodes.slice(0, 3).map(n => n.target.join(' ') + ': ' + n.failureSummary)}))))" });
  return JSON.parse(answer.result.value);
};
(async () => {
  const [folder, ...pages] = process.argv.slice(2);
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || "/usr/bin/chromium", args: ["--no-sandbox"] });
  const found = [];
  const bad = await browser.newContext();
  const badPage = await bad.newPage();
  await badPage.setContent('<p style="color:#999;background:#aaa">hardly to be read</p><img src="x">');
  const ids = (await audited(bad, badPage)).map(v => v.id);
  if (!ids.includes("image-alt") || !ids.includes("color-contrast")) throw new Error("the audit finds nothing wrong with a bad page: " + ids);
  await bad.close();
  for (const one of pages) {
    const [name, url] = one.split(/=(.*)/s);
    for (const width of [390, 1200]) for (const colorScheme of ["light", "dark"]) {
      const where = `${name}-${width}-${colorScheme}`;
      const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme, reducedMotion: "reduce", bypassCSP: false });
      const page = await context.newPage();
      page.on("console", m => { if (m.type() === "error" || m.type() === "warning") found.push({ where, kind: "console", text: m.text() }); });
      page.on("pageerror", e => found.push({ where, kind: "script", text: String(e) }));
      await page.goto(url, { waitUntil: "load" });
      await page.waitForFunction(() => document.getElementById("live").textContent !== "", null, { timeout: 10000 });
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      if (wide > 0) found.push({ where, kind: "wide", text: `${wide} px wider than the screen` });
      await page.screenshot({ path: `${folder}/${where}.png`, fullPage: true });
      for (const v of await audited(context, page)) found.push({ where, kind: "audit", text: `${v.id} (${v.impact}): ${v.nodes.join(" | ")}` });
      await context.close();
    }
  }
  await browser.close();
  console.log(JSON.stringify(found));
})().catch(e => { console.error(e); process.exit(1); });
