// What is asked about the figures that stand in the rows: beside its row each question has a yes. One that
// several rows have, as of a column that a spreadsheet has changed, stands once over the grid too, with its
// count and one yes for them all; not over the lists of a phone, where it would move the row under a finger.
// Which figures are asked about, the service says.

import { desk, element, plain, rows, saying, sectionOf, words } from "./brought.js";
import { keep } from "./kept.js";
import { put } from "../time.js";

// Where they stand once.
export const panel = element("div", { className: "asked noprint" });
document.getElementById("judging").after(panel);

// By row what it is asked, each with what was typed then: a yes is about those figures and no others.
const open = new Map();

// A row is asked this from now on, in these lines beside its field; nothing any more, where there are none.
export function asks(row, questions) {
  const about = row.entry;
  const all = questions.map(({ line, text, code }) => {
    const one = { text, code, about };
    line.append(" ", plain(words.yes, () => yes([[row, one]])));
    return one;
  });
  if (all.length > 0) open.set(row, all);
  else open.delete(row);
  soon();
}

function yes(all) {
  const those = all.filter(([row, { about }]) => about && row.entry === about);
  for (const [, { code, about }] of those) about.confirm = [...new Set([...(about.confirm ?? []), code])];
  if (those.length === 0) return;
  keep();
  those[0][0].input.focus();
  for (const [row] of those) row.check();
}

// By workout and code the rows that have that question about what stands in them now, as they come on the page: what
// is right of the one workout's figures says nothing of another's.
function byQuestion() {
  const all = new Map();
  for (const row of rows.values()) {
    for (const one of open.get(row) ?? []) {
      const key = `${row.data.workout} ${one.code}`;
      const those = all.get(key) ?? all.set(key, new Map()).get(key);
      if (row.entry === one.about && !those.has(row)) those.set(row, one);
    }
  }
  return all;
}

// Once for all rows that are told something together.
let due = false;
function soon() {
  if (!due) queueMicrotask(show);
  due = true;
}

// What is typed over is not asked about any more.
desk.addEventListener("kept", soon);

// A line stays the same element as long as its question is there: the focus stays on its button.
const lines = new Map();
function show() {
  due = false;
  const all = [...byQuestion()].filter(([, those]) => those.size > 1);
  for (const [key, { line }] of lines) {
    if (all.some(([one]) => one === key)) continue;
    line.remove();
    lines.delete(key);
  }
  for (const [key, those] of all) {
    if (!lines.has(key)) {
      const [said, button] = [element("span", {}), plain("", () => yes([...(byQuestion().get(key) ?? [])]))];
      const line = element("p", { className: "ask choice" }, said, button);
      lines.set(key, { line, said, button });
      panel.append(line);
    }
    const { said, button } = lines.get(key);
    const [[row, { text }]] = those;
    const workout = sectionOf(row.data.workout).dataset.title;
    said.replaceChildren(...saying(words.asked_of, { workout, n: those.size, name: row.name, question: text }));
    button.textContent = put(words.yes_all, { n: those.size });
  }
}
