// By keyboard alone, at a gym: heats, codes for athletes, people proposed and what the organiser makes of them, and
// the own word of a judge.

import { assert, check, sees } from "./checks.mjs";
import { choose, enter, follow, pick, tick, to, type, unfold, write } from "./keyboard.mjs";
import { inTurn, send } from "./people.mjs";

/** Heats are made, moved, changed and taken away. */
export function heats({ how, base, c, person, page, running }) {
  const { gym } = person("staff");
  const desk = `/desk/${c}/${gym}`;
  // A gym has one plan of a workout.
  return check(`${how}: staff make heats, move them, change a lane and take them away`, () => inTurn("heats", async () => {
    const at = await page("staff");
    await at.goto(desk);
    await follow(at, at.locator(`a[href="${desk}/heats/${running}"]`).first());
    await write(at, at.locator("#lanes"), "0");
    await enter(at);
    await at.locator("#lanes-error-1").waitFor({ state: "visible" });
    await write(at, at.locator("#lanes"), "2");
    await write(at, at.locator("#minutes"), "20");
    await choose(at, at.locator("#judging-judges"));
    await choose(at, at.locator("input[name=judging]").last());
    await follow(at, at.locator("form", { has: at.locator("input[name=do][value=make]") }).getByRole("button"));
    const first = at.locator("section.heat").first();
    await first.getByRole("heading", { name: /^Heat 1, / }).waitFor({ state: "visible" });
    assert((await first.locator("tbody tr").count()) === 2, "as many lanes as were asked for");
    // They began a little earlier than was planned.
    await unfold(at, at.locator("summary", { hasText: "Heats run late" }));
    await write(at, at.locator("#late_heat"), "1");
    await write(at, at.locator("#late_minutes"), "0");
    await enter(at);
    await at.locator("#late_minutes-error-1").waitFor({ state: "visible" });
    await write(at, at.locator("#late_minutes"), "5");
    await choose(at, at.locator("#late_way-earlier"));
    await follow(at, at.getByRole("button", { name: "Move these heats" }));
    await sees(at, "Moved so far: from heat 1 on, earlier by 5 min");
    const change = at.locator("form", { has: at.locator("input[name=do][value=change]") });
    await unfold(at, at.locator("details", { has: change }).locator("> summary"));
    // Whose first two fields come first: into a heat of their own.
    const own = change.locator("fieldset").first();
    const bib = (await own.locator("input[id^=heat-]").getAttribute("id")).replace("heat-", "");
    await write(at, own.locator(`#heat-${bib}`), "400");
    await write(at, own.locator(`#lane-${bib}`), "2");
    await enter(at);
    const moved = at.locator("section.heat").last();
    await moved.getByRole("heading", { name: /^Heat 400, / }).waitFor({ state: "visible" });
    assert((await moved.locator("tbody th .under").innerText()) === bib, await moved.innerText());
    await unfold(at, at.locator("summary", { hasText: "Make them anew" }));
    await tick(at, at.locator("#sure-remove"));
    await follow(at, at.getByRole("button", { name: "Take the heats away" }));
    await sees(at, /^No heats yet/);
    assert((await at.locator("section.heat").count()) === 0, "they are still there");
    await at.goto(base);
  }));
}

/** A slip for somebody of the gym: what it says. */
export async function slip({ how, c, person, page }, { bib, name }) {
  const desk = `/desk/${c}/${person("staff").gym}`;
  const said = {};
  await check(`${how}: staff find an athlete and print a code`, async () => {
    const at = await page("staff");
    await at.goto(desk);
    await follow(at, at.locator(`a[href="${desk}/codes"]`), { back: true });
    await type(at, at.locator("#q"), name);
    await enter(at);
    await tick(at, at.locator(`#bib-${bib}`));
    await follow(at, at.getByRole("button", { name: "Codes for those ticked" }));
    const own = at.locator("ul.slips > li");
    assert((await own.count()) === 1, `${await own.count()} slips`);
    const [printed, code] = await own.locator("dd").allInnerTexts();
    assert(Number(printed) === bib && (await own.getByRole("heading").innerText()) === name, await own.innerText());
    said.code = code.trim();
    await follow(at, at.getByRole("link", { name: "All entries of the gym" }));
    await at.locator(`#bib-${bib}`).waitFor({ state: "visible" });
  });
  return said;
}

/** Whom the gym proposes is confirmed or not, and the one who was entered is taken out again. */
export async function proposals({ how, c, person, page, stamp }) {
  const { gym } = person("staff");
  const desk = `/desk/${c}/${gym}`;
  const home = `/organise/${c}`;
  const [wanted, other] = [`Ilse Kant ${stamp}`, `Odd Kant ${stamp}`];
  await check(`${how}: staff propose athletes and a colleague, and take one back`, async () => {
    const at = await page("staff");
    await at.goto(desk);
    await follow(at, at.locator(`a[href="${desk}/proposals"]`), { back: true });
    for (const name of [wanted, other]) {
      await unfold(at, at.locator("summary", { hasText: "An athlete" }));
      await write(at, at.locator("#entry-name"), name);
      await write(at, at.locator("#entry-born"), "1994-07-11");
      await pick(at, at.locator("#entry-category"), "women");
      await pick(at, at.locator("#entry-division"), "women");
      await follow(at, at.locator("form", { has: at.locator('input[value="entry"]') }).getByRole("button"));
      await sees(at, /^Proposed as number \d+/);
    }
    await unfold(at, at.locator("summary", { hasText: "Somebody for the desk" }));
    await write(at, at.locator("#staff-name"), `Ada Kant ${stamp}`);
    await write(at, at.locator("#staff-email"), `ada-${stamp}@${gym}.example`);
    await enter(at);
    await sees(at, /^Proposed as number \d+/);
    await follow(at, at.locator("tbody tr", { hasText: `Ada Kant ${stamp}` }).getByRole("button"));
    await sees(at, "Taken back. What you wrote is gone.");
    assert((await at.locator("main", { hasText: `Ada Kant ${stamp}` }).count()) === 0, "it is not gone");
  });
  await check(`${how}: the organiser confirms one, says why not the other, and the gym reads both`, async () => {
    const at = await page("organiser");
    await at.goto(home);
    await follow(at, at.locator(`main nav a[href="${home}/proposals"]`).last());
    const row = (name) => at.locator("tbody tr", { hasText: name });
    await tick(at, row(wanted).locator("input[type=checkbox]"));
    await follow(at, at.getByRole("button", { name: "Confirm those ticked" }));
    await sees(at, "Confirmed: 1.");
    await tick(at, row(other).locator("input[type=checkbox]"));
    await type(at, at.locator("#reason"), `Is entered already, ${stamp}.`);
    await follow(at, at.getByRole("button", { name: "Do not take those ticked" }));
    await sees(at, "Not taken: 1.");
    const desks = await page("staff");
    await desks.goto(`${desk}/proposals`);
    await sees(desks, `Is entered already, ${stamp}.`);
    await desks.goto(desk);
    await desks.locator("li", { hasText: wanted }).first().waitFor({ state: "attached" });
  });
  await check(`${how}: the organiser finds an entry, looks at what would become of it, and takes it out`, async () => {
    const at = await page("organiser");
    await at.goto(home);
    await follow(at, at.locator(`main nav a[href="${home}/lists/entries"]`));
    await type(at, at.locator("#q"), wanted);
    await enter(at);
    await follow(at, at.locator("tbody tr", { hasText: wanted }).getByRole("link").first());
    await pick(at, at.locator("#state"), "removed");
    await type(at, at.locator("#reason"), "Entered for a try.");
    await follow(at, at.locator('button[value="look"]'));
    await at.locator("#would").waitFor({ state: "visible" });
    await follow(at, at.getByRole("button", { name: "Do it" }));
    await sees(at, "Done. The standings are worked out anew.");
    const desks = await page("staff");
    await desks.goto(desk);
    assert((await desks.locator("li", { hasText: wanted }).count()) === 0, "still on the desk");
  });
}

/** A judge gives the own word for what the desk has stored. */
export function word({ how, c, page, person, aside, running, written, take }) {
  const { gym } = person("staff");
  const api = `/api/v1/competitions/${c}/workouts/${running}/scores`;
  return check(`${how}: a judge gives the own word for what was counted`, async () => {
    const { bib } = await take((row) => row.state === "missing");
    const stored = await send(aside, "PUT", `${api}/${bib}`, { performance: written, gym });
    assert(stored.status === 201 && stored.json.state === "entered", JSON.stringify(stored));
    const at = await page("judge");
    await at.goto("/");
    await follow(at, at.locator(`header a[href="/judge/${c}"]`));
    const box = at.locator(`input[name="a-${bib}"]`);
    const form = at.locator("form.vouch", { has: box });
    const folded = form.locator("details", { has: box });
    if (await folded.count()) await unfold(at, folded.locator("> summary"));
    await tick(at, box);
    const statement = form.getByLabel(/^I counted every result that is ticked myself/);
    await follow(at, form.getByRole("button"));
    await at.locator("#errors").getByText("Tick the statement too").waitFor({ state: "visible" });
    assert(await box.isChecked(), "the tick is lost");
    await tick(at, statement);
    await follow(at, form.getByRole("button"));
    await sees(at, "Your word is given: 1.");
    const score = await (await at.request.get(`${api}/${bib}`)).json();
    assert(score.attestation?.judge === person("judge").judge && score.attestation.how === "signed_in", JSON.stringify(score.attestation));
    await to(at, at.locator("summary", { hasText: "Stored under your code" }).first());
  });
}
