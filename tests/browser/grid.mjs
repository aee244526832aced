// The grid of a wide screen: all workouts of a gym side by side, a column pasted from a spreadsheet with
// the slips that such columns have, what waits for a judge shown as it is now, keys alone.

import { Desk, Row } from "./at_desk.mjs";
import { assert, check, sees, sound } from "./checks.mjs";
import { open } from "./people.mjs";

export async function gridEvening(base, demo, staff, look) {
  const at = await open(base, { look });
  const { page, context } = at;
  await staff.enter(page);
  const desk = await Desk.find(page, demo.competition, staff.gym);
  const grid = page.locator(".grid table");
  await desk.vouchedBy(staff.judge);

  /** The rows of the grid in their order: what stands in the column of the running workout. */
  const column = () =>
    grid.locator("tbody tr").evaluateAll(
      (all, workout) =>
        all.map((tr) => {
          const work = tr.querySelector(`.work[data-workout="${CSS.escape(workout)}"]`);
          return { id: work?.dataset.row, free: Boolean(work?.querySelector("form.entry:not([hidden]) input.perf")) };
        }),
      desk.workout,
    );
  const paste = (row, text) =>
    row.field.evaluate((input, text) => {
      const clipboardData = new DataTransfer();
      clipboardData.setData("text/plain", text);
      input.focus();
      input.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
    }, text);
  const note = (text) => page.locator("p.pasted", { hasText: text }).waitFor({ state: "visible" });
  const unsent = (text) => page.locator(".unsentbar", { hasText: text }).waitFor({ state: "visible" });

  await check("every workout has a column with how far it stands, and every athlete one row", async () => {
    const titles = await grid.locator("thead th bdi").allInnerTexts();
    const sections = await page.locator("section[data-open]").evaluateAll((all) => all.map((s) => s.dataset.title));
    assert(titles.join() === sections.join(), `${titles} are not ${sections}`);
    for (const head of await grid.locator("thead th .summary").all()) assert(/\d+ of \d+ settled/.test(await head.innerText()), await head.innerText());
    const names = await grid.locator("tbody th .under").allInnerTexts();
    assert(new Set(names).size === names.length && names.length > 50, `${names.length} rows`);
  });

  let rows;
  await check("a column with empty lines, slips and a settled row is pasted where it belongs", async () => {
    const all = await column();
    const start = all.findIndex(({ free }) => free);
    const end = all.findIndex(({ free }, i) => free && i > start + 3 && all.slice(start, i).filter((r) => r.free).length >= 4);
    rows = all.slice(start, end + 1);
    const free = rows.filter((r) => r.free).map((r) => new Row(page, r.id));
    const texts = [desk.less(1), "lots", "", ` ${desk.less(2)} `, desk.less(3)];
    assert(free.length === texts.length, `${free.length} are free`);
    const lines = rows.map((r) => (r.free ? texts[free.findIndex((f) => f.id === r.id)] : ""));
    // As a spreadsheet on Windows copies it.
    await paste(free[0], `${lines.join("\r\n")}\r\n`);
    await note("Pasted: 4.");
    const typed = await Promise.all(free.map((row) => row.field.inputValue()));
    assert(typed.join("|") === texts.map((text) => text.trim()).join("|"), typed.join("|"));
    await unsent("4 not sent yet");
    await free[1].work.locator(".say .error").first().waitFor({ state: "visible" });
    for (const n of [0, 3, 4]) await free[n].says(/^Would be/);
    rows = free;
  });
  await sound(page, "grid with a pasted column");
  await check("all are sent but the slip, which is led to, kept over a reload, mended and stored", async () => {
    await page.getByRole("button", { name: "Send all 4" }).click();
    for (const n of [0, 3, 4]) {
      const yes = rows[n].button("Yes, it is right").first();
      while (!(await rows[n].work.getByText(/^Saved/).isVisible())) {
        await yes.or(rows[n].work.getByText(/^Saved/)).first().waitFor({ state: "visible" });
        if (await yes.isVisible()) {
          await yes.click();
          await rows[n].field.press("Enter");
        }
      }
      await rows[n].says("Attested");
    }
    await rows[1].says(/^Not stored:/);
    await unsent("1 not sent yet");
    await page.reload();
    await unsent("1 not sent yet");
    assert((await rows[1].field.inputValue()) === "lots", "the slip is kept");
    await rows[1].type(desk.less(4));
    await unsent("Nothing waits to be sent.");
  });
  await check("what is pasted over a settled row is left out and said, and the row stays as it is", async () => {
    const all = await column();
    const first = all.findIndex(({ free }, i) => free && all[i + 1] && !all[i + 1].free && all[i + 1].id);
    const [row, settled] = [new Row(page, all[first].id), new Row(page, all[first + 1].id)];
    const before = await settled.data("text");
    await paste(row, `${desk.less(5)}\n${desk.less(6)}\n`);
    await note("Pasted: 1.");
    await note("Left out: 1.");
    assert((await settled.data("text")) === before, "a settled row is changed");
    await row.field.fill("");
  });
  await check("more lines than rows are left out and said, and more columns go to the workouts beside", async () => {
    const all = await column();
    const last = new Row(page, all.filter((r) => r.free).at(-1).id);
    const after = all.length - 1 - all.findIndex((r) => r.id === last.id);
    await paste(last, `${desk.less(1)}${"\n".repeat(after + 1)}7+7\n8+8`);
    await note("Left out: 2.");
    await last.field.fill("");
    const beside = await grid.locator("tbody tr").evaluateAll((all) => all.findIndex((tr) => [1, 2].every((n) => tr.cells[n]?.querySelector("form.entry:not([hidden]) input.perf"))));
    if (beside >= 0) {
      const cells = grid.locator("tbody tr").nth(beside).locator("input.perf");
      await cells.first().evaluate((input) => {
        const clipboardData = new DataTransfer();
        clipboardData.setData("text/plain", "1\t2");
        input.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
      });
      assert((await cells.nth(0).inputValue()) === "1" && (await cells.nth(1).inputValue()) === "2", "each in its column");
      for (const n of [0, 1]) await cells.nth(n).fill("");
    }
    await unsent("Nothing waits to be sent.");
  });
  await check("a column pasted without a network is sent when it is back", async () => {
    const all = (await column()).map((r, i) => ({ ...r, i })).filter((r) => r.free).slice(0, 2);
    const [one, two] = all.map((r) => new Row(page, r.id));
    await context.setOffline(true);
    await paste(one, `${desk.less(1)}${"\n".repeat(all[1].i - all[0].i)}${desk.less(2)}`);
    await unsent("2 not sent yet · No network");
    for (const row of [one, two]) await row.field.press("Enter");
    await two.says(/Kept on this device/);
    await sound(page, "grid without a network");
    await context.setOffline(false);
    for (const row of [one, two]) await row.saved();
    await unsent("Nothing waits to be sent.");
  });
  await check("by keys alone down the column, and the grid scrolls under no bar", async () => {
    const [one, two] = [await desk.take(0), await desk.take(1)];
    await one.field.focus();
    await page.keyboard.type(desk.less(1));
    await one.says(/^Would be/);
    await page.keyboard.press("Enter");
    await one.saved();
    assert(await two.focused(), "the next field has the focus");
    const [bar, box] = [await page.locator(".unsentbar").boundingBox(), await two.field.boundingBox()];
    const covers = (await page.locator(".unsentbar").evaluate((b) => getComputedStyle(b).position)) === "sticky" && box.y < bar.y + bar.height;
    assert(!covers, "the field stands under the bar");
  });
  await check("what waits for a judge stands in the grid as it is now, changed here or elsewhere", async () => {
    await desk.vouchedBy("");
    const row = await desk.take();
    await row.type(desk.less(2));
    await desk.vouchedBy(staff.judge);
    await page.reload();
    // It stands in the statement now; the grid says its figures too.
    const name = await desk.section.locator(`#${row.id} .who bdi`).first().textContent();
    const bib = await row.data("bib");
    const cell = grid.locator("tbody tr", { has: page.locator("th .under", { hasText: new RegExp(`^${bib} `) }) }).locator("td").first();
    assert((await cell.innerText()).includes("Awaiting judge"), `${name}: ${await cell.innerText()}`);
    await row.press(/^Correct/);
    await row.field.fill(desk.less(3));
    await row.field.press("Enter");
    await cell.getByText("Attested").waitFor({ state: "visible" });
    assert((await cell.innerText()).includes(await row.data("text")), `${await cell.innerText()} is not ${await row.data("text")}`);
  });
  await check("the row of who is led to by bib has the focus, whatever may be done there", async () => {
    const locked = page.locator('section[data-open] li.row[data-locked][data-state="flagged"]').first();
    if ((await locked.count()) === 0) return;
    const [workout, bib] = await locked.evaluate((li) => [li.dataset.workout, li.dataset.bib]);
    const field = page.locator(`section[data-workout="${workout}"]`).getByLabel("Somebody from another gym: bib");
    await field.fill(bib);
    await field.press("Enter");
    const row = new Row(page, await locked.getAttribute("id"));
    await row.says(/only a referee changes it/);
    assert(await row.work.evaluate((work) => work.contains(document.activeElement)), "the focus is elsewhere");
  });
  await check("the grid does nothing odd", async () => assert(page.odd.length === 0, page.odd.join("\n")));
  await at.close();
}
