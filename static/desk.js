// The gym's desk while somebody types: checks every figure, stores it, takes it back for ten
// seconds, keeps what is not sent over a reload and a lost network, never overwrites in silence.
// Works on the rows that the page brings, and on the API that everybody has; the page is whole
// without it. What it does not do: decide anything, count down (time.js), or lay rows out (grid.js).

import { heard, now, put, span, zoned } from "./time.js";
import { element, leave, saying, tick } from "./vouch.js";

const desk = document.getElementById("desk");
const { competition, gym, account } = desk.dataset;
const words = JSON.parse(desk.dataset.words);
const lateWords = JSON.parse(desk.dataset.late);
const [divisions, states, roles] = ["divisions", "states", "roles"].map((name) => JSON.parse(desk.dataset[name]));
const api = `/api/v1/competitions/${competition}`;
const STORE = `desk:${competition}:${gym}:${account}`;
const UNDO = 10;
const rows = new Map();

// --- words ------------------------------------------------------------------------------------

const plural = new Intl.PluralRules(document.documentElement.lang, { type: "ordinal" });
const ordinal = (n) => put(words[`ordinal_${plural.select(n)}`] ?? words.ordinal_other, { n: n.toLocaleString(document.documentElement.lang) });
const language = document.documentElement.lang;
// By the gym's clock: the hour, and the day where that is another.
function clock(at = now()) {
  const said = (options, instant) => {
    const form = { hourCycle: "h23", ...options };
    try {
      return new Intl.DateTimeFormat(language, { ...form, timeZone: desk.dataset.zone }).format(instant);
    } catch {
      return new Intl.DateTimeFormat(language, form).format(instant);
    }
  };
  const [hour, day] = [{ hour: "2-digit", minute: "2-digit" }, { weekday: "short", day: "numeric", month: "short" }];
  return said({ dateStyle: "short" }, at) === said({ dateStyle: "short" }, now()) ? said(hour, at) : said({ ...day, ...hour }, at);
}

// What is said of lateness, and what happens next, as the server says it.
function lateLines(view) {
  const lines = [];
  if (view.late_by_ms && !["withdrawn", "struck"].includes(view.state)) {
    const template = view.state !== "late" ? lateWords.counted : view.refused ? lateWords.refused : lateWords.stored;
    lines.push(put(template, { late: span(Math.ceil(view.late_by_ms / 60_000) * 60) }));
  }
  if (view.waiting) {
    const template = view.waiting.refused ? lateWords.correction_refused : lateWords.correction;
    lines.push(put(template, { text: view.waiting.performance.text, now: view.performance.text }));
  }
  if (view.waiting_attestation) lines.push(saying(lateWords.attestation, { judge: view.waiting_attestation.judge }));
  return lines;
}

// --- what is kept on this device ----------------------------------------------------------------

// By row: what is typed, and, once it was to be stored, the very request, with the key under which
// a repeat is recognised; and who counts in a lane, where that was changed here.
function stored() {
  try {
    return { rows: {}, by: {}, ...JSON.parse(localStorage.getItem(STORE)) };
  } catch {
    return { rows: {}, by: {} };
  }
}
const kept = stored();
const written = new Map(Object.entries(kept.rows).map(([id, entry]) => [id, JSON.stringify(entry)]));
// Only what was changed here: a second tab keeps its rows in the same place.
function keep() {
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
  bar.tell();
}
function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}

// --- asking the service -------------------------------------------------------------------------

// The answer with its JSON; nothing where there is no network, or where what answers is not the
// service, as the page that a public network asks to agree to first.
async function ask(method, path, body, headers = {}) {
  const typed = body === undefined ? {} : { "content-type": "application/json" };
  try {
    const answer = await fetch(`${api}${path}`, {
      method,
      headers: { accept: "application/json", ...typed, ...headers },
      body: body === undefined ? undefined : JSON.stringify(body),
      signal: AbortSignal.timeout(20_000),
    });
    const text = await answer.text();
    if (text && !/json/.test(answer.headers.get("content-type"))) return undefined;
    heard(answer);
    return { status: answer.status, json: text ? JSON.parse(text) : {}, after: pauseAsked(answer) };
  } catch {
    return undefined;
  }
}
// For how many seconds the service asks not to be asked again.
function pauseAsked(answer) {
  const said = answer.headers.get("retry-after");
  const seconds = /^\d+$/.test(said) ? Number(said) : (Date.parse(said) - now()) / 1000;
  return Math.min(Math.max(seconds || 0, 0), 600);
}
const why = (json) => (json.errors ?? []).map((e) => e.message).join(" ") || json.detail || "";
const later = (answer) => answer === undefined || answer.status === 429 || answer.status >= 500 || answer.status === 408;

// --- the judge ----------------------------------------------------------------------------------

const judging = document.getElementById("judging");
const judges = [...document.querySelectorAll("#judges option")].map((o) => ({ code: o.value, name: o.textContent }));
const folded = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

// The code that is meant by a code, by part of the one name that has it, or by both as shown.
function meant(typed) {
  const text = typed.trim();
  const within = text.match(/\(([^()]+)\)$/)?.[1] ?? text;
  const code = judges.find((j) => [text, within].some((t) => j.code.toLowerCase() === t.toLowerCase()));
  if (text === "" || code) return { code: code?.code ?? "" };
  const named = judges.filter((j) => folded(j.name).includes(folded(text)));
  if (named.length === 1) return { code: named[0].code };
  if (named.length === 0 && /^\S*-\S*$/.test(text)) return { code: text };
  return { code: "", trouble: saying(named.length ? words.judge_several : words.judge_unknown, { typed: text }) };
}

function called(code) {
  const name = judges.find((j) => j.code === code)?.name;
  return name ? `${name} (${code})` : code;
}

function useJudge(save = true) {
  const { code, trouble } = meant(judging.elements.judge.value);
  const said = document.getElementById("judge-now");
  said.replaceChildren(...(trouble ?? (code ? saying(words.judge_now, { judge: called(code) }) : [words.judge_none])));
  said.classList.toggle("error", Boolean(trouble));
  judging.elements.judge.setAttribute("aria-invalid", trouble ? "true" : "false");
  kept.judge = code;
  kept.how = judging.elements.how.value;
  for (const field of desk.querySelectorAll("form.vouch .judge")) field.value = code || field.value;
  for (const field of desk.querySelectorAll("form.vouch .how")) field.value = kept.how;
  // A lane that has no judge yet takes this one.
  if (code) for (const field of desk.querySelectorAll("input.by")) field.value ||= called(code);
  if (save) {
    keep();
    for (const row of rows.values()) if (row.input?.value.trim()) row.checkSoon();
  }
}

// --- a row --------------------------------------------------------------------------------------

// A button that stands beside what it is about.
function plain(textContent, press, about) {
  const button = element("button", { type: "button", className: "plain", textContent });
  if (about) button.setAttribute("aria-label", `${textContent}: ${about}`);
  button.addEventListener("click", press);
  return button;
}

class Row {
  constructor(li) {
    this.li = li;
    this.id = `${li.dataset.workout}/${li.dataset.bib}`;
    this.path = `/workouts/${li.dataset.workout}/scores/${li.dataset.bib}`;
    this.work = li.querySelector(".work");
    this.name = li.querySelector("bdi").textContent;
    this.href = li.querySelector("a").getAttribute("href");
    this.asked = 0;
    this.changed = 0;
    this.say = element("div", { className: "say", id: `s-${li.id}` });
    this.say.setAttribute("role", "status");
    this.buttons = element("div", { className: "buttons" });
    this.work.querySelector("p.saved")?.remove();
    this.work.append(this.say, this.buttons);
    this.work.dataset.workout = li.dataset.workout;
    rows.set(this.id, this);
    const form = this.work.querySelector("form.entry");
    if (form) this.useForm(form);
    if (kept.rows[this.id]) this.restore();
    else this.show();
  }

  get data() {
    return this.li.dataset;
  }

  useForm(form) {
    this.form = form;
    this.input = form.elements.performance;
    this.level = form.elements.level;
    this.by = form.querySelector("input.by");
    this.sheet = form.elements.sheet;
    this.sheet.setAttribute("aria-label", put(words.sheet_of, { name: this.name, workout: sectionOf(this.data.workout).dataset.title }));
    this.sheet.addEventListener("input", () => this.input.value.trim() && this.typed());
    this.by?.addEventListener("change", () => this.judged());
    if (this.by && kept.by[this.id]) this.by.value = kept.by[this.id];
    this.input.inputMode = "numeric";
    this.input.setAttribute("aria-describedby", this.say.id);
    this.input.addEventListener("input", () => this.typed());
    this.level?.addEventListener("change", () => this.typed());
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (this.save()) this.next()?.focus();
    });
  }

  // Who counted in this lane; those of the same heat without a judge get the same.
  judged() {
    const { turn, workout } = this.data;
    const heat = `${turn.split(".")[0]}.`;
    for (const row of rows.values()) {
      const same = row.by && row.data.workout === workout && row.data.turn.startsWith(heat);
      if (same && row.by.value.trim() === "" && !meant(this.by.value).trouble) row.by.value = this.by.value;
      if (same) kept.by[row.id] = row.by.value;
    }
    keep();
    if (this.entry) this.typed();
  }

  // A field for a row that came without one.
  makeForm() {
    if (this.form) return;
    const section = sectionOf(this.data.workout);
    const form = section.querySelector("template.blank").content.querySelector("form").cloneNode(true);
    form.action = this.href;
    for (const field of form.querySelectorAll("[id]")) field.id = field.id.replace(/-0$/, `-${this.data.bib}`);
    for (const label of form.querySelectorAll("label")) label.htmlFor = label.htmlFor.replace(/-0$/, `-${this.data.bib}`);
    form.querySelector("label").textContent = this.label();
    (this.work.querySelector(".now") ?? this.work.querySelector(".tick")).after(form);
    this.useForm(form);
    this.levels(JSON.parse(section.dataset.levels)[this.data.division ?? ""] ?? []);
  }

  correct() {
    this.makeForm();
    this.form.hidden = false;
    this.input.value = this.data.text;
    this.buttons.replaceChildren();
    this.input.focus();
    this.input.select();
  }

  unfold() {
    const folded = this.li.closest("details");
    if (folded) folded.open = true;
  }

  // Led to from elsewhere: its field, or what is there where there is nothing to type.
  find() {
    this.unfold();
    if (this.form && !this.form.hidden) return this.input.focus();
    const { state, text } = this.data;
    if (!("locked" in this.data) && state !== "not_taking_part") return this.correct();
    const there = state === "not_taking_part" ? words.found_out : words.found_locked;
    this.tell([[saying(there, { name: this.name, text, state: states[state] ?? state })]]);
    this.work.scrollIntoView({ block: "center" });
    const link = this.li.querySelector("a.who");
    // In the grid the link is out of sight.
    if (!link.offsetParent) this.work.tabIndex = -1;
    return (this.buttons.querySelector("button") ?? (link.offsetParent ? link : this.work)).focus({ preventScroll: true });
  }

  label() {
    return `${this.name}, ${sectionOf(this.data.workout).dataset.title}`;
  }

  // For the line in the statement.
  described() {
    const sheetLabel = put(words.sheet_of, { name: this.name, workout: sectionOf(this.data.workout).dataset.title });
    return { li: this.li, data: this.data, label: this.label(), sheetLabel, sheet: words.sheet };
  }

  // Where there is more than one level, it is chosen from.
  levels(all) {
    if (this.level || all.length < 2) return;
    this.level = element("select", { name: "level", ariaLabel: put(words.level_of, { name: this.name, workout: sectionOf(this.data.workout).dataset.title }) });
    this.level.append(...all.map(([value, text]) => element("option", { value, textContent: text, selected: value === this.data.level })));
    this.input.after(this.level);
    this.level.addEventListener("change", () => this.typed());
  }

  next() {
    const column = [...desk.querySelectorAll("input.perf")].filter(
      (i) => i.closest(".work")?.dataset.workout === this.data.workout && i.offsetParent !== null,
    );
    const after = column.slice(column.indexOf(this.input) + 1);
    return after.find((i) => i.value === "") ?? after[0];
  }

  get entry() {
    return kept.rows[this.id];
  }

  typed() {
    const text = this.input.value;
    if (text.trim() === "") delete kept.rows[this.id];
    else {
      const { seen = this.data.etag, visitor } = this.entry ?? {};
      const [level, by, reason, sheet] = [this.level, this.by, this.reason, this.sheet].map((field) => field?.value);
      kept.rows[this.id] = { text, level, by, reason, sheet, confirm: [], seen, visitor: visitor ?? this.visitor };
    }
    keep();
    this.undo = this.saved = undefined;
    this.show();
    if (this.entry) this.checkSoon();
    else this.tell([]);
  }

  // What was typed before the page was loaded again.
  restore() {
    const { text, level, by, reason, sheet, send } = this.entry;
    this.makeForm();
    this.unfold();
    if (reason) this.askReason(reason);
    this.input.value = text;
    if (by !== undefined && this.by) this.by.value = by;
    this.sheet.value = sheet ?? "";
    if (level && this.level) this.level.value = level;
    this.show();
    if (!send) this.checkSoon();
  }

  body() {
    const { text, level, confirm = [] } = this.entry;
    const body = { performance: text, confirm };
    if (level ?? this.data.level) body.level = level ?? this.data.level;
    if (!this.data.etag) body.gym = gym;
    // When it was done as the heat says, once that has begun.
    if (!this.data.etag && Date.parse(this.data.done) <= now()) body.performed_at = this.data.done;
    const [judge, sheet] = [this.judge, this.entry.sheet?.trim()];
    if (judge) body.attestation = { judge, how: kept.how, ...(sheet && { sheet }) };
    if (this.entry.reason) body.reason = this.entry.reason;
    return body;
  }

  get judge() {
    return this.by ? meant(this.by.value).code : kept.judge;
  }

  // What is wrong with who is said to have judged it.
  get trouble() {
    const trouble = this.by && meant(this.by.value).trouble;
    return trouble ?? (this.entry?.sheet?.trim() && !this.judge ? words.sheet_needs_judge : undefined);
  }

  // A field for why a result gets better after the close, where the service asks for it.
  askReason(value = "") {
    if (this.reason) return;
    this.reason = reasonField(this, value);
    this.reason.addEventListener("input", () => {
      if (!this.entry) return;
      this.entry.reason = this.reason.value;
      keep();
      this.checkSoon();
    });
    this.form.append(this.reason);
  }

  // --- checked as typed

  checkSoon() {
    clearTimeout(this.timer);
    this.asked += 1;
    this.timer = setTimeout(() => this.check(), 300);
  }

  async check() {
    if (!this.entry || this.entry.send) return;
    this.asked += 1;
    const turn = this.asked;
    const answer = await ask("POST", `${this.path}/check`, this.body());
    if (turn !== this.asked || !this.entry || this.entry.send) return;
    if (answer?.status === 401) return this.signedOut();
    if (later(answer)) return this.tell([[answer ? words.retry : words.offline]]);
    if (answer.status !== 200) return this.tell([[why(answer.json), "error"]], true);
    this.checked(answer.json);
  }

  checked({ faults, questions, warnings, places, text, late, unchanged }) {
    if (asksReason(faults)) this.askReason();
    const lines = faults.map((f) => [f.message, "error"]);
    if (this.trouble) lines.push([this.trouble, "error"]);
    for (const q of questions) lines.push([q.message, "ask", q.code]);
    lines.push(...warnings.map((m) => [m.message]));
    if (text && text !== this.entry.text.trim()) lines.push([put(words.reads, { text })]);
    if (unchanged) lines.push([words.same]);
    else lines.push(...this.placed(places, words.would_be));
    if (late && !warnings.length) lines.push([words.late]);
    this.tell(lines, faults.length > 0);
  }

  placed(places, template) {
    const first = (places ?? []).find((p) => p.place);
    if (!first) return [];
    const values = { ordinal: ordinal(first.place), of: first.of, division: divisions[first.division] ?? first.division };
    return [[saying(template, values)]];
  }

  // Sentences beside the field; a question has a button that says yes.
  tell(lines, invalid = false) {
    this.input?.setAttribute("aria-invalid", invalid ? "true" : "false");
    this.say.replaceChildren(
      ...lines.map(([text, kind, code]) => {
        const line = element("p", { className: kind ?? "" }, ...[text].flat());
        if (kind === "ask") {
          const yes = element("button", { type: "button", className: "plain", textContent: words.yes });
          yes.addEventListener("click", () => {
            if (!this.entry) return;
            this.entry.confirm.push(code);
            keep();
            this.input.focus();
            this.check();
          });
          line.append(" ", yes);
        }
        return line;
      }),
    );
    this.reveal();
  }

  // What is said of the row in hand stands above the pad and the keyboard, and its field below the
  // bar of what is not sent.
  reveal() {
    const input = document.activeElement;
    if (!input?.matches("input.perf, input.by, input.sheet, input.reason") || !this.form?.contains(input)) return;
    const view = window.visualViewport;
    const pad = document.getElementById("pad");
    const end = (view ? view.offsetTop + view.height : window.innerHeight) - (pad?.hidden === false ? pad.offsetHeight : 0);
    const below = this.buttons.getBoundingClientRect().bottom + 8 - end;
    const above = input.getBoundingClientRect().top - bar.element.offsetHeight - 8;
    const by = Math.min(below, above);
    if (by > 0) window.scrollBy({ top: by, behavior: "instant" });
  }

  // --- stored

  // Whether there was something to store, which is sent at once.
  save() {
    if (!this.ready()) return false;
    this.send();
    return true;
  }

  // Makes the request of what is typed, to be sent and sent again until it is answered.
  ready() {
    if (!this.entry) return false;
    if (!this.entry.send) {
      const { trouble } = this;
      if (trouble) {
        this.tell([[trouble, "error"]]);
        (this.by ?? this.sheet).focus();
        return false;
      }
      const { seen } = this.entry;
      const body = this.body();
      Object.assign(this.entry, { send: true, key: newKey(), body, headers: seen ? { "if-match": `"${seen}"` } : { "if-none-match": "*" } });
      keep();
    }
    return true;
  }

  // Whether the service takes more.
  async send() {
    const entry = this.entry;
    if (this.busy || !entry?.send) return true;
    this.busy = true;
    clearTimeout(this.timer);
    this.asked += 1;
    this.tell([[words.sending]]);
    const before = { ...this.data };
    const answer = await ask("PUT", this.path, entry.body, { ...entry.headers, "idempotency-key": entry.key });
    this.busy = false;
    this.touch();
    // Typed over meanwhile: then what was sent is stored, and what is typed now waits for its turn.
    const again = this.entry !== entry;
    if (later(answer)) {
      this.tell([[answer === undefined ? words.kept : words.retry]]);
      soon(answer?.after);
      return false;
    }
    const { status, json } = answer;
    if (status === 200 || status === 201) {
      if (again && this.entry) this.entry.seen = json.etag;
      else delete kept.rows[this.id];
      delete kept.by[this.id];
      this.took(status, json, before, again);
      keep();
      refreshSoon();
      return true;
    }
    if (status === 401) {
      this.signedOut();
      return false;
    }
    if (again) this.checkSoon();
    else await this.refused(entry, answer);
    return true;
  }

  // Nothing is stored: why, and what to do.
  async refused(entry, { status, json }) {
    Object.assign(entry, { send: false, key: undefined, body: undefined });
    keep();
    bar.lead(this);
    if ((status === 412 || status === 428) && json.current) return this.conflict(json.current);
    if (json.confirm?.length) {
      this.tell(json.errors.map((e) => [e.message, "ask", e.code]));
      this.input.focus();
      return undefined;
    }
    if (asksReason(json.errors)) {
      this.askReason();
      this.reason.focus();
    }
    this.tell([[put(words.not_stored, { why: why(json) }), "error"]], true);
    return undefined;
  }

  // What is asked for before now may be older than this row.
  touch() {
    changes += 1;
    this.changed = changes;
  }

  // What the service stored.
  took(status, view, before, typing) {
    this.now(view);
    // Where the same was there already there is nothing of ours to take back.
    if (status === 201 || before.state === "withdrawn") this.offer({ withdraw: true });
    else if (before.etag && before.etag !== view.etag) this.offer({ before });
    if (typing) return;
    this.input.value = "";
    this.sheet.value = "";
    this.reason?.remove();
    this.reason = undefined;
    const lines = this.placed(view.places, words.placed);
    if (view.state === "entered") lines.push([words.waits]);
    // What is to be said of lateness stands in the row.
    const told = ["stored_late", "in_grace", "attested_late"];
    lines.push(...(view.warnings ?? []).filter((m) => !told.includes(m.code)).map((m) => [m.message]));
    this.show();
    this.tell(lines);
  }

  // The row as the service has it.
  now(view) {
    Object.assign(this.data, {
      state: view.state,
      etag: view.etag,
      text: view.performance.text,
      level: view.level,
      // A correction that came late waits beside the score: that is what was saved.
      received: (view.waiting ?? view).received_at,
      judge: view.attestation?.judge ?? "",
      how: view.attestation?.how ?? "",
      sheet: view.sheet ?? "",
    });
    this.li.toggleAttribute("data-locked", view.locked || ["flagged", "withheld"].includes(view.state));
    this.work.querySelector(".late").replaceChildren(...lateLines(view).map((said) => element("p", {}, ...[said].flat())));
  }

  show() {
    const { state, text } = this.data;
    const open = ["missing", "withdrawn", "guest"].includes(state);
    const value = this.work.querySelector(".value");
    value.textContent = text ?? "";
    this.work.querySelector(".state").textContent = states[state] ?? state;
    if (open) this.makeForm();
    if (this.form) this.form.hidden = !this.entry && !open;
    tick(sectionOf(this.data.workout), this);
    this.li.classList.toggle("unsent", Boolean(this.entry));
    const buttons = [];
    const received = !this.entry && !open && state !== "not_taking_part" && this.data.received;
    const saved = this.saved ?? (received ? clock(Date.parse(received)) : undefined);
    if (saved) buttons.push(element("span", { className: "saved", textContent: put(words.saved_at, { time: saved }) }));
    if (this.undo) buttons.push(plain(words.undo, () => this.takeBack()));
    const settled = !this.entry && !open;
    if (this.entry) buttons.push(element("span", { className: "saved", textContent: words.typed }));
    else if (open && this.form && !("visiting" in this.data)) {
      const out = plain(words.out, () => this.takesNoPart(), this.name);
      out.classList.add("out");
      buttons.push(out);
    } else if (state === "not_taking_part" && !this.undo && !("visiting" in this.data) && !("locked" in this.data)) {
      buttons.push(plain(words.in_again, () => this.takesPart(), this.name));
    } else if (settled && state !== "not_taking_part" && !("locked" in this.data)) {
      buttons.push(plain(words.correct, () => this.correct(), this.name));
      if (!this.undo && this.mayTakeBack()) buttons.push(plain(words.take_back, () => this.askTakeBack(), this.name));
    }
    this.buttons.replaceChildren(...buttons);
    desk.dispatchEvent(new CustomEvent("shown", { detail: this.li }));
  }

  // --- taken back

  // What came in time only as long as judges may still vouch.
  mayTakeBack() {
    const { state, workout } = this.data;
    return state === "late" || (["entered", "attested"].includes(state) && now() < Date.parse(sectionOf(workout).dataset.attestBy));
  }

  // At any time, after a question.
  askTakeBack() {
    const yes = element("button", { type: "button", textContent: words.take_back_yes });
    yes.addEventListener("click", () => {
      if (this.busy) return;
      this.undo = { withdraw: true };
      this.takeBack();
    });
    const no = plain(words.take_back_no, () => {
      this.tell([]);
      this.show();
      [...this.buttons.querySelectorAll("button")].at(-1)?.focus();
    });
    this.tell([[put(words.take_back_ask, { text: this.data.text })]]);
    this.say.append(element("p", { className: "choice" }, yes, " ", no));
    this.buttons.replaceChildren();
    no.focus();
  }

  takesPart() {
    this.undo = { out: true };
    return this.takeBack();
  }

  offer(undo) {
    clearTimeout(this.undoing);
    this.undo = undo;
    this.undoing = setTimeout(() => {
      this.undo = undefined;
      this.show();
      settle();
    }, UNDO * 1000);
    this.show();
  }

  async takeBack() {
    const undo = this.undo;
    if (!undo || this.busy) return;
    this.busy = true;
    clearTimeout(this.undoing);
    undo.key ??= newKey();
    const match = { "if-match": `"${this.data.etag}"`, "idempotency-key": undo.key };
    let answer;
    if (undo.out) answer = await ask("DELETE", `${this.path}/not-taking-part`);
    else if (undo.withdraw) answer = await ask("POST", `${this.path}/withdrawal`, {}, match);
    else {
      // The earlier figures again, as a revision of its own, with the judge who stood for them.
      const { text, level, judge, how, sheet } = undo.before;
      undo.confirm ??= [];
      const body = { performance: text, level, confirm: undo.confirm };
      if (judge) body.attestation = { judge, how, ...(sheet && { sheet }) };
      if (undo.reason) body.reason = undo.reason;
      for (;;) {
        answer = await ask("PUT", this.path, body, match);
        const asked = answer?.json.confirm?.filter((code) => !body.confirm.includes(code));
        if (!asked?.length) break;
        // They were stored once: what was asked then was answered.
        body.confirm.push(...asked);
        match["idempotency-key"] = undo.key = newKey();
      }
    }
    this.busy = false;
    this.touch();
    if (later(answer)) {
      // Not known whether it was done: asked for again it is done once.
      this.offer(undo);
      return this.tell([[put(words.undo_failed, { why: answer ? words.undo_again : words.undo_offline }), "error"]]);
    }
    if (asksReason(answer.json.errors)) return this.undoReason(undo, answer.json);
    this.undo = undefined;
    this.saved = undefined;
    if (answer.status === 401) return this.signedOut();
    if (answer.status !== 200) {
      this.show();
      return this.tell([[put(words.undo_failed, { why: why(answer.json) }), "error"]]);
    }
    if (undo.out) this.data.state = "missing";
    else this.now(answer.json);
    this.show();
    this.tell([[put(words.undone, { time: clock() })]]);
    this.input?.focus();
    return refreshSoon();
  }

  // Better after the close again: why is asked beside the button that goes on.
  undoReason(undo, json) {
    clearTimeout(this.undoing);
    Object.assign(undo, { key: undefined });
    this.tell([[put(words.undo_failed, { why: why(json) }), "error"]]);
    const field = reasonField(this, undo.reason ?? "");
    field.addEventListener("input", () => (undo.reason = field.value));
    this.say.append(field);
    this.show();
    field.focus();
  }

  async takesNoPart() {
    const answer = await ask("POST", `${this.path}/not-taking-part`);
    this.touch();
    if (answer?.status === 401) return this.signedOut();
    if (answer?.status !== 200) {
      return this.tell([[put(words.not_stored, { why: answer ? why(answer.json) : words.undo_offline }), "error"]]);
    }
    this.data.state = "not_taking_part";
    this.saved = clock();
    this.offer({ out: true });
    this.tell([]);
    this.buttons.querySelector("button")?.focus();
    return refreshSoon();
  }

  // --- somebody was quicker

  async conflict(current) {
    const gone = current.state === "withdrawn";
    const history = await ask("GET", `${this.path}/history`);
    // Typed on or emptied meanwhile: it is said when that is stored.
    if (!this.entry || this.entry.send) return;
    const last = history?.json.items?.filter((i) => gone || i.performance || i.attestation).pop();
    const who = roles[last?.role] ?? words.somebody;
    const values = { who, theirs: current.performance.text, ours: this.entry.text };
    this.tell([[saying(gone ? words.taken_by : words.changed_by, values), "error"]], true);
    const keepTheirs = element("button", { type: "button", className: "plain", textContent: words.keep });
    const takeOurs = element("button", { type: "button", textContent: words.take });
    const choice = element("p", { className: "choice" }, keepTheirs, " ", takeOurs);
    this.say.append(choice);
    keepTheirs.addEventListener("click", () => {
      delete kept.rows[this.id];
      this.input.value = "";
      this.now(current);
      keep();
      this.show();
      this.tell([[words.kept_theirs]]);
      refreshSoon();
    });
    takeOurs.addEventListener("click", () => {
      if (!this.entry) return;
      this.now(current);
      this.entry.seen = current.etag;
      this.entry.level ??= current.level;
      this.save();
    });
    keepTheirs.focus();
  }

  signedOut() {
    this.tell([[words.signed_out, "error"]]);
    const back = encodeURIComponent(location.pathname);
    this.say.append(element("a", { href: `/signin?next=${back}`, textContent: words.sign_in }));
  }
}

const asksReason = (faults) => (faults ?? []).some((f) => f.code === "upward_needs_reason");
function reasonField(row, value) {
  const field = element("input", { className: "reason", name: "reason", value, placeholder: words.reason, autocomplete: "off" });
  field.setAttribute("aria-label", put(words.reason_of, { name: row.name }));
  field.setAttribute("aria-describedby", row.say.id);
  return field;
}

let changes = 0;
const sectionOf = (workout) => desk.querySelector(`section[data-workout="${CSS.escape(workout)}"]`);

// --- what is not sent yet -------------------------------------------------------------------------

const bar = {
  element: element("div", { className: "unsentbar noprint" }),
  said: element("p", {}),
  button: element("button", { type: "button", className: "plain" }),
  // Always there, so that no row moves when something is typed or sent.
  tell() {
    const n = Object.keys(kept.rows).length;
    this.element.classList.toggle("idle", n === 0 && navigator.onLine);
    const parts = [];
    if (n > 0) parts.push(n === 1 ? words.unsent_one : put(words.unsent, { n }));
    if (!navigator.onLine) parts.push(words.offline);
    const said = parts.join(" · ") || words.unsent_none;
    if (this.said.textContent !== said) this.said.textContent = said;
    this.button.textContent = n === 1 ? words.send_one : put(words.send_all, { n });
    this.button.hidden = n === 0 || !navigator.onLine;
  },
  // Of all that are sent together the first that is not taken is shown.
  lead(row) {
    if (!this.leads) return;
    this.leads = false;
    row.input.scrollIntoView({ block: "center" });
    row.input.focus({ preventScroll: true });
  },
};
bar.said.setAttribute("role", "status");
bar.element.append(bar.said, bar.button);
bar.button.addEventListener("click", () => {
  bar.leads = true;
  for (const id of Object.keys(kept.rows)) rows.get(id)?.ready();
  flush();
});
desk.prepend(bar.element);

// What is not answered is sent again after a pause, longer after each time in vain, and never before
// the service wants to be asked again. Of many rows that wait the first tells about all.
const AT_ONCE = 4;
let waiting;
let pause = 2;
let notBefore = 0;
let under;
function soon(after = 0) {
  bar.tell();
  clearTimeout(waiting);
  const seconds = Math.max(pause, after);
  notBefore = Date.now() + seconds * 1000;
  waiting = setTimeout(flush, seconds * 1000);
}
// Sends what was to be stored.
function flush() {
  clearTimeout(waiting);
  under ??= sendAll().finally(() => (under = undefined));
  return under;
}
async function sendAll() {
  const tried = new Set();
  let goes = true;
  const next = () => Object.keys(kept.rows).find((id) => goes && kept.rows[id].send && rows.has(id) && !tried.has(id));
  const some = async () => {
    for (let id = next(); id; id = next()) {
      tried.add(id);
      if (!(await rows.get(id).send())) goes = false;
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, some));
  pause = goes ? 2 : Math.min(pause * 2, 60);
}

// --- how far it is ----------------------------------------------------------------------------------

// By workout; grid.js shows them elsewhere on a wide screen.
const heads = new Map(
  [...desk.querySelectorAll("section[data-open]")].map((s) => [
    s.dataset.workout,
    Object.fromEntries(["summary", "home", "left", "windows"].map((part) => [part, s.querySelector(`.${part}`)])),
  ]),
);
// Rows that nobody is typing in become what the service has.
async function refresh() {
  for (const [workout, { summary, home }] of heads) {
    const asked = changes;
    const answer = await ask("GET", `/workouts/${workout}/scores?gym=${encodeURIComponent(gym)}`);
    if (answer?.status !== 200) return;
    const { entries, settled, awaiting, missing } = answer.json;
    await times(workout, answer.json);
    const said = put(words.summary, { settled, all: entries, waiting: awaiting, missing });
    if (summary.textContent !== said) summary.textContent = said;
    home.hidden = entries === 0 || missing + awaiting > 0;
    home.querySelector("span").textContent = put(words.all_done, { all: entries });
    for (const view of answer.json.rows) {
      const row = rows.get(`${workout}/${view.bib}`) ?? add(workout, view);
      if (row.entry || row.busy || row.undo || row.changed > asked) continue;
      if ((view.score?.etag ?? "") === row.data.etag && view.state === row.data.state) continue;
      row.saved = undefined;
      if (view.score) row.now(view.score);
      // Whose entry is withdrawn gets no more scores.
      if (view.entry_state === "withdrawn") row.li.setAttribute("data-locked", "");
      row.data.state = view.state;
      row.show();
      row.tell([]);
    }
  }
  settle();
  if (added) desk.dispatchEvent(new CustomEvent("rows"));
  added = false;
}
// The organiser gave more time, or took some of it back: the service says it in its own words.
async function times(workout, { closes, attest_by }) {
  const section = sectionOf(workout);
  const { left, windows } = heads.get(workout);
  const same = (a, b) => Date.parse(a) === Date.parse(b);
  if (same(left.firstElementChild.dataset.until, closes) && same(section.dataset.attestBy, attest_by)) return;
  try {
    const answer = await fetch(location.pathname, { headers: { accept: "text/html" }, signal: AbortSignal.timeout(20_000) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector(`section[data-workout="${CSS.escape(workout)}"][data-open]`);
    left.replaceChildren(...fresh.querySelector(".left").childNodes);
    windows.replaceChildren(...fresh.querySelector(".windows").childNodes);
    zoned(windows);
    section.dataset.attestBy = fresh.dataset.attestBy;
    for (const row of rows.values()) if (row.data.workout === workout) row.show();
  } catch {
    // Asked again with the next look.
  }
}
// What awaits a judge no more leaves the statement, once nobody is at it.
function settle() {
  for (const row of rows.values()) {
    if (row.entry || row.busy || row.undo || row.data.state === "entered" || row.li.contains(document.activeElement)) continue;
    if (leave(sectionOf(row.data.workout), row)) added = true;
  }
}
let added = false;
let refreshing;
function refreshSoon() {
  clearTimeout(refreshing);
  refreshing = setTimeout(refresh, 400);
}

// --- who comes later ----------------------------------------------------------------------------------

// A row for somebody whom the page did not bring: who was entered elsewhere meanwhile, or visits.
function add(workout, { bib, name, division, gym: home }) {
  const section = sectionOf(workout);
  const li = section.querySelector("template.blank").content.firstElementChild.cloneNode(true);
  const swap = (text) => text.replace(/-0$/, `-${bib}`).replace(/\/0(?=\?|$)/, `/${bib}`);
  li.id = swap(li.id);
  Object.assign(li.dataset, { bib, state: "missing", etag: "", level: "", division });
  li.toggleAttribute("data-visiting", home !== gym);
  for (const field of li.querySelectorAll("[id]")) field.id = swap(field.id);
  for (const label of li.querySelectorAll("label")) label.htmlFor = swap(label.htmlFor);
  const link = li.querySelector("a");
  link.href = swap(link.getAttribute("href"));
  li.querySelector("form").action = link.href;
  const [who, where] = link.querySelectorAll("bdi");
  who.textContent = name;
  where.textContent = divisions[division] ?? division;
  where.parentElement.firstChild.textContent = `${bib} · `;
  if (home !== gym) where.after(` · ${words.visiting}`);
  [...section.querySelectorAll("ul.todo")].at(-1).append(li);
  li.querySelector("label").textContent = `${name}, ${section.dataset.title}`;
  const row = new Row(li);
  row.levels(JSON.parse(section.dataset.levels)[division] ?? []);
  added = true;
  return row;
}

// Shown at once, and kept with what is typed.
function addVisitor(workout, bib, { name, division, gym: home }) {
  const row = add(workout, { bib, name, division, gym: home });
  row.visitor = { name, division, gym: home };
  row.unfold();
  added = false;
  desk.dispatchEvent(new CustomEvent("rows"));
  return row;
}

async function visitor(form) {
  const workout = form.elements.workout.value;
  const bib = form.elements.bib.value.trim();
  const trouble = form.querySelector(".error");
  trouble.hidden = true;
  if (!/^\d+$/.test(bib)) return form.elements.bib.focus();
  let row = rows.get(`${workout}/${Number(bib)}`);
  if (!row) {
    const answer = await ask("GET", `/entries/${Number(bib)}`);
    if (answer === undefined || answer.status !== 200) {
      trouble.replaceChildren(...(answer === undefined ? [words.offline] : saying(words.no_bib, { bib })));
      trouble.hidden = false;
      return undefined;
    }
    row = addVisitor(workout, Number(bib), answer.json);
  }
  form.reset();
  row.find();
  return undefined;
}

// --- begin ------------------------------------------------------------------------------------------

// A row shows its buttons from when its field is reached until another's is: nothing moves under a
// finger that presses something else.
desk.addEventListener("focusin", (event) => {
  if (!event.target.matches("input.perf")) return;
  for (const form of desk.querySelectorAll("form.entry.active")) form.classList.remove("active");
  event.target.form.classList.add("active");
  // Once the pad stands there.
  setTimeout(() => [...rows.values()].find((row) => row.input === event.target)?.reveal());
});
window.visualViewport?.addEventListener("resize", () => [...rows.values()].find((row) => row.input === document.activeElement)?.reveal());
// All that await a judge at once.
for (const form of desk.querySelectorAll("form.vouch")) {
  const boxes = () => [...form.querySelectorAll(".awaiting input[type=checkbox]:not(:disabled)")];
  const all = () => boxes().every((box) => box.checked);
  const button = plain("", () => {
    const ticked = !all();
    for (const box of boxes()) box.checked = ticked;
    tell();
  });
  const tell = () => (button.textContent = all() ? words.tick_none : words.tick_all);
  form.addEventListener("change", tell);
  form.addEventListener("ticks", tell);
  form.querySelector("ul").before(button);
  tell();
}
desk.classList.add("live");
if (kept.judge && !judging.elements.judge.value) judging.elements.judge.value = kept.judge;
if (kept.how && !new URLSearchParams(location.search).has("how")) judging.elements.how.value = kept.how;
judging.addEventListener("submit", (event) => event.preventDefault());
judging.addEventListener("change", () => useJudge());
judging.querySelector("button").addEventListener("click", () => useJudge());
useJudge(false);
for (const li of desk.querySelectorAll("li.row")) new Row(li);
for (const form of desk.querySelectorAll("form.visitor")) {
  form.addEventListener("input", () => (form.querySelector(".error").hidden = true));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    visitor(form);
  });
}
for (const [id, entry] of Object.entries(kept.rows)) {
  const [workout, bib] = id.split("/");
  if (rows.has(id)) continue;
  // Somebody who has left the list meanwhile is shown too: what is typed is not thrown away.
  if (sectionOf(workout)?.dataset.open !== undefined) addVisitor(workout, bib, entry.visitor ?? { name: bib, division: "" });
}
window.addEventListener("online", () => {
  pause = 2;
  bar.tell();
  flush().then(refresh);
});
window.addEventListener("offline", () => bar.tell());
// After a sleep, or back from signing in elsewhere.
document.addEventListener("woke", () => {
  if (Date.now() >= notBefore) flush();
  refresh();
});
setInterval(() => document.hidden || refresh(), 60_000);
bar.tell();
flush();
