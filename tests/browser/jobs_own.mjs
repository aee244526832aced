// By keyboard alone, an athlete's own: from a slip of paper to an account, another result tried, a ruling appealed
// against and decided by somebody else, and the account itself until it is erased.

import { assert, check, downloads, sees } from "./checks.mjs";
import { choose, enter, follow, pick, signsIn, tick, to, type, unfold, write } from "./keyboard.mjs";
import { open } from "./people.mjs";

const PASSWORD = "nine lamps on the breakwater";
const NEXT = "ten lamps and a bell buoy";

/** Somebody with a code, in `at`, becomes the athlete. */
export function claim({ how, c }, at, { bib, name }, code, email) {
  return check(`${how}: an athlete signs in with the code on a slip`, async () => {
    const { page } = at;
    await page.goto("/signin");
    await follow(page, page.locator('main a[href="/claim"]'));
    await type(page, page.locator("#c"), c);
    await type(page, page.locator("#bib"), String(bib));
    await type(page, page.locator("#code"), "ABCDE-FGHJK");
    await type(page, page.locator("#email"), email);
    await type(page, page.locator("#password"), PASSWORD);
    await enter(page);
    await page.locator("#errors").waitFor({ state: "visible" });
    await write(page, page.locator("#code"), code.toLowerCase());
    await type(page, page.locator("#password"), PASSWORD);
    await enter(page);
    assert(new URL(page.url()).pathname === `/c/${c}/athletes/${bib}`, page.url());
    await page.getByRole("heading", { level: 1, name }).waitFor({ state: "visible" });
  });
}

export function whatIf({ how, c, running }, { page }, { bib, text }) {
  return check(`${how}: an athlete tries another result`, async () => {
    await page.goto(`/c/${c}/athletes/${bib}`);
    const box = page.locator("#what-if");
    await unfold(page, box.locator("> summary"));
    await pick(page, box.locator("#workout"), running);
    await type(page, box.locator("#performance"), "a lot");
    await enter(page);
    await page.locator("#performance-error-1").waitFor({ state: "visible" });
    await write(page, box.locator("#performance"), text.replace(/\d+/, (n) => String(Number(n) + 3)));
    await enter(page);
    const row = box.locator("tbody tr").first();
    await row.waitFor({ state: "visible" });
    const [now, then] = (await row.locator("td").allInnerTexts()).map((said) => Number.parseInt(said.replace(",", ""), 10));
    assert(then < now, `${now}, then ${then}`);
  });
}

/** A referee strikes the score, its athlete appeals, and whoever the organiser gives the role decides. */
export async function appeal({ how, c, page, running, stamp, visitor }, at, { bib, name }) {
  const review = `/referee/${c}/${running}/${bib}`;
  const own = `/c/${c}/athletes/${bib}`;
  const people = `/organise/${c}/people`;
  const email = `arbiter-${stamp}@referees.example`;
  const rule = async (on, kind, reason) => {
    await choose(on, on.locator(`#kind-${kind}`));
    await follow(on, on.locator('button[value="preview"]'));
    await on.locator("#ruling").waitFor({ state: "visible" });
    await write(on, on.locator("#reason"), reason);
    await follow(on, on.locator('button[value="rule"]'));
    await sees(on, "The ruling stands in the history now.");
  };
  await check(`${how}: an athlete reads a ruling and appeals against it`, async () => {
    const judge = await page("referee");
    await judge.goto("/referee");
    const open = judge.locator("form", { has: judge.getByRole("button", { name: "Open a score" }) }).first();
    await to(judge, open.locator("input[name=bib]"), { back: true });
    await judge.keyboard.type(String(bib));
    await pick(judge, open.locator("select[name=workout]"), running);
    await follow(judge, open.getByRole("button"));
    assert(new URL(judge.url()).pathname === review, judge.url());
    await rule(judge, "strike", `The monitor cannot be read, ${stamp}.`);
    const on = at.page;
    await on.goto(own);
    await sees(on, `The monitor cannot be read, ${stamp}.`);
    const form = on.locator(`form[action$="/workouts/${running}/appeal"]`);
    await unfold(on, on.locator("details.appeal > summary"));
    await follow(on, form.getByRole("button"));
    await on.locator("details.appeal[open] .error").first().waitFor({ state: "visible" });
    await type(on, form.locator("textarea"), "The judge read all four bells aloud.");
    await follow(on, form.getByRole("button"));
    await sees(on, "Your appeal is with the referees.");
  });
  let link;
  await check(`${how}: the organiser makes somebody a referee`, async () => {
    const office = await page("organiser");
    await office.goto(`/organise/${c}`);
    await follow(office, office.locator(`main nav a[href="${people}"]`));
    await type(office, office.locator("#email"), "nobody");
    await pick(office, office.locator("#role"), "referee");
    await write(office, office.locator("#email"), email);
    await follow(office, office.getByRole("button", { name: "Give the role" }));
    link = await office.locator(".done", { hasText: email }).locator("code").innerText();
  });
  const second = await visitor();
  await check(`${how}: who had no part in it comes by a link and decides the appeal`, async () => {
    await second.page.goto(link);
    await follow(second.page, second.page.getByRole("main").getByRole("button", { name: "Sign in" }));
    await second.page.goto("/referee");
    // They may have a score of another workout there too.
    await follow(second.page, second.page.locator(`main a[href="${review}"]`, { hasText: name }).first());
    assert(new URL(second.page.url()).pathname === review, second.page.url());
    await sees(second.page, "The judge read all four bells aloud.");
    await rule(second.page, "restore", `All four figures are on the sheet, ${stamp}.`);
    await at.page.goto(own);
    await sees(at.page, `All four figures are on the sheet, ${stamp}.`);
    assert((await at.page.locator(`form[action$="/workouts/${running}/appeal"]`).count()) === 0, "what is final can be appealed");
  });
  await check(`${how}: the organiser takes the role away again`, async () => {
    const office = await page("organiser");
    await office.goto(people);
    await type(office, office.locator("#q"), email);
    await enter(office);
    await follow(office, office.getByRole("button", { name: /^Take the role away/ }));
    await follow(office, office.getByRole("button", { name: "Yes, take it away" }));
    await sees(office, "The role is taken away.");
    const answer = await second.page.goto(review);
    assert(answer.status() === 403 || answer.status() === 401, `${answer.status()}`);
  });
  await second.close();
}

/** The account that was made with a code, until it is erased. */
export async function account({ how, c, base, visitor }, at, { bib, name }, email) {
  const { page } = at;
  await check(`${how}: an athlete changes the password and issues a token`, async () => {
    await page.goto("/");
    await follow(page, page.locator('header a[href="/account"]'));
    await type(page, page.locator("#current"), PASSWORD);
    await type(page, page.locator("#new"), NEXT);
    await enter(page);
    await sees(page, "The password is set.");
    await type(page, page.locator("#name"), "the clock at the rig");
    await write(page, page.locator("#days"), "7");
    await enter(page);
    await sees(page, "Copy it now: it is not shown again.");
    await follow(page, page.getByRole("button", { name: /^Revoke/ }));
    await sees(page, "The token is revoked.");
  });
  await check(`${how}: another browser, with the new password, is signed out from here`, async () => {
    const second = await visitor();
    await signsIn(second.page, { email, password: NEXT });
    await page.goto("/account");
    await follow(page, page.getByRole("button", { name: /^Sign out there/ }));
    await sees(page, "Signed out there.");
    await second.page.goto("/account");
    assert(new URL(second.page.url()).pathname === "/signin", second.page.url());
    await second.close();
  });
  await check(`${how}: the own data are taken along, and all is erased`, async () => {
    await page.goto("/account");
    await to(page, page.locator('a[href="/account/data.json"]'));
    const data = await downloads(page, () => page.keyboard.press("Enter"));
    for (const part of [email, name, String(bib)]) assert(data.includes(part), `${part} is not in the data`);
    await type(page, page.locator("#me"), email);
    await tick(page, page.locator("#close"));
    await follow(page, page.getByRole("button", { name: "Erase me" }));
    const anybody = await open(base);
    await anybody.page.goto(`/c/${c}/athletes/${bib}`);
    await anybody.page.getByRole("heading", { level: 1, name: `Athlete ${bib}` }).waitFor({ state: "visible" });
    await anybody.close();
    await page.goto("/account");
    assert(new URL(page.url()).pathname === "/signin", "still signed in");
  });
}
