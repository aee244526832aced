// The main jobs by keyboard alone: Tab, Enter and Space, and typing; on every step the focus can be
// seen. Once as browsers come, once without JavaScript.
//
//   node jobs.mjs DEMO.json    what `tallywright demo --json` printed
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { readFile } from "node:fs/promises";
import { assert, check, counts, sees } from "./checks.mjs";
import { open } from "./people.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
const base = demo.url;
const c = demo.competition;
const person = (role) => demo.sign_in.find((s) => s.role === role);

// --- by keyboard ------------------------------------------------------------------------------

// Where the focus is, and whether it can be seen: inside the window, with a ring or a border of its own.
const focus = (page) =>
  page.evaluate(() => {
    const e = document.activeElement;
    if (!e || e === document.body) return null;
    const box = e.getBoundingClientRect();
    const style = getComputedStyle(e);
    const ring = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
    const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.width > 0 && box.height > 0;
    return { seen: ring && inside, html: e.outerHTML.slice(0, 120) };
  });

// Tab until the focus is on what a locator finds.
async function to(page, wanted) {
  await wanted.waitFor({ state: "visible" });
  for (let n = 0; n < 400; n += 1) {
    if (await wanted.evaluate((e) => e === document.activeElement)) return;
    await page.keyboard.press("Tab");
    const at = await focus(page);
    assert(!at || at.seen, `the focus cannot be seen: ${at?.html}`);
  }
  throw new Error(`not reached by Tab: ${wanted}`);
}

// Enter where the focus is, and what comes of it.
async function enter(page) {
  const came = page.waitForEvent("load");
  await page.keyboard.press("Enter");
  await came;
}

async function follow(page, wanted) {
  await to(page, wanted);
  await enter(page);
}

async function type(page, wanted, text) {
  await to(page, wanted);
  await page.keyboard.type(text);
}

const link = (page, href) => page.locator(`main a[href="${href}"], header a[href="${href}"]`).first();

async function signedIn(role, options) {
  const at = await open(base, options);
  const { page } = at;
  await page.goto("/signin");
  await type(page, page.locator("input[name=email]"), person(role).email);
  await page.keyboard.press("Tab");
  await page.keyboard.type(person(role).password);
  await enter(page);
  assert(new URL(page.url()).pathname !== "/signin", "signed in");
  return at;
}

// --- the jobs ---------------------------------------------------------------------------------

async function evening(how, options) {
  let running, bib;
  await check(`${how}: an athlete finds the own row`, async () => {
    const at = await signedIn("athlete", options);
    const own = `/c/${c}/athletes/${person("athlete").bib}`;
    await at.page.goto("/");
    running = (await at.page.locator("p.lead a").first().getAttribute("href")).split("/").pop();
    await follow(at.page, link(at.page, own));
    await follow(at.page, at.page.locator("dl.facts dd a").first());
    await at.page.locator("tr.own").first().waitFor({ state: "visible" });
    await at.close();
  });

  await check(`${how}: staff enter a score and vouch for it`, async () => {
    const at = await signedIn("staff", options);
    const { page } = at;
    await page.goto(`/c/${c}/workouts/${running}`);
    const written = (await page.locator("table", { has: page.getByText("How to write a result") }).locator("tbody th").first().innerText()).trim();
    const desk = `/desk/${c}/${person("staff").gym}`;
    await follow(page, link(page, desk));
    const missing = page.locator(`[data-workout="${running}"] [data-state="missing"] a, #w-${running} ~ * [data-state="missing"] a`).first();
    await follow(page, missing);
    bib = new URL(page.url()).pathname.split("/").pop();
    await type(page, page.locator("#performance"), written);
    await to(page, page.locator("#judge"));
    await page.keyboard.press("ControlOrMeta+a");
    await page.keyboard.type(person("judge").judge);
    await page.keyboard.press("Enter");
    await page.waitForLoadState();
    for (let n = 0; n < 4 && (await page.locator("input[name^=confirm-][type=checkbox]").count()) > 0; n += 1) {
      for (const box of await page.locator("input[name^=confirm-][type=checkbox]").all()) {
        await to(page, box);
        await page.keyboard.press("Space");
      }
      await follow(page, page.locator("form.stack button", { hasText: /^Save/ }).first());
    }
    await sees(page, /Placed \d+(st|nd|rd|th) of [\d,]+/);
    await at.close();
  });

  await check(`${how}: a referee doubts a score and rules on it`, async () => {
    const at = await signedIn("referee", options);
    const { page } = at;
    await follow(page, link(page, "/referee"));
    await sees(page, "Scores to check");
    await page.goto(`/referee/${c}/${running}/${bib}`);
    const flag = page.locator('form[action$="/flag"]');
    await to(page, flag.locator("select"));
    await page.keyboard.type("the t");
    await type(page, flag.locator("textarea"), "Two reps short of full height.");
    await follow(page, flag.getByRole("button").last());
    await sees(page, "The doubt stands in the history now.");
    const ruling = page.locator('form[action$="/ruling"]');
    await to(page, ruling.locator("input[type=radio]").first());
    await page.keyboard.press("Space");
    await type(page, ruling.locator('[name="reason"]'), "Seen again: they count.");
    await follow(page, ruling.locator('button[value="rule"]'));
    await sees(page, "The ruling stands in the history now.");
    await at.close();
  });

  await check(`${how}: an organiser lets a late score in`, async () => {
    const at = await signedIn("organiser", options);
    const { page } = at;
    await page.goto(`/c/${c}`);
    await follow(page, link(page, `/organise/${c}`).or(link(page, "/organise")).first());
    if (new URL(page.url()).pathname === "/organise") await follow(page, link(page, `/organise/${c}`));
    const late = page.locator('form[action*="/late/"]').first();
    const action = await late.getAttribute("action");
    await type(page, late.locator('input[name="reason"]'), "Power cut, told by telephone.");
    await follow(page, late.locator('button[value="admit"]'));
    await page.locator("[role=status]").getByText("Let in. The place counts from now on.").waitFor({ state: "visible" });
    assert((await page.locator(`details:not([open]) >> form[action="${action}"]`).count()) === (await page.locator(`form[action="${action}"]`).count()), "it still waits");
    await at.close();
  });

  await check(`${how}: anybody finds somebody by name, and a gym's rows`, async () => {
    const at = await open(base, options);
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

await evening("by keyboard", {});
await evening("by keyboard, without JavaScript", { javaScriptEnabled: false });

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
