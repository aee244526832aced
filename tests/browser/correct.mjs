// Correcting what is stored: its level, nothing at all, its sheet alone, and out of a correction again;
// who is absent is passed over; and nobody is sent home while something waits on the device.

import { Desk, Row } from "./at_desk.mjs";
import { assert, check, sees, sound } from "./checks.mjs";
import { open, watch } from "./people.mjs";

export async function deskCorrections(base, demo, staff, look) {
  const { page, context, close } = await open(base, { look });
  await staff.enter(page);
  const desk = await Desk.find(page, demo.competition, staff.gym);
  const scores = `/api/v1/competitions/${demo.competition}/workouts/${desk.workout}/scores`;
  const stored = async (row) => (await page.request.get(`${scores}/${await row.data("bib")}`)).json();
  const woke = () => page.evaluate(() => document.dispatchEvent(new Event("woke")));
  await desk.vouchedBy(staff.judge);

  let row;
  await check("a correction keeps the level that is stored, whoever stored it", async () => {
    for (let n = 0; (await (row = await desk.take(n)).level.count()) === 0; n += 1);
    const shown = await row.level.inputValue();
    const lighter = await row.level.locator("option").last().getAttribute("value");
    assert(lighter !== shown, "one level alone");
    const tab = await context.newPage();
    watch(tab, base);
    await tab.goto(desk.address);
    const theirs = new Row(tab, row.id);
    await theirs.field.focus();
    await theirs.level.selectOption(lighter);
    await theirs.type(desk.less(2));
    await tab.close();
    await woke();
    await row.saved();
    await row.press(/^Correct/);
    assert((await row.level.inputValue()) === lighter, `${await row.level.inputValue()} is shown`);
    await row.type(desk.less(1));
    assert((await stored(row)).level === lighter, "another level is stored");
    // A correction of the level that is taken back.
    await row.press(/^Correct/);
    await row.level.selectOption(shown);
    await row.store();
    assert((await stored(row)).level === shown, "the level is not corrected");
    await row.press("Undo");
    await row.says(/^Taken back/);
    await row.press(/^Correct/);
    assert((await row.level.inputValue()) === lighter, `${await row.level.inputValue()} is shown after the undoing`);
    await row.press(/^Keep \d/);
  });
  await check("out of a correction again: what is stored stays", async () => {
    const { etag, performance } = await stored(row);
    await row.press(/^Correct/);
    await row.press(/^Keep \d/);
    assert(!(await row.field.isVisible()), "the field is still there");
    await row.press(/^Correct/);
    await row.field.fill(desk.less(4));
    await row.says("Typed, not saved yet");
    await sound(page, "desk with a correction");
    await row.press(/^Keep \d/);
    await sees(page, "Nothing waits to be sent.");
    assert(await row.button(/^Correct/).evaluate((button) => button === document.activeElement), "the focus is elsewhere");
    assert((await stored(row)).etag === etag && (await row.data("text")) === performance.text, "something is stored");
  });
  await check("a correction that is emptied key by key stays one, over what others ask meanwhile too", async () => {
    const { etag } = await stored(row);
    const text = await row.data("text");
    await row.press(/^Correct/);
    await row.field.press("End");
    for (let n = (await row.field.inputValue()).length; n > 0; n -= 1) await page.keyboard.press("Backspace");
    assert((await row.field.inputValue()) === "" && (await row.focused()), "the field is closed under the fingers");
    await row.button(/^Keep \d/).waitFor({ state: "visible" });
    // Somebody else changes another row: once that is seen, this one was looked at too.
    const other = await desk.take(3);
    const noted = `${base}${scores}/${await other.data("bib")}/not-taking-part`;
    assert((await page.request.post(noted, { headers: { origin: new URL(base).origin } })).ok(), "it is not noted");
    await woke();
    await other.says("Not taking part");
    assert(await row.focused(), "a look at what is new closes it");
    assert((await page.request.delete(noted, { headers: { origin: new URL(base).origin } })).ok(), "it is not taken back");
    await page.keyboard.type("12");
    await row.says("Typed, not saved yet");
    await row.field.fill("");
    await sound(page, "desk with an emptied correction");
    await row.press(/^Keep \d/);
    assert(!(await row.field.isVisible()), "the field is still there");
    assert((await stored(row)).etag === etag && (await row.data("text")) === text, "something is stored");
  });
  await check("what is on its way is not called back by a word, and what others stored meanwhile is what is kept", async () => {
    await row.press(/^Correct/);
    await row.field.fill(desk.less(5));
    await row.says(/^Would be/);
    const tab = await context.newPage();
    watch(tab, base);
    await tab.goto(desk.address);
    const theirs = new Row(tab, row.id);
    // The first tab's figures wait in the second one too: it takes its own in their place.
    await theirs.type(desk.less(6));
    await tab.close();
    const now = (await stored(row)).performance.text;
    let release;
    const held = new Promise((done) => (release = done));
    await page.route(/\/scores\/\d+$/, async (route) => {
      if (route.request().method() === "PUT") await held;
      await route.continue();
    });
    await row.field.press("Enter");
    await row.says("Sending");
    assert((await row.button(/^Keep \d/).count()) === 0, "it can be called back by a word");
    release();
    await row.says(/^Changed by Gym staff to/);
    await page.unrouteAll({ behavior: "ignoreErrors" });
    assert((await row.button(/^Keep \d/).count()) === 0, "the stored result is offered twice");
    assert((await row.data("text")) === now, `${await row.data("text")} stands there, ${now} is stored`);
    // Typed on: what may be kept is what is stored now.
    await row.field.fill(desk.less(7));
    await row.button(/^Keep \d/).waitFor({ state: "visible" });
    const kept = await row.button(/^Keep \d/).textContent();
    assert(kept === `Keep ${now}`, `${kept}, and ${now} is stored`);
    await row.press(/^Keep \d/);
    assert((await stored(row)).performance.text === now && (await row.data("text")) === now, "something else is kept");
    await sees(page, "Nothing waits to be sent.");
  });
  await check("who was said to take no part while something was typed is asked about, and may be left so", async () => {
    const absent = await desk.take(0);
    await absent.field.fill(desk.less(1));
    await absent.says("Typed, not saved yet");
    const noted = `${base}${scores}/${await absent.data("bib")}/not-taking-part`;
    assert((await page.request.post(noted, { headers: { origin: new URL(base).origin } })).ok(), "it is not noted");
    await page.reload();
    await absent.says(/^Noted at .+: takes no part\. A result takes that back\.$/);
    assert((await absent.button(/^Keep/).count()) === 0, "nothing is kept that is not there");
    await sound(page, "desk with a result of who takes no part");
    await absent.press(/^Leave it: takes no part/);
    await absent.says("Not taking part");
    assert((await absent.data("state")) === "not_taking_part", await absent.data("state"));
    await sees(page, "Nothing waits to be sent.");
    await absent.press(/^Takes part after all/);
    await absent.says("Missing");
  });
  await check("where no answer comes it is not said that nothing is noted, and it is looked up", async () => {
    const absent = await desk.take(0);
    const out = "**/not-taking-part";
    // Noted, and the answer is lost.
    await page.route(out, async (route) => {
      await route.fetch();
      await route.abort();
    });
    await absent.field.focus();
    await absent.press(/^Takes no part/);
    await absent.says("Not taking part");
    assert((await absent.work.getByText(/^Not stored/).count()) === 0, "it is said to be not stored");
    await page.unroute(out);
    await absent.press(/^Takes part after all/);
    await absent.says("Missing");
    // Not noted.
    await page.route(out, (route) => route.abort());
    await absent.press(/^Takes no part/);
    await absent.says("It is not done. Try again.");
    await sound(page, "desk where it is not noted that somebody takes no part");
    await page.unroute(out);
    assert((await absent.data("state")) === "missing" || (await absent.data("state")) === "withdrawn", await absent.data("state"));
  });
  await check("saving what is stored already says so, and there is nothing to undo", async () => {
    const { etag } = await stored(row);
    await row.press(/^Correct/);
    await row.field.press("Enter");
    await row.saved();
    assert((await stored(row)).etag === etag, "something is stored");
    assert((await row.button("Undo").count()) === 0, "nothing that could be undone");
  });
  await check("a sheet alone is stored, and is no correction to be undone", async () => {
    await row.press(/^Correct/);
    await row.sheet.fill("B 31");
    await row.store();
    assert((await stored(row)).sheet === "B 31", "the sheet is not stored");
    assert((await row.button("Undo").count()) === 0, "an undo would change nothing");
    await row.button(/^Take back/).waitFor({ state: "visible" });
  });
  await check("who is absent is passed over by Enter and by the pad, down to the last", async () => {
    const [first, second, third] = [await desk.take(0), await desk.take(1), await desk.take(2)];
    await first.field.focus();
    await page.keyboard.press("Enter");
    assert(await second.focused(), "Enter on an empty field does nothing");
    if (look.width < 1024) await page.locator("#pad").getByRole("button", { name: "Next" }).click();
    else await page.keyboard.press("Enter");
    assert(await third.focused(), "Next on an empty field does nothing");
    const last = page.locator(`.work[data-workout="${desk.workout}"] input.perf`).filter({ visible: true }).last();
    await last.focus();
    await page.keyboard.press("Enter");
    assert(await last.evaluate((input) => input !== document.activeElement), "the last field is not left");
  });
  await check("another attempt has a row of its own, and is corrected, vouched for and taken back as itself", async () => {
    await row.press(/^Correct/);
    await row.type(desk.less(1));
    const [bib, first] = [await row.data("bib"), desk.less(1)];
    await page.goto(`${desk.address}/${desk.workout}/${bib}`);
    await page.getByLabel("Result").fill(desk.less(3));
    await page.locator("summary", { hasText: "When it was done" }).click();
    await page.getByLabel(/^This is another attempt/).check();
    const save = page.getByRole("button", { name: /^Save/ });
    await save.click();
    const asked = page.locator('input[type=checkbox][name^="confirm-"]');
    await page.waitForLoadState();
    if ((await asked.count()) > 0) {
      for (const box of await asked.all()) await box.check();
      await save.click();
    }
    await page.waitForURL(/saved=/);
    await sees(page, "Attempt 2.");
    await sees(page, `What counts now is attempt 1: ${first}.`);
    const other = new Row(page, `${row.id}-2`);
    await desk.vouching.locator(`#${other.id}`).waitFor({ state: "visible" });
    await other.says("Attempt 2");
    assert((await desk.counted("awaiting")) > 0, "it is not counted among those that await a judge");
    await sound(page, "desk with another attempt");
    const attempts = async () => (await stored(row)).attempts.map((a) => a.performance.text);
    await other.press(/^Correct/);
    await other.type(desk.less(4));
    assert((await attempts()).join() === [first, desk.less(4)].join(), `${await attempts()} is stored`);
    assert((await stored(row)).attempts[1].attestation?.judge === staff.judge, "no judge stands for it");
    await page.reload();
    assert((await row.data("attempt")) === "1" && (await row.data("text")) === first, "another attempt stands in the row");
    assert((await other.data("state")) === "attested", await other.data("state"));
    // Stored elsewhere meanwhile: a row for it comes by itself.
    const { etag } = (await stored(row)).attempts[1];
    const headers = { origin: new URL(base).origin, "if-match": `"${etag}"` };
    assert((await page.request.post(`${base}${scores}/${bib}/withdrawal`, { headers, data: {} })).ok(), "it is not taken back");
    await woke();
    await other.li.waitFor({ state: "detached" });
    const put = (confirm) => page.request.put(`${base}${scores}/${bib}`, { headers: { origin: headers.origin }, data: { performance: desk.less(5), attempt: 3, confirm } });
    let sent = await put([]);
    if (!sent.ok()) sent = await put((await sent.json()).confirm ?? []);
    assert(sent.ok(), await sent.text());
    await woke();
    const last = new Row(page, `${row.id}-3`);
    await last.says("Attempt 3");
    await desk.vouching.locator(`[name="a-${bib}-3"]`).waitFor({ state: "visible" });
    await desk.unfold();
    await last.press(/^Take back/);
    await last.press("Yes, take it back");
    await last.li.waitFor({ state: "detached" });
    assert((await stored(row)).attempts.map((a) => a.state).join() === "attested,withdrawn,withdrawn", "other attempts are changed");
    assert((await row.data("text")) === first, "another attempt stands in the row");
  });
  await check("nobody is sent home while something waits on this device", async () => {
    const listed = (url) => url.pathname.endsWith("/scores") && url.searchParams.has("gym");
    const home = desk.section.locator(".home");
    assert(!(await home.isVisible()), "some are missing");
    await page.route(listed, async (route) => {
      try {
        const answer = await route.fetch();
        const list = await answer.json();
        await route.fulfill({ response: answer, json: { ...list, settled: list.entries, awaiting: 0, missing: 0 } });
      } catch {
        // One that is on its way when the route is given up goes on by itself.
      }
    });
    await woke();
    await home.getByText(/^All \d+ settled\. You can go home\.$/).waitFor({ state: "visible" });
    await row.press(/^Correct/);
    await row.field.fill("lots");
    await home.waitFor({ state: "hidden" });
    await row.press(/^Keep \d/);
    await home.waitFor({ state: "visible" });
    await page.unrouteAll({ behavior: "ignoreErrors" });
    await woke();
    await home.waitFor({ state: "hidden" });
  });
  await check("corrections do nothing odd", async () => assert(page.odd.length === 0, page.odd.join("\n")));
  await close();
}
