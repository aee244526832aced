// Whole evenings of those who work at no desk: the organiser's on a deadline, the referee's, a judge's, an
// athlete's from a slip of paper to the last click, each with the others whom it takes (gyms, referees), in one
// browser.
//
//   node evenings.mjs DEMO.json    what `tallywright demo --json` printed; after the other walks: it
//                                  enters people, and takes them out again
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { readFile } from "node:fs/promises";
import { athletesEvening } from "./athlete.mjs";
import { LOOKS, counts } from "./checks.mjs";
import { judgesEvening } from "./judge.mjs";
import { organisersEvening } from "./organiser.mjs";
import { refereesEvening } from "./referee.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
await organisersEvening(demo.url, demo);
// Each page that a walk comes to is looked at in every look; what is done there, on a phone and on a wide screen.
for (const look of [LOOKS[0], LOOKS[3]]) await refereesEvening(demo.url, demo, look);
await judgesEvening(demo.url, demo);
await athletesEvening(demo.url, demo);

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
