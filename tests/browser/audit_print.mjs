// The audit at four widths, in light, dark and print, in the middle of the season and at its end: nothing is wider than the
// window, axe-core finds nothing serious, no request, `--brief` is one sheet of A4 and of Letter, and on paper no heading is
// the last thing on a page, and no page is nearly empty.
//
// node audit_print.mjs FOLDER-WITH-PAGES [FOLDER for screenshots]; CHROMIUM names another browser.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { getDocument } from "pdfjs-dist/legacy/build/pdf.mjs";

const [folder, shots] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

async function accessible(page, where) {
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
  const serious = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
  assert.deepEqual(serious.map(({ id, nodes }) => `${id}: ${nodes.slice(0, 3).map((node) => node.html)}`), [], where);
}

/** The lines of each page of a PDF from the top down, each with its text and the height of its letters. */
async function lines(pdf) {
  const file = await getDocument({ data: new Uint8Array(pdf), verbosity: 0 }).promise;
  const pages = [];
  for (let number = 1; number <= file.numPages; number++) {
    const { items } = await (await file.getPage(number)).getTextContent();
    const rows = new Map();
    for (const { str, transform, height } of items.filter(({ str }) => str.trim())) {
      const y = Math.round(transform[5]);
      const row = rows.get(y) ?? { text: "", height: 0 };
      rows.set(y, { text: `${row.text} ${str}`.trim(), height: Math.max(row.height, height) });
    }
    pages.push([...rows].sort(([a], [b]) => b - a).map(([, row]) => row));
  }
  return pages;
}

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
  const headings = new Set(await page.evaluate(() =>
    [...document.querySelectorAll("h1, h2, h3, caption")].map((own) => own.textContent.trim().replace(/\s+/g, " "))));
  // Those of sections with more than a paragraph: the paragraph below them is not the last thing on a page, either.
  const sections = new Set(await page.evaluate(() =>
    [...document.querySelectorAll("section:has(table, figure, ol) > h2, .decision > h3")].map((own) => own.textContent.trim().replace(/\s+/g, " "))));
  for (const format of ["A4", "Letter"]) {
    const pages = await lines(await page.pdf({ format }));
    if (brief) {
      assert.equal(pages.length, 1, `${name} is one sheet of ${format}`);
      continue;
    }
    assert.ok(pages.length > 2, `${name} has ${pages.length} pages`);
    pages.forEach((rows, at) => {
      const text = rows.map(({ text }) => text);
      const foot = text.findIndex((own) => own.replace(/\s+/g, " ") === `page ${at + 1} of ${pages.length}`);
      assert.ok(foot >= 0, `${name}, ${format}, page ${at + 1} has its number: ${text.slice(-3)}`);
      const last = text.filter((_, row) => row !== foot).at(-1) ?? "";
      assert.ok(!headings.has(last.replace(/\s+/g, " ")), `${name}, ${format}, page ${at + 1} ends with the heading ${last}`);
      if (at + 1 === pages.length) return;
      const end = text.filter((_, row) => row !== foot).slice(-3).map((own) => own.replace(/\s+/g, " "));
      assert.ok(!end.some((own) => sections.has(own)), `${name}, ${format}, page ${at + 1} ends with a heading and its first words: ${end}`);
      assert.ok(text.length > 8, `${name}, ${format}, page ${at + 1} is nearly empty: ${text}`);
    });
  }
  await page.close();
}
await browser.close();
console.log("the audit passed at four widths, in the dark and on paper");
