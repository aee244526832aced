// How far each workout is: its counts, its times, the rows that others at the gym change meanwhile.

import { ask } from "./ask.js";
import { address, changes, desk, gym, idOf, rows, sectionOf, told, words } from "./brought.js";
import { takeHeats } from "./heats.js";
import { kept } from "./kept.js";
import { put, within, zoned } from "../time.js";
import { drop, leave } from "./vouch.js";
import { add } from "./visitors.js";

// By workout; grid.js shows them elsewhere on a wide screen.
const heads = new Map(
  [...desk.querySelectorAll("section[data-open]")].map((s) => [
    s.dataset.workout,
    Object.fromEntries(["summary", "home", "left", "windows"].map((part) => [part, s.querySelector(`.${part}`)])),
  ]),
);
// Where nothing is left, and nothing of it waits on this device, people can go home.
const allDone = new Map([...heads].map(([workout, { home }]) => [workout, !home.hidden]));
function sendHome() {
  const waits = new Set(Object.keys(kept.rows).map((id) => id.split("/")[0]));
  for (const [workout, { home }] of heads) home.hidden = !allDone.get(workout) || waits.has(workout);
}
desk.addEventListener("kept", sendHome);
sendHome();

// Looks at these workouts once the look that is under way has ended, so that no older answer comes last.
let under = Promise.resolve();
function refresh(workouts = [...heads.keys()]) {
  under = under.then(() => look(workouts)).catch(console.error);
}

// Rows that nobody is typing in become what the service has.
async function look(workouts) {
  for (const workout of workouts) {
    const { summary, home } = heads.get(workout);
    const asked = changes.n;
    const answer = await ask("GET", `/workouts/${workout}/scores?gym=${encodeURIComponent(gym)}`);
    if (answer?.status !== 200) return;
    const { entries, settled, awaiting, missing } = answer.json;
    const fresh = await anew(workout, answer.json);
    const said = put(words.summary, { settled, all: entries, waiting: awaiting, missing });
    if (summary.textContent !== said) summary.textContent = said;
    home.querySelector("span").textContent = put(words.all_done, { all: entries });
    allDone.set(workout, entries > 0 && missing + awaiting === 0);
    sendHome();
    others(workout, answer.json.rows, asked);
    for (const view of answer.json.rows) {
      const known = rows.get(idOf(workout, view.bib));
      const row = known ?? add(workout, view);
      moved ||= !known;
      if (row.inHand || row.changed > asked) continue;
      if ((view.score?.etag ?? "") === row.data.etag && view.state === row.data.state) {
        if (row.unsure) row.tell([[words.not_noted, "error"]]);
        row.unsure = false;
        continue;
      }
      row.unsure = false;
      row.saved = undefined;
      if (view.score) row.now(view.score);
      if (view.stated_at) row.data.received = view.stated_at;
      // Whose entry is withdrawn gets no more scores.
      if (view.entry_state === "withdrawn") row.li.setAttribute("data-locked", "");
      row.data.state = view.state;
      row.show();
      row.tell([]);
    }
    // Rows that are new have theirs too.
    if (fresh) heats(sectionOf(workout), fresh);
  }
  settle();
}

// Where an attempt will stand elsewhere once nobody is at its row.
const waiting = new Set();

// The attempts that stand beside those that count: new ones, changed ones, and those that are not among them any more.
function others(workout, views, asked) {
  const there = new Map(views.flatMap((view) => (view.others ?? []).map((one) => [idOf(workout, view.bib, one.attempt), { view, one }])));
  for (const [id, { view, one }] of there) {
    const row = rows.get(id);
    // What was stored a moment ago and can be taken back stands at its own row still.
    const own = rows.get(idOf(workout, view.bib));
    if (!row && own?.inHand && own.data.attempt === String(one.attempt)) {
      waiting.add(workout);
    } else if (!row) {
      add(workout, view, one);
      moved = true;
    } else if (!row.inHand && row.changed <= asked && one.etag !== row.data.etag) {
      row.saved = undefined;
      row.now(one);
      row.show();
      row.tell([]);
    }
  }
  for (const [id, row] of rows) {
    const gone = "other" in row.data && row.data.workout === workout && !there.has(id);
    if (!gone || row.inHand || row.correcting || row.changed > asked) continue;
    drop(sectionOf(workout), row);
    rows.delete(id);
    moved = true;
  }
}

// The organiser gave more time, or took some of it back; the heats were changed: the service says it in its own
// words. The workout as it is on a fresh page, where something of it is new.
async function anew(workout, { closes, attest_by, heats }) {
  const section = sectionOf(workout);
  const { left, windows } = heads.get(workout);
  const same = (a, b) => Date.parse(a) === Date.parse(b);
  const timely = same(left.firstElementChild.dataset.until, closes) && same(section.dataset.attestBy, attest_by);
  if (timely && section.dataset.heats === (heats ?? "")) return undefined;
  try {
    const answer = await fetch(address, { headers: { accept: "text/html" }, signal: within(20_000) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector(`section[data-workout="${CSS.escape(workout)}"][data-open]`);
    left.replaceChildren(...fresh.querySelector(".left").childNodes);
    windows.replaceChildren(...fresh.querySelector(".windows").childNodes);
    zoned(windows);
    section.dataset.attestBy = fresh.dataset.attestBy;
    for (const row of rows.values()) if (row.data.workout === workout) row.show();
    return fresh;
  } catch {
    // Asked again with the next look.
    return undefined;
  }
}

function heats(section, fresh) {
  if (section.dataset.heats === fresh.dataset.heats) return;
  takeHeats(section, fresh);
  section.dataset.heats = fresh.dataset.heats;
  moved = true;
}

// What awaits a judge no more leaves the statement, once nobody is at it. Told when rows stand in other
// lists, or are new.
let moved = false;
function settle() {
  for (const row of rows.values()) {
    if (row.inHand || row.correcting || row.data.state === "entered" || row.li.contains(document.activeElement)) continue;
    if (leave(sectionOf(row.data.workout), row)) moved = true;
  }
  if (moved) told("rows");
  moved = false;
}

let refreshing;
const due = new Set();
desk.addEventListener("stored", ({ detail }) => {
  due.add(detail);
  clearTimeout(refreshing);
  refreshing = setTimeout(() => {
    refresh([...due].filter((workout) => heads.has(workout)));
    due.clear();
  }, 400);
});
desk.addEventListener("rested", ({ detail }) => {
  if (waiting.delete(detail)) refresh([detail]);
  else settle();
});
document.addEventListener("woke", () => refresh());
setInterval(() => document.hidden || refresh(), 60_000);
