// Times on a page. Counts down to instants, from the server's instant and this device's wall clock: a
// laptop that slept is right again when it wakes, as its wall clock went on. A wall clock that is set
// meanwhile is noticed when the page is looked at again. Says deadlines in the reader's own zone too.
// Other scripts take the server's clock from here, and hear of a waking as `woke` on the document.
// Without this the words of the server stand, with the absolute time beside them.

const meta = document.querySelector("meta[name=clock]");
const words = JSON.parse(meta.dataset.words);
const language = document.documentElement.lang;
export const put = (text, values = {}) => text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);

// For fetch: gives up after so many ms; a browser that cannot waits.
export const within = (ms) => AbortSignal.timeout?.(ms);

// --- the server's clock -------------------------------------------------------------------------

let offset = Date.parse(meta.content) - Date.now();
let asked = Date.now();
export const now = () => Date.now() + offset;

// The Date of an answer is whole seconds: it is taken where it says something else.
export function heard(answer) {
  const date = Date.parse(answer.headers.get("date"));
  if (Math.abs(date - now()) > 2000) offset = date - Date.now();
}

async function ask() {
  if (Math.abs(Date.now() - asked) < 5000) return;
  asked = Date.now();
  try {
    heard(await fetch("/healthz", { method: "HEAD", cache: "no-store" }));
  } catch {
    // No network: the wall clock goes on.
  }
  tell();
}

// --- counting down ------------------------------------------------------------------------------

// The two largest units, cut down, as the server says them.
export function span(seconds) {
  const [d, h, m] = [Math.floor(seconds / 86400), Math.floor(seconds / 3600) % 24, Math.floor(seconds / 60) % 60];
  const day = d === 1 ? words.day : put(words.days, { n: d });
  const hour = put(words.hour, { n: h });
  if (d > 0) return h > 0 ? `${day} ${hour}` : day;
  if (h > 0) return m > 0 ? `${hour} ${put(words.minute, { n: m })}` : hour;
  return m > 0 ? put(words.minute, { n: m }) : put(words.second, { n: Math.floor(seconds) });
}

// The first instant that is still to come; some have others after it.
function said({ until, say, graceUntil, graceSay, thenUntil, thenSay, over }) {
  for (const [at, text] of [[until, say], [graceUntil, graceSay], [thenUntil, thenSay]]) {
    const left = (Date.parse(at) - now()) / 1000;
    if (left >= 1) return put(text, { left: span(left) });
  }
  return over ?? words.over;
}

// What counts down now: other scripts may have changed the page.
function tell() {
  for (const element of document.querySelectorAll("[data-until]")) {
    const text = said(element.dataset);
    if (element.textContent !== text) element.textContent = text;
  }
}

// --- waking -------------------------------------------------------------------------------------

let ticked = Date.now();
function woke() {
  if (document.hidden) return;
  ask();
  document.dispatchEvent(new CustomEvent("woke"));
}
function tick() {
  // A lid that was shut tells nobody: the seconds that are missing do.
  const slept = Math.abs(Date.now() - ticked) > 10_000;
  ticked = Date.now();
  tell();
  if (slept) woke();
}

tell();
setInterval(tick, 1000);
document.addEventListener("visibilitychange", woke);
window.addEventListener("focus", ask);
window.addEventListener("pageshow", (event) => event.persisted && woke());
window.addEventListener("online", woke);

// --- the reader's own zone ----------------------------------------------------------------------

const form = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };

// Also for what another script brings.
export function zoned(root) {
  for (const element of root.querySelectorAll("time[data-zone]")) {
    const at = new Date(element.dateTime);
    let theirs;
    try {
      theirs = new Intl.DateTimeFormat(language, { ...form, timeZone: element.dataset.zone }).format(at);
    } catch {
      continue; // A zone that this browser does not know.
    }
    const yours = new Intl.DateTimeFormat(language, form).format(at);
    if (yours === theirs) continue;
    const note = document.createElement("span");
    note.className = "faint";
    note.textContent = ` (${put(words.yours, { at: yours })})`;
    element.after(note);
  }
}

zoned(document);
