// The audit's page in headless Chromium: it opens without errors or requests, the filter and the chain work by mouse
// and keyboard, it prints, it fits a phone, and axe-core (rules of WCAG 2.2 A and AA) finds nothing serious.
//
// node audit.mjs PAGE [FOLDER for screenshots]; CHROMIUM names another browser.
import assert from "node:assert/strict";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { accessible } from "./accessible.mjs";

const [page_file, shots] = process.argv.slice(2);
const url = pathToFileURL(resolve(page_file)).href;
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

async function open(options, hash = "") {
  const page = await browser.newPage(options);
  const wrong = [];
  page.on("console", (message) => message.type() === "error" && wrong.push(message.text()));
  page.on("pageerror", (error) => wrong.push(error.message));
  page.on("request", (request) => request.url().split("#")[0] !== url && wrong.push(`requested ${request.url()}`));
  page.on("dialog", (dialog) => { wrong.push(`a dialog of the browser: ${dialog.message()}`); dialog.dismiss(); });
  await page.goto(url + hash);
  return { page, wrong };
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
  const cut = await page.evaluate(() => [...document.querySelectorAll(".decision .wide, #_record .wide, #_points .wide")]
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
  const chains = await page.locator("#why-up ol").evaluateAll((all) => all.map((list) => [...list.querySelectorAll("button")].map((own) => own.dataset.id)));
  assert.equal(chains[0][0], part);
  assert.equal(decodeURIComponent(new URL(page.url()).hash), `#${part}`, "the address has the record");
  assert.equal(new Set(chains.map(String)).size, chains.length, "each chain is another one");
  assert.ok(chains.length <= 8 && chains.every((steps) => steps.every((step, at) => at === 0 || chain[steps[at - 1]].up.some(([to]) => to === step))));
  reached += chains.every((steps) => goals.includes(steps.at(-1)));
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
const title = chain[await second.getAttribute("data-id")].title;
await second.click();
assert.equal(await page.textContent("#why-h"), title);
if (shots) await page.screenshot({ path: `${shots}/audit-chain.png` });
await page.click("#why form button");

// A target that three events need has a chain through each.
const dialog = () => page.locator("#why").evaluate((own) => own.open);
const many = Object.keys(chain).filter((id) => chain[id].up.filter(([, link]) => link === "serves").length > 2)[0];
await page.goto(`${url}#${many}`);
const seconds = await page.locator("#why-up ol").evaluateAll((all) => all.map((list) => list.querySelectorAll("button")[1].dataset.id));
assert.ok(chain[many].up.every(([to]) => seconds.includes(to)), `${many}: ${seconds}`);

// The address: a reload shows the same, and back leads to what was before.
await page.reload();
assert.ok(await dialog() && (await page.textContent("#why-h")) === chain[many].title, "a record after a reload");
await page.keyboard.press("Escape");
assert.ok(!(await dialog()) && new URL(page.url()).hash === "", "a closed record leaves its address");
await page.selectOption("#filter [name=verdict]", { index: 1 });
const filtered = page.url(), some = await page.textContent("#shown");
assert.match(filtered, /#_targets\?verdict=/);
await page.reload();
assert.equal(await page.textContent("#shown"), some, "the filter after a reload");
await rows(":not([hidden])").first().locator("button.id").first().click();
assert.ok(await dialog() && page.url() !== filtered);
await page.goBack();
assert.ok(!(await dialog()) && page.url() === filtered && (await page.textContent("#shown")) === some, "back to the filter");
await page.goBack();
assert.equal(await page.textContent("#shown"), `${every} targets`, "back to all targets");
await page.goForward();
assert.equal(await page.textContent("#shown"), some, "forward to the filter");

// Tables sort by their heads, up and down, and the total stays last.
await page.goto(url);
const cells = (at) => page.locator(".events tbody tr").evaluateAll((all, at) => all.map((row) => row.cells[at].textContent.replace("−", "-")), at);
const before = await cells(1);
for (const down of [false, true]) {
  await page.locator(".events thead button").nth(1).click();
  const now = await cells(1);
  const own = now.slice(0, -1).map(parseFloat);
  assert.deepEqual(own, [...own].sort((a, b) => (down ? b - a : a - b)), `sorted ${down ? "down" : "up"}`);
  assert.equal(now.at(-1), before.at(-1), "the total stays last");
  assert.equal(await page.locator(".events th[aria-sort]").getAttribute("aria-sort"), down ? "descending" : "ascending");
}

// Presses at random, of a fixed seed: no error, what is shown is what the address says, and a reload shows the same.
let seed = 27;
const random = (below) => { seed = (seed * 1103515245 + 12345) % 2147483648; return Math.floor((seed / 2147483648) * below); };
const state = () => page.evaluate(() => ({
  record: document.getElementById("why").open ? document.getElementById("why-h").textContent : null,
  shown: document.getElementById("why").open ? null : document.getElementById("shown").textContent,
}));
let reloads = 0;
for (let press = 0; press < 200; press += 1) {
  const what = random(12);
  if (what === 0) await page.goBack();
  else if (what === 1) await page.goForward();
  else if (what === 2) await page.keyboard.press("Escape");
  else {
    // All in one call: to ask for each of a thousand buttons whether it is shown takes most of the time.
    await page.evaluate(([one, option]) => {
      // A modal dialog is above everything else.
      const where = document.getElementById("why").open ? "#why button" : "main button, header a, summary, select";
      const all = [...document.querySelectorAll(where)].filter((own) => own.checkVisibility() && own.getClientRects().length);
      const own = all[one % all.length];
      if (own.tagName !== "SELECT") return own.click();
      own.selectedIndex = option % own.options.length;
      own.dispatchEvent(new Event("input", { bubbles: true }));
      own.dispatchEvent(new Event("change", { bubbles: true }));
    }, [random(1_000_003), random(1_000_003)]);
  }
  // An event of the address or of the dialog comes after the press.
  const agrees = () => page.waitForFunction(() => {
    const [all, own] = [JSON.parse(document.getElementById("data").textContent), document.getElementById("why")];
    const record = decodeURIComponent(location.hash.slice(1));
    return own.open ? document.getElementById("why-h").textContent === all[record]?.title : !Object.hasOwn(all, record);
  }, null, { timeout: 5000 });
  await agrees().catch(() => assert.fail(`press ${press}: the page does not show ${page.url()}`));
  const now = await state();
  if (press % 10 === 9) {
    await page.reload();
    reloads += 1;
    assert.deepEqual(await state(), now, `press ${press}: a reload of ${page.url()}`);
  }
}
assert.equal(reloads, 20);
await page.goto(url);

const pdf = await page.pdf({ format: "A4" });
assert.ok(pdf.length > 20_000 && pdf.subarray(0, 5).toString() === "%PDF-", "it prints");
assert.deepEqual(wrong, []);
await browser.close();
console.log(`the page passed: ${every} targets, ${reached} of 12 parts lead to the goal`);
