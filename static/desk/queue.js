// What is not sent yet: the bar that says so, and the sending of it, when there is a network and the
// service takes it.

import { desk, element, rows, words } from "./brought.js";
import { isKept, kept, where } from "./kept.js";
import { put } from "../time.js";

// --- the bar ------------------------------------------------------------------------------------

const said = element("p", {});
const button = element("button", { type: "button", className: "plain" });
const bar = element("div", { className: "unsentbar noprint" }, said, button);
said.setAttribute("role", "status");
export const barHeight = () => bar.offsetHeight;

// Always there, so that no row moves when something is typed or sent.
function tell() {
  const n = Object.keys(kept.rows).filter((id) => rows.has(id)).length;
  bar.classList.toggle("idle", n === 0 && navigator.onLine);
  const parts = [];
  if (n > 0) parts.push(n === 1 ? words.unsent_one : put(words.unsent, { n }));
  if (!navigator.onLine) parts.push(where("offline"));
  else if (n > 0 && !isKept()) parts.push(words.unkept);
  const text = parts.join(" · ") || words.unsent_none;
  if (said.textContent !== text) said.textContent = text;
  button.textContent = n === 1 ? words.send_one : put(words.send_all, { n });
  button.hidden = n === 0 || !navigator.onLine;
}

// Of all that are sent together the first that is not taken is shown.
let leads = false;
export function lead(row) {
  if (!leads) return;
  leads = false;
  if (row.reach(row.input)) row.input.scrollIntoView({ block: "center" });
}

button.addEventListener("click", () => {
  leads = true;
  // The focus is nobody's until it is led, or taken.
  button.blur();
  for (const id of Object.keys(kept.rows)) rows.get(id)?.ready();
  flush();
});
desk.addEventListener("kept", tell);
desk.prepend(bar);
tell();

// --- sending ------------------------------------------------------------------------------------

// What is not answered is sent again after a pause, longer after each time in vain, and never before
// the service wants to be asked again. Of many rows that wait the first tells about all.
const AT_ONCE = 4;
let waiting;
let pause = 2;
let restsUntil = 0;
let due = false;
let under;

// Whether the service has asked not to be asked just now.
export const rests = () => Date.now() < restsUntil;

// Sends again after a while what was not answered.
export function soon(after = 0) {
  if (after) restsUntil = Math.max(restsUntil, Date.now() + after * 1000);
  due = true;
  if (!under) wait();
}

function wait() {
  clearTimeout(waiting);
  waiting = setTimeout(flush, Math.max(pause * 1000, restsUntil - Date.now()));
}

// Sends what was to be stored.
export function flush() {
  clearTimeout(waiting);
  under ??= sendAll().finally(() => {
    under = undefined;
    leads = false;
    if (due) wait();
  });
  return under;
}

async function sendAll() {
  const tried = new Set();
  let goes = true;
  due = false;
  const next = () => Object.keys(kept.rows).find((id) => goes && kept.rows[id].send && rows.has(id) && !tried.has(id));
  const some = async () => {
    for (let id = next(); id; id = next()) {
      tried.add(id);
      if (!(await rows.get(id).send())) goes = false;
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, some));
  pause = goes ? 2 : Math.min(pause * 2, 60);
}

window.addEventListener("online", () => {
  pause = 2;
  tell();
  if (rests()) wait();
  else flush();
});
window.addEventListener("offline", tell);
// After a sleep, or back from signing in elsewhere.
document.addEventListener("woke", () => rests() || flush());
