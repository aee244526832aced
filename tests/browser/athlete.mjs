// An athlete's evening: a slip of paper with a code, an account, the own row, another result tried, a
// ruling and the appeal against it, the own data, a browser that is signed out from afar, and the end of
// it all, erased. Then one without a gym, who enters the own score, mends it and takes it back.

import { assert, checksIn, downloads, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

const PASSWORD = "nine lamps on the breakwater";
// Who has had an evening already: each has one of their own.
const met = new Set();

/** In one look, of somebody of the gym of `staff`. */
export async function athletesEvening(base, demo, staff, look, from) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const [referee, organiser] = ["referee", "organiser"].map(person);
  const check = checksIn(look);
  const c = demo.competition;
  const api = `/api/v1/competitions/${c}`;
  const visitor = () => open(base, { look, from });
  const gym = await visitor();
  await staff.enter(gym.page);
  const get = async (path) => (await gym.page.request.get(`${api}${path}`)).json();
  const address = (who) => `${who}-${look.width}-${look.scheme}-${Date.now()}@athletes.example`;

  // Somebody of the gym with a place in the running workout, who is not known to any account yet.
  await gym.page.goto("/");
  const running = (await gym.page.locator("p.lead a").first().getAttribute("href")).split("/").pop();
  const { rows } = await get(`/workouts/${running}/scores?gym=${staff.gym}`);
  const entries = await get("/entries");
  // Whose name everybody reads; their gym reads the others' too.
  const names = new Map(entries.filter((e) => e.show_name).map((e) => [e.bib, e.name]));
  const untouched = ({ state, score }) => state === "attested" && !score.flag && !score.ruling && !score.appeal;
  // The gym's own: visitors have rows there too, and no slips.
  const ofGym = new Set(entries.filter((e) => e.gym === staff.gym).map((e) => e.bib));
  const attested = rows.filter((r) => untouched(r) && ofGym.has(r.bib) && r.bib !== person("athlete").bib && !met.has(r.bib));
  // Somebody who could do better.
  const best = Math.max(...attested.map((r) => r.score.performance.combined));

  // A slip as it is printed: who, which bib, which code, where to.
  async function slip(page, path, bib) {
    await page.goto(path);
    await page.locator(`#bib-${bib}`).check();
    await page.getByRole("button", { name: "Codes for those ticked" }).click();
    const own = page.locator("ul.slips > li").first();
    const [printed, code] = await own.locator("dd").allInnerTexts();
    assert(Number(printed) === bib, `bib ${printed}`);
    const where = /https?:\S+/.exec(await own.innerText())[0];
    return { code: code.trim(), where: new URL(where).pathname + new URL(where).search };
  }

  async function claim(page, { where, code }, bib, email) {
    await page.goto(where);
    await page.locator("#bib").fill(String(bib));
    await page.locator("#code").fill(code);
    await page.locator("#email").fill(email);
    await page.locator("#password").fill(PASSWORD);
    await page.getByRole("button", { name: "Get my entry" }).click();
  }

  const { bib } = attested.find((r) => names.get(r.bib) && !/^Athlete/.test(names.get(r.bib)) && r.score.performance.combined < best - 3);
  met.add(bib);
  const name = names.get(bib);
  const email = address("first");
  const own = `/c/${c}/athletes/${bib}`;
  const at = await visitor();
  const { page } = at;
  let got;

  await check("the gym prints a slip for one athlete", async () => {
    got = await slip(gym.page, `/desk/${c}/${staff.gym}/codes`, bib);
    await sees(gym.page, name);
  });
  await check("a code mistyped is told beside the form, and what else was typed stays", async () => {
    await claim(page, { ...got, code: "ABCDE-FGHJK" }, bib, email);
    await page.locator("#errors").waitFor({ state: "visible" });
    assert((await page.locator("#email").inputValue()) === email, "the address is there");
    assert((await page.locator("#password").inputValue()) === "", "the password is not sent back");
    await sound(page, "a code that was mistyped");
  });
  await check("with the code on the slip the athlete is at the own page, once", async () => {
    await claim(page, { ...got, code: got.code.toLowerCase() }, bib, email);
    await page.waitForURL((url) => url.pathname === own);
    await sees(page, name);
    const other = await visitor();
    await claim(other.page, got, bib, address("thief"));
    await other.page.locator("#errors").waitFor({ state: "visible" });
    await other.close();
  });
  await check("the own row is marked in the standings, and another result says where it would stand", async () => {
    await page.locator("dl.facts dd a").first().click();
    await page.locator("tr.own").first().waitFor({ state: "visible" });
    await page.goto(own);
    await page.locator("summary", { hasText: "What if?" }).click();
    const box = page.locator("form", { has: page.locator('[name="performance"]') }).first();
    await box.locator('[name="workout"]').selectOption(running);
    const figures = (await page.locator(`section[aria-labelledby="w-${running}"] .figure`).first().innerText()).trim();
    await box.locator('[name="performance"]').fill(figures.replace(/\d+/, (n) => String(Number(n) + 3)));
    await box.getByRole("button").click();
    await page.locator("#what-if tbody tr").first().waitFor({ state: "visible" });
    const [now, then] = await page.locator("#what-if tbody tr").first().locator("td").allInnerTexts();
    assert(Number.parseInt(then, 10) < Number.parseInt(now, 10), `${now}, then ${then}`);
  });

  await check("a ruling is read, and appealed against with a reason", async () => {
    const judge = await visitor();
    await signIn(judge.page, referee);
    await judge.page.goto(`/referee/${c}/${running}/${bib}`);
    await judge.page.locator("#kind-strike, input[name=kind][value=strike]").first().check();
    await judge.page.getByLabel("Reason, public").fill("The monitor cannot be read at the third bell.");
    await judge.page.getByRole("button", { name: "Rule", exact: true }).click();
    await sees(judge.page, "The ruling stands in the history now.");
    await page.goto(own);
    await sees(page, "The monitor cannot be read at the third bell.");
    const appeal = page.locator(`form[action$="/workouts/${running}/appeal"]`);
    await page.locator("summary", { hasText: "Appeal the ruling" }).click();
    await appeal.getByRole("button").click();
    await page.locator("details.appeal[open] .error").first().waitFor({ state: "visible" });
    await sound(page, "an appeal without a reason");
    await appeal.locator("textarea").fill("The judge read all four bells aloud; the sheet has them.");
    await appeal.getByRole("button").click();
    await sees(page, "Your appeal is with the referees.");
    await judge.page.goto("/referee");
    await judge.page.getByRole("link", { name }).first().waitFor({ state: "attached" });
    await judge.close();
  });
  await check("somebody who had no part in it decides the appeal, and the score is back with its reason", async () => {
    const office = await visitor();
    await signIn(office.page, organiser);
    const arbiter = address("appeals");
    await office.page.goto(`/organise/${c}/people`);
    await office.page.locator("#email").fill(arbiter);
    await office.page.locator("#role").selectOption("referee");
    await office.page.getByRole("button", { name: "Give the role" }).click();
    const link = await office.page.locator(".done", { hasText: arbiter }).locator("code").innerText();
    await office.close();
    const second = await visitor();
    await second.page.goto(link);
    await second.page.getByRole("main").getByRole("button", { name: "Sign in" }).click();
    await second.page.goto(`/referee/${c}/${running}/${bib}`);
    await sees(second.page, "The judge read all four bells aloud; the sheet has them.");
    assert((await second.page.getByText(/^If struck: /).count()) === 0, "it is struck already");
    await second.page.getByLabel("Put back what was before the ruling").check();
    await second.page.getByRole("button", { name: "Show what would move" }).click();
    await sees(second.page, /^With .+: \d+\w* in /);
    await second.page.getByLabel("Reason, public").fill("The sheet has all four figures, signed.");
    await second.page.getByRole("button", { name: "Rule", exact: true }).click();
    await sees(second.page, "The ruling stands in the history now.");
    await second.close();
    await page.goto(own);
    await sees(page, "The sheet has all four figures, signed.");
    assert((await page.locator(`section[aria-labelledby="w-${running}"] .state`).first().innerText()) !== "Struck", "still struck");
    assert((await page.locator(`form[action$="/workouts/${running}/appeal"]`).count()) === 0, "what is final can be appealed");
  });

  await check("the own data come along, all of them", async () => {
    await page.goto("/account");
    const data = JSON.parse(await downloads(page, () => page.getByRole("link", { name: "Take it along" }).click()));
    const text = JSON.stringify(data);
    for (const part of [email, name, String(bib), "The judge read all four bells aloud"]) assert(text.includes(part), `${part} is not in the data`);
  });

  await check("another browser is signed out from here", async () => {
    const second = await visitor();
    await signIn(second.page, { email, password: PASSWORD });
    await second.page.goto("/account");
    await sees(second.page, email);
    await page.goto("/account");
    const others = page.getByRole("button", { name: /^Sign out there/ });
    assert((await others.count()) === 1, `${await others.count()} other browsers`);
    await others.click();
    await sees(page, "Signed out there.");
    assert((await others.count()) === 0, "still listed");
    await second.page.reload();
    assert(new URL(second.page.url()).pathname === "/signin", second.page.url());
    await second.close();
  });

  await check("erased is erased: no name on the page, no way back in", async () => {
    await page.goto("/account");
    await page.getByLabel("Your e-mail, to be sure").fill(email);
    await page.getByRole("button", { name: "Erase me" }).click();
    await page.waitForLoadState();
    const public_ = await visitor();
    await public_.page.goto(own);
    await public_.page.getByRole("heading", { level: 1, name: `Athlete ${bib}` }).waitFor({ state: "visible" });
    const text = await public_.page.locator("main").innerText();
    assert(!text.includes(name) && !text.includes("all four bells"), "the name or the words are still there");
    const ruled = public_.page.locator(`section[aria-labelledby="w-${running}"]`);
    await ruled.locator("summary", { hasText: "History" }).click();
    await ruled.getByText(/^Ruling: /).first().waitFor({ state: "visible" });
    await public_.page.goto("/signin");
    await public_.page.getByLabel("E-mail").fill(email);
    await public_.page.getByLabel("Password", { exact: true }).fill(PASSWORD);
    await public_.page.getByRole("main").getByRole("button", { name: "Sign in" }).click();
    await sees(public_.page, "do not fit together");
    await public_.close();
    await page.goto("/account");
    assert(new URL(page.url()).pathname === "/signin", "still signed in");
  });
  await at.close();

  // --- without a gym ----------------------------------------------------------------------------

  const alone = await visitor();
  const office = await visitor();
  await signIn(office.page, organiser);
  const unscored = async (e) => !e.gym && e.state === "active" && e.name && e.show_name && !/^Athlete/.test(e.name) && (await get(`/workouts/${running}/scores/${e.bib}`)).status === 404;
  let free;
  for (const e of entries) {
    if (free || met.has(e.bib)) continue;
    // Theirs while it is asked whether they have a score.
    met.add(e.bib);
    if (await unscored(e)) free = e;
    else met.delete(e.bib);
  }
  const page2 = alone.page;
  const form = `/c/${c}/athletes/${free.bib}/workouts/${running}`;
  let written;
  await check("who has no gym gets a code from the organiser and enters the own score", async () => {
    const code = await slip(office.page, `/organise/${c}/codes`, free.bib);
    await claim(page2, code, free.bib, address("alone"));
    await page2.waitForURL((url) => url.pathname === `/c/${c}/athletes/${free.bib}`);
    await page2.goto(`/c/${c}/workouts/${running}`);
    const said = page2.locator("table", { has: page2.getByText("How to write a result") }).locator("tbody th");
    written = (await said.first().innerText()).trim();
    await page2.goto(`/c/${c}/athletes/${free.bib}`);
    await page2.locator(`a[href="${form}"]`).first().click();
    await page2.getByLabel("Result").fill("a lot");
    await page2.getByRole("button", { name: /^Save/ }).click();
    await page2.locator("#performance-error-1").waitFor({ state: "visible" });
    await sound(page2, "own score that cannot be read");
    await save(page2, written);
    await sees(page2, /wait|judge/i);
  });
  await check("it is mended, and taken back, and each time the page says what was done", async () => {
    await page2.goto(form);
    await save(page2, written.replace(/\d+/, (n) => String(Number(n) - 1)));
    await page2.goto(form);
    await page2.locator("#take-back summary").click();
    await page2.locator("#take-back button").click();
    await page2.locator("[role=status]").first().waitFor({ state: "visible" });
    const { state } = await (await page2.request.get(`${api}/workouts/${running}/scores/${free.bib}`)).json();
    assert(state === "withdrawn", state);
    await sound(page2, "own score taken back");
  });
  await check("nothing odd happened on the way", async () => {
    const odd = [...page2.odd, ...office.page.odd, ...gym.page.odd];
    assert(odd.length === 0, odd.join("\n"));
  });
  await Promise.all([alone, office, gym].map((one) => one.close()));
}

// Types a result and stores it, with yes to each question that it raises.
async function save(page, text) {
  await page.getByLabel("Result").fill(text);
  const button = page.getByRole("button", { name: /^Save/ });
  await button.click();
  for (let n = 0; n < 4 && (await page.locator("input[name^=confirm-][type=checkbox]").count()) > 0; n += 1) {
    for (const box of await page.locator("input[name^=confirm-][type=checkbox]").all()) await box.check();
    await button.click();
  }
  assert((await page.locator("#errors").count()) === 0, await page.locator("main").innerText());
}
