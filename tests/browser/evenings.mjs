// Whole evenings of those who work at no desk: the organiser's on a deadline, the referee's, a judge's, an
// athlete's from a slip of paper to the last click, each with the others whom it takes (gyms, referees), in one
// browser. Each in every look, with a gym, people and entries of its own; two go on side by side.
//
//   node evenings.mjs DEMO.json    what `tallywright demo --json` printed; after the other walks: it
//                                  enters people, and takes them out again
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { readFile } from "node:fs/promises";
import { gymsWithMostLeft, staffElsewhere, staffOf } from "./at_desk.mjs";
import { athletesEvening } from "./athlete.mjs";
import { LOOKS, counts } from "./checks.mjs";
import { judgesEvening } from "./judge.mjs";
import { organisersEvening } from "./organiser.mjs";
import { open } from "./people.mjs";
import { refereesEvening } from "./referee.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
const anybody = await open(demo.url);
await anybody.page.goto("/");
const running = (await anybody.page.locator("p.lead a").first().getAttribute("href")).split("/").pop();
await anybody.close();

// Of every look: the gym, and from where its people come.
const staff = [staffOf(demo)];
for (const gym of await gymsWithMostLeft(demo.url, demo, running, LOOKS.length - 1)) staff.push(await staffElsewhere(demo.url, demo, gym));
const from = (n) => `127.0.1.${n + 1}`;

// A phone in light beside a wide screen in dark, then the others.
async function pairs(evening) {
  for (const pair of [[0, 3], [1, 2]]) await Promise.all(pair.map((n) => evening(demo.url, demo, staff[n], LOOKS[n], from(n))));
}

await pairs(organisersEvening);
// These two have nothing to do with each other; referees would with referees, whose list is one.
await Promise.all([
  (async () => {
    for (const [n, look] of LOOKS.entries()) await refereesEvening(demo.url, demo, look, from(n));
  })(),
  judgesEvening(demo.url, demo),
]);
await pairs(athletesEvening);

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
