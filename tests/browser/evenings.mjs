// Whole evenings of those who work at no desk: the organiser's on a deadline, the referee's, a judge's, an
// athlete's from a slip of paper to the last click, each with the others whom it takes (gyms, referees), in one
// browser. Each on a phone and on a wide screen side by side, with a gym, people and entries of its own.
//
//   node evenings.mjs DEMO.json    what `tallywright demo --json` printed; after the other walks: it
//                                  enters people, and takes them out again
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { readFile } from "node:fs/promises";
import { gymsForAnEvening, staffElsewhere, staffOf } from "./at_desk.mjs";
import { athletesEvening } from "./athlete.mjs";
import { EVENINGS, counts } from "./checks.mjs";
import { judgesEvening } from "./judge.mjs";
import { organisersEvening } from "./organiser.mjs";
import { open } from "./people.mjs";
import { refereesEvening } from "./referee.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
const anybody = await open(demo.url);
await anybody.page.goto("/");
const running = (await anybody.page.locator("p.lead a").first().getAttribute("href")).split("/").pop();
await anybody.close();

// Of each: the gym, and from where its people come.
const staff = [staffOf(demo)];
for (const gym of await gymsForAnEvening(demo.url, demo, running, EVENINGS.length - 1)) staff.push(await staffElsewhere(demo.url, demo, gym));
const from = (n) => `127.0.1.${n + 1}`;

const both = (evening) => Promise.all(EVENINGS.map((look, n) => evening(demo.url, demo, staff[n], look, from(n))));

await both(organisersEvening);
// These two have nothing to do with each other; referees would with referees, whose list is one.
await Promise.all([
  (async () => {
    for (const [n, look] of EVENINGS.entries()) await refereesEvening(demo.url, demo, look, from(n));
  })(),
  judgesEvening(demo.url, demo),
]);
await both(athletesEvening);

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
