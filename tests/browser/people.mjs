// One browser for all; for each person a fresh profile in it, with our own pages only and everything
// odd written down.

import { chromium } from "playwright-core";
import { through } from "./addresses.mjs";

const ARGS = [
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];

let browser;

// Opens a profile with one page, as wide and as light as `look` says, else a phone in light, at the address `from`.
// `page.odd` collects what no page may do: errors in the console (a broken content policy is one) and requests
// that leave our own address.
export async function open(base, { look, from, ...more } = {}) {
  browser ??= chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", headless: true, args: ARGS });
  const proxy = from && (await through(from));
  const context = await (await browser).newContext({ baseURL: base, ...seen(look), ...(proxy && { proxy }), ...more });
  context.setDefaultTimeout(45_000);
  const page = await context.newPage();
  page.look = look;
  watch(page, base);
  return { page, context, close: () => context.close() };
}

// What a window of that look is.
export const seen = ({ width, scheme } = { width: 390, scheme: "light" }) => ({ viewport: { width, height: width < 640 ? 844 : 900 }, colorScheme: scheme });

export function watch(page, base) {
  page.odd = [];
  page.on("console", (message) => {
    // The browser remarks on every answer that is not 200; those are looked at by the checks.
    if (message.type() === "error" && !message.text().startsWith("Failed to load resource")) {
      page.odd.push(`console: ${message.text()}`);
    }
  });
  page.on("pageerror", (error) => page.odd.push(`script: ${error.message}`));
  page.on("request", (request) => {
    const url = request.url();
    if (!url.startsWith(base) && !url.startsWith("data:")) page.odd.push(`request to ${url}`);
  });
}

// Nobody may try to sign in without end: whoever has done so a few times in a long walk comes back by the
// session of the last time, as long as it holds.
const ENOUGH = 3;
const sessions = new Map();

// Signs in with the keyboard alone, from wherever the page is.
export async function signIn(page, { email, password }) {
  const before = sessions.get(email);
  if (before?.times >= ENOUGH) {
    await page.context().addCookies(before.cookies);
    // Where signing in led to.
    if ((await page.goto(before.to)).status() === 200 && !page.url().includes("/signin")) return;
    await page.context().clearCookies();
  }
  await page.goto("/signin");
  await page.getByLabel("E-mail").focus();
  await page.keyboard.type(email);
  await page.keyboard.press("Tab");
  await page.keyboard.type(password);
  await page.keyboard.press("Enter");
  await page.waitForURL((url) => !url.pathname.startsWith("/signin"));
  sessions.set(email, { times: (before?.times ?? 0) + 1, cookies: await page.context().cookies(), to: page.url() });
}

// What a script of the page would send to the API, and what is answered.
export const send = (page, method, path, body, headers = {}) =>
  page.evaluate(async ([method, path, body, headers]) => {
    const answer = await fetch(path, { method, headers: { "content-type": "application/json", ...headers }, body: JSON.stringify(body) });
    return { status: answer.status, json: await answer.json() };
  }, [method, path, body, headers]);

const turns = new Map();

// Does what cannot be done by two at once, as there is one clipboard and one file in force: walks that go side by
// side come one after the other there.
export function inTurn(what, does) {
  const own = (turns.get(what) ?? Promise.resolve()).then(does);
  turns.set(what, own.catch(() => {}));
  return own;
}
