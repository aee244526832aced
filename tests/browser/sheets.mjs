// The judge's sheets, printed to PDF by a real Chromium: one page each, nothing beside the paper,
// and every running total read out of the PDF against the one counted here from the competition's
// file, rep by rep of the scheme as it is written. The loads and heights of each division and level, on the sheet
// and on the brief, against what prescribed.mjs reads in that file.
//
//   node sheets.mjs DEMO.json REPOSITORY    what `tallywright demo --json` printed, with
//                                           tests/data/hard_on_paper.toml and measures.toml applied to its database
//   WALKS=PASSWORD                          of the people of the walk through the pages, which comes before
//   SHOTS=FOLDER                            keeps the PDFs and pictures of the page on the screen
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { mkdir, readFile, writeFile } from "node:fs/promises";
import { getDocument } from "pdfjs-dist/legacy/build/pdf.mjs";
import { parse } from "smol-toml";
import { assert, check, counts } from "./checks.mjs";
import { open, signIn } from "./people.mjs";
import { rowsOf, sheetsOf, words } from "./prescribed.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
const person = (role) => demo.sign_in.find((s) => s.role === role);
const paper = { a4: [595, 842], letter: [612, 792] };
const keep = process.env.SHOTS;
if (keep) await mkdir(keep, { recursive: true });
const plain = (text) => text.replace(/\s+/g, "");

// --- what has to stand there ------------------------------------------------------------------

// The counts of a block's rounds, as the file says them; without end: for ever.
function* rounds(block) {
  const n = (s) => s.reps ?? s.calories ?? (s.counts ?? (s.per ? s.metres / s.per : 1));
  const row = block.stations.map(n);
  if (block.list) yield* block.list;
  else if (block.ladder) {
    const { start, step, rounds: all } = block.ladder;
    for (let i = 0; all === undefined || i < all; i += 1) {
      yield block.stations.map((_, s) => (start[s] ?? start) + i * (step[s] ?? step));
    }
  } else for (let i = 0; block.repeat === "round" || i < (block.rounds ?? 1); i += 1) yield row;
}

// The total after each station, in order, up to `last`.
function totals(blocks, last) {
  const found = [];
  let total = 0;
  for (const block of blocks.filter((b) => b.stations)) {
    for (const row of rounds(block)) {
      for (const count of row.filter((c) => c > 0)) {
        if (total >= last) return found;
        total += count;
        found.push(total);
      }
    }
  }
  return found;
}

// --- what stands there ------------------------------------------------------------------------

async function pages(pdf) {
  const document = await getDocument({ data: new Uint8Array(pdf), verbosity: 0 }).promise;
  const found = [];
  for (let n = 1; n <= document.numPages; n += 1) {
    const page = await document.getPage(n);
    const [, , width, height] = page.view;
    const { items } = await page.getTextContent();
    const seen = items.filter((i) => i.str.trim());
    for (const item of seen) {
      const [x, y] = [item.transform[4], item.transform[5]];
      assert(x >= 0 && x + item.width <= width && y >= 0 && y <= height, `beside the paper: ${item.str}`);
      assert(item.height >= 5 || !item.height, `too small to read: ${item.str} at ${item.height} pt`);
    }
    found.push({ width, height, text: items.map((i) => i.str + (i.hasEOL ? "\n" : "")).join("") });
  }
  return found;
}

// What the page itself says its running totals are, and whether each sheet holds what is in it.
const onPage = (page) =>
  page.locator("article.sheet").evaluateAll((all) =>
    all.map((sheet) => {
      const inside = sheet.getBoundingClientRect();
      const out = [...sheet.querySelectorAll("*")].filter((e) => {
        const r = e.getBoundingClientRect();
        return r.width > 1 && r.height > 1 && !e.closest(".hidden, .head, .who, thead, .list th") && (r.bottom > inside.bottom + 1 || r.right > inside.right + 1);
      });
      // What is cut off on purpose: long titles and names. Never how to write the result.
      const result = sheet.querySelector(".result");
      if (result.scrollHeight > result.clientHeight) out.push(result);
      return {
        out: out.map((e) => `${e.tagName}.${e.className} ${e.textContent.slice(0, 40)}`).slice(0, 3),
        totals: [...sheet.querySelectorAll(".tally td b")].map((b) => Number(b.textContent)),
        lefts: [...sheet.querySelectorAll(".tally td")].map((td) => [td.querySelector("b")?.textContent, td.textContent.match(/(\d+) left/)?.[1]]),
        boxes: sheet.querySelectorAll(".tally td i.time").length,
        ticks: [...sheet.querySelectorAll(".levels li")].map((li) => `${li.querySelectorAll(".box").length} ${li.textContent.replace(/\s+/g, " ").trim()}`),
      };
    }),
  );

async function printed(page, address, name) {
  await page.goto(address);
  await page.emulateMedia({ media: "print" });
  const said = await onPage(page);
  const pdf = await page.pdf({ preferCSSPageSize: true, printBackground: true });
  await page.emulateMedia({ media: "screen" });
  if (keep) await writeFile(`${keep}/${name}.pdf`, pdf);
  const sides = await pages(pdf);
  assert(sides.length === said.length, `${said.length} sheets on ${sides.length} pages`);
  for (const sheet of said) assert(sheet.out.length === 0, `does not fit: ${sheet.out.join("; ")}`);
  return sides.map((side, n) => ({ ...side, ...said[n] }));
}

// Every number in its order in the text of the PDF.
function inText(text, numbers) {
  let at = 0;
  const found = [...text.matchAll(/\d+/g)].map((m) => Number(m[0]));
  for (const number of numbers) {
    at = found.indexOf(number, at) + 1;
    assert(at > 0, `${number} is not on the paper, in its place`);
  }
}

// The lines to tick, each with one box, in the file's order and nothing else; all of them on the paper.
function ticked(side, ticks, lang) {
  const wanted = ticks.map((line) => `1 ${line}`);
  assert(JSON.stringify(side.ticks) === JSON.stringify(wanted), `to tick: ${side.ticks.join(" | ")}\ninstead of ${wanted.join(" | ")}`);
  const printed = words(lang).tick + ticks.join("");
  assert(plain(side.text).includes(plain(printed)), `${printed} is not on the paper: ${side.text.slice(0, 600)}`);
}

// The table of a brief, read off the page.
const onBrief = (page) =>
  page.locator('[role="region"][aria-labelledby="loads"] tbody tr').evaluateAll((all) =>
    all.map((row) => {
      const [whom, level, loads] = row.children;
      const said = [...loads.children].filter((e) => e.tagName === "SPAN");
      const under = said.filter((e) => e.className === "under");
      return [whom.textContent, level.textContent, said.filter((e) => e.className !== "under").map((e) => e.textContent.trim()), under.map((e) => e.textContent).join()];
    }),
  );

function whole(side, blocks, endless) {
  const last = Math.max(...side.totals);
  const expected = totals(blocks, last);
  assert(String(side.totals) === String(expected), `totals ${side.totals} instead of ${expected}`);
  inText(side.text, expected);
  if (endless) return;
  const end = totals(blocks, Infinity).at(-1);
  assert(last === end, `ends at ${last} instead of ${end}`);
  for (const [total, left] of side.lefts.filter(([total]) => total)) {
    assert(Number(total) + Number(left) === end, `${total} done and ${left} left of ${end}`);
  }
}

// --- the demo's -------------------------------------------------------------------------------

const anybody = await open(demo.url);
const staff = await open(demo.url);
await signIn(staff.page, person("staff"));
const gym = person("staff").gym;
const api = (path) => staff.page.evaluate((p) => fetch(p).then((r) => r.json()), `/api/v1/competitions/${path}`);
const toml = async (path) => parse((await readFile(`${process.argv[3]}/${path}`, "utf8")).replace(/= \{age_date\}/, "= 2027-01-15"));
const file = await toml("src/cli/demo/series.toml");
const blocksOf = (w) => w.blocks ?? [w];
const address = (w, rest) => `/c/${demo.competition}/workouts/${w}/sheet?${rest}`;

for (const [name, size] of Object.entries(paper)) {
  for (const w of ["w1", "w2", "w3", "w4"]) {
    const workout = file.workout.find((x) => x.slug === w);
    await check(`${w} without a name is one page of ${name}`, async () => {
      const sides = await printed(anybody.page, address(w, `paper=${name}&division=women`), `${w}-${name}`);
      assert(sides.length === 1, `${sides.length} pages`);
      const [side] = sides;
      assert(Math.abs(side.width - size[0]) < 2 && Math.abs(side.height - size[1]) < 2, `${side.width} × ${side.height}`);
      for (const text of ["Result", "No-reps", "Load used", "Emergency", "Chest pain", "Made from the file"]) {
        assert(side.text.replace(/\s+/g, " ").includes(text), `${text} is not on the paper`);
      }
      if (workout.stations) whole(side, blocksOf(workout), workout.repeat === "round");
      if (w === "w1") assert(side.boxes > 3, "a box for the time at the end of each round");
      if (w === "w2") assert(side.boxes === side.totals.length, "a box for the time at each station");
    });
  }
}
await check("a sheet goes two rounds further than the best so far", async () => {
  const { rows } = await api(`${demo.competition}/divisions/women/workouts/w1/places?limit=1`);
  const [, rounds, reps] = rows[0].text.match(/^(\d+)\+(\d+)/).map(Number);
  const [side] = await printed(anybody.page, address("w1", "division=women"), "w1");
  assert(side.totals.length === 3 * (rounds + (reps > 0) + 2), `${side.totals.length} totals for ${rows[0].text}`);
});
await check("other counts for another division are on its own sheet", async () => {
  const [side] = await printed(anybody.page, address("w2", "paper=a4&division=women-50"), "w2-women-50");
  assert(String(side.totals) === "18,36,48,60,66,72", String(side.totals));
});
await check("a gym's staff print a page with its name for each entry", async () => {
  const entries = await api(`${demo.competition}/entries?gym=${gym}`);
  const sides = await printed(staff.page, address("w4", `gym=${gym}`), "gym");
  const all = entries.filter((e) => e.state === "active" || e.state === "guest");
  assert(sides.length > 10 && sides.length <= all.length, `${sides.length} pages for ${all.length}`);
  const named = sides.filter((s) => all.some((e) => s.text.includes(e.name) && s.text.includes(`${e.bib}`)));
  assert(named.length === sides.length, `${named.length} of ${sides.length} pages have their name and bib`);
  assert(sides.every((s) => s.text.includes("defibrillator hangs")), "the gym's emergency line on every page");
});
await check("nobody else gets names", async () => {
  const answer = await anybody.page.request.get(address("w4", `gym=${gym}`), { headers: { accept: "application/json" } });
  assert(answer.status() === 401, `${answer.status()}`);
});

await check("sheets for walk-ins come several at once, all alike", async () => {
  await anybody.page.goto(address("w1", "division=women"));
  await anybody.page.getByLabel("How many").fill("20");
  await anybody.page.getByRole("button", { name: "Show it" }).click();
  await anybody.page.waitForURL(/copies=20/);
  const sides = await printed(anybody.page, anybody.page.url(), "walk-ins");
  assert(sides.length === 20, `${sides.length} pages`);
  for (const side of sides) {
    whole(side, blocksOf(file.workout[0]), true);
    assert(String(side.totals) === String(sides[0].totals) && side.text === sides[0].text, "another sheet");
  }
});
await check("more than twenty at once are refused in the field, and with a sentence", async () => {
  await anybody.page.goto(address("w1", "division=women"));
  await anybody.page.getByLabel("How many").fill("21");
  await anybody.page.getByRole("button", { name: "Show it" }).click();
  assert(!anybody.page.url().includes("copies"), "the browser sends it");
  await anybody.page.goto(address("w1", "copies=21"));
  assert((await anybody.page.locator("main").innerText()).includes("1 to 20"), "the sentence");
});

// --- heats ------------------------------------------------------------------------------------

const heats = `/desk/${demo.competition}/${gym}/heats/w4`;
for (const [name, size] of Object.entries(paper)) {
  await check(`the heats are on ${name} in their order, none of them parted`, async () => {
    const { page } = staff;
    await page.goto(heats);
    const make = page.getByRole("button", { name: "Make the heats" });
    if (await make.count()) await make.click();
    await page.getByRole("link", { name: "These heats, to print" }).click();
    await page.getByLabel("Paper").selectOption(name);
    await page.getByRole("button", { name: "Show it" }).click();
    await page.waitForURL(new RegExp(`paper=${name}`));
    const shown = await page.locator("section.heat").evaluateAll((all) =>
      all.map((heat) => [heat.querySelector("h2").textContent, ...[...heat.querySelectorAll("tbody tr")].map((row) => row.textContent)]),
    );
    assert(shown.length > 3, `${shown.length} heats`);
    await page.emulateMedia({ media: "print" });
    const pdf = await page.pdf({ preferCSSPageSize: true, printBackground: true });
    await page.emulateMedia({ media: null });
    if (keep) await writeFile(`${keep}/heats-${name}.pdf`, pdf);
    const sides = await pages(pdf);
    assert(Math.abs(sides[0].width - size[0]) < 2 && Math.abs(sides[0].height - size[1]) < 2, `${sides[0].width} × ${sides[0].height}`);
    const texts = sides.map((side) => plain(side.text));
    assert(sides.length <= Math.ceil(shown.length / 2), `${sides.length} pages for ${shown.length} heats`);
    let last = [0, 0];
    for (const [title, ...lanes] of shown) {
      const side = texts.findIndex((text) => text.includes(plain(title)));
      assert(side >= 0, `${title} is not on the paper`);
      const at = texts[side].indexOf(plain(title));
      assert(side > last[0] || (side === last[0] && at >= last[1]), `${title} comes too early`);
      last = [side, at];
      for (const lane of lanes) {
        const found = texts[side].indexOf(plain(lane), last[1]);
        assert(found >= 0, `${lane} is not under ${title}`);
        last[1] = found;
      }
    }
    assert(texts.join("").includes(plain("Chest pain")), "the cautions");
    assert(!texts.join("").includes("Showit"), "the form is on the paper");
  });
}

await check("the sheets of those in a heat say which, the lane, and when by which clock", async () => {
  const { page } = staff;
  await page.goto(heats);
  const planned = await page.locator("section.heat").evaluateAll((all) =>
    all.flatMap((heat) =>
      [...heat.querySelectorAll("tbody tr")].map((row) => ({
        heat: heat.querySelector("h2").textContent.match(/\d+/)[0],
        lane: row.querySelector("td").textContent.trim(),
        name: row.querySelector("th a").textContent,
        bib: row.querySelector("th .under").textContent,
        starts: heat.querySelector("time").getAttribute("datetime"),
      })),
    ),
  );
  assert(planned.length > 10, `${planned.length} lanes`);
  const { time_zone } = await api(demo.competition);
  for (const name of Object.keys(paper)) {
    const sides = await printed(page, address("w4", `gym=${gym}&paper=${name}`), `gym-in-heats-${name}`);
    for (const lane of planned) {
      const side = sides.find((s) => plain(s.text).includes(plain(`Athlete ${lane.name} Bib ${lane.bib} Division`)));
      assert(side, `no sheet of ${lane.name}`);
      const clock = new Date(lane.starts).toLocaleTimeString("en-GB", { timeZone: time_zone, hour: "2-digit", minute: "2-digit" });
      const wanted = plain(`Start ${clock} ${time_zone} Heat ${lane.heat} Lane ${lane.lane} Load used`);
      assert(plain(side.text).includes(wanted), `${wanted} is not on the sheet of ${lane.name}: ${side.text.slice(0, 400)}`);
    }
  }
});

// --- schemes that are hard on paper: tests/data/hard_on_paper.toml, applied beside the demo -----

const hard = await toml("tests/data/hard_on_paper.toml");

// --- longer words take no more paper ------------------------------------------------------------

const german = await open(demo.url, { locale: "de-DE" });
for (const name of Object.keys(paper)) {
  const demos = ["w1", "w2", "w3", "w4"].map((w) => [`${w} in German`, address(w, `paper=${name}&division=women`)]);
  const others = hard.workout.map((x) => [`${x.slug} in German`, `/c/zz-hard-on-paper/workouts/${x.slug}/sheet?paper=${name}`]);
  for (const [what, where] of [...demos, ...others]) {
    await check(`${what} is one page of ${name}`, async () => {
      const sides = await printed(german.page, where, `${what}-${name}`);
      assert(sides.length === 1, `${sides.length} pages`);
      for (const text of ["Ergebnis", "No-Reps", "Brustschmerz"]) {
        assert(sides[0].text.replace(/\s+/g, " ").includes(text), `${text} is not on the paper`);
      }
    });
  }
}

// --- loads and heights ----------------------------------------------------------------------------

const measures = await toml("tests/data/measures.toml");
const announced = (await api(demo.competition)).workouts.map((w) => w.slug);
const readers = { en: anybody.page, de: german.page };
const prescribed = [
  ["en", file, demo.competition, file.workout.filter((w) => announced.includes(w.slug))],
  ["en", hard, hard.competition.slug, hard.workout],
  ...["en", "de"].map((lang) => [lang, measures, measures.competition.slug, measures.workout]),
];
for (const [lang, from, c, workouts] of prescribed) {
  for (const workout of workouts) {
    const sheets = sheetsOf(from, workout, lang);
    const here = `/c/${c}/workouts/${workout.slug}`;
    await check(`the sheets of ${workout.slug} of ${c} prescribe what the file does, in ${lang}`, async () => {
      for (const { division, level, ticks } of sheets) {
        const [side, more] = await printed(readers[lang], `${here}/sheet?division=${division.slug}&level=${level}`, `${c}-${workout.slug}-${division.slug}-${level}-${lang}`);
        assert(side && !more, "one page");
        ticked(side, ticks, lang);
        // A long title is cut off.
        assert(plain(side.text).includes(plain(division.title.slice(0, 24))), `${division.title} is not on its sheet`);
      }
      assert(sheets.length > 0, "no sheet at all");
    });
    await check(`a sheet of ${workout.slug} of ${c} has its division's own level if none is asked for, in ${lang}`, async () => {
      for (const { division, ticks } of sheets.filter((s) => s.own)) {
        const [side] = await printed(readers[lang], `${here}/sheet?division=${division.slug}`, "own-level");
        ticked(side, ticks, lang);
      }
    });
    await check(`the brief of ${workout.slug} of ${c} prescribes what the file does, in ${lang}`, async () => {
      await readers[lang].goto(here);
      const [found, wanted] = [await onBrief(readers[lang]), rowsOf(from, workout, lang)];
      assert(JSON.stringify(found) === JSON.stringify(wanted), `${JSON.stringify(found)}\ninstead of ${JSON.stringify(wanted)}`);
      const nothing = await readers[lang].getByText(words(lang).nothing).count();
      assert(nothing === (wanted.length ? 0 : 1), `that nothing is prescribed is said ${nothing} times`);
    });
  }
}
await check("another load than the file's would be found, on the sheet and on the brief", async () => {
  const wrong = structuredClone(file);
  const w1 = wrong.workout.find((w) => w.slug === "w1");
  w1.prescription[0].loads[0].lb += 1;
  const { division, level, ticks } = sheetsOf(wrong, w1, "en")[0];
  const [side] = await printed(anybody.page, address("w1", `division=${division.slug}&level=${level}`), "another-load");
  let found = "";
  try {
    ticked(side, ticks, "en");
  } catch (error) {
    found = error.message;
  }
  assert(found.includes("35 lb") && found.includes("36 lb"), `found: ${found}`);
  await anybody.page.goto(`/c/${demo.competition}/workouts/w1`);
  const brief = await onBrief(anybody.page);
  assert(brief.length > 0 && JSON.stringify(brief) !== JSON.stringify(rowsOf(wrong, w1, "en")), "not found on the brief");
});
await check("the sheet of somebody of a gym prescribes what the file does for their division", async () => {
  const entries = await api(`${demo.competition}/entries?gym=${gym}`);
  const sides = await printed(staff.page, address("w1", `gym=${gym}`), "gym-w1");
  const own = sheetsOf(file, file.workout.find((w) => w.slug === "w1"), "en").filter((s) => s.own);
  const divisions = new Set();
  for (const side of sides) {
    const entry = entries.find((e) => plain(side.text).includes(plain(`Athlete ${e.name} Bib ${e.bib} Division`)));
    assert(entry, `nobody's sheet: ${side.text.slice(0, 200)}`);
    const { division, ticks } = own.find((s) => s.division.slug === entry.division);
    assert(plain(side.text).includes(plain(`Bib ${entry.bib} Division ${division.title}`)), `${division.title} is not on the sheet of ${entry.name}`);
    ticked(side, ticks, "en");
    divisions.add(division.slug);
  }
  assert(divisions.size > 2, `only ${[...divisions]}`);
});
await german.close();

for (const name of Object.keys(paper)) {
  for (const workout of hard.workout) {
    await check(`${workout.slug} is one page of ${name}`, async () => {
      const rest = `/c/zz-hard-on-paper/workouts/${workout.slug}/sheet?paper=${name}`;
      const [side, more] = await printed(anybody.page, rest, `${workout.slug}-${name}`);
      assert(!more, "more than one page");
      const blocks = blocksOf(workout);
      const endless = blocks.some((b) => b.repeat === "round" || (b.ladder && b.ladder.rounds === undefined));
      if (workout.slug === "many") {
        // By rounds only: the ends of rounds, the last one among them.
        const all = totals(blocks, Infinity);
        assert(side.totals.every((t) => all.includes(t)) && side.totals.at(-1) === all.at(-1), String(side.totals));
        inText(side.text, side.totals);
      } else {
        whole(side, blocks, endless);
      }
      // In a list of many lines a long name is cut off; where no line names a movement all of them are said above it.
      const called = (movement) => (workout.slug === "many" ? movement : movement.slice(0, 20));
      for (const { movement } of blocks.flatMap((b) => b.stations ?? [])) {
        assert(plain(side.text).includes(plain(called(movement))), `${movement} is not on the paper`);
      }
      if (workout.slug === "mixed") assert(/these reps:\s*30/.test(side.text), "a box for the marker inside a station");
    });
  }
}

// --- names that are meant to break pages: tests/data/hostile, applied for pages.mjs ----------------

const hostile = await open(demo.url);
await signIn(hostile.page, { email: "hostile.staff@hostile.example", password: process.env.WALKS });
for (const name of Object.keys(paper)) {
  await check(`hostile names are on their own sheets, each on one page of ${name}`, async () => {
    const entries = await hostile.page.evaluate(() => fetch("/api/v1/competitions/zz-hostile/entries?gym=quayside").then((r) => r.json()));
    const sides = await printed(hostile.page, `/c/zz-hostile/workouts/w1/sheet?gym=quayside&paper=${name}`, `hostile-${name}`);
    assert(entries.length > 4 && sides.length === entries.length, `${sides.length} pages of ${entries.length}`);
    for (const { bib, name: called } of entries) {
      const own = sides.filter((s) => new RegExp(`Bib\\s*${bib}\\b`).test(s.text));
      assert(own.length === 1, `${own.length} sheets of ${bib}`);
      // As it was written; of a long one as much as there is room for.
      const [first] = called.match(/^[ -~]{1,20}/);
      assert(plain(own[0].text).includes(plain(first)), `${called} is not on the sheet of ${bib}`);
    }
  });
}

for (const context of [anybody, staff, hostile]) await context.close();
console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
