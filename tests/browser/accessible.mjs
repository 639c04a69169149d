// Asks axe-core (rules of WCAG 2.2 A and AA) whether a page has anything serious.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export async function accessible(page, where) {
  // The policy of the page allows no other script: this one comes over the debugging protocol, as evaluated code.
  await page.evaluate(axe);
  const violations = await page.evaluate(async () => {
    const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
    return (await window.axe.run(document, { resultTypes: ["violations"], runOnly: tags })).violations;
  });
  const serious = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
  const lines = serious.map(({ id, nodes }) => `${id}: ${nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ")}`);
  assert.deepEqual(lines, [], where);
}
