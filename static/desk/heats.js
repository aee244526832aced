// The heats at the desk: the field for who counts in a lane, and what becomes of the rows where heats were changed
// while the desk is open. A start that was moved is that of the next result that is stored.

import { element, rows, sectionOf, words } from "./brought.js";
import { put, zoned } from "../time.js";

// The label of a field, also of a form that is on no page yet: `labels` knows only what is.
const labelOf = (form, field) => form.querySelector(`label[for="${field.id}"]`);

// The field for who counted in the lane that the plan gives a row; none where it gives none.
export function planned(row) {
  const { form, data } = row;
  let by = form.querySelector("input.by");
  if (!("planned" in data)) {
    for (const part of by ? [labelOf(form, by), by] : []) part.remove();
    row.by = null;
    return;
  }
  if (!by) {
    const blank = row.blank();
    by = blank.querySelector("input.by");
    row.sheet.before(labelOf(blank, by), by);
  }
  by.dataset.planned = data.planned;
  labelOf(form, by).textContent = put(words.judge_of, { name: row.name, workout: sectionOf(data.workout).dataset.title });
  if (by !== row.by) by.addEventListener("change", () => row.judged());
  row.by = by;
  // Who writes there goes on.
  if (by === document.activeElement) return;
  row.lane();
  if (row.entry) row.judgedBy(row.entry.by);
}

// A row as the plan is now: where and when it starts, and who is to count.
function take(row, fresh) {
  const { data, entry } = row;
  for (const name of ["turn", "planned", "done"]) {
    if (name in fresh.dataset) data[name] = fresh.dataset[name];
    else delete data[name];
  }
  for (const who of [row.li, row.twin]) who?.querySelector(".under").replaceWith(fresh.querySelector(".under").cloneNode(true));
  if (row.form) planned(row);
  // What is said of figures may depend on when they were done.
  if (entry && !entry.send) row.checkSoon();
}

const turnOf = (li) => li.dataset.turn.split(".").map(Number);
const titleOf = (list) => [list.previousElementSibling].find((one) => one?.matches("h4, h3:not(.todo-title)"));
const REST = 2 ** 32 - 1;

// The lists of what is left, by heat; the last, of those without one, is always there.
function listsOf(section) {
  const lists = [...section.querySelectorAll("ul.todo")];
  const rest = lists.pop();
  const filled = lists.filter((list) => list.firstElementChild);
  return new Map([...filled.map((list) => [turnOf(list.firstElementChild)[0], list]), [REST, rest]]);
}

// The section of a workout takes over the heats of a fresh one: each row its own, and they stand under their heats.
export function takeHeats(section, fresh) {
  const [own, theirs] = [listsOf(section), listsOf(fresh)];
  for (const row of rows.values()) {
    const known = row.data.workout === section.dataset.workout && fresh.ownerDocument.getElementById(row.li.id);
    if (known) take(row, known);
  }
  for (const [heat, list] of theirs) {
    if (!own.has(heat)) {
      const after = own.get(Math.min(...[...own.keys()].filter((other) => other > heat)));
      own.set(heat, element("ul", { className: list.className }));
      (titleOf(after) ?? after).before(own.get(heat));
    }
    titleOf(own.get(heat))?.remove();
    const title = titleOf(list);
    if (!title) continue;
    own.get(heat).before(title);
    zoned(title);
  }
  const focused = document.activeElement;
  const left = [...section.querySelectorAll("ul.todo > li")].map((li) => [li, ...turnOf(li)]);
  left.sort(([a, , laneA], [b, , laneB]) => laneA - laneB || a.dataset.bib - b.dataset.bib);
  const under = new Map([...own.values()].map((list) => [list, []]));
  for (const [li, heat] of left) under.get(own.get(heat) ?? own.get(REST)).push(li);
  // What stands where it should is not touched: somebody may be typing there.
  for (const [list, its] of under) if (its.some((li, n) => list.children[n] !== li)) list.append(...its);
  if (focused !== document.activeElement) focused.focus({ preventScroll: true });
  for (const [heat, list] of own) {
    if (heat === REST || list.childElementCount > 0) continue;
    titleOf(list)?.remove();
    list.remove();
  }
}
