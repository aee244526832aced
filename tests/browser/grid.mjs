// The grid of a wide screen: all workouts of a gym side by side, a column pasted from a spreadsheet with
// the slips that such columns have, a question that many rows of it have, what waits for a judge shown as it
// is now, keys alone.

import { Desk, Row } from "./at_desk.mjs";
import { EVENINGS, assert, check, sees, sound } from "./checks.mjs";
import { open, send, signIn } from "./people.mjs";

export async function gridEvening(base, demo, staff, look) {
  const at = await open(base, { look });
  const { page, context } = at;
  await staff.enter(page);
  const desk = await Desk.find(page, demo.competition, staff.gym);
  const grid = page.locator(".grid table");
  await desk.vouchedBy(staff.judge);
  const api = `/api/v1/competitions/${demo.competition}`;

  /** What is sent to the API by somebody else, from a page of their own. */
  async function as(role, work) {
    const other = await open(base, { look });
    await signIn(other.page, demo.sign_in.find((s) => s.role === role));
    const told = await work((method, path, body, headers) => send(other.page, method, `${api}${path}`, body, headers));
    await other.close();
    return told;
  }

  const rowOf = (bib) => grid.locator("tbody tr", { has: page.locator("th .under", { hasText: new RegExp(`^${bib} `) }) });
  // Three who have done nothing yet, in the last rows of the grid: free in every column.
  const first = 960_000 + 1_000 * EVENINGS.indexOf(look) + 10 * Math.floor(Math.random() * 90);
  const fresh = [first, first + 1, first + 2];
  await check("who was entered meanwhile has a row of the grid, with a field for every workout", async () => {
    const entry = (bib) => ({ bib, name: `Fresh ${bib}`, born: "1996-04-02", category: "women", division: "women", gym: staff.gym });
    const told = await as("organiser", (sent) => sent("POST", "/entries", fresh.map(entry)));
    assert(told.json.taken === 3, JSON.stringify(told));
    await page.reload();
    const columns = await grid.locator("thead th[data-workout]").count();
    assert(columns > 1, `${columns} workouts beside each other`);
    for (const bib of fresh) {
      const free = await rowOf(bib).locator("form.entry:not([hidden]) input.perf").count();
      assert(free === columns, `${bib} has ${free} fields of ${columns}`);
    }
  });

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
    assert(titles.length > 1 && titles.join() === sections.join(), `${titles} are not ${sections}`);
    const heads = await grid.locator("thead th .summary").allInnerTexts();
    assert(heads.length === sections.length, `${heads.length} of ${sections.length} say how far they stand`);
    for (const head of heads) assert(/\d+ of \d+ settled/.test(head), head);
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
    const cells = rowOf(fresh[0]).locator("input.perf");
    await paste({ field: cells.first() }, "1\t2");
    await note("Pasted: 2.");
    assert((await cells.nth(0).inputValue()) === "1" && (await cells.nth(1).inputValue()) === "2", "each in its column");
    for (const n of [0, 1]) await cells.nth(n).fill("");
    await unsent("Nothing waits to be sent.");
  });
  await check("a question that many rows of a column have stands once with its count, and one yes answers them all", async () => {
    const { workouts } = await (await page.request.get(api)).json();
    const amrap = workouts.find((w) => w.format === "amrap").slug;
    const asked = fresh.map((bib) => new Row(page, `r-${amrap}-${bib}`));
    const question = page.locator(".asked p");
    await paste(asked[0], "278+0\n279+0\n280+0");
    await note("Pasted: 3.");
    await question.getByText(/^.+: 3 rows have this question\..+278 rounds\?/).waitFor({ state: "visible" });
    assert((await question.count()) === 1, `${await question.count()} questions`);
    await sound(page, "grid with a question that many rows have");
    // Other figures are not meant by it, whether they are checked by now or not.
    await asked[2].field.fill("5+1");
    const yes = question.getByRole("button", { name: "Yes, it is right in all 2" });
    await yes.waitFor({ state: "visible" });
    await yes.click();
    await question.waitFor({ state: "detached" });
    for (const row of asked.slice(0, 2)) {
      await row.work.locator(".say .ask").waitFor({ state: "detached" });
      assert((await row.work.locator(".say .error").count()) === 0, await row.work.locator(".say").innerText());
    }
    const confirmed = await page.evaluate(() => {
      const { rows } = JSON.parse(Object.entries(localStorage).find(([name]) => name.startsWith("desk:"))[1]);
      return Object.fromEntries(Object.entries(rows).map(([id, row]) => [id.split("/")[1], row.confirm.join()]));
    });
    const expected = { [fresh[0]]: "total_as_rounds", [fresh[1]]: "total_as_rounds", [fresh[2]]: "" };
    assert(JSON.stringify(confirmed) === JSON.stringify(expected), JSON.stringify(confirmed));
    // One row alone is asked in its place only.
    await asked[2].field.fill("281+0");
    await asked[2].work.locator(".say .ask").waitFor({ state: "visible" });
    assert((await question.count()) === 0, "one row is asked over all of them");
    for (const row of asked) await row.field.fill("");
    await unsent("Nothing waits to be sent.");
  });
  await check("a column pasted without a network is sent when it is back", async () => {
    const all = (await column()).map((r, i) => ({ ...r, i })).filter((r) => r.free).slice(0, 2);
    const [one, two] = all.map((r) => new Row(page, r.id));
    await context.setOffline(true);
    await paste(one, `${desk.less(1)}${"\n".repeat(all[1].i - all[0].i)}${desk.less(2)}`);
    await unsent("2 not sent yet · No network");
    for (const row of [one, two]) await row.field.press("Enter");
    for (const row of [one, two]) await row.says(/Kept on this device/);
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
    // As long as something waits the bar stays in sight, above what is led to.
    await two.checked(desk.less(2));
    await two.field.evaluate((input) => input.scrollIntoView({ block: "start" }));
    assert((await page.evaluate(() => scrollY)) > 0, "nothing is scrolled");
    const bar = page.locator(".unsentbar");
    const [over, box] = [await bar.boundingBox(), await two.field.boundingBox()];
    assert((await bar.evaluate((b) => getComputedStyle(b).position)) === "sticky" && over.y >= 0, "the bar is out of sight");
    assert(box.y >= over.y + over.height, "the field stands under the bar");
    await two.field.fill("");
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
    const cell = rowOf(bib).locator("td").first();
    assert((await cell.innerText()).includes("Awaiting judge"), `${name}: ${await cell.innerText()}`);
    await row.press(/^Correct/);
    await row.field.fill(desk.less(3));
    await row.field.press("Enter");
    await cell.getByText("Attested").waitFor({ state: "visible" });
    assert((await cell.innerText()).includes(await row.data("text")), `${await cell.innerText()} is not ${await row.data("text")}`);
  });
  await check("the row of who is led to by bib has the focus, whatever may be done there", async () => {
    // One that was pasted before: a referee takes it in hand.
    const row = rows[0];
    const path = `/workouts/${desk.workout}/scores/${await row.data("bib")}`;
    const doubt = { reason: "count", note: "two short" };
    const etag = await row.data("etag");
    const told = await as("referee", (sent) => sent("POST", `${path}/flags`, doubt, { "if-match": `"${etag}"` }));
    assert(told.status === 200, JSON.stringify(told));
    await page.reload();
    assert((await row.data("state")) === "flagged" && (await row.data("locked")) !== null, await row.data("state"));
    await desk.visitor.fill(await row.data("bib"));
    await desk.visitor.press("Enter");
    await row.says(/only a referee changes it/);
    assert(await row.work.evaluate((work) => work.contains(document.activeElement)), "the focus is elsewhere");
  });
  await check("who was entered for this is taken out again", async () => {
    const change = { state: "removed", reason: "entered for a check" };
    const told = await as("organiser", (sent) => Promise.all(fresh.map((bib) => sent("PATCH", `/entries/${bib}`, change))));
    assert(told.every(({ status }) => status === 200), JSON.stringify(told));
  });
  await check("the grid does nothing odd", async () => assert(page.odd.length === 0, page.odd.join("\n")));
  await at.close();
}
