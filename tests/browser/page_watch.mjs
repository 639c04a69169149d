// A page that renews itself while it is open: node page_watch.mjs PAGE NEXT
import assert from "node:assert/strict";
import { copyFileSync, renameSync } from "node:fs";
import { resolve } from "node:path";
import { chromium } from "playwright-core";

const [file, next] = process.argv.slice(2).map((name) => resolve(name));
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
const page = await (await browser.newContext({ viewport: { width: 1280, height: 700 } })).newPage();
page.setDefaultTimeout(180_000);
const wrong = [];
page.on("pageerror", (error) => wrong.push(error.message));
let loads = 0;
page.on("load", () => { loads += 1; });
await page.goto(`file://${file}`);
assert.ok(await page.evaluate(() => document.documentElement.dataset.renews), "the page waits for the next one");
await page.locator("#_budgets summary").first().click();
const link = page.locator("#_budgets a").nth(2);
await link.focus();
await page.evaluate(() => scrollTo(0, 1200));
await page.waitForTimeout(3500);
assert.equal(loads, 1, "it stays while the file is the same");
const state = () => page.evaluate(() => ({ y: scrollY, hash: location.hash, focus: document.activeElement.textContent, open: document.querySelector("#_budgets details").open }));
const before = await state();
copyFileSync(next, `${file}.new`);
renameSync(`${file}.new`, file);
// Asked again and again, as the page is loaded anew while one waits.
let renewed = false;
for (let tries = 0; tries < 180 && !renewed; tries += 1) {
  await page.waitForTimeout(1000);
  renewed = await page.evaluate(() => document.readyState === "complete" && !document.documentElement.dataset.renews).catch(() => false);
}
assert.ok(renewed, "the open page shows the next one");
const after = await state();
assert.ok(Math.abs(after.y - before.y) < 60, `${before.y} ${after.y}`);
assert.deepEqual({ ...after, y: 0 }, { ...before, y: 0 });
assert.deepEqual(wrong, []);
await browser.close();
console.log("the open page renewed itself");
