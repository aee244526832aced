// Every page of the service, each as somebody it is for, in every look; a page of the router that
// has no stop in stops.mjs fails. Then the same pages in the other language, problems as pages, pages of a
// competition with nothing in it, and the pages that are pinned to walls, printed.
//
//   node pages.mjs DEMO.json REPOSITORY    what `tallywright demo --json` printed, with
//                                          tests/data/nothing_yet.toml, long_over and hostile applied to its
//                                          database, 210 gyms more in what is over, the demo's organiser one of all
//                                          competitions, and the people of the hostile one (see tests/run)
//   WALKS=PASSWORD                         of those people
//   NOTHING=URL                            of a service without a competition, with an organiser (see tests/run)
//   LOOKS=FOLDER                           keeps a small picture of every page: tests/looks
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { spawn } from "node:child_process";
import { once } from "node:events";
import { readFile } from "node:fs/promises";
import { getDocument } from "pdfjs-dist/legacy/build/pdf.mjs";
import { assert, check, counts, fits, sees, sound } from "./checks.mjs";
import { open, signIn } from "./people.mjs";
import { api, germanOf, germans, hostile, over, problemName, stopsOf, withNothing } from "./stops.mjs";

const [, , told, repository] = process.argv;
const demo = JSON.parse(await readFile(told, "utf8"));
const base = demo.url;
const person = (who) => demo.sign_in.find((s) => s.role === who) ?? { email: `${who.replaceAll(" ", ".")}@hostile.example`, password: process.env.WALKS };
const { gym } = person("staff");
const { bib } = person("athlete");
const c = demo.competition;
const at = (who) => (withNothing(who) ? process.env.NOTHING : base);
const signsIn = (who) => !who.startsWith("nobody");
assert(process.env.NOTHING, "where is the service with nothing in it?");

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

// --- the stops --------------------------------------------------------------------------------

const anybody = await open(base);
const running = (await anybody.page.goto("/").then(() => anybody.page.locator("p.lead a").first().getAttribute("href"))).split("/").pop();
const done = (await api(anybody.page, `${c}/divisions/women/workouts/${running}/places?limit=1`)).rows[0].bib;
await anybody.close();
const stops = stopsOf({ c, gym, bib, running, done, repository });

const all = await patterns();
for (const pattern of all) {
  await check(`${pattern} has a stop`, async () => {
    assert(stops.some(([, , address]) => patternOf(address, all) === pattern), "add one to tests/browser/stops.mjs");
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
  const { page, close } = await open(at(who));
  await check(`${who} is ready`, async () => {
    if (signsIn(who)) await signIn(page, person(who));
  });
  for (const [, name, address, first] of stops.filter(([of]) => of === who)) {
    await check(`${name} is there`, async () => {
      const answer = await page.goto(address);
      assert(answer.ok() || name.includes("code"), `${answer.status()} at ${address}`);
      if (first) await first(page);
    });
    await sound(page, name);
  }
  await close();
}

// The same in German: lengths change, and with them what fits.
async function german(who) {
  const { page, close } = await open(at(who), { locale: "de-DE" });
  await check(`${who} signs in in German`, async () => {
    if (!signsIn(who)) return;
    await page.goto("/signin");
    await page.locator("input[name=email]").fill(person(who).email);
    await page.locator("input[name=password]").fill(person(who).password);
    await page.keyboard.press("Enter");
    await page.waitForURL((url) => !url.pathname.startsWith("/signin"));
  });
  for (const [, name, address] of germanOf(stops, who)) {
    await check(`${name} is German`, async () => {
      await page.goto(address);
      assert((await page.locator("html").getAttribute("lang")) === "de", "in another language");
    });
    await fits(page, `${name} in German`);
  }
  await close();
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
  // One of the gym's own: of a visitor, who takes part is their own gym's to say.
  const ofGym = new Set((await api(page, `${c}/entries`)).filter((e) => e.gym === gym).map((e) => e.bib));
  const scored = rows.find((row) => row.state === "attested" && ofGym.has(row.bib)).bib;
  const kinds = [
    [403, async () => (await page.goto(`/referee/${c}/${running}/${done}`)).status()],
    [404, async () => (await page.goto(`/c/${c}/nothing`)).status()],
    [409, async () => send(`/desk/${c}/${gym}/${running}/${scored}/not-taking-part`, {})],
    [413, async () => send("/account/tokens", { name: large })],
    [422, async () => send("/account/tokens", { name: "", days: "many" })],
  ];
  for (const [status, meet] of kinds) {
    await check(`${status} is a page`, async () => {
      const found = await meet();
      assert(found === status, `${found}`);
      assert((await page.locator("main h1").count()) === 1, "a heading");
    });
    await sound(page, problemName(status));
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
  await sound(page, problemName(503));
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
  await sound(stranger.page, problemName(429));
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
  ...germans.map((who) => () => german(who)),
  paper,
];
const next = async () => {
  for (let round = rounds.shift(); round; round = rounds.shift()) await round();
};
await Promise.all([next(), next()]);
await problems();

console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
