// How the desk's rows are laid out and filled: the signs that a phone's keyboard hides, all
// workouts side by side on a wide screen, a column pasted from a spreadsheet. Storing and checking
// is row.js; the same rows are moved, never copied, so that nothing typed is lost.

import { panel } from "./asked.js";
import { desk, element, words } from "./brought.js";
import { put } from "../time.js";

const sections = [...desk.querySelectorAll("section[data-open]")];

// --- the pad ------------------------------------------------------------------------------------

const pad = element("div", { id: "pad", className: "noprint", hidden: true });
pad.setAttribute("role", "toolbar");
pad.setAttribute("aria-label", words.pad);
document.body.append(pad);
let field;

// The keyboard stays: a button that is pressed does not take the focus.
function key(text, press) {
  const button = element("button", { type: "button", textContent: text, tabIndex: -1 });
  button.addEventListener("pointerdown", (event) => event.preventDefault());
  button.addEventListener("click", press);
  return button;
}

function write(text) {
  const spaced = /^\w/.test(text) ? `${field.value && !/\s$/.test(field.value) ? " " : ""}${text} ` : text;
  field.setRangeText(text === "x" ? text : spaced, field.selectionStart, field.selectionEnd, "end");
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

function showPad(input) {
  field = input;
  const section = sections.find((s) => s.dataset.workout === input.closest(".work").dataset.workout);
  const keys = ["+", ":", "/", "tb", ".", ...(section?.dataset.keys ?? "").split(" ").filter(Boolean)];
  const letters = key(input.inputMode === "text" ? words.digits : words.letters, () => {
    field.inputMode = field.inputMode === "text" ? "numeric" : "text";
    letters.textContent = field.inputMode === "text" ? words.digits : words.letters;
    // Only a field that gets the focus again gets the other keyboard.
    const again = field;
    again.blur();
    again.focus();
  });
  const next = key(words.next, () => field.form.requestSubmit());
  next.className = "go";
  pad.replaceChildren(...keys.map((text) => key(text, () => write(text))), letters, next);
  pad.hidden = false;
  place();
}

// Right above the on-screen keyboard.
function place() {
  if (pad.hidden || !window.visualViewport) return;
  const { height, offsetTop } = window.visualViewport;
  pad.style.bottom = `${Math.max(0, window.innerHeight - height - offsetTop)}px`;
}
window.visualViewport?.addEventListener("resize", place);
window.visualViewport?.addEventListener("scroll", place);

const touch = window.matchMedia("(pointer: coarse), (max-width: 40rem)");
desk.addEventListener("focusin", (event) => {
  if (touch.matches && event.target.matches("input.perf")) showPad(event.target);
});
desk.addEventListener("focusout", (event) => {
  if (!event.relatedTarget?.matches?.("input.perf")) pad.hidden = true;
});

// --- the grid -----------------------------------------------------------------------------------

const wide = window.matchMedia("(min-width: 64rem)");
let table;

// What stands in the statement is said in the grid too, as it is now.
const copies = new Map();
function copy(li) {
  const from = [".value", ".state", ".nth"];
  copies.get(li)?.forEach((part, i) => (part.textContent = li.querySelector(`.work ${from[i]}`)?.textContent ?? ""));
}
desk.addEventListener("shown", (event) => copy(event.detail));

function lay() {
  const focused = document.activeElement;
  take();
  if (wide.matches && sections.length > 0) build();
  if (focused !== document.activeElement && desk.contains(focused)) focused.focus({ preventScroll: true });
}

// How far each workout is stands with its rows, over the column.
const heads = sections.map((s) => [s, ["summary", "left"].map((c) => s.querySelector(`.${c}`)).filter(Boolean)]);

// Back into the lists.
function take() {
  if (!table) return;
  for (const [s, parts] of heads) s.querySelector("h2").after(...parts);
  for (const work of table.querySelectorAll(".work")) document.getElementById(work.dataset.row).append(work);
  table.remove();
  copies.clear();
  table = undefined;
  desk.classList.remove("wide");
}

function build() {
  const head = element("tr", {}, element("th", { scope: "col", textContent: words.athlete }));
  for (const [s, parts] of heads) {
    const th = element("th", { scope: "col" }, element("bdi", { textContent: s.dataset.title }), ...parts);
    th.dataset.workout = s.dataset.workout;
    head.append(th);
  }
  const body = element("tbody", {});
  const athletes = new Map();
  for (const li of desk.querySelectorAll("li.row:not(.twin)")) {
    const { bib, workout } = li.dataset;
    if (!athletes.has(bib)) athletes.set(bib, { who: li.querySelector(".who"), rows: new Map(), turn: [] });
    const athlete = athletes.get(bib);
    // The attempt that counts first, then the others.
    const own = athlete.rows.get(workout) ?? athlete.rows.set(workout, []).get(workout);
    if ("other" in li.dataset) own.push(li);
    else own.unshift(li);
    // In the order of the heats of the first workout that has some.
    if (workout === sections[0]?.dataset.workout) {
      athlete.turn = li.dataset.turn.split(".").map(Number);
      athlete.who = li.querySelector(".who");
    }
  }
  const last = 2 ** 32;
  const before = ([a, { turn: [ha = last, la = last] }], [b, { turn: [hb = last, lb = last] }]) => ha - hb || la - lb || a - b;
  for (const [, { who, rows }] of [...athletes].sort(before)) {
    const name = element("th", { scope: "row" }, who.querySelector("bdi").cloneNode(true), who.querySelector(".under").cloneNode(true));
    const tr = element("tr", {}, name);
    for (const s of sections) {
      const td = element("td", {});
      for (const li of rows.get(s.dataset.workout) ?? []) {
        const work = li.querySelector(".work");
        // What awaits a judge stays with its statement; its figures stand here too.
        if (!li.closest("form.vouch")) {
          work.dataset.row = li.id;
          td.append(work);
        } else {
          const said = [element("span", {}), element("span", { className: "state" }), element("span", { className: "nth" })];
          copies.set(li, said);
          td.append(element("div", {}, said[0], " ", said[1], " ", said[2]));
          copy(li);
        }
      }
      tr.append(td);
    }
    body.append(tr);
  }
  const caption = element("caption", {}, element("span", { textContent: words.grid }));
  const inner = element("table", {}, caption, element("thead", {}, head), body);
  inner.style.minWidth = `${9 + 12 * sections.length}rem`;
  table = element("div", { className: "scroll grid", tabIndex: 0 }, inner);
  table.setAttribute("role", "region");
  table.setAttribute("aria-label", words.grid);
  panel.after(table);
  desk.classList.add("wide");
}

wide.addEventListener("change", lay);
desk.addEventListener("rows", lay);
lay();

// --- a column from a spreadsheet ----------------------------------------------------------------

const note = element("p", { className: "pasted" });
note.setAttribute("role", "status");
panel.before(note);

desk.addEventListener("paste", (event) => {
  if (!event.target.matches?.("input.perf")) return;
  const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n$/, "");
  if (!/[\n\t]/.test(text)) return;
  event.preventDefault();
  const lines = text.split("\n").map((line) => line.split("\t"));
  const work = event.target.closest(".work");
  let filled = 0;
  let left = 0;
  const fill = (target, value) => {
    if (value.trim() === "") return;
    const input = target?.querySelector("form.entry:not([hidden]) input.perf");
    if (!input) {
      left += 1;
      return;
    }
    input.value = value.trim();
    input.dispatchEvent(new Event("input", { bubbles: true }));
    filled += 1;
  };
  if (table) {
    // Every row takes its line, settled or not, as in the spreadsheet.
    const cell = work.closest("td");
    const trs = [...cell.closest("tbody").rows].slice(cell.parentElement.sectionRowIndex);
    lines.forEach((line, i) => line.forEach((value, j) => fill(trs[i]?.cells[cell.cellIndex + j]?.querySelector(".work"), value)));
  } else {
    const works = [...desk.querySelectorAll(`.work[data-workout="${CSS.escape(work.dataset.workout)}"]`)].filter(
      (w) => w.querySelector("form.entry:not([hidden])"),
    );
    lines.forEach(([value], i) => fill(works[works.indexOf(work) + i], value));
  }
  const said = [put(words.pasted, { n: filled })];
  if (left > 0) said.push(put(words.pasted_left, { n: left }));
  note.textContent = said.join(" ");
});
