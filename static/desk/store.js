// Stores a row: makes the request once, sends it until it is answered, and says what became of it;
// where somebody was quicker it asks which one holds, and overwrites nothing in silence.

import { ask, asksReason, later, unsure, why } from "./ask.js";
import { element, roles, saying, told, words } from "./brought.js";
import { keep, kept, newKey, where } from "./kept.js";
import { lead, rests, soon } from "./queue.js";
import { put } from "../time.js";
import { mayState, offer } from "./undo.js";

// Whether there was something to store, which is sent at once.
export function save(row) {
  if (!ready(row)) return false;
  if (rests() && !row.busy) {
    row.tell([[where("retry")]]);
    soon();
  } else send(row);
  return true;
}

// Makes the request of what is typed, to be sent and sent again until it is answered.
export function ready(row) {
  // As it is stored, after all: said again.
  if (!row.entry && row.input.value.trim() !== "") row.typed();
  if (!row.entry) return false;
  if (!row.entry.send) {
    const { trouble } = row;
    if (trouble) {
      row.tell([[trouble, "error"]]);
      (row.by ?? row.sheet).focus();
      return false;
    }
    const { seen } = row.entry;
    const body = row.body();
    Object.assign(row.entry, { send: true, key: newKey(), body, headers: seen ? { "if-match": `"${seen}"` } : { "if-none-match": "*" } });
    keep();
  }
  return true;
}

// Whether the service takes more.
export async function send(row) {
  const entry = row.entry;
  if (row.busy || !entry?.send) return true;
  row.busy = entry.tried = true;
  row.deciding = false;
  clearTimeout(row.timer);
  row.asked += 1;
  row.show();
  row.tell([[words.sending]]);
  const before = { ...row.data };
  const answer = await ask("PUT", row.path, entry.body, { ...entry.headers, "idempotency-key": entry.key });
  row.busy = false;
  entry.tried = unsure(answer);
  row.touch();
  row.show();
  // Typed over meanwhile: then what was sent is stored, and what is typed now waits for its turn.
  const again = row.entry !== entry;
  if (later(answer)) {
    // What is typed now is not to be sent yet.
    if (again && !row.entry?.send) row.checkSoon();
    else row.tell([[where(answer === undefined ? "kept" : "retry")]]);
    soon(answer?.after);
    return false;
  }
  const { status, json } = answer;
  if (status === 200 || status === 201) {
    if (!again) delete kept.rows[row.id];
    took(row, status, json, before, again && Boolean(row.entry));
    keep();
    told("stored", row.data.workout);
    return onTop(row, json.etag);
  }
  if (status === 401) {
    row.signedOut();
    return false;
  }
  if (again && row.entry?.send) return send(row);
  if (again) row.checkSoon();
  else await refused(row, entry, answer);
  return true;
}

// What was typed while another change of the row was on its way is on top of that: sent where it was to
// be stored. Whether the service takes more.
export function onTop(row, etag) {
  if (!row.entry) return true;
  Object.assign(row.entry, { seen: etag, attempt: row.data.attempt });
  const ours = row.entry.send;
  row.entry.send = false;
  keep();
  return ours && ready(row) ? send(row) : true;
}

// Nothing is stored: why, and what to do.
async function refused(row, entry, { status, json }) {
  Object.assign(entry, { send: false, tried: false, key: undefined, body: undefined });
  keep();
  lead(row);
  if ((status === 412 || status === 428) && json.current) {
    // The row says what is stored now; what is typed was typed over what was seen before.
    row.deciding = true;
    row.now(json.current);
    row.show();
    return conflict(row, json.current);
  }
  if (json.confirm?.length) {
    row.tell(json.errors.map((e) => [e.message, "ask", e.code]));
    row.reach(row.input);
    return undefined;
  }
  if (asksReason(json.errors)) {
    row.askReason();
    row.reach(row.reason);
  }
  row.tell([[put(words.not_stored, { why: why(json) }), "error"]], true);
  return undefined;
}

// Whether another judge stood for it, who can be put there again from here.
function hadAnother({ judge, how }, { attestation }) {
  return Boolean(judge && attestation) && judge !== attestation.judge && mayState(judge, how);
}

// What the service stored.
function took(row, status, view, before, typing) {
  row.correcting = typing;
  row.now(view);
  // Where the same was there already there is nothing of ours to take back.
  if (status === 201 || before.state === "withdrawn") offer(row, { withdraw: true });
  else if (before.etag && (before.text !== view.performance.text || before.level !== view.level || hadAnother(before, view))) offer(row, { before });
  if (typing) return row.show();
  row.clear();
  // The places are those of the attempt that counts.
  const lines = "other" in row.data ? [] : row.placed(view.places, words.placed);
  if (view.state === "entered") lines.push([words.waits]);
  // What is to be said of lateness stands in the row.
  const inRow = ["stored_late", "in_grace", "attested_late"];
  lines.push(...(view.warnings ?? []).filter((m) => !inRow.includes(m.code)).map((m) => [m.message]));
  row.show();
  row.tell(lines);
}

// --- somebody was quicker

async function conflict(row, current) {
  const gone = current.state === "withdrawn";
  const history = await ask("GET", `${row.path}/history`);
  // Typed on or emptied meanwhile: it is said when that is stored.
  if (!row.deciding || !row.entry || row.entry.send) return;
  const about = history?.json.items?.filter((i) => i.attempt === current.attempt);
  const last = about?.filter((i) => (gone ? i.action === "withdrawn" : i.performance || i.attestation)).pop();
  const who = roles[last?.role] ?? words.somebody;
  const values = { who, theirs: current.performance.text, ours: row.entry.text };
  row.tell([[saying(gone ? words.taken_by : words.changed_by, values), "error"]], true);
  const keepTheirs = element("button", { type: "button", className: "plain", textContent: words.keep });
  const takeOurs = element("button", { type: "button", textContent: words.take });
  const choice = element("p", { className: "choice" }, keepTheirs, " ", takeOurs);
  row.say.append(choice);
  keepTheirs.addEventListener("click", () => {
    delete kept.rows[row.id];
    row.correcting = row.deciding = false;
    row.clear();
    row.now(current);
    keep();
    row.show();
    row.tell([[words.kept_theirs]]);
    told("stored", row.data.workout);
  });
  takeOurs.addEventListener("click", () => {
    if (!row.entry) return;
    row.now(current);
    Object.assign(row.entry, { seen: current.etag, attempt: current.attempt });
    row.entry.level ??= current.level;
    save(row);
  });
  row.reach(keepTheirs);
}
