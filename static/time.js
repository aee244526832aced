// Times on a page. Counts down to instants, from the server's instant and this device's wall clock: a
// laptop that slept is right again when it wakes, as its wall clock went on. A wall clock that is set
// meanwhile is noticed when the page is looked at again. Says deadlines in the reader's own zone too.
// Without this the words of the server stand, with the absolute time beside them.

const meta = document.querySelector("meta[name=clock]");
const words = JSON.parse(meta.dataset.words);
const language = document.documentElement.lang;
const put = (text, values) => text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);
const counted = document.querySelectorAll("[data-until]");

// --- the server's clock -------------------------------------------------------------------------

let offset = Date.parse(meta.content) - Date.now();
let asked = Date.now();
const now = () => Date.now() + offset;

// The Date of an answer is whole seconds: it is taken where it says something else.
async function ask() {
  if (Math.abs(Date.now() - asked) < 5000) return;
  asked = Date.now();
  try {
    const answer = await fetch("/healthz", { method: "HEAD", cache: "no-store" });
    const date = Date.parse(answer.headers.get("date"));
    if (Math.abs(date - now()) > 2000) offset = date - Date.now();
  } catch {
    // No network: the wall clock goes on.
  }
  tell();
}

// --- counting down ------------------------------------------------------------------------------

// The two largest units, cut down, as the server says them.
function span(seconds) {
  const [d, h, m] = [Math.floor(seconds / 86400), Math.floor(seconds / 3600) % 24, Math.floor(seconds / 60) % 60];
  const day = d === 1 ? words.day : put(words.days, { n: d });
  const hour = put(words.hour, { n: h });
  if (d > 0) return h > 0 ? `${day} ${hour}` : day;
  if (h > 0) return m > 0 ? `${hour} ${put(words.minute, { n: m })}` : hour;
  return m > 0 ? put(words.minute, { n: m }) : put(words.second, { n: Math.floor(seconds) });
}

function tell() {
  for (const element of counted) {
    const left = (Date.parse(element.dataset.until) - now()) / 1000;
    const text = left >= 1 ? put(element.dataset.say, { left: span(left) }) : words.over;
    if (element.textContent !== text) element.textContent = text;
  }
}

if (counted.length > 0) {
  tell();
  setInterval(tell, 1000);
  document.addEventListener("visibilitychange", () => !document.hidden && ask());
  window.addEventListener("focus", ask);
  window.addEventListener("pageshow", (event) => event.persisted && ask());
  window.addEventListener("online", ask);
}

// --- the reader's own zone ----------------------------------------------------------------------

const form = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };

for (const element of document.querySelectorAll("time[data-zone]")) {
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
