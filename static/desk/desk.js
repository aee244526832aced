// The gym's desk while somebody types: checks every figure, stores it, takes it back for ten seconds,
// keeps what is not sent over a reload and a lost network, never overwrites in silence. Works on the
// rows that the page brings; the page is whole without it. It decides nothing: the service does.
//
// Read `row.js` first, then `store.js`, `undo.js`, `queue.js`, `progress.js`. Here the page is taken over.

import { ask } from "./ask.js";
import { address, desk, element, idOf, plain, rows, saying, sectionOf, told, words } from "./brought.js";
import { judging, useJudge } from "./judge.js";
import { keep, kept } from "./kept.js";
import "./progress.js";
import { flush } from "./queue.js";
import { Row } from "./row.js";
import { addVisitor } from "./visitors.js";

// A row shows its buttons from when its field is reached until another's is: nothing moves under a
// finger that presses something else.
desk.addEventListener("focusin", (event) => {
  if (!event.target.matches("input.perf")) return;
  for (const form of desk.querySelectorAll("form.entry.active")) form.classList.remove("active");
  event.target.form.classList.add("active");
  // Once the pad stands there.
  setTimeout(() => [...rows.values()].find((row) => row.input === event.target)?.reveal());
});
window.visualViewport?.addEventListener("resize", () => [...rows.values()].find((row) => row.input === document.activeElement)?.reveal());
// Typed here for a workout that takes nothing here any more: said, until it is thrown away.
function leftOver(id, about) {
  const line = element("p", { className: "error choice" }, element("span", {}, ...saying(words.left_over, about)), " ");
  line.append(plain(words.drop, () => {
    delete kept.rows[id];
    keep();
    line.remove();
  }));
  judging.after(line);
}
// All that await a judge at once.
for (const form of desk.querySelectorAll("form.vouch")) {
  const boxes = () => [...form.querySelectorAll(".awaiting input[type=checkbox]:not(:disabled)")];
  const all = () => boxes().every((box) => box.checked);
  const button = plain("", () => {
    const ticked = !all();
    for (const box of boxes()) box.checked = ticked;
    tell();
  });
  const tell = () => (button.textContent = all() ? words.tick_none : words.tick_all);
  const said = element("p", { className: "error", hidden: true });
  said.setAttribute("role", "alert");
  form.append(said);
  // A page of the browser's own, that says there is no network, would take the desk away.
  let asking = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (asking) return;
    asking = true;
    said.hidden = true;
    const there = await ask("GET", "");
    // Whoever comes back to this page may press it again.
    setTimeout(() => (asking = false), there ? 2000 : 0);
    if (there) form.submit();
    else Object.assign(said, { textContent: words.not_now, hidden: false });
  });
  form.addEventListener("change", tell);
  form.addEventListener("ticks", tell);
  form.querySelector("ul").before(button);
  tell();
}
// Answered to a form, loading the page again would send that again; and who vouched just now is remembered here, not
// by the address, which another evening may come back to.
const asked = new URLSearchParams(location.search);
const led = ["judge", "how"].filter((name) => asked.has(name));
const rest = new URLSearchParams([...asked].filter(([name]) => !led.includes(name)));
if (location.pathname !== address) history.replaceState(null, "", address);
else if (led.length > 0) history.replaceState(null, "", `${address}?${rest}${location.hash}`);
desk.classList.add("live");
if (kept.judge && !judging.elements.judge.value) judging.elements.judge.value = kept.judge;
const hows = [...judging.elements.how.options].map((option) => option.value);
if (hows.includes(kept.how) && !asked.has("how")) judging.elements.how.value = kept.how;
judging.addEventListener("submit", (event) => event.preventDefault());
judging.addEventListener("change", () => useJudge());
judging.querySelector("button").addEventListener("click", () => useJudge());
useJudge(false);
for (const li of desk.querySelectorAll("li.row")) {
  try {
    new Row(li);
  } catch (error) {
    // One row without its script keeps no other from having one.
    console.error(error);
  }
}
for (const [id, entry] of Object.entries(kept.rows)) {
  const [workout, bib, other] = id.split("/");
  if (rows.has(id)) continue;
  // An attempt that stood beside the one that counted has the athlete's own row by now.
  const own = other && rows.get(idOf(workout, bib));
  if (own && !own.entry) {
    kept.rows[own.id] = entry;
    delete kept.rows[id];
    own.restore();
    continue;
  }
  if (own) {
    leftOver(id, { bib, workout, text: entry.text });
    continue;
  }
  // Somebody who has left the list meanwhile is shown too: what is typed is not thrown away.
  if (sectionOf(workout)?.dataset.open !== undefined) addVisitor(workout, bib, entry.visitor ?? { name: bib, division: "" });
  else leftOver(id, { bib, workout, text: entry.text });
}
told("kept");
flush();
