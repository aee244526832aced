// What the page brings to the desk's scripts: whose desk it is, its words, and the rows that have been
// made of its lists. Says times and places as the page does.

import { now, put, span } from "../time.js";

export const desk = document.getElementById("desk");
export const { competition, gym, account } = desk.dataset;
// The desk's own address: what the page stands at may be one that only takes a form.
export const address = `/desk/${encodeURIComponent(competition)}/${encodeURIComponent(gym)}`;
export const words = JSON.parse(desk.dataset.words);
const lateWords = JSON.parse(desk.dataset.late);
export const [divisions, states, roles] = ["divisions", "states", "roles"].map((name) => JSON.parse(desk.dataset[name]));
// As which judges whoever is at the desk may give their own word.
export const ownCodes = JSON.parse(desk.dataset.codes);
export const sectionOf = (workout) => desk.querySelector(`section[data-workout="${CSS.escape(workout)}"]`);

// A row of a workout to be filled in, looked for once.
const blanks = new Map();
export function blankOf(workout) {
  if (!blanks.has(workout)) blanks.set(workout, sectionOf(workout).querySelector("template.blank").content);
  return blanks.get(workout);
}

// What other scripts of the desk are to hear: "kept" (what waits on this device), "stored" (the service
// has something new in a workout), "rested" (nobody is at a row any more), "shown" (a row), "rows" (there are others).
export const told = (what, detail) => desk.dispatchEvent(new CustomEvent(what, { detail }));

// By workout and bib; of an attempt that stands beside the one that counts, with its number.
export const rows = new Map();
export const idOf = (workout, bib, other) => [workout, bib, ...(other ? [other] : [])].join("/");
// How often a row has changed here: what was asked for before is older.
export const changes = { n: 0 };

// --- elements and sentences ---------------------------------------------------------------------

export function element(kind, from = {}, ...inside) {
  const made = Object.assign(document.createElement(kind), from);
  made.append(...inside);
  return made;
}

// "Attempt 2", where it has to be said.
const nth = ({ attempt, other }) => (other !== undefined || attempt > 1 ? put(words.attempt_n, { n: attempt }) : "");
export const named = (label, data) => [label, nth(data)].filter(Boolean).join(", ");

// The same, after an element of the row's.
export function sayNth(after, data) {
  const known = after.parentElement.querySelector(".nth");
  const text = nth(data);
  if (known) known.textContent = text;
  else if (text) after.after(" ", element("span", { className: "nth", textContent: text }));
}

// A button that stands beside what it is about.
export function plain(textContent, press, about) {
  const button = element("button", { type: "button", className: "plain", textContent });
  if (about) button.setAttribute("aria-label", `${textContent}: ${about}`);
  button.addEventListener("click", press);
  return button;
}

// Where it is said why a result gets better after the close.
export function reasonField(row, value) {
  const field = element("input", { className: "reason", name: "reason", value, placeholder: words.reason, autocomplete: "off" });
  field.setAttribute("aria-label", put(words.reason_of, { name: row.name }));
  field.setAttribute("aria-describedby", row.say.id);
  return field;
}

// A sentence with what is filled in standing in a direction of its own, as parts of an element.
export function saying(text, values) {
  const part = (piece) => {
    const value = values[/^\{(\w+)\}$/.exec(piece)?.[1]];
    return value === undefined ? piece : element("bdi", { textContent: value });
  };
  return text.split(/(\{\w+\})/).filter(Boolean).map(part);
}

const language = document.documentElement.lang;
const plural = new Intl.PluralRules(language, { type: "ordinal" });
export const ordinal = (n) => put(words[`ordinal_${plural.select(n)}`] ?? words.ordinal_other, { n: n.toLocaleString(language) });

// How an instant is written by the gym's clock; made once each, as hundreds of rows ask for the same few.
const formats = new Map();
function format(options) {
  const known = JSON.stringify(options);
  if (!formats.has(known)) {
    const form = { hourCycle: "h23", ...options };
    let made;
    try {
      made = new Intl.DateTimeFormat(language, { ...form, timeZone: desk.dataset.zone });
    } catch {
      made = new Intl.DateTimeFormat(language, form);
    }
    formats.set(known, made);
  }
  return formats.get(known);
}

// By the gym's clock: the hour, and the day where that is another.
export function clock(at = now()) {
  const said = (options, instant) => format(options).format(instant);
  const [hour, day] = [{ hour: "2-digit", minute: "2-digit" }, { weekday: "short", day: "numeric", month: "short" }];
  return said({ dateStyle: "short" }, at) === said({ dateStyle: "short" }, now()) ? said(hour, at) : said({ ...day, ...hour }, at);
}

// What is said of lateness, and what happens next, as the server says it.
export function lateLines(view) {
  const lines = [];
  if (view.late_by_ms && !["withdrawn", "struck"].includes(view.state)) {
    const template = view.state !== "late" ? lateWords.counted : view.refused ? lateWords.refused : lateWords.stored;
    lines.push(put(template, { late: span(Math.ceil(view.late_by_ms / 60_000) * 60) }));
  }
  if (view.waiting) {
    const template = view.waiting.refused ? lateWords.correction_refused : lateWords.correction;
    lines.push(put(template, { text: view.waiting.performance.text, now: view.performance.text }));
  }
  if (view.waiting_attestation) lines.push(saying(lateWords.attestation, { judge: view.waiting_attestation.judge }));
  return lines;
}
