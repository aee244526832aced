// What is asked of every page: axe's rules at two widths in light and dark, no scrolling sideways
// down to 320 px and at twice the size, nothing odd, a weight a phone can bear.
//
//   SHOTS=FOLDER keeps a picture of every page in every look, as it is
//   LOOKS=FOLDER keeps a small one on a phone in light and on a desk in dark, for tests/looks

import { AsyncLocalStorage } from "node:async_hooks";
import { mkdir, readFile, writeFile } from "node:fs/promises";
import { createRequire } from "node:module";
import http from "node:http";
import { named, picture } from "./names.mjs";
import { seen } from "./people.mjs";

const AXE = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
// What may be otherwise in dark than in light.
const OF_COLOURS = ["color-contrast", "link-in-text-block"];
export const LOOKS = [390, 1280].flatMap((width) => ["light", "dark"].map((scheme) => ({ width, scheme })));
// How evenings are gone through: on a phone in light and on a wide screen in dark; `sound` looks at each of their pages in both.
export const EVENINGS = [LOOKS[0], LOOKS[3]];
const HEAVIEST = 60_000;

export const counts = { passed: 0, failed: 0 };

// Whose evening it is, where several go on at once: told with what fails.
export const during = new AsyncLocalStorage();

// Runs one check; a failing one is told and counted, and the walk goes on.
export async function check(name, does) {
  try {
    await does();
    counts.passed += 1;
  } catch (error) {
    counts.failed += 1;
    const whose = during.getStore();
    console.log(`FAILED  ${name}${whose ? ` (${whose})` : ""}: ${error.message.split("\n").slice(0, 12).join("\n        ")}`);
  }
}

// The checks of a walk in one look: what fails says in which.
export const checksIn = ({ width, scheme }) => (name, does) => check(`${name}, at ${width} px, ${scheme}`, does);

export function assert(holds, message) {
  if (!holds) throw new Error(message);
}

export async function sees(page, text) {
  await page.getByText(text).filter({ visible: true }).first().waitFor({ state: "visible" });
  // What is looked at next is as the scripts of a page that has just come leave it.
  await page.waitForLoadState("load");
}

// What a click or a key does, and the page that comes of it; where it fails, nobody waits for that page any more.
export const comes = (page, does) => Promise.all([page.waitForEvent("load"), does()]);

// The text of the file that comes of it.
export async function downloads(page, does) {
  const [took] = await Promise.all([page.waitForEvent("download"), does()]);
  return readFile(await took.path(), "utf8");
}

// What axe finds on the page as it is now; `rules`: by these alone.
async function axed(page, rules) {
  if (!(await page.evaluate(() => typeof axe === "object"))) await page.evaluate(AXE);
  const only = rules ? { type: "rule", values: rules } : TAGS;
  const told = await page.evaluate(async (only) => {
    // From the top: what a bar that stays in sight covers is reached by scrolling on.
    scrollTo(0, 0);
    // Hundreds of rows are the same one over again: of those that are only read, or stand in the grid with nothing
    // said of them, most are put aside meanwhile.
    const rows = [...document.querySelectorAll(".rows.settled, .grid tbody")].flatMap((list) => [...list.children].slice(20));
    const said = "input, button, select, [role]";
    const same = (row) => !row.matches(":focus-within") && !row.querySelector(row.matches("tr") ? ".error, .ask, .unsent" : said);
    const aside = rows.filter(same);
    const places = aside.map((row) => {
      const place = document.createComment("");
      row.replaceWith(place);
      return place;
    });
    try {
      const { violations } = await axe.run({ runOnly: only, resultTypes: ["violations"], selectors: false });
      return violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.map((n) => n.html.slice(0, 160)).slice(0, 3).join(" | ")}`);
    } finally {
      aside.forEach((row, n) => places[n].replaceWith(row));
    }
  }, only);
  assert(told.length === 0, `axe: ${told.join("\n")}`);
}

// Half the size and packed: to be looked at, not to be compared.
async function small(page, name, width, scheme) {
  const folder = process.env.LOOKS;
  if (!folder || (width === 390) === (scheme === "dark")) return;
  await mkdir(folder, { recursive: true });
  const height = await page.evaluate(() => document.scrollingElement.scrollHeight);
  const clip = { x: 0, y: 0, width, height: Math.min(height, width === 390 ? 1600 : 1300), scale: width === 390 ? 0.65 : 0.5 };
  const cdp = await page.context().newCDPSession(page);
  const { data } = await cdp.send("Page.captureScreenshot", { format: "webp", quality: 30, clip, captureBeyondViewport: true });
  await cdp.detach();
  await writeFile(`${folder}/${picture(name, width)}`, Buffer.from(data, "base64"));
}

// No wider than the window: what is wide scrolls in a box of its own.
async function narrow(page, width) {
  await page.setViewportSize({ width, height: 640 });
  const wide = await page.evaluate(() => document.scrollingElement.scrollWidth);
  assert(wide <= width, `${wide} px wide`);
}

// What a window of 1280 px shows at twice the size.
async function twice(page) {
  await narrow(page, 640);
  await axed(page);
}

async function shown(page, width, scheme) {
  await page.setViewportSize({ width, height: 844 });
  await page.emulateMedia({ colorScheme: scheme });
  // Scripts that follow the scheme have had their turn.
  await page.evaluate(() => new Promise((next) => requestAnimationFrame(() => setTimeout(next))));
}

// The page as it is now, in every look; one that was opened at a width of its own, at that one in light and in dark.
export async function sound(page, name) {
  if (page.look) {
    const { width } = page.look;
    for (const scheme of ["light", "dark"]) {
      await check(`${name} at ${width} px, ${scheme}`, async () => {
        await shown(page, width, scheme);
        if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/${named(name)}-own-${width}-${scheme}.png`, fullPage: true });
        await axed(page, scheme === "dark" && OF_COLOURS);
      });
    }
    await check(`${name} at its widths`, async () => {
      for (const one of width < 640 ? [320, width] : [1600, width]) await narrow(page, one);
      if (width >= 1280) await twice(page);
    });
    return calm(page, name);
  }
  for (const { width, scheme } of LOOKS) {
    await check(`${name} at ${width} px, ${scheme}`, async () => {
      await shown(page, width, scheme);
      await small(page, name, width, scheme);
      if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/${named(name)}-${width}-${scheme}.png`, fullPage: true });
      await axed(page, scheme === "dark" && OF_COLOURS);
    });
  }
  await check(`${name} at 320 px`, () => narrow(page, 320));
  await check(`${name} at 1600 px`, () => narrow(page, 1600));
  await check(`${name} at twice the size`, () => twice(page));
  await calm(page, name);
}

// The same with less: another language changes lengths, not colours.
export async function fits(page, name) {
  await check(`${name} at 390 px`, async () => {
    await page.setViewportSize({ width: 390, height: 844 });
    await small(page, name, 390, "light");
    await axed(page);
    await narrow(page, 390);
  });
  await check(`${name} at 320 px`, () => narrow(page, 320));
  await calm(page, name);
}

async function calm(page, name) {
  await check(`${name} does nothing odd`, async () => {
    const odd = page.odd.splice(0);
    assert(odd.length === 0, odd.join("\n"));
  });
  const { viewport, colorScheme } = seen(page.look);
  await page.setViewportSize(viewport);
  await page.emulateMedia({ colorScheme });
}

// Bytes of an address as they come over the wire.
function bytes(base, path) {
  return new Promise((resolve, reject) => {
    const asked = http.get(new URL(path, base), { headers: { "accept-encoding": "br", accept: "text/html,*/*" } }, (answer) => {
      let sum = 0;
      answer.on("data", (part) => {
        sum += part.length;
      });
      answer.on("end", () => resolve({ sum, status: answer.statusCode, headers: answer.headers }));
    });
    asked.on("error", reject);
  });
}

// A page with all it needs stays light.
export async function light(base, path, parts) {
  await check(`${path} is light`, async () => {
    let sum = 0;
    for (const one of [path, ...parts]) {
      const got = await bytes(base, one);
      assert(got.status === 200, `${one} answers ${got.status}`);
      sum += got.sum;
    }
    assert(sum < HEAVIEST, `${sum} bytes packed`);
  });
}

// Files that are named by their content may be kept for ever.
export async function kept(base, path) {
  await check(`${path} may be kept`, async () => {
    const { headers, status } = await bytes(base, path);
    assert(status === 200 && /immutable/.test(headers["cache-control"]), `${status} ${headers["cache-control"]}`);
    assert(headers["content-encoding"] === "br" && headers.etag, "packed, with a tag");
  });
}
