// The walk in a real browser: staff enter a score and see its place, a referee doubts it and rules,
// an athlete finds the own row; and every page on the way is looked at by axe.
//
//   node walk.mjs DEMO.json      what `tallywright demo --json` printed
//   SHOTS=FOLDER                 keeps a picture of every page
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { readFile } from "node:fs/promises";
import { gymsForAnEvening, staffElsewhere, staffOf } from "./at_desk.mjs";
import { EVENINGS, assert, check, counts, during, kept, light, sees, sound } from "./checks.mjs";
import { deskCorrections } from "./correct.mjs";
import { deskEvening } from "./desk.mjs";
import { inGerman } from "./german.mjs";
import { gridEvening } from "./grid.mjs";
import { heatsEvening } from "./heats.mjs";
import { lateAnswers } from "./late_answers.mjs";
import { open, signIn, watch } from "./people.mjs";
import { deskRows } from "./rows.mjs";
import { countdowns } from "./time.mjs";
import { walls } from "./wall.mjs";

const told = process.argv[2] ? await readFile(process.argv[2], "utf8") : process.env.DEMO;
if (!told) {
  console.error("usage: node walk.mjs DEMO.json, or DEMO='{\"url\": …}' node walk.mjs");
  process.exit(2);
}
const demo = JSON.parse(told);
const base = demo.url;
const person = (role) => demo.sign_in.find((s) => s.role === role);
const [staff, referee, athlete] = ["staff", "referee", "athlete"].map(person);
const series = `/c/${demo.competition}`;

// --- anybody ----------------------------------------------------------------------------------

const anybody = await open(base);
let running, workouts, divisions;

await check("the first page leads to the competition and the running workout", async () => {
  await anybody.page.goto("/");
  await sees(anybody.page, "running now");
  running = (await anybody.page.locator("p.lead a").first().getAttribute("href")).split("/").pop();
  await anybody.page.getByRole("heading", { level: 2 }).getByRole("link").first().click();
  assert(new URL(anybody.page.url()).pathname === series, anybody.page.url());
});
workouts = await anybody.page.locator("section h3 a, .lines h3 a").evaluateAll((links) => links.map((a) => a.getAttribute("href")));
divisions = await anybody.page.locator("tbody th a").evaluateAll((links) => links.map((a) => a.getAttribute("href")));
await anybody.page.goto("/");

for (const href of workouts) {
  await check(`${href} carries the cautions`, async () => {
    await anybody.page.goto(href);
    await sees(anybody.page, "Before you start");
  });
}
await check("standings name who is first, and the next page goes on", async () => {
  await anybody.page.goto(divisions[0]);
  await sees(anybody.page, "1st");
  const next = anybody.page.getByRole("link", { name: "Next", exact: true });
  const first = await anybody.page.locator("tbody tr").first().getAttribute("id");
  await next.click();
  assert((await anybody.page.locator("tbody tr").first().getAttribute("id")) !== first, "the same rows again");
  await anybody.page.goBack();
});
await check("a scope counts places among its own", async () => {
  await anybody.page.getByText("Only some of them").click();
  await anybody.page.getByLabel("Gym").selectOption({ index: 1 });
  await anybody.page.getByRole("button", { name: "Show" }).click();
  await sees(anybody.page, "Places are counted among these only.");
  await sees(anybody.page, "in the whole division");
});
await check("without the open workouts there is a column less", async () => {
  await anybody.page.goto(divisions[0]);
  const columns = () => anybody.page.locator("thead th").count();
  const all = await columns();
  await anybody.page.getByText("Only some of them").click();
  await anybody.page.getByLabel("Open workouts").selectOption("without");
  await anybody.page.getByRole("button", { name: "Show" }).click();
  assert((await columns()) === all - 1, "as many columns as before");
});
await check("nobody of that name, several, or one", async () => {
  const { page } = anybody;
  const find = async (text) => {
    await page.goto(divisions[0]);
    await page.getByLabel("Find somebody").fill(text);
    await page.getByRole("button", { name: "Show" }).click();
    await page.waitForURL((url) => url.searchParams.has("q") || url.searchParams.has("bib"));
  };
  // Where one is meant: their row on the page that has it.
  const found = async (id, name) => {
    await page.waitForURL((url) => url.searchParams.get("bib") === id.slice(1) && url.hash === `#${id}`);
    assert((await page.locator(`#${id} th a`).innerText()) === name, "another row");
  };
  await find("zzqzz");
  await sees(page, "is in this division");
  // Those of the second page: nobody sees them without looking.
  await page.goto(divisions[0]);
  const first = await page.locator("tbody tr").first().getAttribute("id");
  await page.getByRole("link", { name: "Next", exact: true }).click();
  await page.locator(`#${first}`).waitFor({ state: "detached" });
  const rows = await page.locator("tbody tr[id]").evaluateAll((all) => all.map((row) => [row.id, row.querySelector("th a").textContent.trim()]));
  const seen = (name) => rows.filter(([, other]) => other === name).length;
  let one, said;
  for (const [id, name] of rows.filter(([, name]) => seen(name) === 1)) {
    await find(name);
    one = [id, name];
    said = await page.getByText(/ fit /).filter({ visible: true }).count();
    if (said === 0) break;
  }
  assert(one && said === 0, "everybody on this page has a namesake");
  await found(...one);
  // Many have the same first name: who is meant is asked.
  const [id, name] = one;
  await find(name.split(" ")[0]);
  await sees(page, /^(Several|Many) fit /);
  const offered = page.locator(".note li a");
  assert((await offered.count()) > 1, "one is offered");
  const bib = (await offered.first().innerText()).split(" · ")[1].trim();
  const called = (await offered.first().innerText()).split(" · ")[0].trim();
  await offered.first().click();
  await found(`b${bib}`, called);
  assert(id !== `b${bib}` || called === name, "another row");
});
await check("an athlete's page says every workout", async () => {
  await anybody.page.goto(divisions[0]);
  await anybody.page.locator("tbody th a").first().click();
  for (const summary of await anybody.page.locator("summary").all()) await summary.click();
  await sees(anybody.page, "Score entered");
});
await anybody.page.goto("/signin/link?code=not-a-code");
await check("a used link is told", async () => {
  await anybody.page.getByRole("button", { name: "Sign in" }).click();
  await sees(anybody.page, "This link has been used or is too old.");
});
await anybody.page.goto(`${series}/nothing`);
await sound(anybody.page, "problem");
await check("a wrong password is told beside the form", async () => {
  await anybody.page.goto("/signin");
  await anybody.page.getByLabel("E-mail").fill(staff.email);
  await anybody.page.getByLabel("Password", { exact: true }).fill("not the password");
  await anybody.page.getByRole("button", { name: "Sign in" }).click();
  await sees(anybody.page, "do not fit together");
});
await check("the desk asks to sign in first, and the skip link comes first", async () => {
  await anybody.page.goto(`/desk/${demo.competition}/${staff.gym}`);
  assert(new URL(anybody.page.url()).pathname === "/signin", anybody.page.url());
  await anybody.page.keyboard.press("Tab");
  assert((await anybody.page.evaluate(() => document.activeElement.className)) === "skip", "the skip link");
});
const style = await anybody.page.locator("link[rel=stylesheet]").getAttribute("href");
await kept(base, style);
for (const path of ["/", series, divisions[0], `${divisions[0]}/workouts/${running}`, workouts[0]]) await light(base, path, [style]);
await anybody.close();
await countdowns(base, demo);

// --- staff ------------------------------------------------------------------------------------

const desk = `/desk/${demo.competition}/${staff.gym}`;
const atDesk = await open(base);
const page = atDesk.page;
let written, bib, athletesPage;

await check("staff sign in and come back to their desk", async () => {
  await signIn(page, staff);
  await page.goto(desk);
  await sees(page, "settled");
});
await check("how to write a result stands on the brief", async () => {
  await page.goto(`${series}/workouts/${running}`);
  const rows = page.locator("table", { has: page.getByText("How to write a result") }).locator("tbody th");
  written = (await rows.first().innerText()).trim();
});

const missing = () => page.locator(`section[aria-labelledby="w-${running}"] li`, { hasText: "Missing" }).getByRole("link");
const save = () => page.getByRole("button", { name: /^Save/ }).click();
async function answerQuestions() {
  while ((await page.locator("input[name^=confirm-][type=checkbox]").count()) > 0) {
    for (const box of await page.locator("input[name^=confirm-][type=checkbox]").all()) await box.check();
    await save();
  }
}

await check("figures that cannot be are told beside the field, and nothing typed is lost", async () => {
  await page.goto(desk);
  await missing().first().click();
  bib = new URL(page.url()).pathname.split("/").pop();
  await page.getByLabel("Result").fill("lots");
  await page.getByLabel("Judge", { exact: true }).fill("J-none");
  await save();
  await page.locator("#errors a").first().click();
  assert((await page.evaluate(() => document.activeElement.id)) === "performance", "the summary leads to the field");
  assert((await page.getByLabel("Result").inputValue()) === "lots", "what was typed is there");
});
await sound(page, "score form with faults");
await check("a score is entered and its place is seen", async () => {
  await page.getByLabel("Result").fill(written);
  await page.getByLabel("Judge", { exact: true }).fill(person("judge").judge);
  await page.getByLabel("Sheet", { exact: true }).fill("B7");
  await save();
  await answerQuestions();
  await sees(page, /Placed \d+(st|nd|rd|th) of [\d,]+/);
});
await sound(page, "desk with a place");
await check("the next athlete's form remembers the judge", async () => {
  await page.getByRole("link", { name: /^Next:/ }).click();
  assert((await page.getByLabel("Judge", { exact: true }).inputValue()) === person("judge").judge, "the judge's code");
});
await check("not taking part is stated and taken back", async () => {
  const form = page.url();
  await page.getByRole("button", { name: "Takes no part" }).click();
  await sees(page, "Noted: takes no part");
  await page.goto(form);
  await page.getByRole("button", { name: "Takes part after all" }).click();
  await sees(page, "is on the list again");
});
await check("when somebody was quicker, theirs and ours are shown, and saving again is on purpose", async () => {
  const second = await atDesk.context.newPage();
  watch(second, base);
  const form = `${desk}/${running}/${bib}`;
  await page.goto(form);
  await second.goto(form);
  // The first digit one and two less: other figures, and still possible ones.
  const less = (n) => written.replace(/\d/, (digit) => String(Math.max(0, Number(digit) - n)));
  await second.getByLabel("Result").fill(less(1));
  await second.getByRole("button", { name: /^Save/ }).click();
  await second.waitForURL(/saved=/);
  await page.getByLabel("Result").fill(less(2));
  await page.getByLabel("Judge", { exact: true }).fill(person("judge").judge);
  await save();
  await sees(page, "Somebody changed this score meanwhile");
  await sees(page, less(1));
  assert((await page.getByLabel("Result").inputValue()) === less(2), "ours is still in the field");
  await sound(page, "score form in conflict");
  await save();
  await answerQuestions();
  await page.waitForURL(/saved=/);
  await second.close();
});
await check("an account shows its roles, and issues a token once", async () => {
  await page.goto("/account");
  await page.getByLabel("Name", { exact: true }).fill("the clock at the rig");
  await page.getByRole("button", { name: "Issue a token" }).click();
  await sees(page, "Copy it now");
  await sound(page, "account");
  await page.getByRole("button", { name: /^Revoke/ }).first().click();
  await sees(page, "The token is revoked.");
});
await check("staff of one gym do not reach another's desk, nor what referees see", async () => {
  const gyms = await (await page.request.get(`/api/v1/competitions/${demo.competition}/gyms`)).json();
  const other = gyms.find((gym) => gym.slug !== staff.gym).slug;
  const status = async (path) => (await page.goto(path)).status();
  assert((await status(desk)) === 200, "the own desk");
  for (const path of [`/desk/${demo.competition}/${other}`, `/referee/${demo.competition}/${running}/${bib}`]) {
    const told = await status(path);
    assert(told === 403, `${path}: ${told}`);
  }
});
await check("staff sign out", async () => {
  await page.getByRole("link", { name: "Tallywright" }).click();
  await page.getByRole("button", { name: "Sign out" }).click();
  await sees(page, "You are signed out.");
});
await atDesk.close();
// On a phone and on a wide screen, each at a gym of its own, where nobody has been at work.
const elsewhere = await gymsForAnEvening(base, demo, running, EVENINGS.length - 1);
async function evening(look, n) {
  const who = n === 0 ? staffOf(demo) : await staffElsewhere(base, demo, elsewhere[n - 1]);
  await deskEvening(base, demo, who, look);
  await deskRows(base, demo, who, look);
  await deskCorrections(base, demo, who, look);
  await lateAnswers(base, demo, who, look);
  if (look.width >= 1024) await gridEvening(base, demo, who, look);
  await heatsEvening(base, demo, who, look);
}
// Side by side, as each waits more than it works.
await Promise.all(EVENINGS.map((look, n) => during.run(`${look.width} px, ${look.scheme}`, () => evening(look, n))));
await walls(base, demo);

// --- a referee --------------------------------------------------------------------------------

const checking = await open(base);
await check("a referee finds what waits", async () => {
  await signIn(checking.page, referee);
  await checking.page.goto("/referee");
  await sees(checking.page, "Being checked");
});
await check("a score is doubted, and everybody sees that it is being checked", async () => {
  const button = checking.page.getByRole("button", { name: "Open a score" });
  const one = checking.page.locator("form", { has: button }).first();
  await one.getByLabel("Bib").fill(bib);
  await one.getByLabel("Workout", { exact: true }).selectOption(running);
  await one.getByRole("button", { name: "Open a score" }).click();
  await checking.page.getByLabel("What is in doubt").selectOption("count");
  await checking.page.getByLabel("What you saw").fill("Two reps short of full height.");
  await checking.page.getByRole("button", { name: "Mark as being checked" }).click();
  await sees(checking.page, "The doubt stands in the history now.");
  athletesPage = `${series}/athletes/${bib}`;
  await checking.page.goto(athletesPage);
  await sees(checking.page, "Being checked");
});
await check("a ruling without a decision is refused, with everything typed kept", async () => {
  await checking.page.goto(`/referee/${demo.competition}/${running}/${bib}`);
  await checking.page.getByLabel("Reason, public").fill("Two reps did not meet the standard.");
  await checking.page.getByRole("button", { name: "Rule", exact: true }).click();
  await sees(checking.page, "Choose a decision.");
  assert((await checking.page.getByLabel("Reason, public").inputValue()).startsWith("Two reps"), "the reason is there");
});
await sound(checking.page, "review");
await check("what would move is shown before the ruling, then it is given", async () => {
  await checking.page.getByLabel("Strike it: no place").check();
  await checking.page.getByRole("button", { name: "Show what would move" }).click();
  await sees(checking.page, /If struck: [\d,]+ places? and [\d,]+ standings?/);
  await checking.page.getByLabel("The score stands").check();
  await checking.page.getByRole("button", { name: "Rule", exact: true }).click();
  await sees(checking.page, "The ruling stands in the history now.");
  await sees(checking.page, "Ruling: the score stands");
});
await check("a score is struck, and its athlete reads why", async () => {
  await checking.page.getByLabel("Strike it: no place").check();
  await checking.page.getByLabel("Reason, public").fill("The load was not the published one.");
  await checking.page.getByRole("button", { name: "Rule", exact: true }).click();
  await sees(checking.page, "The ruling stands in the history now.");
  await checking.page.goto(athletesPage);
  await sees(checking.page, "Struck");
  await sees(checking.page, "The load was not the published one.");
});
await sound(checking.page, "athlete with a ruling");
await checking.close();

// --- an athlete -------------------------------------------------------------------------------

const own = await open(base);
await check("an athlete finds the own row", async () => {
  await signIn(own.page, athlete);
  await own.page.goto(`${series}/athletes/${athlete.bib}`);
  await own.page.locator("dl.facts dd a").first().click();
  await own.page.locator("tr.own").first().waitFor({ state: "visible" });
  await sees(own.page, "You");
  const row = await own.page.locator("tr.own").first().innerText();
  assert(row.includes(String(athlete.bib)), row);
});
await sound(own.page, "standings with the own row");
await check("find me by bib leads to the page that holds it", async () => {
  // From the first page, which does not.
  const list = new URL(own.page.url()).pathname;
  await own.page.goto(`${list}?from=1`);
  assert((await own.page.locator(`#b${athlete.bib}`).count()) === 0, "the own row is on the first page");
  await own.page.getByLabel("Find somebody").fill(String(athlete.bib));
  await own.page.getByRole("button", { name: "Show" }).click();
  await own.page.locator(`#b${athlete.bib}`).waitFor({ state: "visible" });
  assert(new URL(own.page.url()).searchParams.get("bib") === String(athlete.bib), own.page.url());
});
await own.close();

await inGerman(base, demo);

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed === 0 ? 0 : 1);
