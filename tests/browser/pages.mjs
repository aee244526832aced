// Every page of the service, each as somebody it is for, in every look; a page of the router that
// has no stop here fails. Then the same pages in the other language, problems as pages, pages of a
// competition with nothing in it, and the pages that are pinned to walls, printed.
//
//   node pages.mjs DEMO.json REPOSITORY    what `tallywright demo --json` printed, with
//                                          tests/data/nothing_yet.toml, long_over and hostile applied to its
//                                          database, 210 gyms more in what is over, the demo's organiser one of all
//                                          competitions, and the people of the hostile one (see tests/run)
//   WALKS=PASSWORD                         of those people
//   LOOKS=FOLDER                           keeps a small picture of every page: tests/looks
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { spawn } from "node:child_process";
import { once } from "node:events";
import { readFile } from "node:fs/promises";
import { getDocument } from "pdfjs-dist/legacy/build/pdf.mjs";
import { assert, check, counts, fits, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

const [, , told, repository] = process.argv;
const demo = JSON.parse(await readFile(told, "utf8"));
const base = demo.url;
const hostile = "zz-hostile";
const person = (who) => demo.sign_in.find((s) => s.role === who) ?? { email: `${who.replaceAll(" ", ".")}@hostile.example`, password: process.env.WALKS };
const { gym } = person("staff");
const { bib } = person("athlete");
const c = demo.competition;
const empty = "zz-nothing-yet";
const over = "zz-long-over";

// --- what there is ----------------------------------------------------------------------------

// The patterns of the router that are pages, from its own list.
async function patterns() {
  const source = await readFile(`${repository}/src/web/pages/mod.rs`, "utf8");
  const list = source.slice(source.indexOf("pub const ROUTES"), source.indexOf("];", source.indexOf("pub const ROUTES")));
  const found = [...list.matchAll(/\("GET", "([^"]+)"\)/g)].map((m) => m[1]);
  assert(found.length > 15, `only ${found.length} pages in the list`);
  // Files, not pages.
  return found.filter((p) => !/\.(csv|ics|json|toml)$/.test(p) && !p.startsWith("/static/")).concat("/problems/{code}");
}

// The pattern of an address: of those that fit, the one with the fewest blanks.
function patternOf(path, all) {
  const parts = path.split("?")[0].split("/");
  const fit = all.filter((p) => {
    const own = p.split("/");
    return own.length === parts.length && own.every((part, i) => part.startsWith("{") || part === parts[i]);
  });
  return fit.sort((a, b) => a.split("{").length - b.split("{").length)[0];
}

const api = async (page, path) => (await page.request.get(`/api/v1/competitions/${path}`)).json();

// --- the stops --------------------------------------------------------------------------------

const anybody = await open(base);
const running = (await anybody.page.goto("/").then(() => anybody.page.locator("p.lead a").first().getAttribute("href"))).split("/").pop();
const done = (await api(anybody.page, `${c}/divisions/women/workouts/${running}/places?limit=1`)).rows[0].bib;
await anybody.close();

// Who, the name, the address, and what is done there first.
const stops = [
  ["nobody", "home", "/"],
  ["nobody", "competition", `/c/${c}`],
  ...["w1", "w2", "w3", "w4"].map((w) => ["nobody", `workout ${w}`, `/c/${c}/workouts/${w}`]),
  ["nobody", "sheet", `/c/${c}/workouts/w1/sheet?division=women`],
  ["nobody", "standings", `/c/${c}/divisions/women`],
  ["nobody", "standings of a gym", `/c/${c}/divisions/women?gym=${gym}`],
  ["nobody", "somebody who is not of that country", `/c/${c}/divisions/women?country=ZW&bib=${done}`],
  ["nobody", "somebody looked for in another country", `/c/${c}/divisions/women?country=ZW&q=${done}`],
  ["nobody", "standings of a gym without anybody", `/c/${c}/divisions/women-50?country=ZW`],
  ["nobody", "standings of a combined division", `/c/${c}/divisions/women-all`],
  ["nobody", "places", `/c/${c}/divisions/women/workouts/${running}`],
  ["nobody", "athlete", `/c/${c}/athletes/${done}`],
  ["nobody", "sign in", "/signin"],
  ["nobody", "sign in by a link", "/signin/link?code=not-a-code"],
  ["nobody", "a forgotten password", "/signin/forgotten"],
  ["nobody", "a kind of problem", "/problems/invalid"],
  ["nobody", "api", "/api", async (page) => page.locator(".opblock-tag").first().waitFor()],
  ["nobody", "api with a request to try", "/api", tryRequest],
  ["nobody", "a code typed in", `/claim?c=${c}`],
  ["nobody", "a code that fits nothing", "/claim", wrongCode],
  ["athlete", "own page", `/c/${c}/athletes/${bib}`],
  ["athlete", "own row", `/c/${c}/divisions/women?bib=${bib}`],
  ["athlete", "own score", `/c/${c}/athletes/${bib}/workouts/${running}`],
  ["athlete", "own account", "/account"],
  ["athlete", "erasing without the address", "/account", wrongAddress],
  ["judge", "account of a judge", "/account"],
  ["staff", "desk", `/desk/${c}/${gym}`],
  ["staff", "score form", `/desk/${c}/${gym}/${running}/${bib}`],
  ["staff", "heats", `/desk/${c}/${gym}/heats/${running}`],
  ["staff", "heats made", `/desk/${c}/${gym}/heats/${running}`, makeHeats],
  ["staff", "heats on paper", `/desk/${c}/${gym}/heats/${running}/paper`],
  ["staff", "codes for athletes", `/desk/${c}/${gym}/codes`],
  ["staff", "people proposed", `/desk/${c}/${gym}/proposals`, propose],
  ["staff", "a proposal with faults", `/desk/${c}/${gym}/proposals`, badProposal],
  ["staff", "results as a file", `/desk/${c}/${gym}/file`],
  ["staff", "a file that cannot be read", `/desk/${c}/${gym}/file`, badResults],
  ["nobody", "the gym's screen", `/desk/${c}/${gym}/wall?still=yes`],
  ["nobody", "the gym's screen, one workout", `/desk/${c}/${gym}/wall?show=${running}&still=yes`],
  ["nobody", "places with a mark", `/c/${c}/divisions/women/workouts/${running}?bib=${done}`],
  ["nobody", "another result tried", `/c/${c}/athletes/${done}?workout=${running}&performance=25%2F24%2F23%2F22`],
  ["staff", "slips", `/desk/${c}/${gym}/codes`, async (page) => page.locator('button[value="rest"]').click()],
  ["staff", "sheets with names", `/c/${c}/workouts/w4/sheet?gym=${gym}`],
  ["staff", "receipt", `/desk/${c}/${gym}/receipt`],
  ["staff", "messages", `/desk/${c}/${gym}/missing`],
  ["judge", "lanes", `/judge/${c}`],
  ["referee", "list of doubts", "/referee"],
  ["referee", "review", `/referee/${c}/${running}/${done}`],
  ["organiser", "what one organises", "/organise"],
  ["organiser", "a competition made", "/new-competition"],
  ["organiser", "a competition made with faults", "/new-competition", badFile],
  ["organiser", "overview", `/organise/${c}`],
  ["organiser", "who is missing", `/organise/${c}/missing?workout=${running}`],
  ["organiser", "who is missing in a gym", `/organise/${c}/missing?workout=${running}&gym=${gym}`],
  ["organiser", "competition file", `/organise/${c}/file`],
  ["organiser", "competition file with faults", `/organise/${c}/file`, badFile],
  ["organiser", "a change that needs a reason", `/organise/${c}/file`, changedFile],
  ...["gyms", "entries", "judges"].map((list) => ["organiser", `list of ${list}`, `/organise/${c}/lists/${list}`]),
  ["organiser", "refused rows", `/organise/${c}/lists/entries`, badRows],
  ["organiser", "an entry", `/organise/${c}/entries/${bib}`],
  ["organiser", "what would become of an entry", `/organise/${c}/entries/${bib}`, async (page) => {
    await page.locator("#state").selectOption("withdrawn");
    await page.locator("#reason").fill("asked to");
    await page.locator('button[value="look"]').click();
    await page.locator("#would").waitFor();
  }],
  ["organiser", "an entry with faults", `/organise/${c}/entries/${bib}`, async (page) => {
    await page.locator("#gym").fill("nowhere hall");
    await page.locator('button[value="look"]').click();
    await page.locator("#gym-error-1").waitFor();
  }],
  ["organiser", "codes for those without a gym", `/organise/${c}/codes`],
  ["organiser", "people", `/organise/${c}/people`],
  ["organiser", "proposals of the gyms", `/organise/${c}/proposals`],
  ["organiser", "a role with faults", `/organise/${c}/people`, async (page) => {
    await page.locator("#email").fill("nobody@nowhere");
    await page.locator("#role").selectOption("judge");
    await page.locator("#gym").fill("nowhere hall");
    await page.locator('form[method=post][action$="/people"] button').click();
    await page.locator("#email-error-1, #gym-error-1").first().waitFor();
  }],
  ["organiser", "a role about to be taken away", `/organise/${c}/people`, async (page) => {
    await page.locator('form[action$="/remove"] button').first().click();
    await page.locator("#sure").waitFor();
  }],
  ["organiser", "organiser's account", "/account"],
  // A competition with nothing in it.
  ["organiser", "empty competition", `/c/${empty}`],
  ["organiser", "empty standings", `/c/${empty}/divisions/women`],
  ["organiser", "empty overview", `/organise/${empty}`],
  ["organiser", "nobody missing without a workout", `/organise/${empty}/missing`],
  ["organiser", "empty list", `/organise/${empty}/lists/entries`],
  ["organiser", "empty people", `/organise/${empty}/people`],
  // One that is over: what comes now is late.
  ["nobody", "competition that is over", `/c/${over}`],
  ["nobody", "workout that is over", `/c/${over}/workouts/step`],
  ["nobody", "standings that are final", `/c/${over}/divisions/women`],
  ["nobody", "places that are final", `/c/${over}/divisions/women/workouts/step`],
  ["nobody", "athlete of what is over", `/c/${over}/athletes/7`],
  ["nobody", "athlete who is missing from what is over", `/c/${over}/athletes/9`],
  ["nobody", "the gym's screen when all is over", `/desk/${over}/boathouse/wall?still=yes`],
  ["organiser", "overview of what is over", `/organise/${over}`],
  ["organiser", "proposals when all is over", `/organise/${over}/proposals`],
  // More gyms than fit into a list to choose from.
  ["organiser", "list of many gyms", `/organise/${over}/lists/gyms`],
  ["organiser", "who is missing of many gyms", `/organise/${over}/missing`],
  ["organiser", "people of many gyms", `/organise/${over}/people`],
  ["nobody", "standings of one of many gyms", `/c/${over}/divisions/women?gym=hall-7`],
  ["staff of what is over", "desk when all is over", `/desk/${over}/boathouse`],
  ["staff of what is over", "heats when all is over", `/desk/${over}/boathouse/heats/step`],
  ["staff of what is over", "codes when all is over", `/desk/${over}/boathouse/codes`],
  ["staff of what is over", "proposing when all is over", `/desk/${over}/boathouse/proposals`],
  ["staff of what is over", "receipt when all is over", `/desk/${over}/boathouse/receipt`],
  ["staff of what is over", "messages when all is over", `/desk/${over}/boathouse/missing`],
  ["staff of what is over", "results as a file when all is over", `/desk/${over}/boathouse/file`],
  ["referee of what is over", "list of doubts when all is over", "/referee"],
  // A gym with nobody in it, while a workout runs.
  ["staff of nobody", "desk of nobody", `/desk/${hostile}/nobody`],
  ["staff of nobody", "heats of nobody", `/desk/${hostile}/nobody/heats/w1`],
  ["staff of nobody", "codes for nobody", `/desk/${hostile}/nobody/codes`],
  ["staff of nobody", "nobody proposed", `/desk/${hostile}/nobody/proposals`],
  ["staff of nobody", "receipt of nobody", `/desk/${hostile}/nobody/receipt`],
  ["staff of nobody", "messages to nobody", `/desk/${hostile}/nobody/missing`],
  ["staff of nobody", "results of nobody as a file", `/desk/${hostile}/nobody/file`],
  ["nobody", "the screen of a gym with nobody", `/desk/${hostile}/nobody/wall?still=yes`],
  ["organiser", "nobody missing in a gym", `/organise/${hostile}/missing?workout=w1&gym=nobody`],
  // Names and titles that are meant to break a page.
  ["nobody", "hostile competition", `/c/${hostile}`],
  ["nobody", "hostile workout", `/c/${hostile}/workouts/w1`],
  ["nobody", "hostile lifts", `/c/${hostile}/workouts/w2`],
  ["nobody", "hostile standings", `/c/${hostile}/divisions/women`],
  ["nobody", "hostile places", `/c/${hostile}/divisions/women/workouts/w1?bib=1042`],
  ["nobody", "hostile places that are not shown yet", `/c/${hostile}/divisions/women/workouts/w4`],
  ["nobody", "hostile athlete", `/c/${hostile}/athletes/1042?workout=w1&performance=3%2B2`],
  ["nobody", "hostile screen", `/desk/${hostile}/quayside/wall?still=yes`],
  ["hostile staff", "hostile desk", `/desk/${hostile}/quayside`],
  ["hostile staff", "hostile score", `/desk/${hostile}/quayside/w1/1043`],
  ["hostile staff", "hostile heats", `/desk/${hostile}/quayside/heats/w1`, makeHeats],
  ["hostile staff", "hostile heats to be made anew without a tick", `/desk/${hostile}/quayside/heats/w1`, remakeHeats],
  ["hostile staff", "hostile heats on paper", `/desk/${hostile}/quayside/heats/w1/paper`],
  ["hostile staff", "hostile codes", `/desk/${hostile}/quayside/codes`],
  ["hostile staff", "hostile slips", `/desk/${hostile}/quayside/codes`, async (page) => page.locator('button[value="rest"]').click()],
  ["hostile staff", "hostile people proposed", `/desk/${hostile}/quayside/proposals`, proposeHostile],
  ["hostile staff", "hostile receipt", `/desk/${hostile}/quayside/receipt`],
  ["hostile staff", "hostile messages", `/desk/${hostile}/quayside/missing`],
  ["hostile staff", "hostile file of results", `/desk/${hostile}/quayside/file`, badResults],
  ["hostile judge", "hostile lanes", `/judge/${hostile}`],
  ["hostile referee", "hostile list of doubts", "/referee"],
  ["hostile referee", "hostile review", `/referee/${hostile}/w1/1042`],
  ["hostile athlete", "hostile own page", `/c/${hostile}/athletes/1043`],
  ["organiser", "hostile overview", `/organise/${hostile}`],
  ["organiser", "hostile missing", `/organise/${hostile}/missing?workout=w1&gym=quayside`],
  ["organiser", "hostile people", `/organise/${hostile}/people`],
  ["organiser", "hostile list", `/organise/${hostile}/lists/entries`],
  ["organiser", "hostile entry", `/organise/${hostile}/entries/1042`],
  // Somebody whose roles were all taken away.
  ["somebody without roles", "account without roles", "/account"],
  ["somebody without roles", "home without roles", "/"],
];

// Sent, refused, and said beside the field.
async function wrongCode(page) {
  const form = page.locator('form[action="/claim"]');
  const typed = { c, bib: "1042", code: "CCCC-DDDD", email: "nobody@saltmarsh.example", password: "three old oars" };
  for (const [name, value] of Object.entries(typed)) await form.locator(`[name="${name}"]`).fill(value);
  await form.getByRole("button").last().click();
  await page.locator("#code-error-1").waitFor();
}

async function wrongAddress(page) {
  const form = page.locator('form[action="/account/erase"]');
  await form.locator('input[type="email"], input[name="me"]').first().fill("somebody.else@saltmarsh.example");
  await form.getByRole("button").last().click();
  await page.locator("#me-error-1").waitFor();
}

async function tryRequest(page) {
  await page.locator(".opblock-tag", { hasText: "scores" }).click();
  await page.locator(".opblock-put .opblock-summary-control").click();
  await page.locator(".try-out__btn").click();
  await page.locator(".body-param__text").waitFor();
}

async function makeHeats(page) {
  await page.getByRole("button", { name: "Make the heats" }).click();
  await page.locator("table").first().waitFor();
}

async function remakeHeats(page) {
  await page.locator("summary", { hasText: "Make them anew" }).click();
  await page.getByRole("button", { name: "Make them anew" }).click();
  await page.locator("#sure-make-error-1").waitFor();
}

async function proposeHostile(page) {
  await page.fill("#entry-name", "Zyxo <script>alert('x')</script>\"'& \u05e9\u05dc\u05d5\u05dd");
  await page.fill("#entry-born", "1996-04-02");
  await page.selectOption("#entry-category", "women");
  await page.selectOption("#entry-division", "women");
  await page.locator('input[value="entry"] ~ button').click();
  await page.locator("table").first().waitFor();
}

// Number, name and outcome of somebody who is proposed: an athlete, as they come most.
async function propose(page) {
  await page.fill("#entry-name", "Käthe Wolkenstein");
  await page.fill("#entry-born", "1996-04-02");
  await page.selectOption("#entry-category", "women");
  await page.selectOption("#entry-division", "women");
  await page.locator('input[value="entry"] ~ button').click();
  await page.locator("table").first().waitFor();
}

async function badProposal(page) {
  await page.fill("#entry-name", "Ana Cruz");
  await page.fill("#entry-born", "in April");
  await page.locator('input[value="entry"] ~ button').click();
  await page.locator("#errors").first().waitFor();
}

async function badResults(page) {
  await page.locator("textarea[name=text]").fill("bib,performance\nabc,40 rounds\n");
  await page.locator('button[value="send"]').click();
  await page.locator("table, .errors").first().waitFor();
}

async function badFile(page) {
  await page.locator("textarea[name=text]").fill('[competition]\nslug = "saltmarsh"\ntitle = 7\nage_date = "soon"\n');
  await page.locator('button[value="check"]').click();
  await page.locator("#errors, .errors").first().waitFor();
}

// The demo's file with another load, looked at and applied without a reason.
async function changedFile(page) {
  const { workouts, age_date, time_zone } = await api(page, c);
  const local = (at) => new Date(at).toLocaleString("sv-SE", { timeZone: time_zone, dateStyle: "short", timeStyle: "short" }).replace(" ", "T");
  let text = (await readFile(`${repository}/src/cli/demo/series.toml`, "utf8")).replace("{age_date}", age_date);
  for (const w of workouts) {
    for (const key of ["announce", "opens", "closes"]) text = text.replaceAll(`{${w.slug}_${key}}`, local(w[key]));
  }
  await page.locator("textarea[name=text]").fill(text.replace("kg = 16, lb = 35", "kg = 14, lb = 31"));
  await page.locator('button[value="check"]').click();
  await page.getByLabel("Why it changes").waitFor();
  await page.locator('button[value="apply"]').click();
  await page.locator("#reason-error-1").waitFor();
}

async function badRows(page) {
  await page.locator("textarea[name=text]").fill("bib,name,born,category,division\nx,,3 March,women,nowhere\n");
  await page.locator('button[value="send"]').click();
  await page.locator("table, .errors").first().waitFor();
}

const all = await patterns();
for (const pattern of all) {
  await check(`${pattern} has a stop`, async () => {
    assert(stops.some(([, , address]) => patternOf(address, all) === pattern), "add one to tests/browser/pages.mjs");
  });
}

// Of what came late to the competition that is over, one result is let in and has its place.
await check("a late result is let in after the end", async () => {
  const { page, close } = await open(base);
  await signIn(page, person("organiser"));
  await page.goto(`/organise/${over}`);
  const one = page.locator('form[action$="/late/step/7"]');
  await one.locator("input[name=reason]").fill("The hall's network was down.");
  await one.locator('button[value="admit"]').click();
  await sees(page, "Let in.");
  await close();
});

// Of somebody the only role is taken away.
await check("a role is taken away", async () => {
  const { page, close } = await open(base);
  await signIn(page, person("organiser"));
  await page.goto(`/organise/${hostile}/people?q=without.roles`);
  await page.locator('form[action$="/remove"] button').first().click();
  await page.locator('section[aria-labelledby="sure"] button').click();
  await sees(page, "The role is taken away");
  await close();
});

// One person's stops, in a profile of their own.
async function walk(who) {
  const at = await open(base);
  await check(`${who} is ready`, async () => {
    if (who !== "nobody") await signIn(at.page, person(who));
  });
  for (const [, name, address, first] of stops.filter(([of]) => of === who)) {
    await check(`${name} is there`, async () => {
      const answer = await at.page.goto(address);
      assert(answer.ok() || name.includes("code"), `${answer.status()} at ${address}`);
      if (first) await first(at.page);
    });
    await sound(at.page, name);
  }
  await at.close();
}

// The same in German: lengths change, and with them what fits.
async function german(who) {
  const at = await open(base, { locale: "de-DE" });
  await check(`${who} signs in in German`, async () => {
    if (who === "nobody") return;
    await at.page.goto("/signin");
    await at.page.locator("input[name=email]").fill(person(who).email);
    await at.page.locator("input[name=password]").fill(person(who).password);
    await at.page.keyboard.press("Enter");
    await at.page.waitForURL((url) => !url.pathname.startsWith("/signin"));
  });
  for (const [, name, address] of stops.filter(([of, , , first]) => of === who && !first)) {
    await check(`${name} is German`, async () => {
      await at.page.goto(address);
      assert((await at.page.locator("html").getAttribute("lang")) === "de", "in another language");
    });
    await fits(at.page, `${name} in German`);
  }
  await at.close();
}

// Takes the turn to write from the service, as a copying program would, until it is told to end. The
// database of the demo is a file where this is run.
async function locked() {
  const lock = "import sqlite3, sys; d = sqlite3.connect(sys.argv[1], isolation_level=None); d.execute('BEGIN IMMEDIATE'); print('held', flush=True); sys.stdin.read()";
  const holder = spawn("python3", ["-c", lock, demo.database.replace("sqlite://", "")], { stdio: ["pipe", "pipe", "inherit"] });
  const left = once(holder, "exit");
  await Promise.race([once(holder.stdout, "data"), left.then(() => { throw new Error("the database cannot be held"); })]);
  return async () => {
    holder.stdin.end();
    await left;
  };
}

// --- problems as pages ------------------------------------------------------------------------

async function problems() {
  const staff = await open(base);
  const { page } = staff;
  await check("staff sign in to meet problems", () => signIn(page, person("staff")));
  const csrf = async () => page.locator("input[name=csrf]").first().getAttribute("value");
  // A form of a page of ours, sent as a browser would.
  async function send(action, fields) {
    await page.goto("/account");
    const answer = page.waitForResponse((r) => r.url().endsWith(action) && r.request().method() === "POST");
    const came = page.waitForEvent("load");
    await page.evaluate(
      ([to, values]) => {
        const form = Object.assign(document.createElement("form"), { method: "post", action: to });
        for (const [name, value] of Object.entries(values)) form.append(Object.assign(document.createElement("textarea"), { name, value }));
        document.body.append(form);
        form.submit();
      },
      [action, { csrf: await csrf(), ...fields }],
    );
    await came;
    return (await answer).status();
  }
  const large = "x".repeat(5 << 20);
  const { rows } = await api(page, `${c}/workouts/${running}/scores?gym=${gym}`);
  const scored = rows.find((row) => row.state === "attested").bib;
  const kinds = [
    [403, "not allowed", async () => (await page.goto(`/referee/${c}/${running}/${done}`)).status()],
    [404, "not there", async () => (await page.goto(`/c/${c}/nothing`)).status()],
    [409, "not as it is now", async () => send(`/desk/${c}/${gym}/${running}/${scored}/not-taking-part`, {})],
    [413, "too large", async () => send("/account/tokens", { name: large })],
    [422, "to be mended", async () => send("/account/tokens", { name: "", days: "many" })],
  ];
  for (const [status, name, meet] of kinds) {
    await check(`${status} is a page`, async () => {
      const found = await meet();
      assert(found === status, `${found}`);
      assert((await page.locator("main h1").count()) === 1, "a heading");
    });
    await sound(page, `problem ${status} ${name}`);
  }
  await check("503 is a page, while somebody else keeps the database to themselves", async () => {
    const end = await locked();
    try {
      assert((await send("/account/tokens", { name: "a", days: "1" })) === 503, "another status");
      assert((await page.locator("main h1").count()) === 1, "a heading");
      await sees(page, "Nothing was stored");
    } finally {
      await end();
    }
  });
  await sound(page, "problem 503 not now");
  await check("once the database is free again the page loaded again sends the same, and it is stored", async () => {
    await page.reload();
    await sees(page, "Copy it now");
  });
  await staff.close();
  // Last: it closes the door for this address and this account for a while.
  const stranger = await open(base);
  await check("429 is a page", async () => {
    for (let i = 0; i < 15; i += 1) {
      await stranger.page.goto("/signin");
      await stranger.page.getByLabel("E-mail").fill("nobody@saltmarsh.example");
      await stranger.page.getByLabel("Password", { exact: true }).fill(`guess ${i}`);
      const answer = stranger.page.waitForResponse((r) => r.request().method() === "POST");
      await stranger.page.getByRole("button", { name: "Sign in" }).click();
      if ((await answer).status() === 429) return;
    }
    throw new Error("fifteen wrong guesses, and no end");
  });
  await sound(stranger.page, "problem 429 too many tries");
  await stranger.close();
}

// --- on paper ---------------------------------------------------------------------------------

async function paper() {
  const staff = await open(base);
  await signIn(staff.page, person("staff"));
  const walls = [
    ["standings", `/c/${c}/divisions/women`],
    ["places", `/c/${c}/divisions/women/workouts/${running}`],
    ["heats", `/desk/${c}/${gym}/heats/${running}`],
    ["brief", `/c/${c}/workouts/${running}`],
    ["receipt", `/desk/${c}/${gym}/receipt`],
    ["the gym's screen", `/desk/${c}/${gym}/wall?still=yes`],
    ["slips", `/desk/${c}/${gym}/codes`, async () => staff.page.locator('button[value="rest"]').click(), "li"],
  ];
  for (const [name, address, first, counted] of walls) {
    await check(`${name} on paper`, async () => {
      await staff.page.goto(address);
      await first?.();
      const title = await staff.page.locator("h1").innerText();
      const rows = await staff.page.locator(counted ? `main ${counted}` : "tbody tr").count();
      const pdf = await staff.page.pdf({ format: "A4", printBackground: true });
      const document = await getDocument({ data: new Uint8Array(pdf), verbosity: 0 }).promise;
      let text = "";
      for (let n = 1; n <= document.numPages; n += 1) {
        const page = await document.getPage(n);
        const { items } = await page.getTextContent();
        const width = page.view[2];
        for (const item of items.filter((i) => i.str.trim())) assert(item.transform[4] + item.width <= width + 1, `beside the paper: ${item.str}`);
        text += items.map((i) => i.str).join(" ");
      }
      const plain = (t) => t.replace(/\s+/g, "");
      assert(plain(text).includes(plain(title)), `${title} is not on the paper`);
      assert(!text.includes("Sign out"), "the way out of the page is on the paper");
      assert(document.numPages <= 2 + rows / 8, `${document.numPages} pages for ${rows} rows`);
    });
  }
  await staff.close();
}

// Two at a time: there are as many cores.
const rounds = [
  () => walk("nobody"),
  () => walk("organiser"),
  () => walk("staff"),
  () => walk("referee"),
  () => walk("athlete"),
  () => walk("judge"),
  ...[...new Set(stops.map(([who]) => who))].filter((who) => !["nobody", "organiser", "staff", "referee", "athlete", "judge"].includes(who)).map((who) => () => walk(who)),
  () => german("nobody"),
  () => german("organiser"),
  () => german("staff"),
  () => german("referee"),
  () => german("athlete"),
  paper,
];
const next = async () => {
  for (let round = rounds.shift(); round; round = rounds.shift()) await round();
};
await Promise.all([next(), next()]);
await problems();

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
