// The page of the car on paper: node page_paper.mjs CAR MIDDLE SEASON [FOLDER for screenshots]
// What is printed is what is shown: the overview without what is folded, the list, or the place of one record; with page numbers,
// with the heads of tables again on each sheet, and without a heading as the last thing on one.
import assert from "node:assert/strict";
import { writeFileSync } from "node:fs";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { checked, sheets, times } from "./paper.mjs";

const [car, middle, season] = process.argv.slice(2, 5).map((file) => pathToFileURL(resolve(file)).href);
const shots = process.argv[5];
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu"] });
const MOST_SHEETS = 13;

const open = async (url, options = {}) => {
  const page = await (await browser.newContext(options)).newPage();
  await page.goto(url);
  return page;
};
const print = async (page, where, format = "A4") => {
  const pdf = await page.pdf({ format });
  if (shots) writeFileSync(`${shots}/page-${where.replace(/\W+/g, "-")}.pdf`, pdf);
  const all = await sheets(pdf);
  // Names of open folds that are not printed may be those of closed folds, which may end a sheet.
  await page.emulateMedia({ media: "print" });
  const headings = await page.evaluate(() => [...document.querySelectorAll("h1, h2, h3, [open] > summary")].filter((own) => own.checkVisibility()).map((own) => own.textContent));
  await page.emulateMedia({ media: null });
  checked(all, headings, (at, all) => `${at} / ${all}`, where);
  return all;
};

for (const [name, url] of [["car", car], ["middle", middle], ["season", season]]) {
  for (const format of ["A4", "Letter"]) {
    const page = await open(url);
    const all = await print(page, `${name} ${format}`, format);
    console.log(`${name}: ${all.length} sheets of ${format}`);
    assert.ok(all.length <= MOST_SHEETS, `${name} has ${all.length} sheets of ${format}`);
    assert.equal(times(all, "All records"), 0, `${name}: the list is not printed with the overview`);
    await page.context().close();
  }
}

// Of a fold its name and the number of what is in it are printed; when it is open, all of it.
{
  const page = await open(middle);
  const fold = page.locator("#_budgets .folds details").first();
  const name = await fold.locator("summary").textContent();
  const part = await fold.locator("a").last().textContent();
  assert.match(name, /: (the largest \d+ of )?\d+ parts$/);
  const folded = await print(page, "folded");
  assert.equal(times(folded, name), 1);
  await fold.locator("summary").click();
  const opened = await print(page, "opened");
  assert.equal(times(opened, name), 1);
  for (const text of ["all pieces, with growth", part]) assert.ok(times(opened, text) > times(folded, text), text);
  await page.context().close();
}

// The heads of a table that goes on are on the next sheet again: on sheets so low that one of the tables must go on.
{
  const page = await open(middle);
  const head = "value estimate points for 1 unit more unit points for 1 % more";
  await page.evaluate(() => { for (const one of document.querySelectorAll("#_worth > details")) one.open = true; });
  const all = times(await sheets(await page.pdf({ width: "210mm", height: "150mm" })), head);
  assert.ok(all > 3, `the heads of three tables are there ${all} times`);
  await page.context().close();
}

// A place alone; without a script, too, where the address names it.
for (const javaScriptEnabled of [true, false]) {
  const where = javaScriptEnabled ? "" : ", without a script";
  for (const [hash, title] of [["#front-upright", "Front upright"], ["#_records", "All records"], ["#_top", "Do we make it?"]]) {
    const page = await open(car + hash, { javaScriptEnabled });
    const all = await print(page, hash + where);
    assert.ok(times(all, title) > 0, `${hash}${where} has ${title}`);
    for (const other of ["Front upright, machined", "All records", "Do we make it?"]) {
      if (!other.startsWith(title)) assert.equal(times(all, other), hash === "#_records" && other.startsWith("Front") ? 1 : 0, `${hash}${where}: ${other}`);
    }
    if (hash === "#front-upright") assert.ok(all.length <= 3, `${hash}${where}: ${all.length} sheets`);
    await page.context().close();
  }
}
await browser.close();
console.log("the page passed on paper");
