// A gym's evening at the desk, in a real browser: results typed on a phone, the network cut and
// back, a reload, two people at one desk, a judge's word for many, a visitor, a column from a
// spreadsheet; and the plain forms where there is no JavaScript.

import { assert, check, sees, sound } from "./checks.mjs";
import { open, signIn, watch } from "./people.mjs";

export async function deskEvening(base, demo) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const staff = person("staff");
  const judge = person("judge").judge;
  const address = `/desk/${demo.competition}/${staff.gym}`;
  const at = await open(base);
  const { page, context } = at;
  let workout, written;

  const section = (on = page) => on.locator(`section[data-workout="${workout}"]`);
  const waiting = (on = page) => section(on).locator('ul.todo > li[data-state="missing"]');
  const saved = (row) => row.getByText(/^Saved \d\d:\d\d/).waitFor({ state: "visible" });
  const field = (row) => row.locator("input.perf");
  const take = async (n, on = page) => section(on).locator(`#${await waiting(on).nth(n).getAttribute("id")}`);
  // The written result with its first number one or more less: other figures, still possible ones.
  const less = (n) => written.replace(/\d+/, (number) => String(Math.max(1, Number(number) - n)));
  // A question about the figures is answered with yes, then they are stored.
  async function store(row) {
    await field(row).press("Enter");
    for (let i = 0; i < 4; i += 1) {
      const yes = row.getByRole("button", { name: "Yes, it is right" }).first();
      const done = row.getByText(/^Saved \d\d:\d\d/);
      await yes.or(done).first().waitFor({ state: "visible" });
      if (await done.isVisible()) return;
      await yes.click();
      await field(row).press("Enter");
    }
  }

  await check("the desk opens on a phone, with the running workout first", async () => {
    await signIn(page, staff);
    await page.goto(address);
    workout = await page.locator("section.workout").first().getAttribute("data-workout");
    const shown = await context.newPage();
    await shown.goto(`/c/${demo.competition}/workouts/${workout}`);
    const rows = shown.locator("table", { has: shown.getByText("How to write a result") }).locator("tbody th");
    written = (await rows.first().innerText()).trim();
    await shown.close();
    await sees(page, /closes in/);
    assert((await waiting().count()) > 8, `${await waiting().count()} left`);
  });
  await sound(page, "desk at work");

  await check("the judge is found by name and remembered over a reload", async () => {
    const name = await page.locator(`#judges option[value="${judge}"]`).textContent();
    await page.locator("#judge").fill(name.slice(0, -1));
    await page.locator("#judge").press("Tab");
    await sees(page, `${name} (${judge}) vouches`);
    await page.reload();
    await sees(page, `${name} (${judge}) vouches`);
  });
  await check("figures that cannot be are told while they are typed", async () => {
    const row = await take(0);
    await field(row).fill("lots");
    await row.locator(".say .error").first().waitFor({ state: "visible" });
    assert((await field(row).getAttribute("aria-invalid")) === "true", "the field says so");
    await sound(page, "desk with a fault");
    await field(row).fill("");
    assert((await row.locator(".say").innerText()) === "", "what is said goes with what was typed");
    assert((await field(row).getAttribute("aria-invalid")) === "false", "nothing is wrong with an empty field");
  });
  await check("what is said of a row stands above the pad, and nothing moves when typing begins", async () => {
    await page.setViewportSize({ width: 390, height: 460 });
    const row = await take(4);
    const at = async () => (await page.locator("#judge").boundingBox()).y - (await page.locator("h1").boundingBox()).y;
    const before = await at();
    await field(row).fill("lots");
    await row.locator(".say .error").first().waitFor({ state: "visible" });
    assert((await at()) === before, "the rows have moved");
    const [said, pad] = [await row.locator(".say").boundingBox(), await page.locator("#pad").boundingBox()];
    assert(said.y + said.height <= pad.y, `${said.y + said.height} is below ${pad.y}`);
    await field(row).fill("");
    await page.setViewportSize({ width: 390, height: 844 });
    await page.locator("#judge").focus();
  });
  await check("which place it would have is told before it is stored, and the place after", async () => {
    const row = await take(0);
    await field(row).fill(written);
    await row.getByText(/^Would be \d+(st|nd|rd|th) of/).waitFor({ state: "visible" });
    await store(row);
    await saved(row);
    await row.getByText(/^\d+(st|nd|rd|th) of [\d,]+ in/).waitFor({ state: "visible" });
    await row.getByText("Attested").waitFor({ state: "visible" });
  });
  await sound(page, "desk with a saved row");
  await check("for ten seconds it can be taken back, and the history says so", async () => {
    const row = await take(0);
    const bib = await row.getAttribute("data-bib");
    await field(row).fill(written);
    await store(row);
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Taken back/).waitFor({ state: "visible" });
    assert((await row.getAttribute("data-state")) === "withdrawn", "withdrawn");
    const told = await page.request.get(`/api/v1/competitions/${demo.competition}/workouts/${workout}/scores/${bib}/history`);
    const actions = (await told.json()).items.map((i) => i.action);
    assert(actions.includes("submitted") && actions.at(-1) === "withdrawn", actions.join());
  });
  await check("an answer that is older than what was just taken back changes nothing", async () => {
    const row = await take(0);
    await field(row).fill(written);
    // What is asked for after the saving is answered only after the undoing.
    let release;
    const held = new Promise((done) => (release = done));
    const listed = (url) => url.pathname.endsWith("/scores") && url.searchParams.has("gym");
    let asked = 0;
    await page.route(listed, async (route) => {
      try {
        const answer = await route.fetch();
        asked += 1;
        if (asked === 1) await held;
        await route.fulfill({ response: answer });
      } catch {
        // One that is on its way when the routes are given up goes on by itself.
      }
    });
    await store(row);
    for (let n = 0; n < 100 && asked === 0; n += 1) await page.waitForTimeout(50);
    assert(asked > 0, "nothing is asked for after the saving");
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Taken back/).waitFor({ state: "visible" });
    release();
    await page.waitForTimeout(500);
    assert((await row.getAttribute("data-state")) === "withdrawn", "the row is as it was before the undoing");
    assert(await row.getByText(/^Taken back/).isVisible(), "nothing says that it was taken back");
    await page.unrouteAll({ behavior: "ignoreErrors" });
  });
  await check("an undo that does not get through can be asked for again", async () => {
    const row = await take(0);
    await field(row).fill(written);
    await store(row);
    await page.route("**/withdrawal", (route) => route.abort());
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Not taken back: no network/).waitFor({ state: "visible" });
    await page.unroute("**/withdrawal");
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Taken back/).waitFor({ state: "visible" });
  });
  await check("a correction is taken back to the earlier figures, with their judge", async () => {
    const row = await take(0);
    await field(row).fill(less(1));
    await store(row);
    const before = await row.getAttribute("data-text");
    await row.getByRole("button", { name: /^Correct/ }).click();
    await field(row).fill(less(2));
    await store(row);
    await row.locator(`.value`, { hasNotText: before }).waitFor({ state: "visible" });
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Taken back/).waitFor({ state: "visible" });
    assert((await row.getAttribute("data-text")) === before, `${await row.getAttribute("data-text")} is not ${before}`);
    assert((await row.getAttribute("data-state")) === "attested", "attested as before");
  });
  await check("by the keyboard alone, from one row to the next", async () => {
    const [first, second] = [await take(0), await take(1)];
    await field(first).focus();
    await page.keyboard.type(less(1));
    await first.getByText(/^Would be/).waitFor({ state: "visible" });
    await page.keyboard.press("Enter");
    await saved(first);
    assert(await field(second).evaluate((i) => i === document.activeElement), "the next field has the focus");
  });
  await check("the pad writes the signs that a phone's keyboard hides", async () => {
    const row = await take(0);
    await field(row).focus();
    await page.locator("#pad").waitFor({ state: "visible" });
    const sizes = await page.locator("#pad button").evaluateAll((all) => all.map((b) => b.getBoundingClientRect()).map((r) => [r.width, r.height]));
    assert(sizes.every(([w, h]) => w >= 48 && h >= 48), JSON.stringify(sizes));
    for (const sign of ["+", ":", "/", "tb"]) await page.locator("#pad").getByRole("button", { name: sign, exact: true }).click();
    assert((await field(row).inputValue()).trim() === "+:/ tb", await field(row).inputValue());
    await sound(page, "desk with the pad");
    await field(row).fill("");
    await page.locator("#judge").focus();
  });
  await check("taking no part is noted and taken back", async () => {
    const row = await take(0);
    await field(row).focus();
    await row.getByRole("button", { name: /^Takes no part/ }).click();
    await row.getByText("Not taking part").waitFor({ state: "visible" });
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText("Missing").waitFor({ state: "visible" });
  });

  await check("without a network rows wait, over a reload too, and are sent when it is back", async () => {
    const [first, second] = [await take(0), await take(1)];
    await field(first).fill(less(1));
    await first.getByText(/^Would be/).waitFor({ state: "visible" });
    await context.setOffline(true);
    await field(first).press("Enter");
    await first.getByText(/Kept on this device/).waitFor({ state: "visible" });
    await field(second).fill(less(2));
    await sees(page, "2 not sent yet");
    await sound(page, "desk without a network");
    // The page itself comes only over the network: what is loaded again is what was kept.
    await page.route("**/scores/**", (route) => route.abort());
    await context.setOffline(false);
    await page.reload();
    await sees(page, "2 not sent yet");
    assert((await field(first).inputValue()) === less(1), "the first is there");
    assert((await field(second).inputValue()) === less(2), "the second is there");
    await page.unroute("**/scores/**");
    await page.evaluate(() => window.dispatchEvent(new Event("online")));
    await saved(first);
    await sees(page, "1 not sent yet");
    await page.getByRole("button", { name: "Send it" }).click();
    await saved(second);
    await sees(page, "Nothing waits to be sent.");
  });
  await check("two tabs of one browser keep what is typed in both", async () => {
    const second = await context.newPage();
    watch(second, base);
    await second.goto(address);
    const ids = [await waiting().nth(1).getAttribute("id"), await waiting().nth(2).getAttribute("id")];
    await page.reload();
    await field(page.locator(`#${ids[0]}`)).fill(less(1));
    await field(second.locator(`#${ids[1]}`)).fill(less(2));
    // What one tab writes comes to the others' processes a moment later.
    await page.waitForFunction(() => {
      const own = Object.keys(localStorage).find((key) => key.startsWith("desk:"));
      return own && Object.keys(JSON.parse(localStorage.getItem(own)).rows).length === 2;
    });
    await second.close();
    await page.reload();
    await sees(page, "2 not sent yet");
    const typed = await Promise.all(ids.map((id) => field(page.locator(`#${id}`)).inputValue()));
    assert(typed.join() === [less(1), less(2)].join(), typed.join());
    for (const id of ids) await field(page.locator(`#${id}`)).fill("");
    await sees(page, "Nothing waits to be sent.");
  });
  await check("two people at one desk: nothing is overwritten in silence", async () => {
    const other = await open(base);
    await signIn(other.page, staff);
    await other.page.goto(address);
    await page.reload();
    const id = await waiting().first().getAttribute("id");
    const [mine, theirs] = [page.locator(`#${id}`), other.page.locator(`#${id}`)];
    await field(mine).fill(less(1));
    await mine.getByText(/^Would be/).waitFor({ state: "visible" });
    await field(theirs).fill(less(2));
    await store(theirs);
    await field(mine).press("Enter");
    await mine.getByText(/^Changed by Gym staff to/).waitFor({ state: "visible" });
    await sound(page, "desk in conflict");
    await mine.getByRole("button", { name: "Save yours" }).click();
    await saved(mine);
    assert((await mine.getAttribute("data-text")).startsWith(less(1).split(" ")[0]), await mine.getAttribute("data-text"));
    // And the other way round: theirs is kept.
    await theirs.getByRole("button", { name: /^Correct/ }).click();
    await field(theirs).fill(less(3));
    await field(theirs).press("Enter");
    await theirs.getByRole("button", { name: "Keep theirs" }).click();
    await theirs.getByText("Theirs is kept.").waitFor({ state: "visible" });
    assert((await theirs.getAttribute("data-text")) === (await mine.getAttribute("data-text")), "the same on both");
    await check("the second browser does nothing odd", async () => assert(other.page.odd.length === 0, other.page.odd.join("\n")));
    await other.close();
  });
  await check("a visitor is added by bib, stored for this gym, and on the list from then on", async () => {
    const list = await page.request.get(`/api/v1/competitions/${demo.competition}/entries`);
    const entries = await list.json();
    const guest = entries.find((e) => e.gym && e.gym !== staff.gym && e.state === "active");
    await section().getByLabel("Somebody from another gym: bib").fill(String(guest.bib));
    await section().getByLabel("Somebody from another gym: bib").press("Enter");
    const row = page.locator(`#r-${workout}-${guest.bib}`);
    await field(row).waitFor({ state: "visible" });
    await field(row).fill("x");
    await sound(page, "desk with a visitor");
    await page.reload();
    await row.waitFor({ state: "visible" });
    assert((await field(row).inputValue()) === "x", "a visitor's row is kept too");
    await field(row).fill("");
  });
  await check("results that wait for a judge are vouched for by one statement", async () => {
    await page.locator("#judge").fill("");
    await page.locator("#judge").press("Tab");
    await sees(page, "Nobody yet");
    for (const n of [1, 2]) {
      const row = await take(0);
      await field(row).fill(less(n));
      await store(row);
    }
    await page.reload();
    const form = section().locator("form.vouch");
    const boxes = form.locator("ul input[type=checkbox]");
    const n = await boxes.count();
    assert(n >= 2, `${n} await a judge`);
    await sound(page, "desk with rows that await a judge");
    await form.getByRole("button", { name: "Tick all" }).click();
    assert((await boxes.evaluateAll((all) => all.every((box) => box.checked))), "all are ticked");
    await form.getByRole("button", { name: "Tick none" }).click();
    await boxes.nth(0).check();
    await boxes.nth(1).check();
    const name = await page.locator(`#judges option[value="${judge}"]`).textContent();
    await form.getByLabel("Judge", { exact: true }).fill(name);
    await form.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "Tick the statement too");
    await sound(page, "desk without the statement");
    const again = section().locator("form.vouch");
    const kept = await again.locator("ul input[type=checkbox]").evaluateAll((all) => all.map((box) => box.checked));
    assert(kept.filter(Boolean).length === 2 && kept[0] && kept[1], "what was ticked is not ticked any more");
    assert((await again.getByLabel("Judge", { exact: true }).inputValue()) !== "", "the judge is gone");
    await again.getByLabel(/I have seen a signed sheet/).check();
    await again.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "Vouched for: 2.");
  });

  await check("on a wide screen there is a grid, and a pasted column fills the rows below", async () => {
    await page.goto(address);
    await page.setViewportSize({ width: 1280, height: 900 });
    const grid = page.locator(".grid table");
    await grid.waitFor({ state: "visible" });
    const fields = grid.locator(`.work[data-workout="${workout}"] form.entry:not([hidden]) input.perf`);
    await fields.first().focus();
    const at = await fields.evaluateAll((all) => all.map((i) => i.closest("tr").sectionRowIndex));
    const lines = Array.from({ length: at[1] - at[0] + 1 }, (_, i) => (i === 0 ? less(1) : i === at[1] - at[0] ? less(2) : ""));
    await fields.first().evaluate((input, text) => {
      const clipboardData = new DataTransfer();
      clipboardData.setData("text/plain", text);
      input.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
    }, lines.join("\n"));
    await sees(page, "Pasted: 2.");
    assert((await fields.nth(1).inputValue()) === less(2), "the second row is filled");
    await sees(page, "2 not sent yet");
  });
  await sound(page, "desk as a grid with pasted rows");
  await check("turning back to a phone loses nothing that is typed", async () => {
    await page.setViewportSize({ width: 390, height: 844 });
    await page.locator(".grid").waitFor({ state: "detached" });
    await sees(page, "2 not sent yet");
    assert((await page.locator("ul.todo input.perf").evaluateAll((all) => all.filter((i) => i.value).length)) === 2, "both are typed");
  });
  await check("the receipt names log positions, and each who is missing has a message", async () => {
    await page.getByRole("link", { name: /^Receipt/ }).last().click();
    await sees(page, "Log position");
    await sound(page, "receipt");
    await page.goto(address);
    await page.getByRole("link", { name: "Messages to those who are missing" }).click();
    assert((await page.locator("textarea").first().inputValue()).includes("is not in yet"), "a message");
    await sound(page, "missing");
  });
  await check("signing out asks about rows that are not sent, and clears them", async () => {
    const keys = () => page.evaluate(() => Object.keys(localStorage).filter((k) => k.startsWith("desk:")).length);
    assert((await keys()) === 1, "rows are kept");
    page.once("dialog", (dialog) => {
      assert(dialog.message().startsWith("Not sent yet: 2."), dialog.message());
      dialog.accept();
    });
    await page.getByRole("button", { name: "Sign out" }).click();
    await sees(page, "You are signed out.");
    assert((await keys()) === 0, "nothing is kept");
  });
  await at.close();

  // --- without JavaScript -----------------------------------------------------------------------

  const plain = await open(base, { javaScriptEnabled: false });
  await check("without JavaScript the forms do it all", async () => {
    await signIn(plain.page, staff);
    await plain.page.goto(address);
    await plain.page.locator("#judge").fill(judge);
    await plain.page.getByRole("button", { name: "Use this judge" }).click();
    await sees(plain.page, "vouches for what is saved next");
    const row = section(plain.page).locator('ul.todo > li[data-state="missing"]').first();
    await row.locator("input.perf").fill(written);
    await row.getByRole("button", { name: "Save" }).click();
    for (let i = 0; i < 4 && (await plain.page.locator("input[name^=confirm-][type=checkbox]").count()) > 0; i += 1) {
      for (const box of await plain.page.locator("input[name^=confirm-][type=checkbox]").all()) await box.check();
      await plain.page.getByRole("button", { name: /^Save/ }).click();
    }
    await sees(plain.page, /Placed \d+(st|nd|rd|th) of [\d,]+/);
    await sees(plain.page, "vouches for what is saved next");
  });
  await check("without JavaScript a fault leads to the whole form, with what was typed", async () => {
    const row = section(plain.page).locator('ul.todo > li[data-state="missing"]').first();
    await row.locator("input.perf").fill("lots");
    await row.getByRole("button", { name: "Save" }).click();
    assert((await plain.page.getByLabel("Result").inputValue()) === "lots", "what was typed is there");
  });
  await plain.close();
}
