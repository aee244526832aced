// A gym's screen looks for something new every quarter of a minute, until it is told to stop. What has
// not changed is not sent, and nothing on the screen is touched then. Says since when there is no
// connection. Nobody scrolls a screen on a wall: what does not fit is shown page by page, each division
// under its name on every page. Small screens are held in a hand and scroll.

import { heard, now, put, within } from "./time.js";

const EVERY = 15_000;
const PAGE = 12_000;
const PATIENCE = 10_000;
// Lower than this nothing of a page would be seen.
const LEAST = 200;
const HAND = matchMedia("(max-width: 48rem)");
const said = document.getElementById("wall-said");
const button = document.getElementById("wall-pause");
const pager = document.getElementById("wall-pages");
const language = document.documentElement.lang;
const program = () => document.querySelector('script[src*="/wall."]').src;

let stopped = new URLSearchParams(location.search).has("still");
let tag = "";
let seen = now();
let lost = false;
let looking = false;
let at = 0;
let turned = Date.now();

// --- what is said ---------------------------------------------------------------------------------

function clock(instant) {
  const time = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  const today = new Date(instant).toDateString() === new Date(now()).toDateString();
  return new Date(instant).toLocaleString(language, today ? time : { weekday: "long", day: "numeric", month: "long", ...time });
}

function tell() {
  // Also right after a sleep, before an answer is there.
  const old = lost || now() - seen > 4 * EVERY;
  const text = put(said.dataset[stopped ? "stopped" : old ? "lost" : "fresh"], { at: clock(seen) });
  if (said.textContent !== text) said.textContent = text;
  said.classList.toggle("error", old && !stopped);
  button.textContent = stopped ? button.dataset.go : button.dataset.pause;
}

// --- looking for something new --------------------------------------------------------------------

async function look() {
  if (stopped || document.hidden || looking) return;
  looking = true;
  try {
    const headers = tag ? { "If-None-Match": tag } : {};
    const answer = await fetch(location.href, { headers, cache: "no-store", signal: within(PATIENCE) });
    if (answer.status === 200) {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      // What answers is not the service, as the page that a public network asks to agree to first.
      if (!page.getElementById("wall")) throw new Error("no screen");
      show(answer, page);
    } else if (answer.status !== 304) throw new Error(String(answer.status));
    heard(answer);
    lost = false;
    seen = now();
  } catch {
    lost = true;
  }
  looking = false;
  tell();
}

function show(answer, page) {
  const fresh = page.getElementById("wall");
  // Stopped while it was on its way: what is read stays.
  if (stopped) return;
  // The service has another version of this script: a screen may hang here for months.
  const theirs = page.querySelector('script[src*="/wall."]')?.getAttribute("src");
  if (theirs && new URL(theirs, location).href !== program()) return location.reload();
  tag = answer.headers.get("etag") ?? "";
  if (fresh.innerHTML === whole) return;
  whole = fresh.innerHTML;
  document.getElementById("wall").replaceChildren(...fresh.childNodes);
  lay();
}

// --- page by page ---------------------------------------------------------------------------------

// The screen as it came, before it was cut into pages.
let whole = document.getElementById("wall").innerHTML;
const sheets = () => document.querySelectorAll("#wall .page");

function lay() {
  const columns = document.querySelector("#wall .columns");
  const tables = [...columns.querySelectorAll("table")];
  // Where pages may be needed, what turns them takes room.
  pager.hidden = HAND.matches;
  const room = window.innerHeight - columns.getBoundingClientRect().top - window.scrollY - 28 - document.querySelector(".controls").offsetHeight;
  if (!HAND.matches && room > LEAST && columns.scrollHeight > room) cut(columns, tables, room);
  turn(Math.min(at, Math.max(sheets().length - 1, 0)));
}

// As many columns as there were, each as high as the screen; a row is never parted, and what goes on in
// another column has its name again.
function cut(columns, tables, room) {
  const lefts = new Set(tables.flatMap((t) => [...t.rows].map((r) => Math.round(r.getBoundingClientRect().left))));
  const wide = Math.max(1, lefts.size);
  const pages = [];
  let column;
  let left = 0;
  const next = () => {
    if (!column || column.parentElement.children.length === wide) {
      pages.push(Object.assign(document.createElement("div"), { className: "page" }));
      pages.at(-1).style.setProperty("--columns", wide);
    }
    column = document.createElement("div");
    pages.at(-1).append(column);
    left = room;
  };
  next();
  for (const table of tables) {
    const name = table.caption;
    const gap = parseFloat(getComputedStyle(table).marginBottom) || 0;
    const rows = [...table.tBodies[0].rows].map((row) => [row, row.offsetHeight]);
    const again = put(columns.dataset.again, { name: name.textContent.trim() });
    // As high as it is where it goes on, which is longer.
    const said = [...name.firstElementChild.childNodes];
    name.firstElementChild.replaceChildren(again);
    const heading = name.offsetHeight;
    name.firstElementChild.replaceChildren(...said);
    let part;
    for (const [row, height] of rows) {
      const begins = !part;
      if (left < (begins ? heading : 0) + height && column.children.length > 0) {
        next();
        part = undefined;
      }
      if (!part) {
        part = table.cloneNode(false);
        const caption = name.cloneNode(true);
        if (!begins) caption.firstElementChild.replaceChildren(again);
        part.append(caption, table.querySelector("colgroup").cloneNode(true), table.tHead.cloneNode(true), document.createElement("tbody"));
        column.append(part);
        left -= heading;
      }
      part.tBodies[0].append(row);
      left -= height;
    }
    left -= gap;
  }
  columns.classList.add("paged");
  columns.replaceChildren(...pages);
}

function turn(to) {
  const all = sheets();
  at = all.length ? (to + all.length) % all.length : 0;
  turned = Date.now();
  all.forEach((page, n) => page.classList.toggle("off", n !== at));
  pager.hidden = all.length < 2;
  pager.querySelector("span").textContent = put(pager.dataset.page, { n: at + 1, of: all.length });
}

// Cut anew, from the screen as it came.
function again() {
  const wall = document.getElementById("wall");
  wall.innerHTML = whole;
  lay();
}

// --- begin ----------------------------------------------------------------------------------------

button.hidden = false;
button.addEventListener("click", () => {
  stopped = !stopped;
  tell();
  look();
});
const [back, on] = pager.querySelectorAll("button");
back.addEventListener("click", () => turn(at - 1));
on.addEventListener("click", () => turn(at + 1));
document.addEventListener("woke", () => {
  tell();
  look();
});
window.addEventListener("offline", () => {
  lost = true;
  tell();
});
let resizing;
window.addEventListener("resize", () => {
  clearTimeout(resizing);
  resizing = setTimeout(again, 200);
});
tell();
lay();
setInterval(look, EVERY);
setInterval(() => {
  if (!stopped && !document.hidden && sheets().length > 1 && Date.now() - turned >= PAGE) turn(at + 1);
}, 1000);
