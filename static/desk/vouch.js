// The statement by which one judge's word is given for many results: what awaits a judge has a tick
// there from the moment it is stored, wherever its row stands, and its figures are ticked only as they
// were seen.

import { element, sayNth } from "./brought.js";

const form = (section) => section.querySelector("form.vouch");
// What an attempt is called in the names of fields: `1042` the first, `1042-2` the second.
const key = ({ bib, attempt }) => (attempt > 1 ? `${bib}-${attempt}` : bib);

// The line of a row that stands in another list.
function twin({ li, data, label, sheetLabel, sheet }) {
  const id = li.id.replace(/^r-/, "");
  const box = element("input", { type: "checkbox", id: `a-${id}`, name: `a-${key(data)}` });
  const said = element("label", { htmlFor: box.id }, element("span", { className: "hidden", textContent: `${label}: ` }), element("span", { className: "value" }));
  const field = element("input", { className: "sheet", name: `s-${key(data)}`, placeholder: sheet, autocomplete: "off" });
  field.setAttribute("aria-label", sheetLabel);
  const work = element("div", { className: "work" }, element("div", { className: "tick" }, box, said, field));
  const made = element("li", { className: "row twin", id: `t-${id}` }, li.querySelector(".who").cloneNode(true), work);
  return made;
}

// Gives a row that awaits a judge its tick, and takes it from one that does not.
export function tick(section, row) {
  const { state, etag, text } = row.data;
  const waits = state === "entered";
  const own = row.li.closest("form.vouch") !== null;
  if (own || waits) {
    if (!own) row.twin ??= twin(row.described());
    if (!own && !row.twin.isConnected) form(section).querySelector("ul.awaiting").append(row.twin);
    const box = (own ? row.li : row.twin).querySelector("input[type=checkbox]");
    // Other figures than were ticked are not ticked.
    if (box.value !== etag) box.checked = false;
    Object.assign(box, { value: etag, disabled: !waits, name: `a-${key(row.data)}` });
    box.parentElement.querySelector("input.sheet").name = `s-${key(row.data)}`;
    if (!own) {
      row.twin.querySelector(".value").textContent = text;
      sayNth(row.twin.querySelector(".value"), row.data);
    }
  } else if (row.twin) {
    row.twin.remove();
    row.twin = undefined;
  }
  tally(section);
}

// Once for all rows of a section that change together.
const due = new Set();
function tally(section) {
  if (due.size === 0) {
    queueMicrotask(() => {
      for (const one of due) count(one);
      due.clear();
    });
  }
  due.add(section);
}

// What the headings of the lists count; an empty list has none.
function count(section) {
  const titled = (of, n, shown) => {
    if (!of) return;
    of.hidden = !shown;
    const title = of.matches("[data-say]") ? of : of.querySelector("[data-say]");
    const text = title.dataset.say.replace("{n}", n);
    if (title.textContent !== text) title.textContent = text;
  };
  const vouch = form(section);
  const waiting = vouch.querySelectorAll("input[type=checkbox][name^=a-]:not(:disabled)").length;
  titled(vouch, waiting, vouch.querySelector("li.row") !== null);
  vouch.dispatchEvent(new Event("ticks"));
  const settled = section.querySelectorAll("ul.settled > li").length;
  titled(section.querySelector("details.done-with"), settled, settled > 0);
  const left = [...section.querySelectorAll("ul.todo > li")];
  const todo = section.querySelector(".todo-title");
  titled(todo, left.filter((li) => ["missing", "withdrawn"].includes(li.dataset.state)).length, left.length > 0);
}

// A row of something that is not there any more.
export function drop(section, { li, work, twin }) {
  for (const part of [li, work, twin]) part?.remove();
  tally(section);
}

// A row that stands in the statement and awaits no judge goes to the list where it belongs; whether it did.
export function leave(section, { li, work, data }) {
  if (!li.closest("form.vouch")) return false;
  const was = work.querySelector(".tick");
  const [value, state, nth] = [".value", ".state", ".nth"].map((name) => was.querySelector(name));
  was.replaceWith(element("p", { className: "now" }, value, " ", state, ...(nth ? [" ", nth] : [])));
  const left = ["missing", "withdrawn"].includes(data.state);
  (left ? [...section.querySelectorAll("ul.todo")].at(-1) : section.querySelector("ul.settled")).append(li);
  tally(section);
  return true;
}
