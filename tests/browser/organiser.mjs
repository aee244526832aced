// The organiser's evening: what came late is decided, a gym gets more time, a line of the file is
// changed with its reason, whom the gyms propose is confirmed, all gyms are invited and one of them
// comes by its link, roles are given and taken, and who is missing gets a message.

import { howWritten } from "./at_desk.mjs";
import { assert, checksIn, downloads, sees, sound } from "./checks.mjs";
import { inTurn, open, send, signIn } from "./people.mjs";

/** In one look, about the gym of `staff`; another look's goes on beside it about another gym. */
export async function organisersEvening(base, demo, staff, look, from) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const organiser = person("organiser");
  const check = checksIn(look);
  const c = demo.competition;
  const api = `/api/v1/competitions/${c}`;
  const home = `/organise/${c}`;
  const at = await open(base, { look, from });
  const { page, context } = at;
  // Whoever comes by a link of this evening.
  const visitor = () => open(base, { look, from });
  const stamp = `${look.width}-${look.scheme}-${Date.now()}`;
  const done = (text) => page.locator("[role=status]", { hasText: text }).first().waitFor({ state: "visible" });
  const leave = () => page.goto(home);
  let running, title;

  await check("the organiser signs in, and is where the work is", async () => {
    await signIn(page, organiser);
    assert(new URL(page.url()).pathname === home, page.url());
    const now = page.locator("section", { has: page.getByRole("heading", { name: "How it goes" }) });
    const first = now.locator("li", { hasText: "closes in" }).first();
    title = await first.locator("h3").innerText();
    running = (await first.locator("h3 a").getAttribute("href")).split("/").pop();
    await sees(page, "Came late, waiting for you");
  });

  const gym = await open(base, { look, from });
  const names = [];
  await check("two results come to a gym's desk after the close", async () => {
    await staff.enter(gym.page);
    await gym.page.goto(`/desk/${c}/${staff.gym}`);
    const { workouts } = await (await gym.page.request.get(api)).json();
    // Closed for this gym too, and its grace over: others may have given it more time a moment ago.
    let closed, missing;
    for (const { slug } of workouts) {
      const { closes, rows } = await (await gym.page.request.get(`${api}/workouts/${slug}/scores?gym=${staff.gym}`)).json();
      const left = rows.filter((r) => r.state === "missing");
      if (Date.parse(closes) < Date.now() - 3_600_000 && left.length >= 2) [closed, missing] = [slug, left];
    }
    const performance = await howWritten(gym.page, c, closed);
    for (const { bib } of missing.slice(0, 2)) {
      const { status, json } = await send(gym.page, "PUT", `${api}/workouts/${closed}/scores/${bib}`, { performance, gym: staff.gym });
      assert(status === 201 && json.state === "late", JSON.stringify(json));
      names.push(`t-${closed}/${bib}`);
    }
    assert(names.length === 2, `${names.length} came`);
  });
  await check("many late scores are decided at once, with one reason, and nothing without it", async () => {
    await leave();
    const waiting = page.locator("ul.lines input[form=many][type=checkbox]");
    const before = await waiting.count();
    assert(before > 3, `${before} wait`);
    for (const name of names) await page.locator(`[name="${name}"]`).check();
    await page.getByRole("button", { name: "Let the ticked ones in", exact: true }).click();
    await sees(page, "Write the reason: it is kept with each decision.");
    for (const name of names) assert(await page.locator(`[name="${name}"]`).isChecked(), `${name} is not ticked any more`);
    await sound(page, "late scores without a reason");
    await page.locator("#many_reason").fill("The network of the hall was down, told by telephone.");
    await page.getByRole("button", { name: "Let the ticked ones in", exact: true }).click();
    await done("2 let in. Their places count from now on.");
    for (const name of names) assert((await page.locator(`[name="${name}"]`).count()) === 0, `${name} still waits`);
    const [workout, bib] = names[0].slice(2).split("/");
    await page.goto(`/c/${c}/athletes/${bib}`);
    await page.locator(`section[aria-labelledby="w-${workout}"] summary`, { hasText: "History" }).click();
    await sees(page, "The network of the hall was down");
    await leave();
  });

  await check("a gym gets more time, and its desk says so, one that was open before too", async () => {
    await gym.page.goto(`/desk/${c}/${staff.gym}`);
    const desk = gym.page.locator(`section[data-workout="${running}"]`);
    // On a wide screen it stands in the grid's head.
    const counted = gym.page.locator(`section[data-workout="${running}"] .left, .grid th[data-workout="${running}"] .left`);
    const until = await counted.locator("[data-until]").getAttribute("data-until");
    const before = await counted.innerText();
    const form = page.locator(`form[action="${home}/extensions"]`);
    await form.locator("#workout").selectOption(running);
    await form.locator("#gym").selectOption(staff.gym);
    const closes = form.locator("#closes");
    await closes.fill("2020-01-01T10:00");
    await form.locator("#attest_by").fill("2020-01-02T10:00");
    const why = `A storm took the mains of ${staff.gym}.`;
    await form.locator("#reason").fill(why);
    await form.getByRole("button").click();
    await page.locator("#closes-error-1").waitFor({ state: "visible" });
    assert((await page.locator("#reason").inputValue()) === why, "what was typed is there");
    await sound(page, "more time that is not later");
    const { workouts, time_zone } = await (await page.request.get(api)).json();
    const own = workouts.find((w) => w.slug === running);
    const local = (iso, hours) =>
      new Date(Date.parse(iso) + hours * 3_600_000).toLocaleString("sv-SE", { timeZone: time_zone, dateStyle: "short", timeStyle: "short" }).replace(" ", "T");
    await page.locator("#closes").fill(local(own.closes, 3));
    await page.locator("#attest_by").fill(local(own.attest_by, 3));
    await page.locator(`form[action="${home}/extensions"]`).getByRole("button").click();
    await done("Stored. The desks show the new times.");
    const row = page.locator("#time ~ .scroll tbody tr", { hasText: why }).first();
    assert(/\sholds\s/.test(await row.innerText()), await row.innerText());
    const said = local(own.closes, 3).slice(11, 16);
    await page.goto(`/desk/${c}/${staff.gym}`);
    const section = page.locator(`section[data-workout="${running}"]`);
    assert((await section.innerText()).includes(said), `${said} is not said on the desk`);
    await gym.page.evaluate(() => document.dispatchEvent(new Event("woke")));
    await counted.locator(`[data-until]:not([data-until="${until}"])`).waitFor({ state: "visible" });
    assert((await desk.locator(".windows").innerText()).includes(said), "the open desk says the old time");
    assert((await counted.innerText()) !== before, `still ${before}`);
    const later = Date.parse(await counted.locator("[data-until]").getAttribute("data-until")) - Date.parse(until);
    assert(later === 3 * 3_600_000, `${later} ms later`);
    assert(Date.parse(await desk.getAttribute("data-attest-by")) === Date.parse(own.attest_by) + later, "judges have as much more");
    await leave();
  });

  await check("a line of the file in force is changed in its place, looked at, and everybody reads why", () => inTurn("file", async () => {
    await page.getByRole("link", { name: "Competition file" }).first().click();
    const text = page.locator("#text");
    const file = await text.inputValue();
    const along = await downloads(page, () => page.getByRole("link", { name: "Take the file in force along" }).click());
    assert(along === file, "another file than stands in the field");
    const before = "what comes after the bell does not count.";
    const after = "calories after the bell are not counted.";
    assert(file.includes(before), "the standards of the running workout");
    const apply = async (changed, reason) => {
      await text.fill(changed);
      await page.getByRole("button", { name: "Show what would change" }).click();
      await page.getByRole("heading", { name: "What would change" }).waitFor();
      assert((await page.locator("#changes ~ .scroll tbody tr").count()) === 1, "one line, one change");
      await page.getByLabel("Why it changes").fill(reason);
      await page.getByRole("button", { name: "Apply it" }).click();
      await done("Applied. It is in force.");
    };
    await apply(file.replace(before, after), "Asked for by several gyms.");
    await page.goto(`/c/${c}/workouts/${running}`);
    await sees(page, after);
    await sees(page, "Asked for by several gyms.");
    await page.goto(`${home}/file`);
    await apply(file, "The first words are clearer.");
    await page.goto(`${home}/file`);
    assert((await text.inputValue()) === file, "as it was");
    await leave();
  }));

  // A gym proposes three; one of them with an address that is nobody's yet.
  const name = `Ottoline Marsh ${stamp}`;
  const bystander = `Perpetua ${name}`;
  const helper = `Ansgar Holm ${stamp}`;
  await check("a gym proposes an athlete, another one and a colleague", async () => {
    const proposals = `/desk/${c}/${staff.gym}/proposals`;
    for (const who of [name, bystander]) {
      await gym.page.goto(proposals);
      await gym.page.locator("summary", { hasText: "An athlete" }).click();
      if (!(await gym.page.locator("#entry-name").isVisible())) await gym.page.locator("summary", { hasText: "An athlete" }).click();
      await gym.page.locator("#entry-name").fill(who);
      await gym.page.locator("#entry-born").fill("1996-04-02");
      await gym.page.locator("#entry-category").selectOption("women");
      await gym.page.locator("#entry-division").selectOption("women");
      await gym.page.locator('input[value="entry"] ~ button').click();
      await sees(gym.page, /^Proposed as number \d+/);
    }
    await gym.page.locator("summary", { hasText: "Somebody for the desk" }).click();
    await gym.page.locator("#staff-name").fill(helper);
    await gym.page.locator("#staff-email").fill(`ansgar-${stamp}@${staff.gym}.example`);
    await gym.page.locator('input[value="staff"] ~ button').click();
    await sees(gym.page, /^Proposed as number \d+/);
  });

  let link;
  await check("the organiser takes two of them and says why not the third", async () => {
    await page.goto(`${home}/proposals`);
    const row = (text) => page.locator("tbody tr", { hasText: text });
    await row(bystander).locator("input[type=checkbox]").check();
    await page.locator("#reason").fill("Is entered by another gym.");
    await page.getByRole("button", { name: "Do not take those ticked" }).click();
    await sees(page, "Not taken: 1.");
    for (const text of [name, helper]) await row(text).first().locator("input[type=checkbox]").check();
    await page.getByRole("button", { name: "Confirm those ticked" }).click();
    await sees(page, "Confirmed: 2.");
    link = await page.locator(".done li", { hasText: `ansgar-${stamp}` }).locator("code").innerText();
    await sound(page, "proposals with a sign-in to hand on");
    await gym.page.goto(`/desk/${c}/${staff.gym}/proposals`);
    await sees(gym.page, "Is entered by another gym.");
    await gym.page.goto(`/desk/${c}/${staff.gym}`);
    await gym.page.locator("li", { hasText: name }).first().waitFor({ state: "attached" });
  });
  await gym.close();

  const colleague = await visitor();
  await check("the colleague comes by the link, once, sets a password, and works at the desk", async () => {
    await colleague.page.goto(link);
    await colleague.page.getByRole("main").getByRole("button", { name: "Sign in" }).click();
    await colleague.page.getByLabel("New password").fill("four grey herons by the lock");
    await colleague.page.getByRole("button", { name: "Set the password" }).click();
    await sees(colleague.page, "The password is set.");
    await colleague.page.getByRole("main").getByRole("link", { name: /desk/i }).first().click();
    assert(new URL(colleague.page.url()).pathname === `/desk/${c}/${staff.gym}`, colleague.page.url());
    await sees(colleague.page, "settled");
    const again = await visitor();
    await again.page.goto(link);
    await again.page.getByRole("main").getByRole("button", { name: "Sign in" }).click();
    await sees(again.page, "This link has been used or is too old.");
    await again.close();
  });

  await check("all gyms are invited with one table, and a gym's contact comes by its link", () => inTurn("invitations", async () => {
    await page.goto(`${home}/people`);
    const csv = await downloads(page, () => page.getByRole("button", { name: "Make the table" }).click());
    const [head, ...rows] = csv.trim().split(/\r?\n/);
    assert(rows.length >= 20, `${rows.length} rows`);
    const links = rows.map((row) => /http\S+?code=[^,"\s]+/.exec(row)?.[0]).filter(Boolean);
    assert(links.length >= 18, `${links.length} links under ${head}`);
    assert(new Set(links).size === links.length, "the same link twice");
    const contact = await visitor();
    await contact.page.goto(links[3]);
    await contact.page.getByRole("main").getByRole("button", { name: "Sign in" }).click();
    await sees(contact.page, "Gym staff");
    await contact.close();
    assert(new URL(page.url()).pathname.startsWith(`${home}/people`), "the page stays");
  }));

  const email = `second-${stamp}@referees.example`;
  await check("a referee gets the role, loses it, and is out at once", async () => {
    await page.goto(`${home}/people`);
    await page.locator("#email").fill(email);
    await page.locator("#role").selectOption("referee");
    await page.getByRole("button", { name: "Give the role" }).click();
    const shown = page.locator(".done", { hasText: email }).locator("code");
    const own = await shown.innerText();
    const referee = await visitor();
    await referee.page.goto(own);
    await referee.page.getByRole("main").getByRole("button", { name: "Sign in" }).click();
    await referee.page.goto("/referee");
    await sees(referee.page, "Scores to check");
    await page.goto(`${home}/people?q=${encodeURIComponent(email)}`);
    await page.getByRole("button", { name: /^Take the role away/ }).click();
    await page.getByRole("button", { name: "Yes, take it away" }).click();
    await done("The role is taken away.");
    const answer = await referee.page.goto(`/referee/${c}/${running}/${person("athlete").bib}`);
    assert(answer.status() === 403 || answer.status() === 401, `${answer.status()}`);
    await referee.close();
  });

  await check("who is missing is seen by gym, and the message names them", async () => {
    await leave();
    await page.locator("section", { has: page.getByRole("heading", { name: "How it goes" }) }).locator("li", { hasText: title }).getByRole("link", { name: /missing/ }).click();
    const { name: own } = (await (await page.request.get(`${api}/gyms`)).json()).find((g) => g.slug === staff.gym);
    const first = page.locator("tbody tr", { has: page.locator("th", { hasText: own }) });
    const [hall, many] = [await first.locator("th").innerText(), Number(await first.locator("td").first().innerText())];
    await first.locator("th a").click();
    const text = await page.locator("#text").inputValue();
    assert(text.includes(`Missing from ${hall}: ${many}`), text.slice(0, 400));
    assert((await page.locator("tbody tr").count()) === many, "as many as are counted");
    for (const one of await page.locator("tbody th").allInnerTexts()) assert(text.includes(one), `${one} is not in the message`);
    await context.grantPermissions(["clipboard-read", "clipboard-write"]);
    await inTurn("clipboard", async () => {
      await page.getByRole("button", { name: "Copy" }).click();
      await sees(page, "Copied");
      assert((await page.evaluate(() => navigator.clipboard.readText())) === text, "another text");
    });
    // A browser that may not copy leaves the text marked, and says so.
    await page.reload();
    await page.evaluate(() => (navigator.clipboard.writeText = () => Promise.reject(new DOMException("no", "NotAllowedError"))));
    await page.getByRole("button", { name: "Copy" }).click();
    await sees(page, "Not copied. The text is marked: copy it by hand");
    assert((await page.evaluate(() => document.getSelection().toString())) === text, "it is not marked");
  });

  await check("an entry is looked at first, then taken out, and is on no desk any more", async () => {
    await page.goto(`${home}/lists/entries?q=${encodeURIComponent(name)}`);
    await page.locator("tbody tr", { hasText: name }).getByRole("link").first().click();
    await page.locator("#state").selectOption("removed");
    await page.locator("#reason").fill("Entered twice.");
    await page.locator('button[value="look"]').click();
    await page.locator("#would").waitFor();
    await page.getByRole("button", { name: "Do it" }).click();
    await done("Done. The standings are worked out anew.");
    await colleague.page.goto(`/desk/${c}/${staff.gym}`);
    assert((await colleague.page.locator("li", { hasText: name }).count()) === 0, "still there");
  });
  await check("nothing odd happened on the way", async () => {
    const odd = [...page.odd, ...gym.page.odd, ...colleague.page.odd];
    assert(odd.length === 0, odd.join("\n"));
  });
  await colleague.close();
  await at.close();
}
