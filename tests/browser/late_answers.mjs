// Answers that come while somebody has gone on: who types in the next row is left there, what was typed
// over something that is on its way is stored on top of it, and no button takes the desk away where there
// is no network.

import { Desk, Row } from "./at_desk.mjs";
import { assert, check, sees } from "./checks.mjs";
import { open, watch } from "./people.mjs";

export async function lateAnswers(base, demo, staff, look) {
  const { page, context, close } = await open(base, { look });
  await staff.enter(page);
  const desk = await Desk.find(page, demo.competition, staff.gym);
  const scores = `/api/v1/competitions/${demo.competition}/workouts/${desk.workout}/scores`;
  const stored = async (row) => (await page.request.get(`${scores}/${await row.data("bib")}`)).json();
  await desk.vouchedBy(staff.judge);

  // Holds what is asked by `method` of an address like that until it is let go.
  async function hold(method, like) {
    let release;
    const held = new Promise((done) => (release = done));
    await page.route(like, async (route) => {
      if (route.request().method() === method) await held;
      await route.continue();
    });
    return release;
  }

  await check("a question about a row leaves who types in the next one there", async () => {
    const [row, next] = [await desk.take(0), await desk.take(1)];
    const tab = await context.newPage();
    watch(tab, base);
    await tab.goto(desk.address);
    await new Row(tab, row.id).type(desk.less(2));
    await tab.close();
    const release = await hold("PUT", /\/scores\/\d+$/);
    await row.field.fill(desk.less(1));
    await row.field.press("Enter");
    assert(await next.focused(), "the next row has not the focus");
    await page.keyboard.type("5");
    release();
    await row.says(/^Changed by Gym staff to/);
    await page.keyboard.type("+1");
    assert((await next.field.inputValue()) === "5+1", `${await next.field.inputValue()} stands in the next row`);
    await row.button("Keep theirs").waitFor({ state: "visible" });
    await row.press("Keep theirs");
    assert((await stored(row)).performance.text === desk.less(2), "ours is stored");
    await next.field.fill("");
    await sees(page, "Nothing waits to be sent.");
  });
  await check("so does the answer that somebody takes no part", async () => {
    const [row, next] = [await desk.take(0), await desk.take(1)];
    const release = await hold("POST", "**/not-taking-part");
    await row.field.focus();
    await row.press(/^Takes no part/);
    await next.field.focus();
    await page.keyboard.type("5");
    release();
    await row.says("Not taking part");
    assert(await next.focused(), "the focus has left the next row");
    await next.field.fill("");
    await row.press(/^(Undo|Takes part after all)/);
    await row.says("Missing");
  });
  await check("what is typed while a result is taken back is stored on top of that", async () => {
    const row = await desk.take(0);
    await row.type(desk.less(3));
    const release = await hold("POST", "**/withdrawal");
    await row.press("Undo");
    await row.press(/^Correct/);
    await row.field.fill(desk.less(4));
    await row.field.press("Enter");
    release();
    await row.saved();
    await sees(page, "Nothing waits to be sent.");
    const now = await stored(row);
    assert(now.performance.text === desk.less(4) && now.state === "attested", JSON.stringify(now));
    const history = await (await page.request.get(`${scores}/${await row.data("bib")}/history`)).json();
    assert(history.items.some((item) => item.action === "withdrawn"), "it was never taken back");
  });
  await check("without a network nothing is vouched for, the ticks stay, and nobody is signed out", async () => {
    await desk.vouchedBy("");
    const row = await desk.take(0);
    await row.type(desk.less(5));
    const box = page.locator(`#${row.id.replace(/^r-/, "a-")}`);
    await box.check();
    await desk.vouching.getByLabel("Judge", { exact: true }).fill(staff.judge);
    await desk.vouching.getByLabel(/I have seen a signed sheet/).check();
    await context.setOffline(true);
    await desk.vouching.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "No network, so nothing is vouched for yet.");
    assert(await box.isChecked(), "the tick is gone");
    let said;
    page.once("dialog", (dialog) => {
      said = dialog.message();
      dialog.accept();
    });
    await page.getByRole("button", { name: "Sign out" }).click();
    await page.waitForFunction(() => document.getElementById("desk"));
    while (!said) await page.waitForTimeout(50);
    assert(said.startsWith("No network, so you are still signed in."), said);
    await context.setOffline(false);
    await desk.vouching.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "Vouched for: 1.");
    assert((await stored(row)).state === "attested", "not vouched for");
  });
  await check("nothing odd on the way", async () => assert(page.odd.length === 0, page.odd.join("\n")));
  await close();
}
