// Rows for those whom the page did not bring: who was entered elsewhere meanwhile, who visits from
// another gym, who has left the list while something was typed.

import { ask, later, why } from "./ask.js";
import { blankOf, desk, divisions, gym, named, rows, saying, sectionOf, told, words } from "./brought.js";
import { signedOut, where } from "./kept.js";
import { Row } from "./row.js";

// `other`: an attempt that stands beside the one that counts.
export function add(workout, { bib, name, division, gym: home }, other) {
  const section = sectionOf(workout);
  const li = blankOf(workout).firstElementChild.cloneNode(true);
  const swap = (text) => text.replace(/-0$/, `-${other ? `${bib}-${other.attempt}` : bib}`).replace(/\/0(?=\?|$)/, `/${bib}`);
  li.id = swap(li.id);
  Object.assign(li.dataset, { bib, state: "missing", etag: "", level: "", division });
  if (other) Object.assign(li.dataset, { other: "", attempt: other.attempt, state: other.state });
  li.toggleAttribute("data-visiting", home !== gym);
  for (const field of li.querySelectorAll("[id]")) field.id = swap(field.id);
  for (const label of li.querySelectorAll("label")) label.htmlFor = swap(label.htmlFor);
  const link = li.querySelector("a");
  link.href = swap(link.getAttribute("href"));
  if (other) link.search += `${link.search ? "&" : "?"}attempt=${other.attempt}`;
  li.querySelector("form").action = link.href;
  const [who, where] = link.querySelectorAll("bdi");
  who.textContent = name;
  where.textContent = divisions[division] ?? division;
  where.parentElement.firstChild.textContent = `${bib} · `;
  if (home !== gym) where.after(` · ${words.visiting}`);
  // Where its figures await a judge, the statement has them too.
  const list = other && other.state !== "entered" ? "ul.settled" : "ul.todo";
  [...section.querySelectorAll(list)].at(-1).append(li);
  li.querySelector("label").textContent = named(`${name}, ${section.dataset.title}`, li.dataset);
  const row = new Row(li);
  row.levels(JSON.parse(section.dataset.levels)[division] ?? []);
  if (other) {
    row.now(other);
    row.show();
  }
  return row;
}

// Shown at once, and kept with what is typed.
export function addVisitor(workout, bib, { name, division, gym: home }) {
  const row = add(workout, { bib, name, division, gym: home });
  row.visitor = { name, division, gym: home };
  row.unfold();
  told("rows");
  return row;
}

async function visitor(form) {
  const workout = form.elements.workout.value;
  const typed = form.elements.bib.value.trim();
  const bib = /^#?0*(\d+)$/.exec(typed)?.[1];
  form.querySelector(".error").hidden = true;
  if (typed === "") return form.elements.bib.focus();
  let row = rows.get(`${workout}/${bib}`);
  if (!row) {
    const answer = bib && (await ask("GET", `/entries/${bib}`));
    if (answer?.status !== 200) return trouble(form, unfound(bib, typed, answer));
    row = addVisitor(workout, bib, answer.json);
  }
  form.reset();
  return row.find();
}

// Only the service says that nobody has it.
function unfound(bib, typed, answer) {
  if (!bib || answer?.status === 404) return saying(words.no_bib, { bib: typed });
  if (!answer) return [where("offline")];
  if (answer.status === 401) return signedOut();
  return [later(answer) ? words.ask_again : why(answer.json)];
}

function trouble(form, said) {
  const line = form.querySelector(".error");
  line.replaceChildren(...said);
  line.hidden = false;
  form.elements.bib.focus();
}

for (const form of desk.querySelectorAll("form.visitor")) {
  form.addEventListener("input", () => (form.querySelector(".error").hidden = true));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    visitor(form);
  });
}
