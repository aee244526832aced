// The desk of a gym that has heats: a heat says when its results were done and who counted, heats that are moved and
// changed while it is open, two people at one heat, results that come late, results as a file; and the whole of it by
// plain forms.

import { Desk, Row, howWritten } from "./at_desk.mjs";
import { assert, check, comes, sees, sound } from "./checks.mjs";
import { open } from "./people.mjs";

export async function heatsEvening(base, demo, staff, look) {
  const { judge } = staff;
  const at = await open(base, { look });
  const { page } = at;
  await staff.enter(page);
  const desk = await Desk.find(page, demo.competition, staff.gym);
  const { address, workout } = desk;

  const section = (slug) => page.locator(`section[data-workout="${slug}"]`);
  const score = async (bib) => (await page.request.get(`/api/v1/competitions/${demo.competition}/workouts/${workout}/scores/${bib}`)).json();

  await check("heats are made from the desk, and its rows stand in their order", async () => {
    await desk.section.getByRole("link", { name: "Heats" }).click();
    const start = page.getByLabel("First start");
    // Half a day ago: all of them have begun.
    const ago = new Date(Date.parse(`${await start.inputValue()}:00Z`) - 12 * 3600_000).toISOString().slice(0, 16);
    await page.getByLabel("Lanes", { exact: true }).fill("2");
    await page.getByLabel("Minutes apart").fill("10");
    await start.fill(ago);
    await page.getByLabel("The gym's judges in turn").check();
    await page.getByRole("button", { name: "Make the heats" }).click();
    await page.getByRole("heading", { name: /^Heat 1, / }).waitFor();
    await page.getByRole("link", { name: "Back to the desk" }).click();
    const titles = await desk.section.locator("h4", { hasText: /^Heat \d/ }).allInnerTexts();
    const numbers = titles.map((t) => Number(/^Heat (\d+), /.exec(t)?.[1]));
    assert(titles.length > 3 && numbers.every((n, i) => i === 0 || n > numbers[i - 1]), titles.join(" | "));
    const turns = await desk.missing.evaluateAll((all) => all.map((li) => li.dataset.turn.split(".").map(Number)));
    assert(turns.every(([heat, lane], i) => i === 0 || heat > turns[i - 1][0] || (heat === turns[i - 1][0] && lane > turns[i - 1][1])), turns.join(" "));
  });
  await sound(page, "desk with heats");
  await check("somebody of another gym gets a lane by the bib, is on the desk's list, and is taken out again", async () => {
    const standings = await page.request.get(`/api/v1/competitions/${demo.competition}/divisions/women/standings?limit=100`);
    const { bib, name } = (await standings.json()).rows.find((row) => row.gym && row.gym !== staff.gym);
    const change = async (does) => {
      await page.goto(`${address}/heats/${workout}`);
      const form = page.locator("form", { has: page.locator('input[name=do][value=change]') });
      await page.locator("details", { has: form }).locator("> summary").click();
      await does();
      await comes(page, () => form.getByRole("button").click());
    };
    let heat;
    await change(async () => {
      const titles = await page.locator("section.heat h2").allInnerTexts();
      heat = 1 + Math.max(...titles.map((title) => Number(/\d+/.exec(title)[0])));
      for (const [field, value] of Object.entries({ bib: `#${bib}`, heat: `${heat}`, lane: "1", judge })) await page.locator(`#visitor_${field}`).fill(value);
    });
    const lanes = await page.locator("section.heat", { hasText: `Heat ${heat},` }).innerText();
    assert(lanes.includes(name) && lanes.includes("from another gym"), lanes);
    await page.goto(address);
    const row = new Row(page, `r-${workout}-${bib}`);
    assert((await row.judge.inputValue()).includes(judge), "the lane's judge is filled in");
    assert((await row.data("visiting")) !== null, "said to be of another gym");
    await change(() => page.locator(`#heat-${bib}`).fill(""));
    await page.goto(address);
    assert((await page.locator(`#r-${workout}-${bib}`).count()) === 0, "still on the list");
  });
  await check("a heat fills in when it was done and who counted", async () => {
    const first = await desk.take(0);
    await first.field.fill("21/20/19/18");
    const by = await first.judge.inputValue();
    assert(/\(J-\d+\)|^J-\d+/.test(by), `no judge in the lane: ${by}`);
    await first.store();
    const { performed_at, attestation } = await score(await first.data("bib"));
    assert(Date.parse(performed_at) === Date.parse(await first.data("done")), `${performed_at} is not the heat's start`);
    assert(by.includes(attestation.judge), `${attestation.judge} is not ${by}`);
    await first.says("Attested");
  });
  await check("another judge is written into the lane, and one whom nobody knows is told", async () => {
    const first = await desk.take(0);
    await first.field.focus();
    await first.judge.fill("Nobody Known");
    await first.field.fill("21/20/19/17");
    await first.field.press("Enter");
    await first.says(/No judge here goes by/);
    await first.judge.fill(judge);
    await first.field.focus();
    await first.store();
    assert((await score(await first.data("bib"))).attestation.judge === judge, "the judge who was written");
  });
  await check("who counts in a lane is remembered over a reload, until it is stored", async () => {
    const first = await desk.take(0);
    await first.field.focus();
    const planned = await first.judge.inputValue();
    await first.judge.fill(judge);
    await first.judge.press("Tab");
    await page.reload();
    await sees(page, "settled");
    assert((await first.judge.inputValue()) === judge, `${await first.judge.inputValue()} is not ${judge}`);
    await first.field.focus();
    await first.judge.fill(planned);
    await first.judge.press("Tab");
  });
  // As the page of the heats says it, for some bibs.
  const plan = async (judges) => {
    await page.goto(`${address}/heats/${workout}`);
    const form = page.locator("form", { has: page.locator('input[name=do][value=change]') });
    await page.locator("details", { has: form }).locator("> summary").click();
    for (const [bib, code] of judges) await page.locator(`#judge-${bib}`).fill(code);
    await comes(page, () => form.getByRole("button").click());
    await page.goto(address);
  };
  await check("a judge goes to the lanes of the heat that have none, is kept there, and gives way to a new plan", async () => {
    const heats = await desk.missing.evaluateAll((all) => all.map((li) => [li.dataset.turn.split(".")[0], li.id, li.dataset.bib]));
    const pair = heats.filter(([heat]) => heats.filter(([other]) => other === heat).length === 2).slice(0, 2);
    const [first, second] = pair.map(([, id]) => new Row(page, id));
    const [one, two] = pair.map(([, , bib]) => bib);
    const values = async () => [await first.judge.inputValue(), await second.judge.inputValue()];
    const planned = await values();
    const write = async (text) => {
      await first.field.focus();
      await first.judge.fill(text);
      await first.judge.press("Tab");
    };
    const other = await page.locator(`#judges option:not([value="${judge}"])`).first().getAttribute("value");
    await write(other);
    assert((await values()).join() === [other, planned[1]].join(), `${await values()}: the plan has somebody for the other lane`);
    await plan([[one, ""], [two, ""]]);
    assert((await values()).join() === ",", `${await values()}: nobody is planned now`);
    await write(judge);
    assert((await values()).join() === [judge, judge].join(), `${await values()}: it goes to the other lane`);
    await page.reload();
    assert((await values()).join() === [judge, judge].join(), `${await values()}: both are kept`);
    await first.field.fill("21/20/19/16");
    await plan([[one, other]]);
    const [now, still] = await values();
    assert(now.includes(other) && still === judge, `${now}, ${still}: the new plan has ${other} in one of the lanes`);
    assert((await first.field.inputValue()) === "21/20/19/16", "the figures are kept");
    await first.store();
    assert((await score(one)).attestation.judge === other, "vouched for by whom the plan has now");
  });
  await check("whom one lane has stays over a reload, whoever vouches at the desk then; and the others follow", async () => {
    const lanes = [await desk.take(0), await desk.take(1)];
    const bibs = await Promise.all(lanes.map((row) => row.data("bib")));
    await plan(bibs.map((bib) => [bib, ""]));
    const other = await page.locator(`#judges option:not([value="${judge}"])`).first().getAttribute("value");
    const values = () => Promise.all(lanes.map((row) => row.judge.inputValue()));
    // Nothing is written in them from before.
    await desk.vouchedBy("");
    for (const row of lanes) {
      await row.field.focus();
      await row.judge.fill("");
      await row.judge.press("Tab");
    }
    await desk.vouchedBy(judge);
    const desks = await values();
    assert(desks.every((by) => by.includes(judge)), desks.join());
    // The same as at the desk, and written all the same.
    await lanes[0].field.focus();
    await lanes[0].judge.fill(judge);
    await lanes[0].judge.press("Tab");
    await desk.vouchedBy(other);
    const before = await values();
    assert(before[0].includes(judge) && before[1].includes(other), before.join());
    await page.reload();
    assert((await values()).join() === before.join(), `${await values()} after ${before}`);
    // Stored and taken back: the lane has whom it had.
    await lanes[0].type("21/20/19/15");
    assert((await score(bibs[0])).attestation.judge === judge, "another judge than was written");
    await lanes[0].press("Undo");
    await lanes[0].says(/^Taken back/);
    const again = await values();
    await page.reload();
    assert((await values()).join() === again.join() && again[0].includes(judge), `${await values()} after ${again}`);
    await desk.vouchedBy("");
    await lanes[0].field.focus();
    await lanes[0].judge.fill("");
    await lanes[0].judge.press("Tab");
  });
  await check("a lane that is stored is corrected after a reload, and keeps its judge whoever vouches at the desk", async () => {
    const row = await desk.take(0);
    const bib = await row.data("bib");
    await plan([[bib, ""]]);
    const other = await page.locator(`#judges option:not([value="${judge}"])`).first().getAttribute("value");
    await desk.vouchedBy(judge);
    await row.type("21/20/19/15");
    await row.says(/^Saved (.+, )?\d\d:\d\d/);
    await desk.vouchedBy(other);
    await page.reload();
    await desk.unfold();
    await row.press(/^Correct/);
    assert((await row.field.inputValue()) === (await row.data("text")), `${await row.field.inputValue()} in the field`);
    assert((await row.judge.inputValue()).includes(judge), `${await row.judge.inputValue()} in the lane`);
    // Looked at, and saved as it is: nobody else stands for it.
    await row.field.press("Enter");
    await row.says(/^Saved (.+, )?\d\d:\d\d/);
    assert((await score(bib)).attestation.judge === judge, "another judge stands for what is stored");
    // An unsent correction is there again, and so are all the rows after it.
    await row.press(/^Correct/);
    await row.field.fill("21/20/19/14");
    await row.says("Typed, not saved yet");
    await page.reload();
    await desk.unfold();
    assert((await row.field.inputValue()) === "21/20/19/14", `${await row.field.inputValue()} in the field`);
    const [all, made] = [await page.locator("li.row:not(.twin)").count(), await page.locator(".work[data-workout]").count()];
    assert(all > 0 && made === all, `${made} rows of ${all} have their script`);
    await row.field.press("Enter");
    await row.says(/^Saved (.+, )?\d\d:\d\d/);
    assert((await score(bib)).attestation.judge === judge, "the desk's judge stands for it");
    await desk.vouchedBy("");
  });
  await check("two tabs keep who counts in a lane in both", async () => {
    const rows = [await desk.take(0), await desk.take(1)];
    const tab = await page.context().newPage();
    await tab.goto(address);
    const write = async (row) => {
      await row.field.focus();
      await row.judge.fill(`${judge} `);
      await row.judge.press("Tab");
    };
    await write(new Row(tab, rows[0].id));
    // What one tab writes comes to the others' processes a moment later.
    const id = `${workout}/${await rows[0].data("bib")}`;
    await page.waitForFunction((id) => {
      const own = Object.keys(localStorage).find((key) => key.startsWith("desk:"));
      return own && JSON.parse(localStorage.getItem(own)).by[id]?.typed;
    }, id);
    await write(rows[1]);
    await tab.close();
    await page.reload();
    for (const row of rows) assert((await row.judge.inputValue()) === `${judge} `, `${row.id}: ${await row.judge.inputValue()}`);
    for (const row of rows) {
      await row.field.focus();
      await row.judge.fill("");
      await row.judge.press("Tab");
    }
  });
  await check("heats that are moved while the desk is open: what is stored next is of the moved start", async () => {
    await page.goto(address);
    const [first, second] = [await desk.take(0), await desk.take(1)];
    const done = async (row) => Date.parse(await row.data("done"));
    const [before, after] = [await done(first), await done(second)];
    const heat = (await first.data("turn")).split(".")[0];
    await first.checked("22/21/20/19");
    const other = await open(base, { look });
    await staff.enter(other.page);
    await other.page.goto(`${address}/heats/${workout}`);
    const moves = async (minutes, way) => {
      await other.page.locator("summary", { hasText: "Heats run late" }).click();
      await other.page.locator("#late_heat").fill(heat);
      await other.page.locator("#late_minutes").fill(minutes);
      await other.page.locator(`#late_way-${way}`).check();
      await comes(other.page, () => other.page.getByRole("button", { name: "Move these heats" }).click());
      // As after a while, or when the page is looked at again.
      await page.evaluate(() => document.dispatchEvent(new Event("woke")));
    };
    const starts = (row, at) => page.waitForFunction(([id, at]) => Date.parse(document.getElementById(id).dataset.done) === at, [row.id, at]);
    const title = (where) => where.evaluate((title) => title.textContent.replace(/\s+/g, " ").trim());
    await moves("7", "later");
    await sees(other.page, `Moved so far: from heat ${heat} on, later by 7 min`);
    await starts(first, before + 7 * 60_000);
    await starts(second, after + 7 * 60_000);
    assert((await first.field.inputValue()) === "22/21/20/19", "what was typed is lost");
    const [told, planned] = [await title(desk.section.locator("h4", { hasText: `Heat ${heat}, ` })), await title(other.page.locator(`#heat${heat}`))];
    assert(told === planned, `the desk says ${told}, the heats ${planned}`);
    await first.store();
    const { performed_at } = await score(await first.data("bib"));
    assert(Date.parse(performed_at) === before + 7 * 60_000, `${performed_at} is not the moved start`);
    await moves("7", "earlier");
    await starts(second, after);

    // Put into another heat, taken out of all, and back where it was.
    const bib = await second.data("bib");
    const lane = (await second.data("turn")).split(".");
    const puts = async (heat, lane) => {
      const form = other.page.locator("form", { has: other.page.locator('input[name=do][value=change]') });
      await other.page.locator("details", { has: form }).locator("> summary").click();
      await other.page.locator(`#heat-${bib}`).fill(heat);
      await other.page.locator(`#lane-${bib}`).fill(lane);
      await comes(other.page, () => form.getByRole("button").click());
      await page.evaluate(() => document.dispatchEvent(new Event("woke")));
    };
    const under = async (text) => second.who.getByText(text).first().waitFor({ state: "visible" });
    const heading = () => second.li.evaluate((li) => li.parentElement.previousElementSibling.textContent);
    await second.field.fill("22/21/20/18");
    await puts("400", "1");
    await under("heat 400, lane 1");
    assert((await heading()).startsWith("Heat 400, "), `it stands under ${await heading()}`);
    assert((await second.data("done")) === null || (await done(second)) > after, `done ${await second.data("done")}`);
    await puts("", "");
    await second.judge.waitFor({ state: "detached" });
    assert((await heading()) === "Without a heat", `it stands under ${await heading()}`);
    await puts(...lane);
    await under(`heat ${lane[0]}, lane ${lane[1]}`);
    await starts(second, after);
    assert((await heading()).startsWith(`Heat ${lane[0]}, `), `it stands under ${await heading()}`);
    assert((await second.judge.count()) === 1, "nobody is asked for who counted");
    assert((await second.field.inputValue()) === "22/21/20/18", "what was typed is lost");
    await second.field.fill("");
    for (const one of [page, other.page]) assert(one.odd.length === 0, one.odd.join("\n"));
    await other.close();
  });
  await check("two people at one heat: nothing is overwritten in silence, and the heat still says when", async () => {
    const other = await open(base, { look });
    await staff.enter(other.page);
    await other.page.goto(address);
    const mine = await desk.take();
    const theirs = new Row(other.page, mine.id);
    await mine.checked("22/20/19/18");
    await theirs.type("23/20/19/18");
    await mine.field.press("Enter");
    await mine.says(/^Changed by Gym staff to 23\/20\/19\/18/);
    await sound(page, "desk with heats in conflict");
    await mine.press("Save yours");
    await mine.saved();
    const now = await score(await mine.data("bib"));
    assert(now.performance.text.startsWith("22/20/19/18"), now.performance.text);
    assert(Date.parse(now.performed_at) === Date.parse(await mine.data("done")), `${now.performed_at} is not the heat's start`);
    assert(other.page.odd.length === 0, other.page.odd.join("\n"));
    await other.close();
  });
  await check("what comes after the close is said before it is sent, and what happens next after", async () => {
    await page.goto(address);
    const closed = page.locator("section.workout", { has: page.locator("details.rest ul.todo") }).first();
    const slug = await closed.getAttribute("data-workout");
    const folded = closed.locator("details.rest > summary").first();
    if (await folded.isVisible()) await folded.click();
    const its = new Row(page, await section(slug).locator('ul.todo > li[data-state="missing"]').first().getAttribute("id"));
    await its.field.fill(await howWritten(page, demo.competition, slug));
    await its.work.locator(".say").getByText(/after the close|late|organiser/i).first().waitFor({ state: "visible" });
    await its.store();
    await its.work.locator(".late").getByText(/^Came .* after the close: stored, without a place\. The organiser decides/).waitFor({ state: "visible" });
    await sound(page, "desk with a late result");
    await page.reload();
    await sees(page, "settled");
    await its.li.evaluate((li) => li.closest("details").setAttribute("open", ""));
    await its.says(/^Came .* after the close/);
  });
  await check("results as a file: what is refused is mended and sent again", async () => {
    await page.goto(address);
    const [good, bad] = [await desk.missing.nth(0).getAttribute("data-bib"), await desk.missing.nth(1).getAttribute("data-bib")];
    await page.getByRole("link", { name: "Results from a spreadsheet, and into one" }).click();
    await page.locator("textarea[name=text]").fill(`workout,bib,performance\n${workout},${good},20/20/20/20\n${workout},${bad},lots\n`);
    await page.locator('button[value="send"]').click();
    const field = page.locator("textarea[name=text]");
    await page.locator("table").first().waitFor();
    const left = await field.inputValue();
    assert(left.includes(bad) && !left.includes(`,${good},`), left);
    await sound(page, "results as a file with a refused row");
    await field.fill(left.replace("lots", "20/20/20/19"));
    await page.locator('button[value="send"]').click();
    await sees(page, /1 (stored|taken)/);
    assert((await score(good)).state === "entered" && (await score(bad)).state === "entered", "both wait for a judge");
  });
  // --- by plain forms -----------------------------------------------------------------------------

  const plain = await open(base, { look, javaScriptEnabled: false });
  const on = plain.page;
  await check("without JavaScript: a fault is said with what was typed, mended, and stored", async () => {
    await staff.enter(on);
    await on.goto(address);
    const first = desk.on(on).missing.first();
    const name = await first.locator("bdi").first().innerText();
    await first.locator("input.perf").fill("lots");
    await first.getByRole("button", { name: "Save" }).click();
    await on.locator("#errors, .errors").first().waitFor();
    assert((await on.getByLabel("Result", { exact: true }).inputValue()) === "lots", "what was typed is there");
    await on.getByLabel("Result", { exact: true }).fill("19/19/19/19");
    await on.getByRole("button", { name: /^Save/ }).first().click();
    await sees(on, name);
    await sees(on, /Placed \d+(st|nd|rd|th) of|Stored|waits/);
  });
  await check("without JavaScript: many are vouched for by one statement", async () => {
    await on.goto(address);
    const form = desk.on(on).vouching;
    const boxes = form.locator("ul input[type=checkbox]");
    assert((await boxes.count()) >= 2, `${await boxes.count()} await a judge`);
    for (const n of [0, 1]) await boxes.nth(n).check();
    await form.getByLabel("Judge", { exact: true }).fill(judge);
    await form.getByLabel(/I have seen a signed sheet/).check();
    await form.getByRole("button", { name: "Vouch for all" }).click();
    await sees(on, "Vouched for: 2.");
  });
  await plain.close();

  await check("heats are taken away, and what was stored stays", async () => {
    await page.goto(`${address}/heats/${workout}`);
    await page.locator("summary", { hasText: "Make them anew" }).click();
    await page.locator("#sure-remove").check();
    await page.getByRole("button", { name: "Take the heats away" }).click();
    await page.getByRole("heading", { name: /^Heat 1, / }).waitFor({ state: "detached" });
    await page.goto(address);
    await sees(page, "settled");
    assert((await page.locator("#desk input.by").count()) === 0, "a lane's judge is still asked for");
  });
  await at.close();
}
