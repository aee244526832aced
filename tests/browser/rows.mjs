// What becomes of a row after it is stored: it can be vouched for at once, taken back at any time,
// said to take no part; who is entered elsewhere gets a row; a result that gets better after the
// close is asked why; and a desk that is read only shows no field.

import { Desk, Row } from "./at_desk.mjs";
import { assert, check, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

export async function deskRows(base, demo, staff, look) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const [organiser, referee] = ["organiser", "referee"].map(person);
  const api = `/api/v1/competitions/${demo.competition}`;
  const { page, close } = await open(base, { look });
  await staff.enter(page);
  const desk = await Desk.find(page, demo.competition, staff.gym);
  const { address, workout, section } = desk;
  const closed = page.locator("section.workout").last();
  const less = (n) => desk.less(n);
  const take = () => desk.take();
  const twin = async (row) => section.locator(`form.vouch input[name="a-${await row.data("bib")}"]`);

  // A page of somebody whom the organiser gives these roles.
  let invited = 0;
  async function invite(roles) {
    invited += 1;
    const email = `rows-${invited}-${look.width}-${look.scheme}-${Date.now()}@desk.example`;
    const { link } = await as(organiser, async (_, office) =>
      office.evaluate(async (body) => {
        const answer = await fetch("/api/v1/accounts", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
        return answer.json();
      }, { email, roles }));
    const guest = await open(base, { look });
    await guest.page.goto(new URL(link).pathname + new URL(link).search);
    await guest.page.getByRole("button", { name: "Sign in" }).click();
    await guest.page.waitForURL((url) => !url.pathname.startsWith("/signin"));
    return guest;
  }

  // The gym's judge vouches, signed in, for what is stored now.
  async function judgeVouches(path) {
    const guest = await invite([{ role: "judge", competition: demo.competition, judge: staff.judge }]);
    const told = await does(guest, async (sent) => {
      const { json } = await sent("GET", path);
      const headers = { "content-type": "application/json", "if-match": `"${json.etag}"` };
      return sent("POST", `${path}/attestation`, JSON.stringify({ judge: staff.judge, how: "signed_in" }), headers);
    });
    assert(told.status === 200, JSON.stringify(told));
  }

  // Asked as somebody else, from a page of our own.
  async function as(who, work) {
    const other = await open(base, { look });
    await signIn(other.page, who);
    return does(other, work);
  }

  async function does(other, work) {
    const sent = (method, path, body, headers = {}) =>
      other.page.evaluate(
        async ([method, url, body, headers]) => {
          const answer = await fetch(url, { method, headers, body });
          return { status: answer.status, json: await answer.json() };
        },
        [method, `${api}${path}`, body, headers],
      );
    const result = await work(sent, other.page);
    await other.close();
    return result;
  }

  let first;
  await check("what is stored without a judge can be vouched for at once, and the counts follow", async () => {
    await desk.vouchedBy("");
    const before = await section.locator("form.vouch input[name^=a-]").count();
    first = await take();
    await first.type(less(1));
    const second = await take();
    await second.type(less(2));
    await (await twin(first)).waitFor({ state: "visible" });
    await (await twin(second)).waitFor({ state: "visible" });
    await section.getByRole("heading", { name: `Awaiting a judge: ${before + 2}` }).waitFor({ state: "visible" });
    await first.says("Waits for a judge, in the list below");
    await sound(page, "desk with rows stored without a judge");
  });
  await check("figures that were changed after they were ticked are not ticked any more", async () => {
    await (await twin(first)).check();
    await first.press(/^Correct/);
    await first.type(less(3));
    const box = await twin(first);
    assert(!(await box.isChecked()), "other figures than were seen are ticked");
    assert((await box.inputValue()) === (await first.data("etag")), "not the state of now");
  });
  await check("they are vouched for without loading the page again", async () => {
    await (await twin(first)).check();
    const form = section.locator("form.vouch");
    await form.getByLabel("Judge", { exact: true }).fill(staff.judge);
    await form.getByLabel(/I have seen a signed sheet/).check();
    await form.getByRole("button", { name: "Vouch for all" }).click();
    await sees(page, "Vouched for: 1.");
    await desk.unfold();
    await first.says("Attested");
  });
  await check("a row says when it was saved, after a reload too, and carries the number of its sheet", async () => {
    await desk.vouchedBy("");
    const row = await take();
    await row.field.fill(less(1));
    await row.sheet.fill("B 17");
    await row.field.press("Enter");
    await row.says("Name the judge who signed the sheet");
    await sound(page, "desk that asks whose sheet it is");
    await desk.vouchedBy(staff.judge);
    await row.store();
    const said = await row.work.getByText(/^Saved \d\d:\d\d$/).innerText();
    await page.reload();
    await desk.unfold();
    assert((await row.work.getByText(/^Saved \d\d:\d\d$/).innerText()) === said, `${said} before`);
    const bib = await row.data("bib");
    const stored = await (await page.request.get(`${api}/workouts/${workout}/scores/${bib}`)).json();
    assert(stored.sheet === "B 17", JSON.stringify(stored.sheet));
  });
  await check("a settled score is taken back after a question, its row is free again", async () => {
    const back = first.button(/^Take back/);
    await back.click();
    await first.says(/^Take back .+\? It loses its place/);
    await sound(page, "desk that asks before it takes back");
    await first.press("Keep it");
    assert((await first.data("state")) === "attested", "kept");
    await back.click();
    await first.press("Yes, take it back");
    await first.says(/^Taken back \d\d:\d\d/);
    assert((await first.data("state")) === "withdrawn", "withdrawn");
    assert(await first.focused(), "its field has the focus");
    await first.press(/^Takes no part/);
    await first.says("Not taking part");
    await page.reload();
    await desk.unfold();
    await first.saved();
    await first.press(/^Takes part after all/);
    await first.says("Withdrawn");
  });

  await check("a correction of what a judge vouched for signed in is taken back, and waits for that judge again", async () => {
    await desk.vouchedBy("");
    const row = await take();
    await row.type(less(1));
    const path = `/workouts/${workout}/scores/${await row.data("bib")}`;
    await judgeVouches(path);
    await page.reload();
    await desk.unfold();
    const was = await row.data("text");
    assert((await row.data("how")) === "signed_in", "vouched for by who was signed in");
    await row.press(/^Correct/);
    await row.type(less(2));
    await row.press("Undo");
    await row.says(/^Taken back/);
    await row.says("Waits for a judge, in the list below");
    assert((await row.data("text")) === was && (await row.data("state")) === "entered", `${await row.data("text")} ${await row.data("state")}`);
    await desk.vouchedBy(staff.judge);
  });

  await check("what another judge vouched for signed in is taken back in nobody's name, also by a judge", async () => {
    // Staff who judge by another code.
    const judges = await (await page.request.get(`${api}/judges?gym=${staff.gym}`)).json();
    const other = judges.find((j) => j.code !== staff.judge).code;
    const competition = demo.competition;
    const both = await invite([{ role: "staff", competition, gym: staff.gym }, { role: "judge", competition, judge: other }]);
    await both.page.goto(address);
    const own = desk.on(both.page);
    await own.vouchedBy("");
    const row = await own.take();
    await row.type(less(1));
    const path = `/workouts/${workout}/scores/${await row.data("bib")}`;
    await judgeVouches(path);
    await both.page.reload();
    await own.unfold();
    const was = await row.data("text");
    await row.press(/^Correct/);
    await row.type(less(2));
    await row.press("Undo");
    await row.says(/^Taken back/);
    assert((await row.data("text")) === was && (await row.data("state")) === "entered", `${await row.data("text")} ${await row.data("state")}`);
    assert(both.page.odd.length === 0, both.page.odd.join("\n"));
    await both.close();
    await page.reload();
  });

  let entered;
  await check("who is entered elsewhere gets a row, and a name of any kind stays text", async () => {
    const name = '<b onclick="x()">Zoë</b> "&amp; \u05e9\u05dc\u05d5\u05dd';
    entered = 990_000 + Math.floor(Math.random() * 9_000);
    const bib = entered;
    const csv = `bib,name,born,category,division,gym\n${bib},"${name.replaceAll('"', '""')}",1996-04-02,women,women,${staff.gym}\n`;
    const told = await as(organiser, (sent) => sent("POST", "/entries", csv, { "content-type": "text/csv" }));
    assert(told.json.taken === 1, JSON.stringify(told.json));
    const row = desk.row(bib);
    const counted = await desk.counted("missing");
    assert((await row.li.count()) === 0, "not there yet");
    await page.evaluate(() => document.dispatchEvent(new Event("woke")));
    await row.field.waitFor({ state: "visible" });
    assert((await row.who.locator("bdi").first().textContent()) === name, "the name as text");
    assert((await desk.counted("missing")) === counted + 1, `${await desk.counted("missing")} missing after ${counted}`);
    await row.type(less(2));
    await row.press("Undo");
    await row.says(/^Taken back/);
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
    // Not one that was there before: others go on with those.
    const bib = await section.locator("ul.settled > li[data-state=attested]:not([data-locked])").last().getAttribute("data-bib");
    const row = desk.row(bib);
    const field = desk.visitor;
    await field.fill(bib);
    await field.press("Enter");
    await row.field.waitFor({ state: "visible" });
    assert(await row.focused(), "its field has the focus");
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
    await row.says(/^Stored already: .+ only a referee changes it\./);
    await sound(page, "desk led to a score that a referee has in hand");
  });

  await check("nobody is said to be nobody because the service did not answer", async () => {
    const said = section.locator("form.visitor .error");
    const asked = (url) => /\/entries\/\d+$/.test(url.pathname);
    const find = async (bib) => {
      await desk.visitor.fill(bib);
      await desk.visitor.press("Enter");
    };
    const problem = (status) => (route) =>
      route.fulfill({ status, contentType: "application/problem+json", body: JSON.stringify({ status, title: "No", detail: "Not for you." }) });
    const none = (route) => route.abort();
    for (const [answer, text] of [
      [none, "No network"],
      [problem(503), "The service did not answer. Try again."],
      [problem(429), "The service did not answer. Try again."],
      [problem(403), "Not for you."],
      [problem(401), "You are signed out."],
      [problem(404), "Nobody here has bib 999999."],
    ]) {
      await page.route(asked, answer);
      await find("999999");
      await said.getByText(text).waitFor({ state: "visible" });
      await page.unroute(asked);
      if (text !== "You are signed out.") continue;
      await sound(page, "desk that asks who a visitor is, signed out");
      assert((await said.getByRole("link").getAttribute("href")) === `/signin?next=${encodeURIComponent(address)}`, "the way back");
    }
    await find("one");
    await said.getByText("Nobody here has bib one.").waitFor({ state: "visible" });
  });
  await check("a visitor's row is not said to take no part", async () => {
    const entries = await (await page.request.get(`${api}/entries`)).json();
    const guest = entries.find((e) => e.gym && e.gym !== staff.gym && e.state === "active");
    const field = desk.visitor;
    await field.fill(`#0${guest.bib}`);
    await field.press("Enter");
    const row = desk.row(guest.bib);
    await row.field.waitFor({ state: "visible" });
    await row.who.getByText("from another gym").waitFor({ state: "visible" });
    assert((await row.button(/^Takes no part/).count()) === 0, "only its own gym says so");
  });

  await check("what was stored can be undone for ten seconds, and no longer", async () => {
    await page.goto(address);
    await desk.vouchedBy(staff.judge);
    await page.clock.install({ time: Date.now() });
    await page.reload();
    const row = await take();
    await row.type(less(1));
    const undo = row.button("Undo");
    await undo.waitFor({ state: "visible" });
    await page.clock.fastForward(8_000);
    assert(await undo.isVisible(), "gone before its time");
    await page.clock.fastForward(3_000);
    await undo.waitFor({ state: "detached" });
    await row.button(/^Take back/).waitFor({ state: "visible" });
    assert((await row.data("state")) === "attested", "what was stored stays");
    await page.clock.resume();
  });
  await check("a service that is busy, asks to wait or has signed one out loses no row", async () => {
    await page.goto(address);
    const stored = (url) => /\/scores\/\d+$/.test(url.pathname);
    const asked = [];
    const problem = (status, after) => async (route) => {
      if (route.request().method() !== "PUT") return route.continue();
      asked.push(Date.now());
      const headers = after ? { "retry-after": after } : {};
      return route.fulfill({ status, headers, contentType: "application/problem+json", body: JSON.stringify({ status, title: "No", detail: "Not now." }) });
    };
    for (const [status, after] of [[503, "6"], [429, undefined]]) {
      const rows = [await desk.take(0), await desk.take(1), await desk.take(2)];
      for (const row of rows) await row.checked(less(1));
      asked.length = 0;
      await page.route(stored, problem(status, after));
      await page.getByRole("button", { name: "Send all 3" }).click();
      await rows[0].says(/did not answer\. Kept on this device; sent again in a moment/);
      await sees(page, "3 not sent yet");
      if (after) {
        // Not before it wants to be asked, whatever wakes the page meanwhile.
        const first = asked.at(-1);
        await page.evaluate(() => document.dispatchEvent(new Event("woke")));
        await page.waitForTimeout(Math.max(0, first + 4_500 - Date.now()));
        const again = asked.find((at) => at > first) ?? Infinity;
        assert(again - first >= 5_500, `asked again after ${again - first} ms`);
      }
      if (status === 503) await sound(page, "desk while the service does not answer");
      await page.unroute(stored);
      // By themselves, after a pause.
      for (const row of rows) await row.says(/^Saved \d\d:\d\d$/);
      await sees(page, "Nothing waits to be sent.");
    }
    const row = await take();
    // What is only typed is not said to be kept or sent; it is looked at again by itself, not too soon.
    const checked = (url) => /\/check$/.test(url.pathname);
    for (const [status, after] of [[503, "6"], [429, undefined]]) {
      asked.length = 0;
      await page.route(checked, async (route) => {
        asked.push(Date.now());
        const headers = after ? { "retry-after": after } : {};
        return route.fulfill({ status, headers, contentType: "application/problem+json", body: JSON.stringify({ status, title: "No", detail: "Not now." }) });
      });
      await row.field.fill(less(after ? 2 : 3));
      await row.says(/^Not checked yet: the service did not answer/);
      assert((await row.work.getByText(/sent again/).count()) === 0, "nothing is sent");
      await sees(page, "1 not sent yet");
      const first = asked.at(-1);
      await page.waitForTimeout(Math.max(0, first + 3_500 - Date.now()));
      const again = asked.find((at) => at > first) ?? Infinity;
      assert(again - first >= (after ? 5_500 : 3_500), `asked again after ${again - first} ms`);
      await page.unroute(checked);
      await row.says(/^Would be/);
    }
    await row.field.fill(less(2));
    await row.says(/^Would be/);
    await page.route(stored, problem(401));
    await row.field.press("Enter");
    await row.says("You are signed out. What you typed is kept on this device.");
    await sound(page, "desk of somebody who is signed out");
    const link = row.work.getByRole("link", { name: "Sign in again" });
    assert((await link.getAttribute("href")) === `/signin?next=${encodeURIComponent(address)}`, await link.getAttribute("href"));
    await page.unroute(stored);
    await page.reload();
    await row.says(/^Saved \d\d:\d\d$/);
    await sees(page, "Nothing waits to be sent.");
    // Signed in again in another tab: back at the desk, what waits is sent.
    const other = await take();
    await other.checked(less(2));
    await page.route(stored, problem(401));
    await other.field.press("Enter");
    await other.says("You are signed out.");
    await page.unroute(stored);
    await page.evaluate(() => document.dispatchEvent(new Event("visibilitychange")));
    await other.says(/^Saved \d\d:\d\d$/);
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
    if (await late.getByText("Settled:").isVisible()) await late.getByText("Settled:").click();
    const row = new Row(page, await late.locator("ul.settled > li[data-state=attested]:not([data-locked])").first().getAttribute("id"));
    const was = await row.data("text");
    await row.press(/^Correct/);
    const better = `${Number(/^[\d.]+/.exec(was)[0]) + 1}${was.replace(/^[\d.]+/, "")}`;
    await row.field.fill(better);
    const { reason } = row;
    await reason.waitFor({ state: "visible" });
    await sound(page, "desk that asks why a result gets better");
    await reason.fill("the sheet says so");
    await row.work.getByText(/say why/).waitFor({ state: "detached" });
    await page.reload();
    assert((await reason.inputValue()) === "the sheet says so", "the reason is kept too");
    await row.store();
    // To less, and taken back: that makes it better again.
    await row.press(/^Correct/);
    await row.type(was);
    await row.press("Undo");
    await reason.waitFor({ state: "visible" });
    await reason.fill("typed too little");
    await row.press("Undo");
    await row.says(/^Taken back/);
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
