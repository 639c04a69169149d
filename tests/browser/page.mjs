// The page of the car in headless Chromium: node page.mjs PAGE [SCREENSHOTS]
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { chromium } from "playwright-core";

const [file, shots] = process.argv.slice(2);
const url = `file://${resolve(file)}`;
const axe = readFileSync("node_modules/axe-core/axe.min.js", "utf8");
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
const wrong = [];

const open = async (options = {}, hash = "") => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  context.setDefaultTimeout(180_000);
  const page = await context.newPage();
  page.on("console", (message) => { if (message.type() !== "log") wrong.push(`console: ${message.text()}`); });
  page.on("pageerror", (error) => wrong.push(`error: ${error.message}`));
  page.on("request", (request) => { if (request.url().split("#")[0] !== url) wrong.push(`request: ${request.url()}`); });
  await page.goto(url + hash);
  return page;
};
const accessible = async (page, what) => {
  // The policy of the page allows no other script: this one comes over the debugging protocol, as evaluated code.
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
  const serious = found.violations.filter((one) => ["serious", "critical"].includes(one.impact));
  const lines = serious.map((one) => `${one.id}: ${one.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ")}`);
  assert.deepEqual(lines, [], what);
};
const here = (page) => page.evaluate(() => decodeURIComponent(location.hash));
const visible = (page, selector) => page.locator(selector).evaluateAll((all) => all.filter((one) => one.offsetParent !== null).length);

// Four widths, light and dark: nothing is wider than the screen, axe finds nothing serious, and it is painted at once.
let slowest = 0;
const views = ["", "#_records", "#_records?kind=part", "#front-upright", "#engine", "#rack-mount"];
for (const width of [320, 768, 1024, 1440]) {
  for (const colorScheme of ["light", "dark"]) {
    for (const view of views) {
      const page = await open({ viewport: { width, height: 900 }, colorScheme }, view);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= width, `${view} at ${width}: ${wide}`);
      if (width === 320 || width === 1440) await accessible(page, `${view} at ${width}, ${colorScheme}`);
      if (shots) await page.screenshot({ path: `${shots}/page-${width}-${colorScheme}-${view.replace(/\W/g, "") || "top"}.png` });
      if (view === "") {
        const paint = await page.evaluate(() => performance.getEntriesByType("paint").map((entry) => entry.startTime));
        assert.ok(paint.length > 0, "it is painted");
        slowest = Math.max(slowest, paint[0]);
      }
      await page.context().close();
    }
  }
}

// Without script everything is there, one below the other, and addresses lead to places.
const plain = await open({ javaScriptEnabled: false }, "#front-upright");
const records = await plain.locator("article.place").count();
assert.ok(records > 200);
assert.equal(await plain.locator("#_records tbody tr").count(), records);
for (const selector of ["#_answer", "#_points table", "#_budgets table", "#_records table", "#front-upright", "#rack-mount"]) {
  assert.ok(await plain.locator(selector).first().isVisible(), selector);
}
assert.ok((await plain.locator("#front-upright").boundingBox()).y < 900, "the address leads to the place");
await plain.context().close();

// By press: from the overview to a place, up the chain, back, forward; focus and scrolling come back.
const page = await open();
assert.equal(await visible(page, "article.place"), 0);
const link = page.locator("#_budgets a").first();
await link.scrollIntoViewIfNeeded();
const text = await link.textContent();
const before = await page.evaluate(() => scrollY);
assert.ok(before > 500);
await link.click();
assert.equal(await visible(page, "article.place"), 1);
assert.equal(await page.locator(".place.here h2").textContent(), text);
assert.equal(await page.evaluate(() => document.activeElement.tagName), "H2", "the heading has the focus");
const first = await here(page);
await page.locator(".place.here .up a").first().click();
const second = await here(page);
assert.notEqual(first, second);
await page.goBack();
assert.equal(await here(page), first);
assert.equal(await visible(page, first), 1);
await page.goBack();
await page.waitForFunction((y) => Math.abs(scrollY - y) < 40, before);
assert.equal(await page.evaluate(() => document.activeElement.textContent), text, "the link has the focus again");
await page.goForward();
await page.goForward();
assert.equal(await here(page), second);
assert.equal(await visible(page, second), 1);
await page.reload();
assert.equal(await here(page), second);
assert.equal(await visible(page, second), 1, "an address survives a reload");

// Search and filters are in the address, and survive a reload, too.
await page.fill("#search", "upright");
await page.waitForFunction(() => location.hash.includes("q=upright"));
const found = await visible(page, "#_records tbody tr");
assert.ok(found > 0 && found < records);
await page.selectOption("#filter [name=kind]", "part");
await page.waitForFunction(() => location.hash.includes("kind=part"));
const parts = await visible(page, "#_records tbody tr");
assert.ok(parts > 0 && parts < found);
await page.reload();
assert.equal(await visible(page, "#_records tbody tr"), parts);
assert.equal(await page.inputValue("#search"), "upright");
assert.match(await page.textContent("#count"), new RegExp(`^${parts} of ${records} records$`));
await page.click("#every");
await page.waitForFunction(() => location.hash === "#_records");
assert.equal(await visible(page, "#_records tbody tr"), records);

// Tables sort by a press on a head, and say so.
const column = async (number) => page.locator(`#_records tbody tr > :nth-child(${number})`).evaluateAll((all) => all.map((cell) => cell.textContent.trim()).filter(Boolean));
const head = page.locator("#_records thead th").nth(1);
await head.locator("button").click();
assert.equal(await head.getAttribute("aria-sort"), "ascending");
const up = await column(2);
assert.deepEqual(up, [...up].sort());
await head.locator("button").click();
assert.equal(await head.getAttribute("aria-sort"), "descending");
assert.deepEqual(await column(2), [...up].reverse());

// By keyboard alone: search, the first hit, a link of its chain, and back.
await page.keyboard.press("Escape");
await page.evaluate(() => document.activeElement.blur());
await page.keyboard.press("/");
await page.keyboard.type("rack-mount");
await page.keyboard.press("Enter");
await page.waitForFunction(() => document.querySelector(".place.here"));
const opened = await here(page);
await page.keyboard.press("Tab");
const focused = await page.evaluate(() => document.activeElement.closest(".place.here") !== null);
assert.ok(focused, "the next stop is in the place");
await page.keyboard.press("Enter");
await page.waitForFunction((hash) => location.hash !== hash, opened);
// The key for going back belongs to the window of the browser, which is missing here.
await page.goBack();
await page.waitForFunction((hash) => location.hash === hash, opened);

// Addresses that lead nowhere, or were made by hand.
for (const hash of ["#no-such-record", "#_records?kind=%", "#%E0%A4%A", "#_records?q=%3Cimg%20src%3Dx%3E", "#?", "#_top"]) {
  await page.goto(url + hash);
  assert.equal((await visible(page, "#overview")) + (await visible(page, "#list")), 1, hash);
}

// Two hundred presses on anything.
let seed = 7;
const random = (n) => { seed = (seed * 1103515245 + 12345) % 2147483648; return seed % n; };
await page.goto(url);
for (let press = 0; press < 200; press += 1) {
  await page.evaluate((n) => {
    const all = [...document.querySelectorAll("a[href], button, summary, input, select")].filter((one) => one.offsetParent);
    const one = all[n % all.length];
    one.focus();
    one.click();
  }, random(1_000_003));
  if (press % 9 === 0) await page.goBack();
  if (press % 20 === 0) await page.waitForTimeout(20);
  assert.equal(await page.evaluate(() => ["overview", "list", "places"].filter((id) => !document.getElementById(id).hidden).length), 1);
}

// Print: the overview, and one place.
await page.goto(url);
await page.emulateMedia({ media: "print" });
const pdf = await page.pdf({ format: "A4" });
assert.ok(pdf.length > 20_000 && pdf.subarray(0, 5).toString() === "%PDF-");
await page.goto(`${url}#front-upright`);
const one = await page.pdf({ format: "A4" });
assert.ok(one.length < pdf.length);
if (shots) {
  const { writeFileSync } = await import("node:fs");
  writeFileSync(`${shots}/page.pdf`, pdf);
  writeFileSync(`${shots}/page-place.pdf`, one);
}

assert.deepEqual(wrong, []);
await browser.close();
console.log(`the page passed: ${records} records, slowest first paint ${Math.round(slowest)} ms`);
