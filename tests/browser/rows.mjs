// What becomes of a row after it is stored: it can be vouched for at once, taken back at any time,
// said to take no part; who is entered elsewhere gets a row; a result that gets better after the
// close is asked why; and a desk that is read only shows no field.

import { assert, check, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

export async function deskRows(base, demo) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const [staff, organiser, referee] = ["staff", "organiser", "referee"].map(person);
  const address = `/desk/${demo.competition}/${staff.gym}`;
  const api = `/api/v1/competitions/${demo.competition}`;
  const { page, close } = await open(base);
  await signIn(page, staff);
  await page.goto(address);
  const workout = await page.locator("section.workout").first().getAttribute("data-workout");
  const section = page.locator(`section[data-workout="${workout}"]`);
  const closed = page.locator("section.workout").last();
  await page.goto(`/c/${demo.competition}/workouts/${workout}`);
  const written = (await page.locator("table", { has: page.getByText("How to write a result") }).locator("tbody th").first().innerText()).trim();
  const less = (n) => written.replace(/\d+/, (number) => String(Math.max(1, Number(number) - n)));
  await page.goto(address);
  const missing = section.locator('ul.todo > li[data-state="missing"]');
  const take = async (n = 0) => section.locator(`#${await missing.nth(n).getAttribute("id")}`);
  const missingNow = async () => Number(/(\d+) missing/.exec(await section.locator(".summary").innerText())[1]);
  const twin = (row) => row.getAttribute("data-bib").then((bib) => section.locator(`form.vouch input[name="a-${bib}"]`));

  // Stores what is typed, with yes to each question.
  async function store(row) {
    await row.locator("input.perf").press("Enter");
    for (let i = 0; i < 4; i += 1) {
      const yes = row.getByRole("button", { name: "Yes, it is right" }).first();
      const done = row.getByText(/^Saved \d\d:\d\d/);
      await yes.or(done).first().waitFor({ state: "visible" });
      if (await done.isVisible()) return;
      await yes.click();
      await row.locator("input.perf").press("Enter");
    }
  }
  async function type(row, text) {
    await row.locator("input.perf").fill(text);
    await store(row);
  }
  // Asked as somebody else, from a page of our own.
  async function as(who, does) {
    const other = await open(base);
    await signIn(other.page, who);
    const sent = (method, path, body, headers = {}) =>
      other.page.evaluate(
        async ([method, url, body, headers]) => {
          const answer = await fetch(url, { method, headers, body });
          return { status: answer.status, json: await answer.json() };
        },
        [method, `${api}${path}`, body, headers],
      );
    const result = await does(sent, other.page);
    await other.close();
    return result;
  }

  let first;
  await check("what is stored without a judge can be vouched for at once, and the counts follow", async () => {
    await page.locator("#judge").fill("");
    await page.locator("#judge").press("Tab");
    const before = await section.locator("form.vouch input[name^=a-]").count();
    first = await take();
    await type(first, less(1));
    const second = await take();
    await type(second, less(2));
    await (await twin(first)).waitFor({ state: "visible" });
    await (await twin(second)).waitFor({ state: "visible" });
    await section.getByRole("heading", { name: `Awaiting a judge: ${before + 2}` }).waitFor({ state: "visible" });
    await first.getByText("Waits for a judge, in the list below").waitFor({ state: "visible" });
    await sound(page, "desk with rows stored without a judge");
  });
  await check("figures that were changed after they were ticked are not ticked any more", async () => {
    await (await twin(first)).check();
    await first.getByRole("button", { name: /^Correct/ }).click();
    await type(first, less(3));
    const box = await twin(first);
    assert(!(await box.isChecked()), "other figures than were seen are ticked");
    assert((await box.inputValue()) === (await first.getAttribute("data-etag")), "not the state of now");
  });
  await check("they are vouched for without loading the page again", async () => {
    await (await twin(first)).check();
    const form = section.locator("form.vouch");
    await form.getByLabel("Judge", { exact: true }).fill(person("judge").judge);
    await form.getByLabel(/I have seen a signed sheet/).check();
    await form.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "Vouched for: 1.");
    await section.getByText("Settled:").click();
    await first.getByText("Attested").waitFor({ state: "visible" });
  });
  await check("a row says when it was saved, after a reload too, and carries the number of its sheet", async () => {
    await page.locator("#judge").fill("");
    await page.locator("#judge").press("Tab");
    const row = await take();
    await row.locator("input.perf").fill(less(1));
    await row.locator("input.sheet").fill("B 17");
    await row.locator("input.perf").press("Enter");
    await row.getByText("Name the judge who signed the sheet").waitFor({ state: "visible" });
    await sound(page, "desk that asks whose sheet it is");
    await page.locator("#judge").fill(person("judge").judge);
    await page.locator("#judge").press("Tab");
    await store(row);
    const said = await row.getByText(/^Saved \d\d:\d\d$/).innerText();
    await page.reload();
    await section.getByText("Settled:").click();
    assert((await row.getByText(/^Saved \d\d:\d\d$/).innerText()) === said, `${said} before`);
    const bib = await row.getAttribute("data-bib");
    const stored = await (await page.request.get(`${api}/workouts/${workout}/scores/${bib}`)).json();
    assert(stored.sheet === "B 17", JSON.stringify(stored.sheet));
  });
  await check("a settled score is taken back after a question, its row is free again", async () => {
    const back = first.getByRole("button", { name: /^Take back/ });
    await back.click();
    await first.getByText(/^Take back .+\? It loses its place/).waitFor({ state: "visible" });
    await sound(page, "desk that asks before it takes back");
    await first.getByRole("button", { name: "Keep it" }).click();
    assert((await first.getAttribute("data-state")) === "attested", "kept");
    await back.click();
    await first.getByRole("button", { name: "Yes, take it back" }).click();
    await first.getByText(/^Taken back \d\d:\d\d/).waitFor({ state: "visible" });
    assert((await first.getAttribute("data-state")) === "withdrawn", "withdrawn");
    assert(await first.locator("input.perf").evaluate((i) => i === document.activeElement), "its field has the focus");
    await first.getByRole("button", { name: /^Takes no part/ }).click();
    await first.getByText("Not taking part").waitFor({ state: "visible" });
    await page.reload();
    await section.getByText("Settled:").click();
    await first.getByRole("button", { name: /^Takes part after all/ }).click();
    await first.getByText("Withdrawn").waitFor({ state: "visible" });
  });

  let entered;
  await check("who is entered elsewhere gets a row, and a name of any kind stays text", async () => {
    const name = '<b onclick="x()">Zoë</b> "&amp; \u05e9\u05dc\u05d5\u05dd';
    entered = 990_000 + Math.floor(Math.random() * 9_000);
    const bib = entered;
    const csv = `bib,name,born,category,division,gym\n${bib},"${name.replaceAll('"', '""')}",1996-04-02,women,women,${staff.gym}\n`;
    const told = await as(organiser, (sent) => sent("POST", "/entries", csv, { "content-type": "text/csv" }));
    assert(told.json.taken === 1, JSON.stringify(told.json));
    const row = section.locator(`#r-${workout}-${bib}`);
    const counted = await missingNow();
    assert((await row.count()) === 0, "not there yet");
    await page.evaluate(() => document.dispatchEvent(new Event("woke")));
    await row.waitFor({ state: "visible" });
    assert((await row.locator(".who bdi").first().textContent()) === name, "the name as text");
    assert((await missingNow()) === counted + 1, `${await missingNow()} missing after ${counted}`);
    await type(row, less(2));
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Taken back/).waitFor({ state: "visible" });
  });
  await sound(page, "desk with somebody entered meanwhile");
  // Read out of a sheet on paper the name would stand in the order in which it is seen.
  await check("who was entered for this is taken out again", async () => {
    const change = JSON.stringify({ state: "removed", reason: "entered for a check" });
    const told = await as(organiser, (sent) => sent("PATCH", `/entries/${entered}`, change, { "content-type": "application/json" }));
    assert(told.status === 200, JSON.stringify(told));
  });

  await check("a bib whose row is settled is led to, and what nobody may change is said", async () => {
    await page.reload();
    const settled = section.locator("ul.settled > li[data-state=attested]:not([data-locked])").first();
    const bib = await settled.getAttribute("data-bib");
    const field = section.getByLabel("Somebody from another gym: bib");
    await field.fill(bib);
    await field.press("Enter");
    await settled.locator("input.perf").waitFor({ state: "visible" });
    assert(await settled.locator("input.perf").evaluate((i) => i === document.activeElement), "its field has the focus");
    // A referee takes it in hand.
    const told = await as(referee, async (sent) => {
      const { json } = await sent("GET", `/workouts/${workout}/scores/${bib}`);
      const headers = { "content-type": "application/json", "if-match": `"${json.etag}"` };
      return sent("POST", `/workouts/${workout}/scores/${bib}/flags`, JSON.stringify({ reason: "count", note: "two short" }), headers);
    });
    assert(told.status === 200, JSON.stringify(told));
    await page.reload();
    await field.fill(bib);
    await field.press("Enter");
    const row = section.locator(`#r-${workout}-${bib}`);
    await row.getByText(/^Stored already: .+ only a referee changes it\./).waitFor({ state: "visible" });
    await sound(page, "desk led to a score that a referee has in hand");
  });

  await check("a visitor's row is not said to take no part", async () => {
    const entries = await (await page.request.get(`${api}/entries`)).json();
    const guest = entries.find((e) => e.gym && e.gym !== staff.gym && e.state === "active");
    const field = section.getByLabel("Somebody from another gym: bib");
    await field.fill(String(guest.bib));
    await field.press("Enter");
    const row = page.locator(`#r-${workout}-${guest.bib}`);
    await row.locator("input.perf").waitFor({ state: "visible" });
    await row.getByText("from another gym").waitFor({ state: "visible" });
    assert((await row.getByRole("button", { name: /^Takes no part/ }).count()) === 0, "only its own gym says so");
  });

  await check("what was stored can be undone for ten seconds, and no longer", async () => {
    await page.goto(address);
    await page.locator("#judge").fill(person("judge").judge);
    await page.locator("#judge").press("Tab");
    await page.clock.install({ time: Date.now() });
    await page.reload();
    const row = await take();
    await type(row, less(1));
    const undo = row.getByRole("button", { name: "Undo" });
    await undo.waitFor({ state: "visible" });
    await page.clock.fastForward(8_000);
    assert(await undo.isVisible(), "gone before its time");
    await page.clock.fastForward(3_000);
    await undo.waitFor({ state: "detached" });
    await row.getByRole("button", { name: /^Take back/ }).waitFor({ state: "visible" });
    assert((await row.getAttribute("data-state")) === "attested", "what was stored stays");
    await page.clock.resume();
  });
  await check("a service that is busy, asks to wait or has signed one out loses no row", async () => {
    await page.goto(address);
    const stored = (url) => /\/scores\/\d+$/.test(url.pathname);
    const problem = (status) => async (route) => {
      if (route.request().method() !== "PUT") return route.continue();
      return route.fulfill({ status, contentType: "application/problem+json", headers: { "retry-after": "1" }, body: JSON.stringify({ status, title: "No", detail: "Not now." }) });
    };
    for (const status of [503, 429]) {
      const row = await take();
      await row.locator("input.perf").fill(less(1));
      await row.getByText(/^Would be/).waitFor({ state: "visible" });
      await page.route(stored, problem(status));
      await row.locator("input.perf").press("Enter");
      await row.getByText(/did not answer\. Kept on this device; sent again in a moment/).waitFor({ state: "visible" });
      await sees(page, "1 not sent yet");
      if (status === 503) await sound(page, "desk while the service does not answer");
      await page.unroute(stored);
      // By itself, after a pause.
      await row.getByText(/^Saved \d\d:\d\d$/).waitFor({ state: "visible" });
      await sees(page, "Nothing waits to be sent.");
    }
    const row = await take();
    await row.locator("input.perf").fill(less(2));
    await row.getByText(/^Would be/).waitFor({ state: "visible" });
    await page.route(stored, problem(401));
    await row.locator("input.perf").press("Enter");
    await row.getByText("You are signed out. What you typed is kept on this device.").waitFor({ state: "visible" });
    await sound(page, "desk of somebody who is signed out");
    const link = row.getByRole("link", { name: "Sign in again" });
    assert((await link.getAttribute("href")) === `/signin?next=${encodeURIComponent(address)}`, await link.getAttribute("href"));
    await page.unroute(stored);
    await page.reload();
    await row.getByText(/^Saved \d\d:\d\d$/).waitFor({ state: "visible" });
    await sees(page, "Nothing waits to be sent.");
  });

  await check("a result that gets better after the close is asked why, in its row; its undoing too", async () => {
    const over = await closed.getAttribute("data-workout");
    const soon = new Date(Date.now() + 3_000).toISOString();
    const judges = new Date(Date.now() + 86_400_000).toISOString();
    const extension = { gym: staff.gym, closes: soon, attest_by: judges, reason: "power cut" };
    const told = await as(organiser, (sent) => sent("POST", `/workouts/${over}/extensions`, JSON.stringify(extension), { "content-type": "application/json" }));
    assert(told.status < 300, JSON.stringify(told));
    await page.waitForTimeout(3_500);
    await page.goto(address);
    const late = page.locator(`section[data-workout="${over}"]`);
    assert((await late.getAttribute("data-keys")).includes("kg"), "loads: more is better");
    await late.getByText("Settled:").click();
    const id = await late.locator("ul.settled > li[data-state=attested]:not([data-locked])").first().getAttribute("id");
    const row = page.locator(`#${id}`);
    const was = await row.getAttribute("data-text");
    await row.getByRole("button", { name: /^Correct/ }).click();
    const better = `${Number(/^[\d.]+/.exec(was)[0]) + 1}${was.replace(/^[\d.]+/, "")}`;
    await row.locator("input.perf").fill(better);
    const reason = row.getByLabel(/^Reason for/);
    await reason.waitFor({ state: "visible" });
    await sound(page, "desk that asks why a result gets better");
    await reason.fill("the sheet says so");
    await row.getByText(/say why/).waitFor({ state: "detached" });
    await page.reload();
    assert((await reason.inputValue()) === "the sheet says so", "the reason is kept too");
    await store(row);
    // To less, and taken back: that makes it better again.
    await row.getByRole("button", { name: /^Correct/ }).click();
    await type(row, was);
    await row.getByRole("button", { name: "Undo" }).click();
    await reason.waitFor({ state: "visible" });
    await reason.fill("typed too little");
    await row.getByRole("button", { name: "Undo" }).click();
    await row.getByText(/^Taken back/).waitFor({ state: "visible" });
  });
  await close();

  await check("who cannot store here reads the desk without a field", async () => {
    for (const who of [organiser, referee]) {
      await as(who, async (_, other) => {
        await other.goto(address);
        await sees(other, "Scores are entered by the staff of the gym");
        assert((await other.locator("main input:visible, main button:visible").count()) === 0, `fields for the ${who.role}`);
        if (who === referee) await sound(other, "desk that is only read");
      });
    }
  });
}
