// An open page that `page --watch` writes again and again: node page_watch.mjs TIEROD PROJECT PAGE
// The page shows each new value without a press, and keeps the address, the scrolling, the folds, the focus and what is typed.
// PROJECT is a copy of the example car that may be changed.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { once } from "node:events";
import { existsSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [tierod, project, file] = process.argv.slice(2).map((name) => resolve(name));
const records = join(project, "suspension/suspension.yaml");
const began = Date.now();
const watch = spawn(tierod, ["page", "--watch", "--output", file], { cwd: project, stdio: ["ignore", "ignore", "inherit"] });
const ended = once(watch, "exit");
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu"] });
try {
  while (!existsSync(file)) {
    assert.equal(watch.exitCode, null, "it watches");
    assert.ok(Date.now() - began < 60_000, "the page is written");
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  const url = pathToFileURL(file).href;
  const page = await (await browser.newContext({ viewport: { width: 1280, height: 700 } })).newPage();
  page.setDefaultTimeout(60_000);
  const wrong = [];
  page.on("console", (message) => { if (message.type() !== "log") wrong.push(message.text()); });
  page.on("pageerror", (error) => wrong.push(error.message));
  page.on("request", (request) => { if (request.url().split("#")[0] !== url) wrong.push(`request: ${request.url()}`); });
  let loads = 0;
  page.on("load", () => { loads += 1; });

  // Saves a change as an editor does, and waits until the open page shows it.
  const save = (from, to) => {
    const text = readFileSync(records, "utf8");
    assert.ok(text.includes(from), from);
    writeFileSync(`${records}~`, text.replace(from, to));
    renameSync(`${records}~`, records);
  };
  const shown = async (selector, text) => {
    const begin = Date.now();
    for (;;) {
      // The page is loaded again while one asks.
      const there = await page.evaluate(([selector, text]) => {
        const all = [...document.querySelectorAll(selector)].filter((one) => one.checkVisibility());
        return document.readyState === "complete" && all.some((one) => one.textContent.includes(text));
      }, [selector, text]).catch(() => false);
      if (there) return Date.now() - begin;
      assert.ok(Date.now() - begin < 60_000, `the open page shows ${text}`);
      await page.waitForTimeout(100);
    }
  };
  const state = () => page.evaluate(() => ({
    y: Math.round(scrollY), hash: location.hash, focus: document.activeElement.textContent.slice(0, 80), entries: history.length,
    open: [...document.querySelectorAll("#_budgets details[open]")].map((fold) => fold.firstElementChild.textContent).join(), search: document.getElementById("_search").value,
  }));
  const times = [];

  // In the overview: scrolled, with a fold that was opened, and the focus on a link in it.
  await page.goto(url);
  const fold = page.locator("#_budgets details", { hasText: "Front upright" }).first();
  await fold.locator("summary").click();
  await fold.locator("a", { hasText: "Front upright" }).focus();
  await fold.scrollIntoViewIfNeeded();
  await page.waitForTimeout(2500);
  assert.equal(loads, 1, "it stays while the file is the same");
  const overview = await state();
  assert.ok(overview.y > 500 && /^Mass of the suspension: (the largest \d+ of )?\d+ parts$/.test(overview.open));
  save("value: 0.79 kg, basis: weighed", "value: 0.97 kg, basis: weighed");
  times.push(await shown("#_budgets details[open] tr:has(a[href='#front-upright'])", "1.94"));
  const after = await state();
  assert.ok(Math.abs(after.y - overview.y) < 60, `${overview.y} ${after.y}`);
  assert.deepEqual({ ...after, y: 0 }, { ...overview, y: 0 });
  assert.equal(loads, 2);

  // In the place of a record, which is shown by its address.
  await page.locator("#_budgets details[open] a[href='#front-upright']").first().click();
  const place = await state();
  assert.equal(place.hash, "#front-upright");
  save("value: 0.97 kg, basis: weighed", "value: 0.88 kg, basis: weighed");
  times.push(await shown(".place.here", "1.76"));
  assert.equal((await state()).hash, "#front-upright");
  assert.equal(loads, 3);

  // In the list, while one types; what was typed stays, and one can type on.
  await page.keyboard.press("/");
  await page.keyboard.type("upright mach");
  await page.waitForFunction(() => location.hash.includes("q=upright"));
  save("title: Front upright, machined", "title: Front upright, machined at last");
  times.push(await shown("#_records tr", "machined at last"));
  await page.keyboard.type("ined at");
  await page.waitForFunction(() => [...document.querySelectorAll("#_records tbody tr")].filter((row) => !row.hidden).length === 1);
  const list = await state();
  assert.equal(list.search, "upright machined at");
  // What was loaded for a look left nothing in the history of the window.
  await page.goBack();
  assert.equal((await state()).hash, "#front-upright");
  await page.goBack();
  assert.equal((await state()).hash, "");

  // A file that is half saved does not end it, and the page says so.
  const whole = readFileSync(records, "utf8");
  writeFileSync(records, "targets: [");
  await shown(".broken", "read error");
  writeFileSync(records, whole);
  for (let tries = 0; await page.locator(".broken").count() > 0; tries += 1) {
    assert.ok(tries < 600);
    await page.waitForTimeout(100);
  }

  // At the end of the watch, the page that stays waits for nothing.
  process.kill(watch.pid, "SIGINT");
  await ended;
  assert.equal(watch.exitCode, 0);
  for (let tries = 0; await page.evaluate(() => document.documentElement.dataset.renews !== undefined || document.readyState !== "complete").catch(() => true); tries += 1) {
    assert.ok(tries < 600, "the last page is shown");
    await page.waitForTimeout(100);
  }
  const last = loads;
  assert.equal(await page.locator("iframe").count(), 0);
  await page.waitForTimeout(1500);
  assert.equal(loads, last);
  assert.deepEqual(wrong, []);
  console.log(`the open page renewed itself: ${times.map((ms) => `${(ms / 1000).toFixed(1)} s`).join(", ")} after a change; ${Math.round((Date.now() - began) / 1000)} s in all`);
} finally {
  await browser.close();
  if (watch.exitCode === null) watch.kill("SIGKILL");
}
