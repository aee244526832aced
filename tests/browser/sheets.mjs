// The judge's sheets, printed to PDF by a real Chromium: one page each, nothing beside the paper,
// and every running total read out of the PDF against the one counted here from the competition's
// file, rep by rep of the scheme as it is written.
//
//   node sheets.mjs DEMO.json REPOSITORY    what `tallywright demo --json` printed, with
//                                           tests/data/hard_on_paper.toml applied to its database
//   SHOTS=FOLDER                            keeps the PDFs and pictures of the page on the screen
//
// Ends with one line, "N passed, N failed", and with 1 when something failed.

import { mkdir, readFile, writeFile } from "node:fs/promises";
import { getDocument } from "pdfjs-dist/legacy/build/pdf.mjs";
import { parse } from "smol-toml";
import { assert, check, counts } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

const demo = JSON.parse(await readFile(process.argv[2], "utf8"));
const person = (role) => demo.sign_in.find((s) => s.role === role);
const paper = { a4: [595, 842], letter: [612, 792] };
const keep = process.env.SHOTS;
if (keep) await mkdir(keep, { recursive: true });

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
const plain = (text) => text.replace(/\s+/g, "");
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
      if (workout.slug === "mixed") assert(/these reps:\s*30/.test(side.text), "a box for the marker inside a station");
    });
  }
}

for (const context of [anybody, staff]) await context.close();
console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
