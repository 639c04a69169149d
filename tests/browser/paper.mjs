// What is printed: the sheets of a PDF, and what must hold for all of them.
import assert from "node:assert/strict";
import { getDocument } from "pdfjs-dist/legacy/build/pdf.mjs";

/** The lines of each sheet of a PDF from the top down, each with its text and the height of its letters. */
export async function sheets(pdf) {
  const file = await getDocument({ data: new Uint8Array(pdf), verbosity: 0 }).promise;
  const all = [];
  for (let number = 1; number <= file.numPages; number++) {
    const { items } = await (await file.getPage(number)).getTextContent();
    const rows = new Map();
    for (const { str, transform, height } of items.filter(({ str }) => str.trim())) {
      const y = Math.round(transform[5]);
      const row = rows.get(y) ?? { text: "", height: 0 };
      rows.set(y, { text: `${row.text} ${str}`.trim(), height: Math.max(row.height, height) });
    }
    all.push([...rows].sort(([a], [b]) => b - a).map(([, row]) => row));
  }
  return all;
}

// Letters that are joined are a character of their own in a PDF, with spaces around it.
const plain = (text) => text.normalize("NFKC").replace(/\s+/g, "");

/** Asserts that every sheet has its number, written as `numbered` says, and that none of the headings is the last thing on it. */
export function checked(all, headings, numbered, where) {
  const names = new Set(headings.map(plain));
  all.forEach((rows, at) => {
    const text = rows.map(({ text }) => plain(text));
    const foot = text.indexOf(plain(numbered(at + 1, all.length)));
    assert.ok(foot >= 0, `${where}, sheet ${at + 1} has its number: ${text.slice(-3)}`);
    const last = text.filter((_, row) => row !== foot).at(-1) ?? "";
    assert.ok(!names.has(last), `${where}, sheet ${at + 1} ends with the heading ${last}`);
  });
}

/** How often a text is on the sheets. */
export const times = (all, text) => plain(all.flat().map(({ text }) => text).join("")).split(plain(text)).length - 1;
