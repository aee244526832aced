// Where every page of the service is stopped at: who looks, what the stop is called, its address, and what is done
// there first. What is made of that, and what is looked at, is in pages.mjs.

import { readFile } from "node:fs/promises";

/** Competitions beside the demo's: one with nothing in it, one that is over, and one that is meant to break pages. */
export const empty = "zz-nothing-yet";
export const over = "zz-long-over";
export const hostile = "zz-hostile";

/** Who reads the pages of a service of its own that has no competition at all. */
export const withNothing = (who) => who.endsWith("where nothing is");

/** Whose stops are looked at in German too: those where nothing is done first. */
export const germans = ["nobody", "nobody where nothing is", "organiser", "staff", "referee", "athlete"];
export const germanOf = (stops, who) => stops.filter(([of, , , first]) => of === who && !first);

/** The problems that are met as pages, and what each is called. */
export const problems = {
  403: "not allowed",
  404: "not there",
  409: "not as it is now",
  413: "too large",
  422: "to be mended",
  429: "too many tries",
  503: "not now",
};
export const problemName = (status) => `problem ${status} ${problems[status]}`;

export const api = async (page, path) => (await page.request.get(`/api/v1/competitions/${path}`)).json();

/**
 * Every stop. `c`, `gym`, `bib`: the demo's competition, and whose staff and athlete sign in; `running`: its workout
 * that runs; `done`: somebody who has done it.
 */
export function stopsOf({ c, gym, bib, running, done, repository }) {
  return [
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
    ["nobody", "a code that fits nothing", "/claim", (page) => wrongCode(page, c)],
    ["athlete", "own page", `/c/${c}/athletes/${bib}`],
    ["athlete", "own row", `/c/${c}/divisions/women?bib=${bib}`],
    ["athlete", "own score", `/c/${c}/athletes/${bib}/workouts/${running}`],
    ["athlete", "own account", "/account"],
    ["athlete", "erasing without the address", "/account", wrongAddress],
    ["athlete", "own name hidden and shown again", "/account", hideAndShow],
    ["athlete", "own page with what was put right", `/c/${c}/athletes/${bib}`, async (page) => page.locator('section[aria-labelledby="amended"] summary').click()],
    ["judge", "account of a judge", "/account"],
    ["staff", "desk", `/desk/${c}/${gym}`],
    ["staff", "score form", `/desk/${c}/${gym}/${running}/${bib}`],
    ["staff", "heats", `/desk/${c}/${gym}/heats/${running}`],
    ["staff", "heats made", `/desk/${c}/${gym}/heats/${running}`, makeHeats],
    ["staff", "heats moved", `/desk/${c}/${gym}/heats/${running}`, moveHeats],
    ["staff", "heats with a fault of a move", `/desk/${c}/${gym}/heats/${running}`, moveNothing],
    ["staff", "heats on paper", `/desk/${c}/${gym}/heats/${running}/paper`],
    ["staff", "codes for athletes", `/desk/${c}/${gym}/codes`],
    ["staff", "people proposed", `/desk/${c}/${gym}/proposals`, propose],
    ["staff", "a proposal with faults", `/desk/${c}/${gym}/proposals`, badProposal],
    ["staff", "results as a file", `/desk/${c}/${gym}/file`],
    ["staff", "a file that cannot be read", `/desk/${c}/${gym}/file`, badResults],
    ["staff", "a file that is asked about", `/desk/${c}/${gym}/file`, (page) => askedResults(page, bib)],
    ["nobody", "the gym's screen", `/desk/${c}/${gym}/wall?still=yes`],
    ["nobody", "the gym's screen, by heat", `/desk/${c}/${gym}/wall?show=${running}&by=heat&still=yes`],
    ["nobody", "the gym's screen, one workout", `/desk/${c}/${gym}/wall?show=${running}&still=yes`],
    ["nobody", "places with a mark", `/c/${c}/divisions/women/workouts/${running}?bib=${done}`],
    ["nobody", "another result tried", `/c/${c}/athletes/${done}?workout=${running}&performance=25%2F24%2F23%2F22`],
    ["staff", "slips", `/desk/${c}/${gym}/codes`, async (page) => page.locator('button[value="rest"]').click()],
    ["staff", "sheets with names", `/c/${c}/workouts/w4/sheet?gym=${gym}`],
    ["staff", "receipt", `/desk/${c}/${gym}/receipt`],
    ["staff", "messages", `/desk/${c}/${gym}/missing`],
    ["judge", "lanes", `/judge/${c}`],
    ["judge", "a word without the statement", `/judge/${c}`, noStatement],
    ["referee", "list of doubts", "/referee"],
    ["referee", "review", `/referee/${c}/${running}/${done}`],
    ["organiser", "what one organises", "/organise"],
    ["organiser", "a competition made", "/new-competition"],
    ["organiser", "a competition made with faults", "/new-competition", badFile],
    ["organiser", "overview", `/organise/${c}`],
    ["organiser", "who would be erased", `/organise/${c}`, async (page) => {
      await page.locator("#erase_bib").fill(String(bib));
      await page.locator('form[action$="/erase"] button[value="look"]').click();
      await page.locator("#would").waitFor();
    }],
    ["organiser", "a judge who would be erased", `/organise/${c}`, async (page) => {
      const [judge] = await api(page, `${c}/judges`);
      await page.locator("#erase_judge").fill(judge.code);
      await page.locator('form[action$="/erase"] button[value="look"]').click();
      await page.locator("#would").waitFor();
    }],
    ["organiser", "who is missing", `/organise/${c}/missing?workout=${running}`],
    ["organiser", "who is missing in a gym", `/organise/${c}/missing?workout=${running}&gym=${gym}`],
    ["organiser", "competition file", `/organise/${c}/file`],
    ["organiser", "competition file with faults", `/organise/${c}/file`, badFile],
    ["organiser", "a change that needs a reason", `/organise/${c}/file`, (page) => changedFile(page, c, repository)],
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
    ["organiser", "who it is with faults", `/organise/${c}/entries/${bib}`, async (page) => {
      await page.locator("#name").fill("");
      await page.locator('button[value="facts"]').click();
      await page.locator("#name-error-1").waitFor();
    }],
    ["organiser", "who it is, put right by somebody else too", `/organise/${c}/entries/${bib}`, async (page) => {
      await page.locator('input[name="was_name"]').evaluate((field) => (field.value = "As It Was Before"));
      await page.locator("#name").fill("Käthe Wolkenstein");
      await page.locator('button[value="facts"]').click();
      await page.locator("[id^=name-error]").waitFor();
    }],
    ["organiser", "an entry put right", `/organise/${over}/entries/7`, async (page) => {
      await page.locator("#email").fill("put.right@saltmarsh.example");
      await page.locator('button[value="facts"]').click();
      await page.locator(".done").waitFor();
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
    ["nobody", "sheet when all is over", `/c/${over}/workouts/step/sheet?division=women`],
    ["organiser", "competition file when all is over", `/organise/${over}/file`],
    ["organiser", "an entry when all is over", `/organise/${over}/entries/7`],
    ["organiser", "codes for those without a gym when all is over", `/organise/${over}/codes`],
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
    ["staff of what is over", "score form when all is over", `/desk/${over}/boathouse/step/9`],
    ["staff of what is over", "score form of what came late", `/desk/${over}/boathouse/step/8`],
    ["staff of what is over", "heats on paper when all is over", `/desk/${over}/boathouse/heats/step/paper`],
    ["staff of what is over", "sheets with names when all is over", `/c/${over}/workouts/step/sheet?gym=boathouse`],
    ["judge of what is over", "lanes when all is over", `/judge/${over}`],
    ["athlete of what is over", "own page when all is over", `/c/${over}/athletes/10`],
    ["athlete of what is over", "own score when all is over", `/c/${over}/athletes/10/workouts/step`],
    ["referee of what is over", "list of doubts when all is over", "/referee"],
    ["referee of what is over", "review when all is over", `/referee/${over}/step/7`],
    // A gym with nobody in it, while a workout runs.
    ["staff of nobody", "desk of nobody", `/desk/${hostile}/nobody`],
    ["staff of nobody", "heats of nobody", `/desk/${hostile}/nobody/heats/w1`],
    ["staff of nobody", "codes for nobody", `/desk/${hostile}/nobody/codes`],
    ["staff of nobody", "nobody proposed", `/desk/${hostile}/nobody/proposals`],
    ["staff of nobody", "receipt of nobody", `/desk/${hostile}/nobody/receipt`],
    ["staff of nobody", "messages to nobody", `/desk/${hostile}/nobody/missing`],
    ["staff of nobody", "results of nobody as a file", `/desk/${hostile}/nobody/file`],
    ["judge of nobody", "no lane of a judge", `/judge/${hostile}`],
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
    ["hostile staff", "hostile sheets", `/c/${hostile}/workouts/w1/sheet?gym=quayside`],
    ["hostile staff", "hostile codes", `/desk/${hostile}/quayside/codes`],
    ["hostile staff", "hostile slips", `/desk/${hostile}/quayside/codes`, async (page) => page.locator('button[value="rest"]').click()],
    ["hostile staff", "hostile people proposed", `/desk/${hostile}/quayside/proposals`, proposeHostile],
    ["hostile staff", "hostile receipt", `/desk/${hostile}/quayside/receipt`],
    ["hostile staff", "hostile messages", `/desk/${hostile}/quayside/missing`],
    ["hostile staff", "hostile file of results", `/desk/${hostile}/quayside/file`, badResults],
    ["hostile judge", "hostile lanes", `/judge/${hostile}`],
    ["hostile judge", "hostile word without the statement", `/judge/${hostile}`, noStatement],
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
    ["somebody without roles", "organising nothing", "/organise"],
    // A service without a competition.
    ["nobody where nothing is", "home without a competition", "/"],
    ["organiser where nothing is", "home of who may make the first competition", "/"],
    ["organiser where nothing is", "no competition to organise", "/organise"],
  ];
}

// Sent, refused, and said beside the field.
async function wrongCode(page, c) {
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

async function hideAndShow(page) {
  for (const press of ["no", "yes"]) {
    const form = page.locator('form[action="/account/name"]', { has: page.locator(`input[name="show"][value="${press}"]`) });
    await form.getByRole("button").click();
    await page.locator(".done").waitFor();
  }
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

// They began a little earlier.
async function moveHeats(page) {
  await page.locator("summary", { hasText: "Heats run late" }).click();
  await page.locator("#late_heat").fill("1");
  await page.locator("#late_minutes").fill("5");
  await page.locator("#late_way-earlier").check();
  await page.getByRole("button", { name: "Move these heats" }).click();
  await page.getByText("Moved so far: from heat 1 on, earlier by 5 min").waitFor();
}

async function moveNothing(page) {
  await page.locator("summary", { hasText: "Heats run late" }).click();
  await page.locator("#late_heat").fill("");
  await page.locator("#late_minutes").fill("900");
  await page.getByRole("button", { name: "Move these heats" }).click();
  await page.locator("#late_heat-error-1").waitFor();
  await page.locator("[id^=late_minutes-error]").waitFor();
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

// More whole rounds than anybody does: perhaps all reps were meant.
async function askedResults(page, bib) {
  await page.locator("select[name=workout]").selectOption("w1");
  await page.locator("textarea[name=text]").fill(`bib,performance,revise\n${bib},278+0,yes\n`);
  await page.locator('button[value="send"]').click();
  await page.locator("#asked").waitFor();
}

// What waits is shown, and ticked, without the statement.
async function noStatement(page) {
  const form = page.locator("form.vouch").first();
  const folded = form.locator("details:not([open]) > summary");
  if (await folded.count()) await folded.click();
  await form.locator('input[name^="a-"]').first().check();
  await form.getByRole("button").last().click();
  await page.locator("#errors").waitFor();
}

async function badFile(page) {
  await page.locator("textarea[name=text]").fill('[competition]\nslug = "saltmarsh"\ntitle = 7\nage_date = "soon"\n');
  await page.locator('button[value="check"]').click();
  await page.locator("#errors, .errors").first().waitFor();
}

// The demo's file with another load, looked at and applied without a reason.
async function changedFile(page, c, repository) {
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
