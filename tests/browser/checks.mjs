// What is asked of every page: axe's rules at two widths in light and dark, no scrolling sideways
// down to 320 px, nothing odd, a weight a phone can bear.

import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import http from "node:http";

const AXE = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
const LOOKS = [390, 1280].flatMap((width) => ["light", "dark"].map((scheme) => ({ width, scheme })));
const HEAVIEST = 60_000;

export const counts = { passed: 0, failed: 0 };

// Runs one check; a failing one is told and counted, and the walk goes on.
export async function check(name, does) {
  try {
    await does();
    counts.passed += 1;
  } catch (error) {
    counts.failed += 1;
    console.log(`FAILED  ${name}: ${error.message.split("\n").slice(0, 12).join("\n        ")}`);
  }
}

export function assert(holds, message) {
  if (!holds) throw new Error(message);
}

export async function sees(page, text) {
  await page.getByText(text).filter({ visible: true }).first().waitFor({ state: "visible" });
}

// The page as it is now, in every look.
export async function sound(page, name) {
  for (const { width, scheme } of LOOKS) {
    await check(`${name} at ${width} px, ${scheme}`, async () => {
      await page.setViewportSize({ width, height: 844 });
      await page.emulateMedia({ colorScheme: scheme });
      await page.evaluate(AXE);
      const { violations } = await page.evaluate((tags) => axe.run({ runOnly: tags }), TAGS);
      const told = violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.map((n) => n.html.slice(0, 160)).slice(0, 3).join(" | ")}`);
      assert(told.length === 0, `axe: ${told.join("\n")}`);
      if (process.env.SHOTS) {
        await page.screenshot({ path: `${process.env.SHOTS}/${name.replace(/[^a-z0-9]+/gi, "-")}-${width}-${scheme}.png`, fullPage: true });
      }
    });
  }
  await check(`${name} at 320 px`, async () => {
    await page.setViewportSize({ width: 320, height: 640 });
    const wide = await page.evaluate(() => document.scrollingElement.scrollWidth);
    assert(wide <= 320, `${wide} px wide`);
  });
  await check(`${name} does nothing odd`, async () => {
    const odd = page.odd.splice(0);
    assert(odd.length === 0, odd.join("\n"));
  });
  await page.setViewportSize({ width: 390, height: 844 });
  await page.emulateMedia({ colorScheme: "light" });
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
