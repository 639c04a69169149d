// The page of the car in headless Chromium: node page.mjs CAR SEASON NAMES LARGE [SCREENSHOTS]
// CAR is the page of the example car, SEASON that of the example's season, NAMES has records that are called as things of the
// page and of the language are, LARGE has thousands of records.
import assert from "node:assert/strict";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { accessible } from "./accessible.mjs";

const [car, season, names, large] = process.argv.slice(2, 6).map((file) => pathToFileURL(resolve(file)).href);
const shots = process.argv[6];
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu"] });
const wrong = [];
const began = Date.now();
let last = began;
const done = (what) => {
  console.log(`${what}: ${((Date.now() - last) / 1000).toFixed(1)} s`);
  last = Date.now();
};

const open = async (url, options = {}) => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  context.setDefaultTimeout(60_000);
  const page = await context.newPage();
  const file = url.split("#")[0];
  page.on("console", (message) => { if (message.type() !== "log") wrong.push(`console: ${message.text()}`); });
  page.on("pageerror", (error) => wrong.push(`error: ${error.message}`));
  page.on("request", (request) => { if (request.url().split("#")[0] !== file) wrong.push(`request: ${request.url()}`); });
  await page.goto(url);
  return page;
};
const close = (page) => page.context().close();
const here = (page) => page.evaluate(() => decodeURIComponent(location.hash));
const visible = (page, selector) => page.locator(selector).evaluateAll((all) => all.filter((one) => one.offsetParent !== null).length);
const go = (page, hash) => page.evaluate((hash) => new Promise((resolve) => {
  if (location.hash === hash) return resolve();
  addEventListener("hashchange", () => resolve(), { once: true });
  location.hash = hash;
}), hash);
// What is not shown is taken away before axe-core looks: no one can perceive it, and it is most of the page.
const drop_hidden = (page) => page.evaluate(() => { for (const one of [...document.querySelectorAll(".place:not(.here), main > [hidden]")]) one.remove(); });

// Four widths, light and dark, and as on A4: nothing is wider than the screen or the sheet.
const views = ["#_top", "#_records", "#_records?kind=part", "#front-upright", "#engine", "#rack-mount"];
{
  const page = await open(car);
  const fits = async (view, width, look) => {
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(wide <= width, `${view} at ${width}, ${look}: ${wide}`);
    const bare = await page.evaluate(() => [...document.querySelectorAll(".stack td:not(.what)")].filter((cell) => getComputedStyle(cell).display === "block" && cell.checkVisibility() && !cell.textContent.trim()).length);
    assert.equal(bare, 0, `${view} at ${width}, ${look}: labels without a value`);
    if (shots) await page.screenshot({ path: `${shots}/page-${width}-${look}-${view.replace(/\W/g, "")}.png` });
  };
  for (const view of views) {
    await go(page, view);
    for (const width of [360, 768, 1280, 1440]) {
      await page.setViewportSize({ width, height: 900 });
      for (const colorScheme of ["light", "dark"]) {
        await page.emulateMedia({ media: "screen", colorScheme });
        await fits(view, width, colorScheme);
      }
    }
    await page.setViewportSize({ width: 688, height: 1000 });
    await page.emulateMedia({ media: "print", colorScheme: "light" });
    await fits(view, 688, "print");
    for (const selector of [".bar", "#_filter"]) assert.equal(await visible(page, selector), 0, `${selector} is not printed`);
  }
  await close(page);
  done("four widths, light, dark and print");
}

// axe-core finds nothing serious, on a phone and at a desk, light and dark; and in the overview of a whole season.
for (const view of ["#_top", "#_records?kind=part", "#front-upright", "#engine"]) {
  const page = await open(car + view);
  for (const [width, colorScheme] of [[360, "dark"], [1280, "light"]]) {
    await page.setViewportSize({ width, height: 900 });
    await page.emulateMedia({ colorScheme });
    await drop_hidden(page);
    await accessible(page, `${view} at ${width}, ${colorScheme}`);
  }
  await close(page);
}
{
  const page = await open(`${season}#_top`, { colorScheme: "dark" });
  // At a desk no table of the overview is cut at its right edge.
  await page.setViewportSize({ width: 1280, height: 900 });
  const cut = await page.evaluate(() => [...document.querySelectorAll("#_overview .wide")]
    .filter((one) => one.checkVisibility() && one.scrollWidth > one.clientWidth + 1).map((one) => one.getAttribute("aria-label")));
  assert.deepEqual(cut, [], "tables that are cut at 1280 px");
  // The other sections are as those of the example car.
  await page.evaluate(() => { for (const one of [...document.querySelectorAll("#_overview > section:not(#_top, #_answer, #_limits, #_recent)")]) one.remove(); });
  await drop_hidden(page);
  await accessible(page, "the overview of the season");
  await close(page);
  done("axe-core");
}

// Without script everything is there, one below the other, and addresses lead to places.
const plain = await open(`${car}#front-upright`, { javaScriptEnabled: false });
const records = await plain.locator("article.place").count();
assert.ok(records > 200);
assert.equal(await plain.locator("#_records tbody tr").count(), records);
for (const selector of ["#_answer", "#_points table", "#_budgets table", "#_records table", "#front-upright", "#rack-mount"]) {
  assert.ok(await plain.locator(selector).first().isVisible(), selector);
}
assert.ok((await plain.locator("#front-upright").boundingBox()).y < 900, "the address leads to the place");
await close(plain);
done("without script");

// By press: from the overview to a place, up the chain, back, forward; focus and scrolling come back.
const page = await open(car);
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
await page.fill("#_search", "upright");
await page.waitForFunction(() => location.hash.includes("q=upright"));
const found = await visible(page, "#_records tbody tr");
assert.ok(found > 0 && found < records);
await page.selectOption("#_filter [name=kind]", "part");
await page.waitForFunction(() => location.hash.includes("kind=part"));
const parts = await visible(page, "#_records tbody tr");
assert.ok(parts > 0 && parts < found);
await page.reload();
assert.equal(await visible(page, "#_records tbody tr"), parts);
assert.equal(await page.inputValue("#_search"), "upright");
assert.match(await page.textContent("#_count"), new RegExp(`^${parts} of ${records} records$`));
await page.click("#_every");
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
done("presses, search, filter, sorting, back and reload");

// By keyboard alone: past the bar, into the search, the first hit, a link of its chain, and back.
await page.goto(car);
await page.keyboard.press("Tab");
assert.equal(await page.evaluate(() => document.activeElement.className), "skip", "the first stop skips the bar");
await page.keyboard.press("Tab");
await page.keyboard.press("Tab");
await page.keyboard.press("Enter");
await page.waitForFunction(() => location.hash === "#_records");
await page.keyboard.press("/");
await page.keyboard.type("rack-mount");
await page.keyboard.press("Enter");
await page.waitForFunction(() => document.querySelector(".place.here"));
const opened = await here(page);
assert.equal(opened, "#rack-mount");
await page.keyboard.press("Tab");
assert.ok(await page.evaluate(() => document.activeElement.closest(".place.here") !== null), "the next stop is in the place");
await page.keyboard.press("Enter");
await page.waitForFunction((hash) => location.hash !== hash, opened);
await page.keyboard.press("Alt+ArrowLeft");
// The key for going back belongs to the window of the browser, which may be missing here.
await page.waitForFunction((hash) => location.hash === hash, opened, { timeout: 1000 }).catch(() => page.goBack());
await page.waitForFunction((hash) => location.hash === hash, opened);
// A fold and the head of a column, too.
await page.evaluate(() => { location.hash = "#_top"; });
await page.locator("#_budgets summary").first().focus();
await page.keyboard.press("Enter");
assert.ok(await page.locator("#_budgets details").first().evaluate((fold) => fold.open));
await page.locator("#_points thead button").first().focus();
await page.keyboard.press("Space");
assert.equal(await page.locator("#_points thead th").first().getAttribute("aria-sort"), "ascending");

// Addresses that lead nowhere, or were made by hand.
for (const hash of ["#no-such-record", "#_records?kind=%", "#%E0%A4%A", "#_records?q=%3Cimg%20src%3Dx%3E", "#?", "#_top", "#_overview", "#_list", "#constructor"]) {
  await go(page, hash);
  assert.equal((await visible(page, "#_overview")) + (await visible(page, "#_list")), 1, hash);
}
// An address of no record says so, on the screen only; one that leads somewhere does not.
const said = () => page.evaluate(() => { const own = document.getElementById("_nothing"); return own.checkVisibility() ? own.textContent : ""; });
for (const [hash, text] of [["#nothing-here", "no record with the id nothing-here"], ["#_top", ""], ["#rack-mount", ""], ["#constructor", "no record with the id constructor"], ["#", ""]]) {
  await page.evaluate((hash) => { location.hash = hash; }, hash);
  await page.waitForFunction((text) => document.getElementById("_nothing").textContent === text, text);
  assert.equal(await said(), text, hash);
}
await go(page, "#nothing-here");
await page.emulateMedia({ media: "print" });
assert.equal(await said(), "");
await page.emulateMedia({ media: "screen" });
done("the keyboard, and addresses made by hand");

// Words are looked for one by one: those of all records that have most of them, and the nearest one to a word of no record.
{
  const page = await open(`${season}#_records`);
  const look = async (text) => {
    await page.fill("#_search", text);
    await page.waitForFunction((text) => new URLSearchParams(location.hash.split("?")[1]).get("q") === text, text);
    return [await visible(page, "#_records tbody tr"), await page.textContent("#_count")];
  };
  const [engines] = await look("engine");
  const [both] = await look("a mount of the engine");
  assert.ok(engines > both && both > 0, "words of two letters are not asked for");
  const [most, count] = await look("why this engine");
  assert.ok(most >= engines, `${most}`);
  assert.match(count, new RegExp(`^${most} of \\d+ records: none has all 3 words, these have \\d`));
  await page.keyboard.press("Enter");
  assert.match(await here(page), /^#_records/, "a record with only some of the words is not opened");
  const [none, hint] = await look("torqe");
  assert.equal(none, 0);
  assert.match(hint, /^0 of \d+ records\. Similar: torque$/);
  await page.click("#_count a");
  await page.waitForFunction(() => location.hash === "#_records?q=torque");
  assert.ok(await visible(page, "#_records tbody tr") > 0);
  assert.equal(await page.inputValue("#_search"), "torque");
  assert.match((await look("qqqqqqqq"))[1], /^0 of \d+ records$/);
  // A short word with a digit is asked for, too.
  const [numbered] = await look("75");
  assert.ok(numbered > 0 && numbered < 100, `${numbered}`);
  assert.ok((await look("75 acceleration"))[0] < (await look("acceleration"))[0]);
  // A status finds the records that have it: what is due is in another section of the page.
  const [late] = await look("overdue");
  assert.equal(late, await page.evaluate(() => new Set([...document.querySelectorAll("#_due details .day .bad")].map((one) => one.closest("tr").querySelector(".what a").hash)).size));
  assert.ok(late > 0, "something is overdue");
  assert.ok((await look("due"))[0] >= late, "what is overdue is due");
  const [risky] = await look("at risk");
  assert.ok(risky > 0 && risky === await page.locator("#_records tbody tr:not([hidden]) td:nth-child(6)", { hasText: "at risk" }).count(), `${risky}`);
  // So does the name of a finding, and what has changed.
  const [stale] = await look("stale");
  assert.ok(stale > 0 && stale >= await page.evaluate(() => new Set([...document.querySelectorAll("#_findings li:has(a)")].filter((one) => one.querySelector("small").textContent.startsWith("stale-")).map((one) => one.querySelector("a").hash)).size));
  const limits = await page.evaluate(() => new Set([...document.querySelectorAll("#_limits th a")].map((link) => link.hash)).size);
  assert.ok(limits > 0 && (await look("changed"))[0] >= limits);
  done("words of a search");

  // On a phone nothing in the place of a target is out of sight: a row of its changed limits is a block.
  await page.setViewportSize({ width: 390, height: 844 });
  const changed = await page.locator(".place [aria-label='Changed limits']").evaluateAll((all) => all.map((one) => `#${one.closest(".place").id}`));
  assert.ok(changed.length >= 8, `${changed}`);
  for (const hash of changed) {
    await go(page, hash);
    const wide = await page.locator(".place.here .wide").evaluateAll((all) => all.filter((one) => one.scrollWidth > one.clientWidth).map((one) => one.ariaLabel));
    assert.deepEqual(wide, [], hash);
    const heads = await page.locator(".place.here [aria-label='Changed limits'] td").evaluateAll((all) => all.map((one) => one.dataset.h));
    assert.deepEqual(heads.slice(0, 5), ["day", "before", "after", "agreed by", "why"], hash);
  }
  await close(page);
  done("changed limits on a phone");
}

// Two hundred presses on anything.
let seed = 7;
const random = (n) => { seed = (seed * 1103515245 + 12345) % 2147483648; return seed % n; };
await page.goto(car);
for (let press = 0; press < 200; press += 1) {
  await page.evaluate((n) => {
    const shown = document.querySelectorAll(".bar, #_overview:not([hidden]), #_list:not([hidden]), .place.here");
    const all = [...shown].flatMap((part) => [...part.querySelectorAll("a[href], button, summary, input, select")]).filter((one) => one.checkVisibility());
    const one = all[n % all.length];
    one.focus();
    one.click();
  }, random(1_000_003));
  if (press % 9 === 0) await page.goBack();
  assert.equal(await page.evaluate(() => ["_overview", "_list", "_places"].filter((id) => !document.getElementById(id).hidden).length), 1);
}
done("two hundred presses");

await close(page);

// Every record has its place, also one that is called as a thing of the page or of the language.
{
  const page = await open(names);
  const ids = await page.locator("#_records tbody th a").evaluateAll((all) => all.map((one) => one.hash));
  assert.ok(ids.length > 40 && ids.includes("#overview") && ids.includes("#constructor"));
  for (const id of ids) {
    await go(page, id);
    assert.equal(await visible(page, `.place${id}`), 1, id);
    assert.equal(await visible(page, ".place"), 1, id);
  }
  for (const key of ["kind", "system", "lead"]) {
    for (const value of await page.locator(`#_filter [name=${key}] option`).evaluateAll((all) => all.map((one) => one.value).filter(Boolean))) {
      await go(page, `#_records?${new URLSearchParams({ [key]: value })}`);
      assert.ok(await visible(page, "#_records tbody tr") > 0, `${key} ${value}`);
    }
  }
  await page.fill("#_search", "toString");
  await page.waitForFunction(() => location.hash.includes("q=toString"));
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => document.querySelector(".place.here"));
  await close(page);
  done("records with names of the page");
}

// Speed: the best of three paints, as the machine may be busy with other things, and the middle one of the key strokes. They are
// printed with their bounds. One over its bound is a failure only with SPEED=1, on a machine that does nothing else.
const timed = async (url, what, most) => {
  const paints = [];
  let page;
  for (let run = 0; run < 3; run += 1) {
    if (page) await close(page);
    page = await open(url);
    await page.waitForFunction(() => performance.getEntriesByName("first-contentful-paint").length > 0);
    paints.push(await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0].startTime));
  }
  // From an event until the frame after what it changes.
  const until = (start) => page.evaluate(async (start) => {
    const times = [];
    for (const value of start) {
      const begin = performance.now();
      const routed = new Promise((resolve) => addEventListener("hashchange", resolve, { once: true }));
      if (value.startsWith("#")) location.hash = value;
      else {
        const search = document.getElementById("_search");
        search.focus();
        search.value = value;
        search.dispatchEvent(new Event("input", { bubbles: true }));
      }
      await routed;
      await new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve)));
      times.push(performance.now() - begin);
    }
    return times;
  }, start);
  await go(page, "#_records");
  const strokes = await until(["b", "br", "bra", "brak", "bra", "br"]);
  const last = await page.locator("article.place").last().getAttribute("id");
  const places = await until([`#${last}`, "#_top", `#${last}`]);
  await close(page);
  const figures = { paint: Math.min(...paints), stroke: strokes.slice(1).sort((a, b) => a - b)[2], place: Math.min(places[0], places[2]) };
  console.log(`${what}: ${Object.entries(figures).map(([name, ms]) => `${name} ${Math.round(ms)} ms`).join(", ")} (all: ${paints.map(Math.round)}; ${strokes.map(Math.round)}; ${places.map(Math.round)})`);
  for (const [name, ms] of Object.entries(figures)) {
    if (ms < most[name]) continue;
    console.log(`${what}, ${name}: ${Math.round(ms)} ms is over its bound of ${most[name]} ms`);
    assert.ok(process.env.SPEED !== "1", `${what}, ${name}: ${ms} ms`);
  }
};
await timed(season, "the season", { paint: 1000, stroke: 200, place: 200 });
await timed(large, "the large car", { paint: 1500, stroke: 400, place: 400 });
done("speed");

assert.deepEqual(wrong, []);
await browser.close();
console.log(`the page passed: ${records} records in ${Math.round((Date.now() - began) / 1000)} s`);
