// Asks the service, by the API that everybody has, and reads what its answers mean for who waits.

import { heard, now, within } from "../time.js";
import { competition } from "./brought.js";

const api = `/api/v1/competitions/${competition}`;

// The answer with its JSON; nothing where there is no network, or where what answers is not the
// service, as the page that a public network asks to agree to first.
export async function ask(method, path, body, headers = {}) {
  const typed = body === undefined ? {} : { "content-type": "application/json" };
  try {
    const answer = await fetch(`${api}${path}`, {
      method,
      headers: { accept: "application/json", ...typed, ...headers },
      body: body === undefined ? undefined : JSON.stringify(body),
      signal: within(20_000),
    });
    const text = await answer.text();
    if (text && !/json/.test(answer.headers.get("content-type"))) return undefined;
    heard(answer);
    // A score's answer without it is no answer of the service.
    if (method === "PUT" && answer.ok && !text) return undefined;
    return { status: answer.status, json: text ? JSON.parse(text) : {}, after: pauseAsked(answer) };
  } catch {
    return undefined;
  }
}

// So many checks at once as leave room for what is stored; the others wait for their turn.
const AT_ONCE = 4;
let asking = 0;
const waiting = [];
export async function inTurn(does) {
  if (asking === AT_ONCE) await new Promise((next) => waiting.push(next));
  else asking += 1;
  try {
    return await does();
  } finally {
    const next = waiting.shift();
    if (next) next();
    else asking -= 1;
  }
}

// For how many seconds the service asks not to be asked again.
function pauseAsked(answer) {
  const said = answer.headers.get("retry-after");
  const seconds = /^\d+$/.test(said) ? Number(said) : (Date.parse(said) - now()) / 1000;
  return Math.min(Math.max(seconds || 0, 0), 600);
}

export const why = (json) => (json.errors ?? []).map((e) => e.message).join(" ") || json.detail || "";
// Whether the same is to be asked again later: nothing is known of what became of it.
export const later = (answer) => answer === undefined || answer.status === 429 || answer.status >= 500 || answer.status === 408;
const MAY_BE_DONE = ["outcome_unknown", "stored_not_shown"];
// Whether it may be done all the same: who is told to come again later is told that it is not.
export const unsure = (answer) => later(answer) && (![429, 503].includes(answer?.status) || MAY_BE_DONE.includes(answer.json.code));
export const asksReason = (faults) => (faults ?? []).some((f) => f.code === "upward_needs_reason");
