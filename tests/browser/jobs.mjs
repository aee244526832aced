// The main jobs by keyboard alone: Tab, arrows, Enter and Space, and typing; on every step the focus can be
// seen. Once as browsers come, once without JavaScript, side by side.
//
//   node jobs.mjs DEMO.json    what `tallywright demo --json` printed
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { readFile } from "node:fs/promises";
import { howWritten, newcomers } from "./at_desk.mjs";
import { assert, check, counts, sees } from "./checks.mjs";
import { heats, proposals, slip, word } from "./jobs_gym.mjs";
import { file, late } from "./jobs_office.mjs";
import { account, appeal, claim, whatIf } from "./jobs_own.mjs";
import { choose, enter, follow, pick, signsIn, tick, to, type, write } from "./keyboard.mjs";
import { inTurn, open, signIn } from "./people.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
const base = demo.url;
const c = demo.competition;
const person = (role) => demo.sign_in.find((s) => s.role === role);

// Somebody of the desk with a mouse, who makes ready what a job is about.
const { page: aside } = await open(base);
await signIn(aside, person("staff"));
await aside.goto("/");
const running = (await aside.locator("p.lead a").first().getAttribute("href")).split("/").pop();
const written = await howWritten(aside, c, running);

// The gym's own whose names are shown: visitors have rows there too.
const entries = await (await aside.request.get(`/api/v1/competitions/${c}/entries`)).json();
const shown = new Set(entries.filter((e) => e.show_name && e.gym === person("staff").gym).map((e) => e.bib));

// Nothing is stored of two for each evening: what other walks leave is not counted on.
const EVENINGS = [["by keyboard", {}], ["by keyboard, without JavaScript", { javaScriptEnabled: false }]];
const { leave } = await newcomers(base, demo, person("staff").gym, 2 * EVENINGS.length);

// A row of the gym in the running workout that no other job is about.
const taken = new Set([person("athlete").bib]);
async function take(fits) {
  const { rows } = await (await aside.request.get(`/api/v1/competitions/${c}/workouts/${running}/scores?gym=${person("staff").gym}`)).json();
  const row = rows.find((r) => !taken.has(r.bib) && fits(r, rows));
  taken.add(row.bib);
  return row;
}

// --- what one job after the other is done with ------------------------------------------------

// As a browser comes in `options`, the nth of those that go side by side.
function kit(how, options, n) {
  const from = `127.0.2.${n + 1}`;
  const visitor = () => open(base, { ...options, from });
  const signed = new Map();
  // Each signs in once, by keyboard too, and goes on in the same window.
  const page = async (role) => {
    if (!signed.has(role)) signed.set(role, visitor().then(async (at) => (await signsIn(at.page, person(role)), at)));
    return (await signed.get(role)).page;
  };
  const close = async () => {
    for (const [role, at] of signed) {
      const { page, close } = await at;
      await check(`${how}: nothing odd happened to the ${role}`, async () => assert(page.odd.length === 0, page.odd.join("\n")));
      await close();
    }
  };
  return { how, n, base, c, person, page, visitor, aside, running, written, take, close, stamp: `${n + 1}-${Date.now()}` };
}

// --- the jobs ---------------------------------------------------------------------------------

function ownRow({ how, page }) {
  return check(`${how}: an athlete finds the own row`, async () => {
    const at = await page("athlete");
    const own = `/c/${c}/athletes/${person("athlete").bib}`;
    await at.goto("/");
    await follow(at, at.locator(`header a[href="${own}"], main a[href="${own}"]`).first());
    await follow(at, at.locator("dl.facts dd a").first());
    await at.locator("tr.own").first().waitFor({ state: "visible" });
  });
}

// Of whom the score is.
async function enters({ how, page }) {
  const { bib } = await take((row) => row.state === "missing");
  // No heats are made meanwhile: they change what a row asks.
  await check(`${how}: staff enter a score and vouch for it`, () => inTurn("heats", async () => {
    const at = await page("staff");
    const desk = `/desk/${c}/${person("staff").gym}`;
    await at.goto("/");
    await follow(at, at.locator(`header a[href="${desk}"]`));
    await follow(at, at.locator(`#r-${running}-${bib}[data-state="missing"] a[href*="${desk}/${running}/${bib}"]`).first());
    assert(new URL(at.url()).pathname === `${desk}/${running}/${bib}`, at.url());
    await type(at, at.locator("#performance"), written);
    await write(at, at.locator("#judge"), person("judge").judge);
    await enter(at);
    for (let n = 0; n < 4 && (await at.locator("input[name^=confirm-][type=checkbox]").count()) > 0; n += 1) {
      for (const box of await at.locator("input[name^=confirm-][type=checkbox]").all()) await tick(at, box);
      await follow(at, at.locator("form.stack button", { hasText: /^Save/ }).first());
    }
    await sees(at, /Placed \d+(st|nd|rd|th) of [\d,]+/);
  }));
  return bib;
}

function doubts({ how, page }, bib) {
  return check(`${how}: a referee doubts a score and rules on it`, async () => {
    const at = await page("referee");
    await at.goto("/");
    await follow(at, at.locator('header a[href="/referee"]').first());
    await sees(at, "Scores to check");
    await at.goto(`/referee/${c}/${running}/${bib}`);
    const flag = at.locator('form[action$="/flag"]');
    await pick(at, flag.locator("select"), "count");
    await type(at, flag.locator("textarea"), "Two reps short of full height.");
    await follow(at, flag.getByRole("button").last());
    await sees(at, "The doubt stands in the history now.");
    const ruling = at.locator('form[action$="/ruling"]');
    await choose(at, ruling.locator("#kind-stands"));
    await type(at, ruling.locator('[name="reason"]'), "Seen again: they count.");
    await follow(at, ruling.locator('button[value="rule"]'));
    await sees(at, "The ruling stands in the history now.");
  });
}

function finds({ how, visitor }) {
  return check(`${how}: anybody finds somebody by name, and a gym's rows`, async () => {
    const at = await visitor();
    const { page } = at;
    await page.goto("/");
    await follow(page, page.locator("main h2 a").first());
    await follow(page, page.locator("tbody th a").first());
    // Somebody of the second page, by name and bib.
    const first = await page.locator("tbody tr").first().getAttribute("id");
    await follow(page, page.getByRole("link", { name: "Next", exact: true }));
    assert((await page.locator(`#${first}`).count()) === 0, "the same page");
    const row = page.locator("tbody tr[id]").nth(20);
    const [id, name] = [await row.getAttribute("id"), await row.locator("th a").innerText()];
    await page.goBack();
    await type(page, page.getByLabel("Find somebody"), name);
    await enter(page);
    // Of namesakes the one who is meant is picked.
    const several = page.locator(".note li a", { hasText: `${name} · ${id.slice(1)}` });
    if (await several.count()) await follow(page, several);
    const at_row = new URL(page.url());
    assert(at_row.searchParams.get("bib") === id.slice(1) && at_row.hash === `#${id}`, page.url());
    assert((await page.locator(`#${id} th a`).innerText()) === name, "another row");
    await to(page, page.locator("summary", { hasText: "Only some of them" }));
    if (!(await page.getByLabel("Gym").isVisible())) await page.keyboard.press("Enter");
    await to(page, page.getByLabel("Gym"));
    await page.keyboard.press("ArrowDown");
    await follow(page, page.getByRole("button", { name: "Show" }));
    await sees(page, "Places are counted among these only.");
    await at.close();
  });
}

// From the slip to the end of the account.
async function oneAthlete(kit) {
  const top = (r, rows) => r.score.performance.combined > Math.max(...rows.map((x) => x.score?.performance.combined ?? 0)) - 4;
  const fresh = (r) => r.state === "attested" && !r.score.flag && !r.score.ruling && shown.has(r.bib) && !/^Athlete/.test(r.name);
  const row = await take((r, rows) => fresh(r) && !top(r, rows));
  const who = { bib: row.bib, name: row.name, text: row.score.performance.text };
  const email = `own-${kit.stamp}@athletes.example`;
  const { code } = await slip(kit, who);
  const at = await kit.visitor();
  await claim(kit, at, who, code, email);
  await whatIf(kit, at, who);
  await appeal(kit, at, who);
  await account(kit, at, who, email);
  await at.close();
}

async function evening(how, options, n) {
  const own = kit(how, options, n);
  await ownRow(own);
  const bib = await enters(own);
  await doubts(own, bib);
  await late(own);
  await finds(own);
  await heats(own);
  await proposals(own);
  await word(own);
  await oneAthlete(own);
  await file(own);
  await own.close();
}

await Promise.all(EVENINGS.map(([how, options], n) => evening(how, options, n)));
await leave();

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
