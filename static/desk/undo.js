// Takes back: for ten seconds what was just stored, at any later time what stands, after a question;
// and says that somebody takes no part, or does after all.

import { ask, asksReason, later, unsure, why } from "./ask.js";
import { clock, element, ownCodes, plain, reasonField, sectionOf, told, words } from "./brought.js";
import { newKey } from "./kept.js";
import { now, put } from "../time.js";

const UNDO = 10;

// What came in time only as long as judges may still vouch.
export function mayTakeBack(row) {
  const { state, workout } = row.data;
  return state === "late" || (["entered", "attested"].includes(state) && now() < Date.parse(sectionOf(workout).dataset.attestBy));
}

// Whether it can be stated from here that a judge vouches in this way.
export const mayState = (judge, how) => how !== "signed_in" || ownCodes.includes(judge);

// At any time, after a question.
export function askTakeBack(row) {
  const yes = element("button", { type: "button", textContent: words.take_back_yes });
  yes.addEventListener("click", () => {
    if (row.busy) return;
    row.undo = { withdraw: true };
    takeBack(row);
  });
  const no = plain(words.take_back_no, () => {
    row.tell([]);
    row.show();
    [...row.buttons.querySelectorAll("button")].at(-1)?.focus();
  });
  row.tell([[put(words.take_back_ask, { text: row.data.text })]]);
  row.say.append(element("p", { className: "choice" }, yes, " ", no));
  row.buttons.replaceChildren();
  no.focus();
}

export function takesPart(row) {
  row.undo = { out: true };
  return takeBack(row);
}

export function offer(row, undo) {
  clearTimeout(row.undoing);
  row.undo = undo;
  row.undoing = setTimeout(() => {
    if (row.undo === undo) {
      row.undo = undefined;
      row.unsure = Boolean(undo.unsure);
      // Nothing says to press a button that has gone.
      if (undo.failed) row.tell(row.unsure ? [[words.noting_unsure, "error"]] : []);
      row.show();
    }
    told(undo.unsure ? "stored" : "rested", row.data.workout);
  }, UNDO * 1000);
  row.show();
}

export async function takeBack(row) {
  const undo = row.undo;
  if (!undo || row.busy) return;
  row.busy = true;
  clearTimeout(row.undoing);
  undo.key ??= newKey();
  const match = { "if-match": `"${row.data.etag}"`, "idempotency-key": undo.key };
  let answer;
  if (undo.out) answer = await ask("DELETE", `${row.path}/not-taking-part`);
  else if (undo.withdraw) answer = await ask("POST", `${row.path}/withdrawal`, {}, match);
  else {
    // The earlier figures again, as a revision of its own, with the judge who stood for them.
    const { text, level, judge, how, sheet } = undo.before;
    undo.confirm ??= [];
    const body = { performance: text, level, attempt: Number(row.data.attempt), confirm: undo.confirm };
    // That a judge was signed in can nobody else say again: without it the figures wait for that judge.
    if (judge && mayState(judge, how)) body.attestation = { judge, how, ...(sheet && { sheet }) };
    if (undo.reason) body.reason = undo.reason;
    for (;;) {
      answer = await ask("PUT", row.path, body, match);
      const asked = answer?.json.confirm?.filter((code) => !body.confirm.includes(code));
      if (!asked?.length) break;
      // They were stored once: what was asked then was answered.
      body.confirm.push(...asked);
      match["idempotency-key"] = undo.key = newKey();
    }
  }
  row.busy = false;
  row.touch();
  if (answer?.status === 200) {
    if (undo.out) row.data.state = "missing";
    else row.now(answer.json);
  }
  if (typedOver(row)) return told("stored", row.data.workout);
  if (later(answer)) {
    // Asked for again it is done once.
    Object.assign(undo, { failed: true, unsure: unsure(answer) });
    offer(row, undo);
    return row.tell([[undo.unsure ? words.undo_unsure : put(words.undo_failed, { why: words.undo_again }), "error"]]);
  }
  if (asksReason(answer.json.errors)) return undoReason(row, undo, answer.json);
  row.undo = undefined;
  row.saved = undefined;
  if (answer.status === 401) {
    row.show();
    return row.signedOut();
  }
  if (answer.status !== 200) {
    row.show();
    return row.tell([[put(words.undo_failed, { why: why(answer.json) }), "error"]]);
  }
  row.show();
  row.tell([[put(words.undone, { time: clock() })], ...(row.data.state === "entered" ? [[words.waits]] : [])]);
  row.reach(row.input);
  return told("stored", row.data.workout);
}

// What was typed while this was on its way goes before what is to be said of it; whether something was.
function typedOver(row) {
  if (!row.entry) return false;
  row.undo = undefined;
  row.show();
  row.onTop(row.data.etag);
  row.checkSoon();
  return true;
}

// Better after the close again: why is asked beside the button that goes on.
function undoReason(row, undo, json) {
  clearTimeout(row.undoing);
  Object.assign(undo, { key: undefined });
  row.tell([[put(words.undo_failed, { why: why(json) }), "error"]]);
  const field = reasonField(row, undo.reason ?? "");
  field.addEventListener("input", () => (undo.reason = field.value));
  row.say.append(field);
  row.show();
  row.reach(field);
}

export async function takesNoPart(row) {
  if (row.busy) return;
  row.busy = true;
  const answer = await ask("POST", `${row.path}/not-taking-part`);
  row.busy = false;
  row.touch();
  if (row.entry) {
    if (answer?.status === 200) Object.assign(row.data, { state: "not_taking_part", received: "" });
    typedOver(row);
    return told("stored", row.data.workout);
  }
  if (answer?.status === 401) return row.signedOut();
  // It may be noted: looked up again, at the latest when the network is back, and said then.
  if (unsure(answer)) {
    row.unsure = true;
    row.tell([[words.noting_unsure, "error"]]);
    return told("stored", row.data.workout);
  }
  if (answer.status !== 200) {
    return row.tell([[put(words.not_stored, { why: later(answer) ? words.undo_again : why(answer.json) }), "error"]]);
  }
  Object.assign(row.data, { state: "not_taking_part", received: "" });
  row.saved = clock();
  offer(row, { out: true });
  row.tell([]);
  row.reach(row.buttons.querySelector("button"));
  return told("stored", row.data.workout);
}
