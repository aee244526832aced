// The referee's evening, in one look: the list narrowed and turned, a score taken off the
// places until there is a ruling, reps taken off with the tiebreak that is right then, another result put,
// and what each would move looked at first.

import { assert, checksIn, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

export async function refereesEvening(base, demo, look, from) {
  const check = checksIn(look);
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const c = demo.competition;
  const api = `/api/v1/competitions/${c}`;
  const { page, close } = await open(base, { look, from });
  const get = async (path) => (await page.request.get(`${api}${path}`)).json();
  const figure = () => page.locator("main .figure").first().innerText();
  const state = () => page.locator("main .state").first().innerText();
  const preview = () => page.getByRole("button", { name: "Show what would move" }).click();
  const rule = async (reason) => {
    await page.getByLabel("Reason, public").fill(reason);
    await page.getByRole("button", { name: "Rule", exact: true }).click();
    await sees(page, "The ruling stands in the history now.");
  };

  await check("a referee signs in, and is where doubts wait", async () => {
    await signIn(page, person("referee"));
    assert(new URL(page.url()).pathname === "/referee", page.url());
    await sees(page, "Scores to check");
  });
  await check("the list is narrowed by what is in doubt, and shown whole again", async () => {
    const waiting = page.locator("main ul.lines > li");
    const all = await waiting.count();
    await page.locator("summary", { hasText: "Only some of them" }).click();
    const choice = page.locator("form.filter select[name=doubt]");
    const value = await choice.locator("option").nth(1).getAttribute("value");
    await choice.selectOption(value);
    await page.locator("form.filter").first().getByRole("button").click();
    const some = await waiting.count();
    assert(some > 0 && some < all, `${some} of ${all}`);
    await page.getByRole("link", { name: "Show all" }).click();
    assert((await waiting.count()) === all, "not all of them");
  });

  // Two with a place and a tiebreak, whom nobody has doubted.
  const { rows } = await get("/divisions/men/workouts/w1/places?limit=60");
  const clean = [];
  for (const { bib } of rows.slice(20)) {
    if (clean.length === 2) break;
    const score = await get(`/workouts/w1/scores/${bib}`);
    if (score.state === "attested" && /^\d+\+\d+ tb/.test(score.performance.text) && !score.flag && !score.ruling) clean.push(bib);
  }
  const [held, put] = clean;

  await check("a score is taken off the places until there is a ruling", async () => {
    await page.goto(`/referee/${c}/w1/${held}`);
    await sees(page, /^If struck: /);
    await page.getByLabel("What is in doubt").selectOption("range_of_motion");
    await page.getByLabel("What you saw").fill("Hips below full height in the second round.");
    await page.getByLabel("Take it off the places until there is a ruling").check();
    await page.getByRole("button", { name: "Mark as being checked" }).click();
    await sees(page, "The doubt stands in the history now.");
    const places = await get(`/divisions/men/workouts/w1/places?bib=${held}`);
    const own = places.rows.find((r) => r.bib === held);
    assert(!own || own.place === null || own.place === undefined, "it still has a place");
  });
  await check("what would move is told for a score without a place too, and what a decision lacks", async () => {
    await sees(page, /^With .+: \d+\w* in .+ of others change\.$/);
    assert((await page.getByText(/^If struck: /).count()) === 0, "it has no place to lose");
    await preview();
    await sees(page, "Choose a decision.");
    await page.getByLabel("Take reps off").check();
    await preview();
    await page.locator("#errors").waitFor({ state: "visible" });
    await sound(page, "a look at a decision that lacks a number");
  });
  await check("reps are taken off, with the tiebreak that is right then; the athlete reads both figures", async () => {
    const before = await figure();
    const [, rounds, reps] = /^(\d+)\+(\d+)/.exec(before).map(Number);
    await page.getByLabel("Take reps off").check();
    // One more than were done of the last round: the time of the round before it is needed.
    await page.locator("#reps").fill(String(reps + 1));
    await page.locator("#tiebreak").fill("");
    await preview();
    await page.locator("#tiebreak-error-1").waitFor({ state: "visible" });
    await page.locator("#tiebreak").fill("8:30");
    await preview();
    await sees(page, /^With .+: \d+\w* in /);
    await rule("One rep of the second round was too low.");
    const after = await figure();
    const left = /^(\d+)\+(\d+) tb 8:30/.exec(after)?.map(Number);
    assert(left?.[1] === rounds - 1, `${before}, then ${after}`);
    await page.goto(`/c/${c}/athletes/${held}`);
    await sees(page, "One rep of the second round was too low.");
    await page.locator('section[aria-labelledby="w-w1"] summary', { hasText: "History" }).click();
    await sees(page, "Ruling: reps deducted");
  });
  await check("another result is put in its place", async () => {
    await page.goto(`/referee/${c}/w1/${put}`);
    const before = await figure();
    const [, rounds] = /^(\d+)\+/.exec(before).map(Number);
    const text = `${rounds - 1}+3 tb 9:30`;
    await page.getByLabel("Put another result").check();
    await page.locator("#performance").fill("a few");
    await preview();
    await page.locator("#performance-error-1").waitFor({ state: "visible" });
    await page.locator("#performance").fill(text);
    await preview();
    await sees(page, new RegExp(`^With ${rounds - 1}\\+3 .+: \\d+\\w* in `));
    await rule("The sheet has a round less than was typed.");
    assert((await figure()).startsWith(`${rounds - 1}+3`), await figure());
    assert((await state()) !== "Attested", await state());
    await sound(page, "a score after its ruling");
  });
  await check("nothing odd happened on the referee's way", async () => {
    const odd = page.odd;
    assert(odd.length === 0, odd.join("\n"));
  });
  await close();
}
