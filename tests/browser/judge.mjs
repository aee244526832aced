// A judge's evening: signing in leads to the own lanes, the brief and the sheet; who was counted and is stored waits
// on the own page for the judge's own word, by a plain form; that page and the own data list it then; and nothing of
// it is anybody else's.

import { Desk, newcomers } from "./at_desk.mjs";
import { EVENINGS, assert, check, checksIn, comes, sees, sound } from "./checks.mjs";
import { open, send, signIn } from "./people.mjs";

export async function judgesEvening(base, demo) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const [judge, staff] = ["judge", "staff"].map(person);
  const c = demo.competition;
  const home = `/judge/${c}`;
  const api = `/api/v1/competitions/${c}`;
  const gym = await open(base);
  await signIn(gym.page, staff);
  const desk = await Desk.find(gym.page, c, staff.gym);
  const get = async (path) => (await gym.page.request.get(`${api}${path}`)).json();
  const heats = `${desk.address}/heats/${desk.workout}`;

  // Whoever has a lane and nothing stored all evening, and one more for each look: what others leave is not counted on.
  const { bibs: [bib, ...others], leave } = await newcomers(base, demo, staff.gym, 1 + EVENINGS.length);

  let name, waits;
  const counted = [];
  await check("the gym gives the judge a lane", async () => {
    ({ name } = (await get(`/workouts/${desk.workout}/scores?gym=${staff.gym}`)).rows.find((r) => r.bib === bib));
    await gym.page.goto(heats);
    await gym.page.getByLabel("Lanes", { exact: true }).fill("3");
    await gym.page.getByLabel("Minutes apart").fill("15");
    await gym.page.getByRole("button", { name: "Make the heats" }).click();
    await gym.page.getByRole("heading", { name: /^Heat 1, / }).waitFor();
    const form = gym.page.locator("form", { has: gym.page.locator("input[name=do][value=change]") });
    await gym.page.locator("details", { has: form }).locator("> summary").click();
    // Nobody counts in two lanes of one heat: whoever had this judge there goes without.
    const heat = await gym.page.locator(`#heat-${bib}`).inputValue();
    for (const field of await form.locator("input[id^=judge-]").all()) {
      const [of, who] = [(await field.getAttribute("id")).replace("judge-", ""), await field.inputValue()];
      if (who.includes(judge.judge) && (await gym.page.locator(`#heat-${of}`).inputValue()) === heat) await field.fill("");
    }
    await gym.page.locator(`#judge-${bib}`).fill(judge.judge);
    await comes(gym.page, () => form.getByRole("button").click());
    assert((await gym.page.locator("#errors").count()) === 0, await gym.page.locator("main").innerText());
  });
  for (const look of EVENINGS) {
    const at = await open(base, { look });
    const { page } = at;
    const check = checksIn(look);
    const mine = () => page.locator("main section section", { has: page.locator(`a[href$="/workouts/${desk.workout}"]`) });
    await check("a judge signs in, and reads where to count", async () => {
      await signIn(page, judge);
      await page.goto(home);
      await sees(page, `(${judge.judge})`);
      await mine().getByText(/^heat \d+, lane \d+/i).first().waitFor({ state: "visible" });
      await mine().getByRole("link", { name }).first().waitFor({ state: "visible" });
    });
    await sound(page, "the judge's own page");
    await check("the brief and the sheet are one step away, with the standards before the first heat", async () => {
      await mine().getByRole("link", { name: /^Brief, standards/ }).click();
      await sees(page, "Before you start");
      await page.goBack();
      await mine().locator('a[href$="/sheet"]').click();
      await page.waitForURL((url) => url.pathname.endsWith("/sheet"));
      await page.goBack();
    });
    await check("whom the desk stored waits for the judge's own word, and is ticked as it was counted", async () => {
      const one = others.pop();
      const path = `${api}/workouts/${desk.workout}/scores/${one}`;
      const stored = await send(gym.page, "PUT", path, { performance: desk.written, gym: staff.gym });
      assert(stored.status === 201 && stored.json.state === "entered", JSON.stringify(stored));
      // Nobody gives it in the judge's name.
      const tag = { "if-match": `"${stored.json.etag}"` };
      const staffs = await send(gym.page, "POST", `${path}/attestation`, { judge: judge.judge, how: "signed_in" }, tag);
      assert(staffs.status === 422, JSON.stringify(staffs));
      await page.reload();
      const tick = page.locator(`input[name="a-${one}"]`);
      const folded = page.locator("form.vouch details:not([open])", { has: tick });
      if (await folded.count()) await folded.locator("summary").click();
      await mine().locator("form.vouch li", { has: tick }).getByText(desk.written).waitFor({ state: "visible" });
      await tick.check();
      waits = one;
    });
    await sound(page, "the judge's own page with what waits");
    await check("without the statement nothing is stored, and the tick stays", async () => {
      const tick = page.locator(`input[name="a-${waits}"]`);
      const button = page.locator("form.vouch", { has: tick }).getByRole("button", { name: "Give my word for all that is ticked" });
      await comes(page, () => button.click());
      await page.locator("#errors").getByText("Tick the statement too").waitFor({ state: "visible" });
      assert(await tick.isChecked(), "the tick is lost");
      assert(await tick.isVisible(), "what is ticked is folded away");
    });
    await sound(page, "a word without the statement");
    await check("with the statement the word counts at once, and given again it is the same word", async () => {
      const form = page.locator("form.vouch", { has: page.locator(`input[name="a-${waits}"]`) });
      await form.getByLabel(/^I counted every result that is ticked myself/).check();
      // What is sent again where the answer is lost.
      const [to, body] = await form.evaluate((form) => [form.getAttribute("action"), new URLSearchParams(new FormData(form)).toString()]);
      await form.getByRole("button").click();
      await sees(page, "Your word is given: 1.");
      const again = await page.evaluate(async ([to, body]) => {
        const answer = await fetch(to, { method: "POST", headers: { "content-type": "application/x-www-form-urlencoded" }, body });
        return { status: answer.status, text: await answer.text() };
      }, [to, body]);
      assert(again.status === 200 && again.text.includes("Your word is given: 1."), `${again.status}: ${again.text}`);
      counted.push(waits);
      const listed = mine().locator("summary", { hasText: "Stored under your code" });
      await listed.click();
      await mine().locator("li", { hasText: String(waits) }).getByText(/signed in/i).first().waitFor({ state: "visible" });
    });
    await sound(page, "the judge's own page with what is stored");
    await check("a judge has no desk, no list of doubts and no office", async () => {
      for (const path of [desk.address, `/referee`, `/organise/${c}`]) {
        const { status } = await page.goto(path).then((answer) => ({ status: answer.status() }));
        assert(status === 403 || (path === "/referee" && status === 200), `${path}: ${status}`);
      }
      await page.goto("/account");
      await page.locator(`main a[href="${home}"]`).first().click();
      await sees(page, `(${judge.judge})`);
      const data = await (await page.request.get("/account/data.json")).json();
      const own = data.judges.find((j) => j.competition === c);
      assert(own.lanes.some((lane) => lane.bib === bib && lane.gym === staff.gym), JSON.stringify(own.lanes));
      // All that was given in time, and nothing that waits for the organiser.
      const words = (workout, one) => own.vouched.filter((word) => word.workout === workout && word.bib === one);
      for (const one of counted) {
        const word = words(desk.workout, one);
        assert(word.length === 1 && word[0].waiting === false && word[0].how === "signed_in", `${one}: ${JSON.stringify(word)}`);
      }
      assert(words(desk.workout, bib).length === 0, "whom nobody vouched for yet");
    });
    await check("nothing odd happened on the judge's way", async () => assert(page.odd.length === 0, page.odd.join("\n")));
    await at.close();
  }
  await check("the heats are taken away again", async () => {
    await gym.page.goto(heats);
    await gym.page.locator("summary", { hasText: "Make them anew" }).click();
    await gym.page.locator("#sure-remove").check();
    await gym.page.getByRole("button", { name: "Take the heats away" }).click();
    await gym.page.getByRole("heading", { name: /^Heat 1, / }).waitFor({ state: "detached" });
  });
  await leave();
  await gym.close();
}
