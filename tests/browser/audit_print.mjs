// The audit at four widths, in light, dark and print, in the middle of the season and at its end: nothing is wider than the
// window, axe-core finds nothing serious, no request, `--brief` is one sheet of A4 and of Letter, and on paper no heading is
// the last thing on a page, and no page is nearly empty.
//
// node audit_print.mjs FOLDER-WITH-PAGES [FOLDER for screenshots]; CHROMIUM names another browser.
import assert from "node:assert/strict";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { accessible } from "./accessible.mjs";
import { checked, sheets, times } from "./paper.mjs";

const [folder, shots] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

for (const name of ["middle", "end", "middle--brief", "end--brief"]) {
  const url = pathToFileURL(resolve(folder, `${name}.html`)).href;
  const brief = name.endsWith("--brief");
  for (const [width, scheme] of [[320, "light"], [360, "light"], [768, "light"], [1280, "light"], [1280, "dark"]]) {
    const page = await browser.newPage({ viewport: { width, height: 900 }, colorScheme: scheme });
    const wrong = [];
    page.on("console", (message) => message.type() === "error" && wrong.push(message.text()));
    page.on("pageerror", (error) => wrong.push(error.message));
    page.on("request", (request) => request.url() !== url && wrong.push(`requested ${request.url()}`));
    await page.goto(url);
    const where = `${name}, ${width} px, ${scheme}`;
    const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(over <= 0, `${where}: the page is ${over} pixels wider than the window`);
    if (width !== 768) await accessible(page, where);
    if (shots && brief) await page.screenshot({ path: `${shots}/audit-${name}-${width}-${scheme}.png`, fullPage: true });
    assert.deepEqual(wrong, [], where);
    await page.close();
  }
  const page = await browser.newPage();
  await page.goto(url);
  await page.emulateMedia({ media: "print" });
  const headings = await page.evaluate(() => [...document.querySelectorAll("h1, h2, h3, caption, [open] > summary")].filter((own) => own.checkVisibility()).map((own) => own.textContent));
  await page.emulateMedia({ media: null });
  // Those of sections with more than a paragraph: the paragraph below them is not the last thing on a page, either.
  const sections = new Set(await page.evaluate(() =>
    [...document.querySelectorAll("section:has(table, figure, ol) > h2, .decision > h3")].map((own) => own.textContent.trim().replace(/\s+/g, " "))));
  for (const format of ["A4", "Letter"]) {
    const pages = await sheets(await page.pdf({ format }));
    if (brief) {
      assert.equal(pages.length, 1, `${name} is one sheet of ${format}`);
      continue;
    }
    // What is folded stays folded.
    assert.ok(pages.length > 2 && pages.length <= 14, `${name} has ${pages.length} sheets of ${format}`);
    checked(pages, headings, (at, all) => `page ${at} of ${all}`, `${name}, ${format}`);
    pages.forEach((rows, at) => {
      const text = rows.map(({ text }) => text);
      if (at + 1 === pages.length) return;
      const end = text.filter((own) => !/^page \d+ of \d+$/.test(own)).slice(-3).map((own) => own.replace(/\s+/g, " "));
      assert.ok(!end.some((own) => sections.has(own)), `${name}, ${format}, page ${at + 1} ends with a heading and its first words: ${end}`);
      assert.ok(text.length > 8, `${name}, ${format}, page ${at + 1} is nearly empty: ${text}`);
    });
  }
  if (!brief) {
    // A closed fold is no line, or says where its rows are.
    const closed = (await sheets(await page.pdf({ format: "A4" }))).flat().map(({ text }) => text);
    assert.ok(!closed.some((own) => /^[▸▶]|^Numbers$/.test(own.trim())), `${name}: a closed fold is printed`);
    // What is opened is printed open.
    const pages = async () => sheets(await page.pdf({ format: "A4" }));
    const [target, folded] = [await page.locator(".more-targets button.id").first().textContent(), await pages()];
    // A title has several lines, between which are those of other columns.
    const word = target.split(" ")[0];
    await page.locator(".more-targets summary").first().click();
    const opened = await pages();
    assert.ok(opened.length > folded.length, `${name}: ${folded.length} sheets, and ${opened.length} with an open fold`);
    assert.ok(times(opened, word) > times(folded, word), `${name}: ${target} is printed`);
  }
  await page.close();
}
await browser.close();
console.log("the audit passed at four widths, in the dark and on paper");
