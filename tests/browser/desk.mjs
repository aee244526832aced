// A gym's evening at the desk, in a real browser, on a phone and on a wide screen: results typed, the
// network cut and back, a reload, two people at one desk, a judge's word for many, a visitor; on a phone
// the pad, on a wide screen the grid and a column from a spreadsheet; and the plain forms where there is
// no JavaScript.

import { Desk, Row } from "./at_desk.mjs";
import { EVENINGS, assert, check, sees, sound } from "./checks.mjs";
import { open, watch } from "./people.mjs";

export async function deskEvening(base, demo, staff, look) {
  const { judge } = staff;
  const at = await open(base, { look });
  const { page, context } = at;
  const wide = look.width >= 1024;
  let desk;

  await check("the desk opens with the running workout first", async () => {
    await staff.enter(page);
    desk = await Desk.find(page, demo.competition, staff.gym);
    await sees(page, /closes in/);
    assert((await desk.missing.count()) > 8, `${await desk.missing.count()} left`);
    assert((await page.locator(".grid table").count()) === (wide ? 1 : 0), "a grid on a wide screen alone");
    const { bottom, height } = await page.locator("input.perf").first().evaluate((field) => ({ bottom: field.getBoundingClientRect().bottom, height: innerHeight }));
    assert(bottom <= height, `the first result is typed at ${bottom}, below the first screen of ${height}`);
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
  await check("who vouched half a day ago, or for another workout, is offered and not taken for granted", async () => {
    const name = await page.locator(`#judges option[value="${judge}"]`).textContent();
    const vouches = `${name} (${judge}) vouches`;
    const again = page.getByRole("button", { name: `Last time it was ${name} (${judge}): the same again` });
    for (const what of ["since", "evening"]) {
      await page.evaluate((what) => {
        const [key, all] = Object.entries(localStorage).map(([key, text]) => [key, key.startsWith("desk:") && JSON.parse(text)]).find(([, all]) => all?.judge);
        const other = { since: all.since - 12 * 3_600_000 - 1000, evening: "another" }[what];
        localStorage.setItem(key, JSON.stringify({ ...all, [what]: other }));
      }, what);
      await page.reload();
      await sees(page, "Nobody yet: results wait for a judge.");
      assert((await page.locator("#judge").inputValue()) === "", "the judge of another evening stands there");
      // Something is kept meanwhile, and the page loaded once more.
      const row = await desk.take(0);
      await row.field.fill("lots");
      await row.field.fill("");
      await page.reload();
      await again.waitFor({ state: "visible" });
      if (what === "since") await sound(page, "desk with the judge of another evening");
      await again.click();
      await sees(page, vouches);
      assert(await again.isHidden(), "it is still offered");
      await page.reload();
      await sees(page, vouches);
      assert(await again.isHidden(), "it is offered again");
    }
  });
  await check("figures that cannot be are told while they are typed", async () => {
    const row = await desk.take(0);
    await row.field.fill("lots");
    await row.work.locator(".say .error").first().waitFor({ state: "visible" });
    assert((await row.field.getAttribute("aria-invalid")) === "true", "the field says so");
    await sound(page, "desk with a fault");
    await row.field.fill("");
    assert((await row.work.locator(".say").innerText()) === "", "what is said goes with what was typed");
    assert((await row.field.getAttribute("aria-invalid")) === "false", "nothing is wrong with an empty field");
  });
  const onPhone = wide ? () => undefined : check;
  await onPhone("what is said of a row stands above the pad, and nothing moves when typing begins", async () => {
    await page.setViewportSize({ width: 390, height: 460 });
    const row = await desk.take(4);
    const at = async () => (await page.locator("#judge").boundingBox()).y - (await page.locator("h1").boundingBox()).y;
    const before = await at();
    await row.field.fill("lots");
    await row.work.locator(".say .error").first().waitFor({ state: "visible" });
    assert((await at()) === before, "the rows have moved");
    const [said, pad] = [await row.work.locator(".say").boundingBox(), await page.locator("#pad").boundingBox()];
    assert(said.y + said.height <= pad.y, `${said.y + said.height} is below ${pad.y}`);
    await row.field.fill("");
    await page.setViewportSize({ width: 390, height: 844 });
    await page.locator("#judge").focus();
  });
  await onPhone("a question that two rows have is asked beside each, and moves no row", async () => {
    // As the service asks about a slip that both have.
    const asks = { faults: [], questions: [{ code: "total_as_rounds", message: "Is that right?" }], warnings: [], places: [] };
    await page.route("**/check", (route) => route.fulfill({ contentType: "application/json", body: JSON.stringify(asks) }));
    const [one, two] = [await desk.take(0), await desk.take(1)];
    const question = (row) => row.work.locator(".say .ask", { hasText: "Is that right?" });
    await one.field.fill(desk.less(1));
    await question(one).waitFor({ state: "visible" });
    const at = () => two.field.evaluate((field) => field.getBoundingClientRect().top + window.scrollY);
    await two.field.focus();
    const before = await at();
    await two.field.fill(desk.less(2));
    await question(two).waitFor({ state: "visible" });
    assert((await at()) === before, `${await at()} after ${before}: the row has moved`);
    assert(await page.locator(".asked").isHidden(), "it is asked over the list too");
    await page.unroute("**/check");
    for (const row of [one, two]) {
      await row.button("Yes, it is right").click();
      await question(row).waitFor({ state: "detached" });
      await row.field.fill("");
    }
    await sees(page, "Nothing waits to be sent.");
  });
  await check("which place it would have is told before it is stored, and the place after", async () => {
    const row = await desk.take(0);
    await row.checked(desk.written);
    const would = await row.work.getByText(/^Would be /).innerText();
    await row.store();
    await row.saved();
    const placed = await row.work.getByText(/^\d+(st|nd|rd|th) of [\d,]+ in/).innerText();
    // Another desk is at work too: with the same figures it moves no place, but more or fewer have one.
    const parts = (text) => [text.replace(/ of [\d,]+ in/, " in"), Number(/ of ([\d,]+) in/.exec(text)[1].replace(/,/g, ""))];
    const [[said, of], [is, now]] = [parts(would), parts(placed)];
    assert(said === `Would be ${is}` && Math.abs(now - of) <= 3, `${would} Then: ${placed}`);
    await row.says("Attested");
  });
  await sound(page, "desk with a saved row");
  await check("for ten seconds it can be taken back, and the history says so", async () => {
    const row = await desk.take(0);
    const bib = await row.data("bib");
    await row.type(desk.written);
    await row.press("Undo");
    await row.says(/^Taken back/);
    assert((await row.data("state")) === "withdrawn", "withdrawn");
    const told = await page.request.get(`/api/v1/competitions/${demo.competition}/workouts/${desk.workout}/scores/${bib}/history`);
    const actions = (await told.json()).items.map((i) => i.action);
    assert(actions.includes("submitted") && actions.at(-1) === "withdrawn", actions.join());
  });
  await check("an answer that is older than what was just taken back changes nothing", async () => {
    const row = await desk.take(0);
    await row.field.fill(desk.written);
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
    await row.store();
    for (let n = 0; n < 100 && asked === 0; n += 1) await page.waitForTimeout(50);
    assert(asked > 0, "nothing is asked for after the saving");
    await row.press("Undo");
    await row.says(/^Taken back/);
    release();
    await page.waitForTimeout(500);
    assert((await row.data("state")) === "withdrawn", "the row is as it was before the undoing");
    assert(await row.work.getByText(/^Taken back/).isVisible(), "nothing says that it was taken back");
    await page.unrouteAll({ behavior: "ignoreErrors" });
  });
  await check("an undo that does not get through can be asked for again", async () => {
    const row = await desk.take(0);
    await row.type(desk.written);
    await page.route("**/withdrawal", (route) => route.abort());
    await row.press("Undo");
    await row.says(/^No answer came, so it may be taken back or not\./);
    await page.unroute("**/withdrawal");
    await row.press("Undo");
    await row.says(/^Taken back/);
  });
  await check("a correction is taken back to the earlier figures, with their judge", async () => {
    const row = await desk.take(0);
    await row.type(desk.less(1));
    const before = await row.data("text");
    await row.press(/^Correct/);
    await row.type(desk.less(2));
    await row.work.locator(`.value`, { hasNotText: before }).waitFor({ state: "visible" });
    await row.press("Undo");
    await row.says(/^Taken back/);
    assert((await row.data("text")) === before, `${await row.data("text")} is not ${before}`);
    assert((await row.data("state")) === "attested", "attested as before");
  });
  await check("by the keyboard alone, from one row to the next", async () => {
    const [first, second] = [await desk.take(0), await desk.take(1)];
    await first.field.focus();
    await page.keyboard.type(desk.less(1));
    await first.says(/^Would be/);
    await page.keyboard.press("Enter");
    await first.saved();
    assert(await second.focused(), "the next field has the focus");
  });
  await onPhone("the pad writes the signs that a phone's keyboard hides", async () => {
    const row = await desk.take(0);
    await row.field.focus();
    await page.locator("#pad").waitFor({ state: "visible" });
    const sizes = await page.locator("#pad button").evaluateAll((all) => all.map((b) => b.getBoundingClientRect()).map((r) => [r.width, r.height]));
    assert(sizes.every(([w, h]) => w >= 48 && h >= 48), JSON.stringify(sizes));
    for (const sign of ["+", ":", "/", "tb"]) await page.locator("#pad").getByRole("button", { name: sign, exact: true }).click();
    assert((await row.field.inputValue()).trim() === "+:/ tb", await row.field.inputValue());
    await sound(page, "desk with the pad");
    await row.field.fill("");
    await page.locator("#judge").focus();
  });
  await check("taking no part is noted and taken back", async () => {
    const row = await desk.take(0);
    await row.field.focus();
    await row.press(/^Takes no part/);
    await row.says("Not taking part");
    await row.press("Undo");
    await row.says("Missing");
  });

  await check("without a network rows wait, over a reload too, and are sent when it is back", async () => {
    const [first, second] = [await desk.take(0), await desk.take(1)];
    await first.checked(desk.less(1));
    await context.setOffline(true);
    await first.field.press("Enter");
    await first.says(/Kept on this device/);
    await second.field.fill(desk.less(2));
    await sees(page, "2 not sent yet");
    await sound(page, "desk without a network");
    // The page itself comes only over the network: what is loaded again is what was kept.
    await page.route("**/scores/**", (route) => route.abort());
    await context.setOffline(false);
    await page.reload();
    await sees(page, "2 not sent yet");
    assert((await first.field.inputValue()) === desk.less(1), "the first is there");
    assert((await second.field.inputValue()) === desk.less(2), "the second is there");
    await page.unroute("**/scores/**");
    await page.evaluate(() => window.dispatchEvent(new Event("online")));
    await first.saved();
    await sees(page, "1 not sent yet");
    await page.getByRole("button", { name: "Send it" }).click();
    await second.saved();
    await sees(page, "Nothing waits to be sent.");
  });
  await check("where the device keeps nothing that is said, and what waits is kept once it does again", async () => {
    const [first, second] = [await desk.take(0), await desk.take(1)];
    const wouldAsk = () => page.evaluate(() => !window.dispatchEvent(new Event("beforeunload", { cancelable: true })));
    // It is known before anything is typed.
    const bare = await context.newPage();
    await bare.addInitScript(() => {
      Storage.prototype.setItem = () => {
        throw new DOMException("forbidden", "SecurityError");
      };
    });
    await bare.goto(desk.address);
    await context.setOffline(true);
    await sees(bare, "No network. This device keeps nothing: leave this page open.");
    await context.setOffline(false);
    await bare.close();
    await page.evaluate(() => {
      window.storing = Storage.prototype.setItem;
      Storage.prototype.setItem = () => {
        throw new DOMException("no room", "QuotaExceededError");
      };
    });
    await first.field.fill(desk.less(1));
    await sees(page, "1 not sent yet · This device keeps nothing: leave this page open until all is sent.");
    await first.says(/^Would be/);
    assert(await wouldAsk(), "the page is left without a word");
    // Signing out asks first, though nothing of it is on the device.
    let asked = "";
    page.once("dialog", (dialog) => {
      asked = dialog.message();
      dialog.dismiss();
    });
    await page.getByRole("button", { name: "Sign out" }).click();
    assert(asked.startsWith("Not sent yet: 1."), `asked: ${asked}`);
    assert((await page.request.get("/account")).url().endsWith("/account"), "signed out all the same");
    const stores = (url) => /\/scores\/\d+$/.test(url.pathname);
    const refused = (status) => (route) =>
      route.fulfill({ status, contentType: "application/problem+json", body: JSON.stringify({ status, title: "No", detail: "Not now." }) });
    await page.route(stores, refused(401));
    await first.field.press("Enter");
    await first.says("You are signed out, and this device keeps nothing. Leave this page open");
    assert((await first.work.getByRole("link", { name: "Sign in again" }).getAttribute("target")) === "_blank", "it leads away from what was typed");
    await page.route(stores, refused(503));
    await first.field.press("Enter");
    await first.says("The service did not answer. This device keeps nothing: leave this page open");
    await context.setOffline(true);
    await page.unroute(stores);
    await sees(page, "1 not sent yet · No network. This device keeps nothing: leave this page open.");
    await page.evaluate(() => document.dispatchEvent(new Event("woke")));
    await first.says("No network. This device keeps nothing: leave this page open, and it is sent when the network is back.");
    assert((await page.getByText(/[Kk]ept on this device/).count()) === 0, "it is said to be kept");
    await sound(page, "desk on a device that keeps nothing");
    // There is room again: what was typed before goes there too.
    await page.evaluate(() => {
      Storage.prototype.setItem = window.storing;
    });
    await second.field.fill(desk.less(2));
    await sees(page, "2 not sent yet · No network: nothing is lost, go on typing.");
    assert(!(await wouldAsk()), "it is kept, and asked about all the same");
    await page.route("**/scores/**", (route) => route.abort());
    await context.setOffline(false);
    await page.reload();
    await sees(page, "2 not sent yet");
    const typed = [await first.field.inputValue(), await second.field.inputValue()];
    assert(typed.join() === [desk.less(1), desk.less(2)].join(), typed.join());
    await page.unroute("**/scores/**");
    await second.field.fill("");
    await page.evaluate(() => window.dispatchEvent(new Event("online")));
    await first.saved();
    await sees(page, "Nothing waits to be sent.");
  });
  await check("two tabs of one browser keep what is typed in both", async () => {
    const second = await context.newPage();
    watch(second, base);
    await second.goto(desk.address);
    const rows = [await desk.take(1), await desk.take(2)];
    await page.reload();
    await rows[0].field.fill(desk.less(1));
    await new Row(second, rows[1].id).field.fill(desk.less(2));
    // What one tab writes comes to the others' processes a moment later.
    await page.waitForFunction(() => {
      const own = Object.keys(localStorage).find((key) => key.startsWith("desk:"));
      return own && Object.keys(JSON.parse(localStorage.getItem(own)).rows).length === 2;
    });
    await second.close();
    await page.reload();
    await sees(page, "2 not sent yet");
    const typed = await Promise.all(rows.map((row) => row.field.inputValue()));
    assert(typed.join() === [desk.less(1), desk.less(2)].join(), typed.join());
    for (const row of rows) await row.field.fill("");
    await sees(page, "Nothing waits to be sent.");
  });
  await check("two people at one desk: nothing is overwritten in silence", async () => {
    const other = await open(base, { look });
    await staff.enter(other.page);
    await other.page.goto(desk.address);
    await page.reload();
    const mine = await desk.take();
    const theirs = new Row(other.page, mine.id);
    await mine.checked(desk.less(1));
    await theirs.type(desk.less(2));
    await mine.field.press("Enter");
    await mine.says(/^Changed by Gym staff to/);
    await sound(page, "desk in conflict");
    await mine.press("Save yours");
    await mine.saved();
    assert((await mine.data("text")).startsWith(desk.less(1).split(" ")[0]), await mine.data("text"));
    // And the other way round: theirs is kept.
    await theirs.press(/^Correct/);
    await theirs.field.fill(desk.less(3));
    await theirs.field.press("Enter");
    await theirs.press("Keep theirs");
    await theirs.says("Theirs is kept.");
    assert((await theirs.data("text")) === (await mine.data("text")), "the same on both");
    // What was stored and taken back meanwhile is said as what it is.
    const [next, same] = [await desk.take(), new Row(other.page, (await desk.take()).id)];
    await next.checked(desk.less(1));
    await same.type(desk.less(2));
    await same.press("Undo");
    await same.says(/^Taken back/);
    await next.field.press("Enter");
    await next.says(/^Taken back by Gym staff, so nothing is stored\. Yours is/);
    await sound(page, "desk in conflict with what was taken back");
    await next.press("Save yours");
    await next.saved();
    await check("the second browser does nothing odd", async () => assert(other.page.odd.length === 0, other.page.odd.join("\n")));
    await other.close();
  });
  await check("a visitor is added by bib, stored for this gym, and on the list from then on", async () => {
    const list = await page.request.get(`/api/v1/competitions/${demo.competition}/entries`);
    const entries = await list.json();
    const scores = `/api/v1/competitions/${demo.competition}/workouts/${desk.workout}/scores`;
    let guest;
    // Desks that are at work beside this one have guests of their own.
    const ours = (bib) => bib % EVENINGS.length === EVENINGS.indexOf(look);
    for (const e of entries.filter((e) => e.gym && e.gym !== staff.gym && e.state === "active" && ours(e.bib))) {
      if ((await page.request.get(`${scores}/${e.bib}`)).status() !== 404) continue;
      guest = e;
      break;
    }
    await desk.visitor.fill(String(guest.bib));
    await desk.visitor.press("Enter");
    const row = desk.row(guest.bib);
    await row.field.waitFor({ state: "visible" });
    await row.field.fill("x");
    await sound(page, "desk with a visitor");
    await page.reload();
    await row.field.waitFor({ state: "visible" });
    assert((await row.field.inputValue()) === "x", "a visitor's row is kept too");
    await row.type(desk.less(1));
    await row.saved();
    const stored = await (await page.request.get(`${scores}/${guest.bib}`)).json();
    assert(stored.gym === staff.gym, `stored for ${stored.gym}`);
    await page.reload();
    await desk.unfold();
    await row.who.getByText("from another gym").waitFor({ state: "visible" });
    assert((await row.data("text")) === stored.performance.text, await row.data("text"));
  });
  await check("results that wait for a judge are vouched for by one statement", async () => {
    await desk.vouchedBy("");
    await sees(page, "Nobody yet");
    for (const n of [1, 2]) await (await desk.take()).type(desk.less(n));
    await page.reload();
    const form = desk.vouching;
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
    // Loading the page again sends nothing again, and signing in again comes back to the desk.
    assert(new URL(page.url()).pathname === desk.address, page.url());
    const again = desk.vouching;
    const kept = await again.locator("ul input[type=checkbox]").evaluateAll((all) => all.map((box) => box.checked));
    assert(kept.filter(Boolean).length === 2 && kept[0] && kept[1], "what was ticked is not ticked any more");
    assert((await again.getByLabel("Judge", { exact: true }).inputValue()) !== "", "the judge is gone");
    await again.getByLabel(/I have seen a signed sheet/).check();
    await again.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "Vouched for: 2.");
    assert(new URL(page.url()).pathname === desk.address, page.url());
    await page.reload();
    await sees(page, "settled");
    assert((await page.getByText("Vouched for: 2.").count()) === 0, "said again, and nothing was done again");
  });

  await check("a window that is made wider or narrower and back loses nothing that is typed", async () => {
    await page.goto(desk.address);
    const rows = [await desk.take(0), await desk.take(1)];
    const { width, height } = page.viewportSize();
    for (const row of rows) await row.field.fill(desk.less(1));
    await page.setViewportSize({ width: wide ? 390 : 1280, height });
    await page.locator(".grid table").waitFor({ state: wide ? "detached" : "visible" });
    await sees(page, "2 not sent yet");
    for (const row of rows) assert((await row.field.inputValue()) === desk.less(1), "typed no more");
    await rows[1].field.fill(desk.less(2));
    await page.setViewportSize({ width, height });
    await page.locator(".grid table").waitFor({ state: wide ? "visible" : "detached" });
    for (const [n, row] of rows.entries()) assert((await row.field.inputValue()) === desk.less(n + 1), "typed no more");
  });
  await check("the receipt names log positions, and each who is missing has a message", async () => {
    await page.getByRole("link", { name: /^Receipt/ }).last().click();
    await sees(page, "Log position");
    await sound(page, "receipt");
    await page.goto(desk.address);
    await page.getByRole("link", { name: "Messages to those who are missing" }).click();
    assert((await page.locator("textarea").first().inputValue()).includes("is not in yet"), "a message");
    await sound(page, "missing");
  });
  await check("signing out asks about rows that are not sent, and clears them", async () => {
    const keys = () => page.evaluate(() => Object.keys(localStorage).filter((k) => k.startsWith("desk:")).length);
    assert((await keys()) === 1, "rows are kept");
    let asked = "";
    page.once("dialog", (dialog) => {
      asked = dialog.message();
      dialog.accept();
    });
    await page.getByRole("button", { name: "Sign out" }).click();
    await sees(page, "You are signed out.");
    assert(asked.startsWith("Not sent yet: 2."), asked);
    assert((await keys()) === 0, "nothing is kept");
  });
  await at.close();

  // --- without JavaScript -----------------------------------------------------------------------

  const plain = await open(base, { look, javaScriptEnabled: false });
  const left = desk.on(plain.page).missing;
  await check("without JavaScript the forms do it all", async () => {
    await staff.enter(plain.page);
    await plain.page.goto(desk.address);
    await plain.page.locator("#judge").fill(judge);
    await plain.page.getByRole("button", { name: "Use this judge" }).click();
    await sees(plain.page, "vouches for what is saved next");
    await left.first().locator("input.perf").fill(desk.written);
    await left.first().getByRole("button", { name: "Save" }).click();
    for (let i = 0; i < 4 && (await plain.page.locator("input[name^=confirm-][type=checkbox]").count()) > 0; i += 1) {
      for (const box of await plain.page.locator("input[name^=confirm-][type=checkbox]").all()) await box.check();
      await plain.page.getByRole("button", { name: /^Save/ }).click();
    }
    await sees(plain.page, /Placed \d+(st|nd|rd|th) of [\d,]+/);
    await sees(plain.page, "vouches for what is saved next");
  });
  await check("without JavaScript a fault leads to the whole form, with what was typed", async () => {
    await left.first().locator("input.perf").fill("lots");
    await left.first().getByRole("button", { name: "Save" }).click();
    assert((await plain.page.getByLabel("Result").inputValue()) === "lots", "what was typed is there");
  });
  await plain.close();
}
