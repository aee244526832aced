// What is kept on this device: by row what is typed and, once it was to be stored, the very request,
// with the key under which a repeat is recognised; who counts in a lane, where that was changed here,
// with whom the plan had then; the desk's judge, for the evening. Tells the desk "kept" when it changes.

import { account, address, competition, desk, element, gym, told, words } from "./brought.js";
import { now } from "../time.js";

const STORE = `desk:${competition}:${gym}:${account}`;

function stored() {
  try {
    return { rows: {}, by: {}, ...JSON.parse(localStorage.getItem(STORE)) };
  } catch {
    return { rows: {}, by: {} };
  }
}

export const kept = stored();
const vouching = () => ({ judge: kept.judge, how: kept.how, since: kept.since, evening: kept.evening, last: kept.last });

// As it was read or written here last.
const texts = (of) => new Map(Object.entries(of).map(([id, one]) => [id, JSON.stringify(one)]));
const written = { rows: texts(kept.rows), by: texts(kept.by), vouching: texts(vouching()) };

// Who vouched half a day ago, or for another workout, may not be in the hall: remembered as last time's only.
const HOLDS = 12 * 3_600_000;
const evening = desk.querySelector("section[data-open]")?.dataset.workout ?? "";
// Whether somebody was taken for granted until now.
export function outOfDate() {
  const old = Boolean(kept.judge) && !(kept.evening === evening && Math.abs(now() - kept.since) < HOLDS);
  if (old) Object.assign(kept, { judge: "", last: kept.judge });
  return old;
}
outOfDate();

// Who vouches from here on; nobody: "".
export function vouches(judge, how) {
  if (judge) kept.last = undefined;
  Object.assign(kept, { judge, how, since: now(), evening });
}

// Whether the device keeps it: its store may be full, or forbidden. Then it is here as long as the page is.
let keeps = true;

// The words that promise something of what is typed: where the device keeps it, and where it does not.
const PROMISES = {
  kept: [words.kept, words.kept_here],
  retry: [words.retry, words.retry_here],
  offline: [words.offline, words.offline_here],
  signed_out: [words.signed_out, words.signed_out_here],
};
export const where = (name) => PROMISES[name][keeps ? 0 : 1];
export const isKept = () => keeps;

// What is said to whom the service does not know any more, with the way back in: a page that alone has what
// was typed stays open.
export function signedOut() {
  const link = element("a", { href: `/signin?next=${encodeURIComponent(address)}`, textContent: words.sign_in });
  if (!keeps) link.target = "_blank";
  return [`${where("signed_out")} `, link];
}

window.addEventListener("beforeunload", (event) => {
  if (!keeps && desk.dataset.unsent > 0) event.preventDefault();
});

// What is to be noted as written, once it is.
function carry(mine, all, last) {
  const fresh = [];
  for (const id of new Set([...Object.keys(mine), ...last.keys()])) {
    const text = JSON.stringify(mine[id]);
    if (text === last.get(id)) continue;
    if (text === undefined) delete all[id];
    else all[id] = mine[id];
    fresh.push([id, text]);
  }
  return () => fresh.forEach(([id, text]) => last.set(id, text));
}

// Only what was changed here: a second tab keeps its own in the same place.
export function keep() {
  const all = stored();
  const carried = [carry(kept.rows, all.rows, written.rows), carry(kept.by, all.by, written.by), carry(vouching(), all, written.vouching)];
  try {
    localStorage.setItem(STORE, JSON.stringify(all));
    keeps = true;
    for (const noted of carried) noted();
  } catch {
    keeps = false;
  }
  // For who signs out: what is here alone is asked about too.
  desk.dataset.unsent = Object.keys(kept.rows).length;
  told("kept");
}
// Whether it keeps anything is known before somebody types.
keep();

export function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}
