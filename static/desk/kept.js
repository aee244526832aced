// What is kept on this device: by row what is typed and, once it was to be stored, the very request,
// with the key under which a repeat is recognised; who counts in a lane, where that was changed here;
// the desk's judge. Tells the desk "kept" when it changes.

import { account, competition, gym, told } from "./brought.js";

const STORE = `desk:${competition}:${gym}:${account}`;

function stored() {
  try {
    return { rows: {}, by: {}, ...JSON.parse(localStorage.getItem(STORE)) };
  } catch {
    return { rows: {}, by: {} };
  }
}

export const kept = stored();
const written = new Map(Object.entries(kept.rows).map(([id, entry]) => [id, JSON.stringify(entry)]));

// Only what was changed here: a second tab keeps its rows in the same place.
export function keep() {
  const all = { ...stored(), judge: kept.judge, how: kept.how, by: kept.by };
  for (const id of new Set([...Object.keys(kept.rows), ...written.keys()])) {
    const entry = kept.rows[id];
    const text = JSON.stringify(entry);
    if (text === written.get(id)) continue;
    if (entry) all.rows[id] = entry;
    else delete all.rows[id];
    if (entry) written.set(id, text);
    else written.delete(id);
  }
  try {
    localStorage.setItem(STORE, JSON.stringify(all));
  } catch {
    // A full or forbidden store: the rows are there until the page is left.
  }
  told("kept");
}

export function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}
