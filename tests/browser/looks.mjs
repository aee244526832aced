// That every stop has its pictures in tests/looks, and every picture its stop. Needs no browser and no service.
//
//   node looks.mjs REPOSITORY
//
// Ends with 1 where some are missing or too many: `tests/run looks` takes all of them anew.

import { readdir } from "node:fs/promises";
import { pictures } from "./names.mjs";
import { stopsOf } from "./stops.mjs";

const [, , repository] = process.argv;
// What the addresses have in them is not in the names.
const wanted = pictures(stopsOf({ c: "c", gym: "gym", bib: 1, running: "w", done: 2, repository }));
const there = await readdir(`${repository}/tests/looks`);

const told = [
  ["two stops of one name", wanted.filter((file, n) => wanted.indexOf(file) !== n)],
  ["a stop without its picture", wanted.filter((file) => !there.includes(file))],
  ["a picture without its stop", there.filter((file) => !wanted.includes(file))],
];
for (const [what, files] of told) for (const file of files) console.log(`${what}: ${file}`);
const wrong = told.reduce((sum, [, files]) => sum + files.length, 0);
console.log(`${wanted.length} pictures, ${wrong} wrong`);
process.exit(wrong ? 1 : 0);
