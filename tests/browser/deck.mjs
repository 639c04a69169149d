// The talk in headless Chromium: keys, touch, the address, the clock, print, four widths, dark, without script, and
// axe-core (rules of WCAG 2.2 A and AA).
//
// node deck.mjs PAGE [FOLDER for screenshots]; CHROMIUM names another browser.
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
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const wrong = [];
  page.on("console", (message) => message.type() === "error" && wrong.push(message.text()));
  page.on("pageerror", (error) => wrong.push(error.message));
  page.on("request", (request) => !request.url().startsWith(url) && !request.url().startsWith("data:") && wrong.push(`requested ${request.url()}`));
  await page.goto(url + hash);
  return { page, wrong, close: () => context.close() };
}

const on = (page) => page.evaluate(() => [...document.querySelectorAll(".slide.on")].map((slide) => slide.id));
const desk = { viewport: { width: 1280, height: 720 }, colorScheme: "light" };

// Every slide, at four widths, in the light and in the dark: it fits, and nothing serious is found.
let count = 0;
for (const [name, options] of [
  ["desk", desk],
  ["dark", { ...desk, colorScheme: "dark" }],
  ["wide", { viewport: { width: 1440, height: 900 }, colorScheme: "light" }],
  ["tablet", { viewport: { width: 768, height: 1024 }, colorScheme: "light" }],
  ["phone", { viewport: { width: 360, height: 740 }, colorScheme: "light" }],
]) {
  const { page, wrong, close } = await open(options);
  count = await page.locator(".slide").count();
  for (let n = 0; n < count; n += 1) {
    const id = (await on(page))[0];
    assert.deepEqual(await on(page), [id], `${name}: one slide is shown`);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(wide <= 0, `${name}, ${id}: ${wide} pixels wider than the window`);
    const phrase = await page.locator(".slide.on h2").evaluate((head) => {
      const { top, bottom, left, right } = head.getBoundingClientRect();
      return { fits: top >= 0 && left >= 0 && right <= innerWidth && bottom <= innerHeight, size: parseFloat(getComputedStyle(head).fontSize) };
    });
    assert.ok(phrase.fits, `${name}, ${id}: the phrase is on the screen`);
    if (name === "desk") {
      assert.ok(phrase.size >= 40, `${id}: a phrase of ${phrase.size} pixels cannot be read from the last row`);
      const scrolls = await page.locator(".slide.on .sheet").evaluate((sheet) => sheet.scrollHeight - sheet.clientHeight);
      assert.ok(scrolls <= 1, `${id}: ${scrolls} pixels do not fit`);
    }
    if (n === 0 || name === "desk" || name === "dark") await accessible(page, `${name}, ${id}`);
    if (shots && name !== "wide") await page.screenshot({ path: `${shots}/deck-${name}-${n + 1}-${id}.png` });
    await page.keyboard.press("ArrowRight");
  }
  assert.deepEqual(wrong, [], name);
  await close();
}
assert.ok(count >= 6, `${count} slides`);

// Keys.
{
  const { page, wrong, close } = await open(desk);
  const ids = await page.locator(".slide").evaluateAll((all) => all.map((slide) => slide.id));
  const press = async (key, to) => {
    await page.keyboard.press(key);
    assert.deepEqual(await on(page), [ids[to]], `after ${key}`);
  };
  await press("ArrowLeft", 0);
  for (const [key, to] of [["ArrowRight", 1], ["ArrowDown", 2], ["PageDown", 3], ["Space", 4], ["Enter", 5],
    ["ArrowLeft", 4], ["ArrowUp", 3], ["PageUp", 2], ["Shift+Space", 1], ["Backspace", 0],
    ["End", count - 1], ["ArrowRight", count - 1], ["Home", 0]]) await press(key, to);
  // The clock runs since the first slide was left, and stops and goes on.
  const time = () => page.textContent("#_time");
  await page.waitForFunction(() => document.getElementById("_time").textContent >= "0:01");
  await page.keyboard.press("c");
  const stopped = await time();
  await page.waitForTimeout(1200);
  assert.equal(await time(), stopped, "C stops the clock");
  assert.match(await page.textContent("#_pace"), /on time|early by/);
  await press("End", count - 1);
  assert.match(await page.textContent("#_pace"), /^early by \d+:\d\d$/, "the last slide is much too early");
  // Notes, by key and by button.
  const notes = page.locator(".slide.on .notes");
  assert.ok(!(await notes.isVisible()));
  await page.keyboard.press("n");
  assert.ok(await notes.isVisible(), "N shows the notes");
  await accessible(page, "notes");
  if (shots) await page.screenshot({ path: `${shots}/deck-notes.png` });
  await page.mouse.move(100, 100);
  await page.click("#_show-notes");
  assert.ok(!(await notes.isVisible()), "the button hides them");
  await page.click("#_back");
  assert.deepEqual(await on(page), [ids[count - 2]]);
  await page.locator("#_strip a").nth(2).click();
  assert.deepEqual(await on(page), [ids[2]], "a press on the strip");
  // Addresses.
  assert.equal(new URL(page.url()).hash, `#${ids[2]}`);
  await page.reload();
  assert.deepEqual(await on(page), [ids[2]], "the address survives a reload");
  await page.evaluate((id) => { location.hash = id; }, ids[1]);
  await page.waitForFunction((id) => document.querySelector(".slide.on").id === id, ids[1]);
  await page.evaluate(() => { location.hash = "%E0%A4%A"; });
  assert.deepEqual(await on(page), [ids[1]], "an address that is none changes nothing");
  // Two hundred random presses.
  let seed = 7;
  const random = (most) => (seed = (seed * 1103515245 + 12345) % 2147483648) % most;
  const keys = ["ArrowRight", "ArrowLeft", "PageDown", "Home", "End", "n", "c", "Tab", "Enter", " ", "Backspace", "x"];
  for (let n = 0; n < 200; n += 1) await page.keyboard.press(keys[random(keys.length)]);
  assert.equal((await on(page)).length, 1, "still one slide");
  assert.deepEqual(wrong, []);
  await close();
}

// The second window has the notes, and both go together.
{
  const { page, wrong, close } = await open(desk);
  const [second] = await Promise.all([page.waitForEvent("popup"), page.keyboard.press("w")]);
  await second.waitForSelector(".slide.on .notes");
  assert.ok(await second.locator(".slide.on .notes").isVisible(), "the second window shows the notes");
  await page.keyboard.press("ArrowRight");
  const [first] = await on(page);
  await second.waitForFunction((id) => document.querySelector(".slide.on").id === id, first);
  await second.keyboard.press("ArrowRight");
  const [next] = await on(second);
  await page.waitForFunction((id) => document.querySelector(".slide.on").id === id, next);
  if (shots) await second.screenshot({ path: `${shots}/deck-speaker.png` });
  assert.deepEqual(wrong, []);
  await close();
}

// Touch.
{
  const { page, wrong, close } = await open({ viewport: { width: 360, height: 740 }, hasTouch: true, isMobile: true });
  const client = await page.context().newCDPSession(page);
  const swipe = async (from, to) => {
    await client.send("Input.dispatchTouchEvent", { type: "touchStart", touchPoints: [from] });
    await client.send("Input.dispatchTouchEvent", { type: "touchMove", touchPoints: [to] });
    await client.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] });
  };
  const ids = await page.locator(".slide").evaluateAll((all) => all.map((slide) => slide.id));
  await swipe({ x: 300, y: 300 }, { x: 80, y: 310 });
  assert.deepEqual(await on(page), [ids[1]], "a swipe to the left is the next slide");
  await swipe({ x: 80, y: 300 }, { x: 300, y: 310 });
  assert.deepEqual(await on(page), [ids[0]], "and back");
  await swipe({ x: 200, y: 400 }, { x: 190, y: 150 });
  assert.deepEqual(await on(page), [ids[0]], "up and down is scrolling");
  assert.deepEqual(wrong, []);
  await close();
}

// Print: one slide a sheet, with its notes, also from the dark.
for (const colorScheme of ["light", "dark"]) {
  const { page, close } = await open({ ...desk, colorScheme });
  const pdf = await page.pdf({ format: "A4", preferCSSPageSize: true, printBackground: true });
  const sheets = pdf.toString("latin1").match(/\/Type\s*\/Page\b/g).length;
  assert.equal(sheets, count, `${sheets} sheets for ${count} slides`);
  await page.emulateMedia({ media: "print", colorScheme });
  const both = await page.locator(".slide").evaluateAll((all) => all.filter((slide) =>
    slide.querySelector("h2").offsetHeight > 0 && slide.querySelector(".notes p").offsetHeight > 0).length);
  assert.equal(both, count, "every sheet has its phrase and its notes");
  assert.equal(await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor), "rgb(255, 255, 255)");
  if (shots && colorScheme === "light") {
    const { writeFileSync } = await import("node:fs");
    writeFileSync(`${shots}/deck.pdf`, pdf);
  }
  await close();
}

// Without script all slides are there, one below the other, with their notes.
{
  const { page, close } = await open({ ...desk, javaScriptEnabled: false });
  const tops = await page.locator(".slide h2").evaluateAll((all) => all.map((head) => head.getBoundingClientRect().top)).catch(() => null);
  const visible = await page.locator(".slide h2:visible").count();
  assert.equal(visible, count);
  assert.equal(await page.locator(".slide .notes:visible").count(), count);
  assert.ok(tops === null || tops.every((top, n) => n === 0 || top > tops[n - 1]), "in their order");
  if (shots) await page.screenshot({ path: `${shots}/deck-no-script.png`, fullPage: true });
  await close();
}

await browser.close();
console.log(`the talk passed: ${count} slides`);
