// The audit's page in headless Chromium: it opens without errors or requests, the filter and the chain work by mouse
// and keyboard, it prints, it fits a phone, and axe-core (rules of WCAG 2.2 A and AA) finds nothing serious.
//
// node audit.mjs PAGE [FOLDER for screenshots]; CHROMIUM names another browser.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [page_file, shots] = process.argv.slice(2);
const url = pathToFileURL(resolve(page_file)).href;
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

async function open(options) {
  const page = await browser.newPage(options);
  const wrong = [];
  page.on("console", (message) => message.type() === "error" && wrong.push(message.text()));
  page.on("pageerror", (error) => wrong.push(error.message));
  page.on("request", (request) => request.url() !== url && wrong.push(`requested ${request.url()}`));
  page.on("dialog", (dialog) => { wrong.push(`a dialog of the browser: ${dialog.message()}`); dialog.dismiss(); });
  await page.goto(url);
  return { page, wrong };
}

async function accessible(page, where) {
  // The policy of the page allows no other script: this one comes over the debugging protocol, as evaluated code.
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
  const serious = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
  assert.deepEqual(serious.map(({ id, nodes }) => `${id}: ${nodes.slice(0, 3).map((node) => node.html)}`), [], where);
}

const looks = [
  ["desk", { viewport: { width: 1100, height: 900 }, colorScheme: "light" }],
  ["phone", { viewport: { width: 380, height: 800 }, colorScheme: "light" }],
  ["dark", { viewport: { width: 1100, height: 900 }, colorScheme: "dark" }],
];
for (const [name, options] of looks) {
  const { page, wrong } = await open(options);
  await accessible(page, name);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(wide <= 0, `${name}: the page is ${wide} pixels wider than the window`);
  if (shots) await page.screenshot({ path: `${shots}/audit-${name}.png`, fullPage: name !== "dark" });
  // On a tablet no table is cut at the right, and the reason of a limit has a column to read.
  await page.setViewportSize({ width: 768, height: 1024 });
  const cut = await page.evaluate(() => [...document.querySelectorAll(".decision .wide, #record .wide, #points .wide")]
    .filter((own) => own.scrollWidth > own.clientWidth + 1).map((own) => own.getAttribute("aria-label")));
  assert.deepEqual(cut, [], `${name}: tables that are cut at 768 px`);
  assert.deepEqual(wrong, [], name);
  await page.close();
}

const { page, wrong } = await open(looks[0][1]);
const rows = (more = "") => page.locator(`.targets tbody tr${more}`);
const visible = async () => (await rows().evaluateAll((all) => all.filter((row) => row.checkVisibility()))).length;
const every = await rows().count();
const first = await visible();
assert.ok(every > 10 && first > 0 && first < every, "the targets about which there is something to do are shown first");
for (const summary of await page.locator(".more-targets summary").all()) {
  const before = await visible();
  await summary.click();
  assert.equal((await visible()) - before, parseInt(await summary.textContent(), 10), "a fold says how many it has");
  await summary.click();
}
for (const key of ["system", "lead", "verdict"]) {
  const values = await page.locator(`#filter [name=${key}] option`).allTextContents();
  for (const value of values.slice(1, 4)) {
    const expected = await rows(`[data-${key}="${value.replaceAll('"', '\\"')}"]`).count();
    await page.selectOption(`#filter [name=${key}]`, { label: value });
    assert.equal(await visible(), expected, `${key} ${value}`);
    assert.equal(await page.textContent("#shown"), `${expected} shown`);
  }
  await page.click("#filter [type=reset]");
  await page.waitForFunction((n) => document.getElementById("shown").textContent === `${n} targets`, every);
  assert.equal(await visible(), every, "after a reset all targets are shown");
}

// From parts to the goal: the chain of a part starts with the part, and most chains end at the goal.
const chain = JSON.parse(await page.textContent("#data"));
const goals = Object.keys(chain).filter((id) => chain[id].kind === "goal");
const parts = Object.keys(chain).filter((id) => chain[id].kind === "part");
assert.ok(parts.length > 5 && goals.length > 0);
let reached = 0;
for (const part of parts.slice(0, 12)) {
  await page.fill("#ask input", part);
  await page.click("#ask button");
  const steps = await page.locator("#why-up button").allTextContents();
  assert.equal(steps[0], part);
  reached += goals.includes(steps.at(-1));
  await page.keyboard.press("Escape");
  assert.equal(await page.locator("#why").evaluate((dialog) => dialog.open), false, "Escape closes the chain");
}
assert.ok(reached >= 8, `${reached} of 12 parts lead to the goal`);
for (const id of ["no-such-record", "constructor", "toString", "__proto__"]) {
  await page.fill("#ask input", id);
  await page.click("#ask button");
  assert.match(await page.textContent("#unknown"), /no record with this id/, id);
}

// By keyboard only, and from one record of the chain to the next.
await rows().first().locator("button.id").first().focus();
await page.keyboard.press("Enter");
assert.ok(await page.locator("#why").evaluate((dialog) => dialog.open), "Enter opens the chain");
await accessible(page, "the open chain");
const second = page.locator("#why-up button").nth(1);
const title = chain[await second.textContent()].title;
await second.click();
assert.equal(await page.textContent("#why-h"), title);
if (shots) await page.screenshot({ path: `${shots}/audit-chain.png` });
await page.click("#why form button");

const pdf = await page.pdf({ format: "A4" });
assert.ok(pdf.length > 20_000 && pdf.subarray(0, 5).toString() === "%PDF-", "it prints");
assert.deepEqual(wrong, []);
await browser.close();
console.log(`the page passed: ${every} targets, ${reached} of 12 parts lead to the goal`);
