// Who judged: the desk's judge, by code or by part of the name, and the same for a lane's.

import { desk, element, plain, rows, saying, words } from "./brought.js";
import { keep, kept, outOfDate, vouches } from "./kept.js";

export const judging = document.getElementById("judging");
const judges = [...document.querySelectorAll("#judges option")].map((o) => ({ code: o.value, name: o.textContent }));
const folded = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

// The code that is meant by a code, by part of the one name that has it, or by both as shown.
export function meant(typed) {
  const text = typed.trim();
  const within = text.match(/\(([^()]+)\)$/)?.[1] ?? text;
  const code = judges.find((j) => [text, within].some((t) => j.code.toLowerCase() === t.toLowerCase()));
  if (text === "" || code) return { code: code?.code ?? "" };
  const named = judges.filter((j) => folded(j.name).includes(folded(text)));
  if (named.length === 1) return { code: named[0].code };
  if (named.length === 0 && /^\S*-\S*$/.test(text)) return { code: text };
  return { code: "", trouble: saying(named.length ? words.judge_several : words.judge_unknown, { typed: text }) };
}

export function called(code) {
  const name = judges.find((j) => j.code === code)?.name;
  return name ? `${name} (${code})` : code;
}

// Who vouched last time is one press away, and not taken for granted.
const again = plain("", () => {
  judging.elements.judge.value = kept.last;
  useJudge();
  judging.elements.judge.focus();
});
document.getElementById("judge-now").after(again);

export function useJudge(save = true) {
  const { code, trouble } = meant(judging.elements.judge.value);
  const said = document.getElementById("judge-now");
  said.replaceChildren(...(trouble ?? (code ? saying(words.judge_now, { judge: called(code) }) : [words.judge_none])));
  said.classList.toggle("error", Boolean(trouble));
  judging.elements.judge.setAttribute("aria-invalid", trouble ? "true" : "false");
  const how = judging.elements.how.value;
  if (save || code !== (kept.judge ?? "")) vouches(code, how);
  kept.how = how;
  again.hidden = code !== "" || !judges.some((j) => j.code === kept.last);
  if (!again.hidden) again.replaceChildren(element("span", {}, ...saying(words.judge_again, { judge: called(kept.last) })));
  for (const form of desk.querySelectorAll("form.vouch")) {
    const { judge, how, desk_judge: own, desk_how: ownHow } = form.elements;
    own.value = code;
    ownHow.value = kept.how;
    // What was written there and not taken stays there.
    if (!save && "own" in form.dataset) continue;
    judge.value = code || judge.value;
    how.value = kept.how;
  }
  // A lane that has no judge of its own takes this one, unless it was left empty on purpose.
  for (const row of rows.values()) {
    if (!row.entry) row.lane();
    else if (row.by?.value.trim() === "" && !row.entry.send && !kept.by[row.id]) row.countedBy(called(code));
  }
  if (save) {
    keep();
    for (const row of rows.values()) if (row.input?.value.trim()) row.checkSoon();
  }
}

// A page that stays open over night.
document.addEventListener("woke", () => {
  if (!outOfDate()) return;
  judging.elements.judge.value = "";
  useJudge();
});
