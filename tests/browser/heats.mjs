// The desk of a gym that has heats: a heat says when its results were done and who counted, two people
// at one heat, results that come late, results as a file; and the whole of it by plain forms.

import { assert, check, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

export async function heatsEvening(base, demo) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const staff = person("staff");
  const { judge } = person("judge");
  const address = `/desk/${demo.competition}/${staff.gym}`;
  const at = await open(base);
  const { page } = at;
  let workout;

  const section = (on = page, slug = workout) => on.locator(`section[data-workout="${slug}"]`);
  const rows = (on = page) => section(on).locator('ul.todo > li[data-state="missing"]');
  const row = async (n, on = page) => section(on).locator(`#${await rows(on).nth(n).getAttribute("id")}`);
  const field = (of) => of.locator("input.perf");
  const saved = (of) => of.getByText(/^Saved \d\d:\d\d/).waitFor({ state: "visible" });
  const score = async (bib) => (await page.request.get(`/api/v1/competitions/${demo.competition}/workouts/${workout}/scores/${bib}`)).json();
  // Stores what is typed; a question is answered with yes.
  async function store(of) {
    await field(of).press("Enter");
    for (let i = 0; i < 4; i += 1) {
      const yes = of.getByRole("button", { name: "Yes, it is right" }).first();
      const done = of.getByText(/^Saved \d\d:\d\d/);
      await yes.or(done).first().waitFor({ state: "visible" });
      if (await done.isVisible()) return;
      await yes.click();
      await field(of).press("Enter");
    }
  }

  await check("heats are made from the desk, and its rows stand in their order", async () => {
    await signIn(page, staff);
    await page.goto(address);
    workout = await page.locator("section.workout").first().getAttribute("data-workout");
    await section().getByRole("link", { name: "Heats" }).click();
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
    const titles = await section().locator("h4", { hasText: /^Heat \d/ }).allInnerTexts();
    const numbers = titles.map((t) => Number(/^Heat (\d+), /.exec(t)?.[1]));
    assert(titles.length > 3 && numbers.every((n, i) => i === 0 || n > numbers[i - 1]), titles.join(" | "));
    const turns = await rows().evaluateAll((all) => all.map((li) => li.dataset.turn.split(".").map(Number)));
    assert(turns.every(([heat, lane], i) => i === 0 || heat > turns[i - 1][0] || (heat === turns[i - 1][0] && lane > turns[i - 1][1])), turns.join(" "));
  });
  await sound(page, "desk with heats");
  await check("a heat fills in when it was done and who counted", async () => {
    const first = await row(0);
    await field(first).fill("21/20/19/18");
    const by = await first.locator("input.by").inputValue();
    assert(/\(J-\d+\)|^J-\d+/.test(by), `no judge in the lane: ${by}`);
    await store(first);
    const { performed_at, attestation } = await score(await first.getAttribute("data-bib"));
    assert(Date.parse(performed_at) === Date.parse(await first.getAttribute("data-done")), `${performed_at} is not the heat's start`);
    assert(by.includes(attestation.judge), `${attestation.judge} is not ${by}`);
    await first.getByText("Attested").waitFor({ state: "visible" });
  });
  await check("another judge is written into the lane, and one whom nobody knows is told", async () => {
    const first = await row(0);
    await field(first).focus();
    await first.locator("input.by").fill("Nobody Known");
    await field(first).fill("21/20/19/17");
    await field(first).press("Enter");
    await first.getByText("No judge here goes by Nobody Known.", { exact: false }).waitFor({ state: "visible" });
    await first.locator("input.by").fill(judge);
    await field(first).focus();
    await store(first);
    assert((await score(await first.getAttribute("data-bib"))).attestation.judge === judge, "the judge who was written");
  });
  await check("who counts in a lane is remembered over a reload, until it is stored", async () => {
    const first = await row(0);
    await field(first).focus();
    const planned = await first.locator("input.by").inputValue();
    await first.locator("input.by").fill(judge);
    await first.locator("input.by").press("Tab");
    await page.reload();
    await sees(page, "settled");
    assert((await first.locator("input.by").inputValue()) === judge, `${await first.locator("input.by").inputValue()} is not ${judge}`);
    await field(first).focus();
    await first.locator("input.by").fill(planned);
    await first.locator("input.by").press("Tab");
  });
  await check("two people at one heat: nothing is overwritten in silence, and the heat still says when", async () => {
    const other = await open(base);
    await signIn(other.page, staff);
    await other.page.goto(address);
    const id = await rows().first().getAttribute("id");
    const [mine, theirs] = [page.locator(`#${id}`), other.page.locator(`#${id}`)];
    await field(mine).fill("22/20/19/18");
    await mine.getByText(/^Would be/).waitFor({ state: "visible" });
    await field(theirs).fill("23/20/19/18");
    await store(theirs);
    await field(mine).press("Enter");
    await mine.getByText(/^Changed by Gym staff to 23\/20\/19\/18/).waitFor({ state: "visible" });
    await sound(page, "desk with heats in conflict");
    await mine.getByRole("button", { name: "Save yours" }).click();
    await saved(mine);
    const now = await score(await mine.getAttribute("data-bib"));
    assert(now.performance.text.startsWith("22/20/19/18"), now.performance.text);
    assert(Date.parse(now.performed_at) === Date.parse(await mine.getAttribute("data-done")), `${now.performed_at} is not the heat's start`);
    assert(other.page.odd.length === 0, other.page.odd.join("\n"));
    await other.close();
  });
  await check("what comes after the close is said before it is sent, and what happens next after", async () => {
    await page.goto(address);
    const closed = page.locator("section.workout", { has: page.locator("details.rest ul.todo") }).first();
    const slug = await closed.getAttribute("data-workout");
    await closed.locator("details.rest > summary").first().click();
    const late = closed.locator('ul.todo > li[data-state="missing"]').first();
    const its = page.locator(`#${await late.getAttribute("id")}`);
    const shown = await at.context.newPage();
    await shown.goto(`/c/${demo.competition}/workouts/${slug}`);
    const written = await shown.locator("table", { has: shown.getByText("How to write a result") }).locator("tbody th").first().innerText();
    await shown.close();
    await field(its).fill(written.trim());
    await its.locator(".say").getByText(/after the close|late|organiser/i).first().waitFor({ state: "visible" });
    await store(its);
    await its.locator(".late").getByText(/^Came .* after the close: stored, without a place\. The organiser decides/).waitFor({ state: "visible" });
    await sound(page, "desk with a late result");
    await page.reload();
    await sees(page, "settled");
    const again = page.locator(`#${await its.getAttribute("id")}`);
    await again.evaluate((li) => li.closest("details").setAttribute("open", ""));
    await again.getByText(/^Came .* after the close/).waitFor({ state: "visible" });
  });
  await check("results as a file: what is refused is mended and sent again", async () => {
    await page.goto(address);
    const [good, bad] = [await rows().nth(0).getAttribute("data-bib"), await rows().nth(1).getAttribute("data-bib")];
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

  const plain = await open(base, { javaScriptEnabled: false });
  const on = plain.page;
  await check("without JavaScript: a fault is said with what was typed, mended, and stored", async () => {
    await signIn(on, staff);
    await on.goto(address);
    const first = rows(on).first();
    const name = await first.locator("bdi").first().innerText();
    await field(first).fill("lots");
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
    const form = section(on).locator("form.vouch");
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
    await page.getByRole("button", { name: "Take the heats away" }).click();
    await page.getByRole("heading", { name: /^Heat 1, / }).waitFor({ state: "detached" });
    await page.goto(address);
    await sees(page, "settled");
    assert((await section().locator("input.by").count()) === 0, "a lane's judge is still asked for");
  });
  await at.close();
}
