// Writes two project roots: node page_roots.mjs NAMES LARGE
// NAMES has records that are called as things of the page, of a browser and of the language are; LARGE has 3,000 records.
import { mkdirSync, writeFileSync } from "node:fs";

const [names, large] = process.argv.slice(2);
const settings = `season: 2027
as-of: 2027-03-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
growth: {mass: {weighed: 0 %}}
`;
const write = (root, lines) => {
  mkdirSync(root, { recursive: true });
  writeFileSync(`${root}/tierod.yaml`, settings);
  writeFileSync(`${root}/car.yaml`, `${lines.join("\n")}\n`);
};

const words = `overview list places filter find search count every top records answer points risk due unproven budgets decisions
worth limits recent estimates chain constructor prototype proto to-string value-of history location document window name length
parent self status lead kind system form elements reset item children body head title here place bar skip page p`.split(/\s+/);
write(names, [
  "systems:",
  "  hidden: {title: __proto__, in: car, lead: toString}",
  "  undefined: {in: car, lead: constructor}",
  "parts:",
  ...words.map((word, at) => `  ${word}: {title: ${word === "to-string" ? "toString" : word}, in: ${at % 2 ? "hidden" : "undefined"}}`),
]);

const [systems, targets, parts] = [9, 995, 1992];
const serial = (count, line) => Array.from({ length: count }, (_, at) => line(at));
write(large, [
  "goals:",
  "  top: {title: Finish among the first eight, points: 60 pts, reason: It keeps the workshop., lead: team lead}",
  "events:",
  "  run: {title: Acceleration over 75 m, plan: 70 pts, lead: test lead, serves: {top: It is what is scored.}, reads: {time: run-time}, score: {formula: 100 * 3.5 / time * unit, given: {unit: 1 s}}}",
  "targets:",
  "  run-time: {title: Time over 75 m, of: car, at-most: 4.3 s, formula: 4 * one + car-mass / kilo, given: {one: 1 s, kilo: 1000 kg/s}, lead: test lead, serves: {run: It scores.}, verify: {by: test, with: timing gates, due: 2027-05-01}}",
  "  car-mass: {title: Mass of the car, of: car, at-most: 205 kg, total: mass, lead: chief engineer, serves: {run-time: A kilogram costs 1 ms.}}",
  ...serial(targets, (at) => `  target-${at}: {title: Stiffness of the joint number ${at}, of: sys-${at % systems}, at-least: 3 kN/mm, estimate: 3.2 kN/mm ± 0.1 kN/mm, serves: {run-time: A soft joint number ${at} loses grip in every corner.}, verify: {by: test, with: rig, due: 2027-06-01}}`),
  "systems:",
  ...serial(systems, (at) => `  sys-${at}: {title: System number ${at}, in: car, lead: lead ${at}}`),
  "parts:",
  ...serial(parts, (at) => `  part-${at}: {title: Bracket number ${at}, in: sys-${at % systems}, count: 2, amounts: {mass: {value: 0.02 kg, basis: weighed}, cost: 3 EUR}, serves: {target-${at % targets}: It holds joint ${at} where the load comes in., car-mass: Every gram counts.}}`),
]);
