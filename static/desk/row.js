// One athlete's row of one workout: its field and words, checked as somebody types, and as the service
// has it. What storing and taking back do stands beside.

import { ask, asksReason, inTurn, later, why } from "./ask.js";
import { asks } from "./asked.js";
import { blankOf, changes, clock, desk, divisions, element, gym, idOf, lateLines, named, ordinal, plain, reasonField, rows, sayNth, saying, sectionOf, states, told, words } from "./brought.js";
import { planned } from "./heats.js";
import { called, meant } from "./judge.js";
import { keep, kept, signedOut, where } from "./kept.js";
import { barHeight } from "./queue.js";
import { onTop, ready, save, send } from "./store.js";
import { now, put } from "../time.js";
import { askTakeBack, mayState, mayTakeBack, takeBack, takesNoPart, takesPart } from "./undo.js";
import { tick } from "./vouch.js";

export class Row {
  constructor(li) {
    this.li = li;
    this.id = idOf(li.dataset.workout, li.dataset.bib, "other" in li.dataset && li.dataset.attempt);
    this.path = `/workouts/${li.dataset.workout}/scores/${li.dataset.bib}`;
    this.work = li.querySelector(".work");
    // It stands there once: of hundreds of rows that is a twentieth of the page.
    li.dataset.text = this.work.querySelector(".value").textContent;
    this.name = li.querySelector("bdi").textContent;
    this.href = li.querySelector("a").getAttribute("href");
    this.asked = 0;
    this.changed = 0;
    // What is stored is being corrected, whatever stands in the field; somebody was quicker, and it is
    // asked whose holds.
    this.correcting = this.deciding = false;
    // Not known whether it was noted that somebody takes no part.
    this.unsure = false;
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
    this.sheet = form.elements.sheet;
    this.sheet.setAttribute("aria-label", put(words.sheet_of, { name: this.name, workout: sectionOf(this.data.workout).dataset.title }));
    this.sheet.addEventListener("input", () => this.input.value.trim() && this.typed());
    planned(this);
    this.input.inputMode = "numeric";
    this.input.setAttribute("aria-describedby", this.say.id);
    this.input.addEventListener("input", () => this.typed());
    this.level?.addEventListener("change", () => this.typed());
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const absent = this.input.value.trim() === "";
      if (!absent && !this.save()) return;
      const next = this.next();
      if (next) next.focus();
      else if (absent) this.input.blur();
    });
  }

  // Who counted in this lane; those of the same heat without a judge get the same.
  judged() {
    const { turn, workout } = this.data;
    const heat = `${turn.split(".")[0]}.`;
    const without = (row) => row.by?.value.trim() === "" && row.data.workout === workout && row.data.turn.startsWith(heat);
    const others = meant(this.by.value).trouble ? [] : [...rows.values()].filter(without);
    for (const row of others) row.countedBy(this.by.value);
    // What is written holds, also where the desk's judge is the same now: that one may be another later.
    for (const row of new Set([this, ...others])) {
      const { planned } = row.by.dataset;
      if (row.by.value === called(planned) && (planned || !kept.judge)) delete kept.by[row.id];
      else kept.by[row.id] = row.counting;
    }
    keep();
    if (this.entry || this.correcting) this.typed();
  }

  // Who counts in this lane is said elsewhere; what is typed here already goes out with it.
  countedBy(said) {
    this.by.value = said;
    if (this.entry && !this.entry.send) this.entry.by = this.counting;
  }

  // Who counts in this lane, with whom the plan has for it.
  get counting() {
    return this.by ? { planned: this.by.dataset.planned, typed: this.by.value } : undefined;
  }

  // What was written over the plan holds as long as the plan is that one; whether it does.
  judgedBy(counting) {
    const holds = this.by !== null && counting?.planned === this.by.dataset.planned;
    if (holds) this.by.value = counting.typed;
    return holds;
  }

  // Who counts in the lane: who stands for what is stored, else as it was written here, who is planned, who
  // vouches at the desk. The same whenever it is asked, so that loading the page again changes nothing.
  lane() {
    if (!this.by) return;
    if (this.data.judge && !this.open) this.by.value = called(this.data.judge);
    else if (!this.judgedBy(kept.by[this.id])) {
      delete kept.by[this.id];
      this.by.value = called(this.by.dataset.planned || kept.judge || "");
    }
  }

  // A form as the page brings it, to be this row's.
  blank() {
    const form = blankOf(this.data.workout).querySelector("form").cloneNode(true);
    const own = this.li.id.slice(`r-${this.data.workout}`.length);
    for (const field of form.querySelectorAll("[id]")) field.id = field.id.replace(/-0$/, own);
    for (const label of form.querySelectorAll("label")) label.htmlFor = label.htmlFor.replace(/-0$/, own);
    return form;
  }

  // A field for a row that came without one.
  makeForm() {
    if (this.form) return;
    const form = this.blank();
    form.action = this.href;
    form.querySelector("label").textContent = this.label();
    (this.work.querySelector(".now") ?? this.work.querySelector(".tick")).after(form);
    this.useForm(form);
    this.levels(JSON.parse(sectionOf(this.data.workout).dataset.levels)[this.data.division ?? ""] ?? []);
  }

  correct() {
    this.makeForm();
    this.correcting = true;
    this.input.value = this.data.text;
    this.levelAsStored();
    this.show();
    this.input.focus();
    this.input.select();
  }

  // Away from a correction: what is stored stays.
  leaving() {
    const leave = () => {
      this.correcting = false;
      if (this.data.judge) delete kept.by[this.id];
      this.clear();
      this.typed();
      this.buttons.querySelector("button")?.focus();
      told("stored", this.data.workout);
    };
    const { state, text } = this.data;
    return plain(state === "not_taking_part" ? words.keep_out : put(words.keep_stored, { text }), leave, this.name);
  }

  // Nothing is typed any more.
  clear() {
    this.input.value = "";
    this.sheet.value = "";
    this.reason?.remove();
    this.reason = undefined;
  }

  levelAsStored() {
    if (this.level && this.data.level) this.level.value = this.data.level;
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
    return named(`${this.name}, ${sectionOf(this.data.workout).dataset.title}`, this.data);
  }

  // For the line in the statement.
  described() {
    const sheetLabel = named(put(words.sheet_of, { name: this.name, workout: sectionOf(this.data.workout).dataset.title }), this.data);
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
      // What was seen is of one attempt, whichever counts by now.
      const { seen, attempt, visitor } = this.entry ?? { seen: this.data.etag, attempt: this.data.attempt };
      const [level, reason, sheet] = [this.level, this.reason, this.sheet].map((field) => field?.value);
      const by = this.counting;
      kept.rows[this.id] = { text, level, by, reason, sheet, confirm: [], seen, attempt, visitor: visitor ?? this.visitor };
    }
    keep();
    this.undo = this.saved = undefined;
    this.deciding = this.unsure = false;
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
    this.judgedBy(by);
    this.sheet.value = sheet ?? "";
    if (level && this.level) this.level.value = level;
    this.show();
    if (!send) this.checkSoon();
  }

  body() {
    const { text, level, attempt, confirm = [] } = this.entry;
    const body = { performance: text, confirm };
    if (attempt) body.attempt = Number(attempt);
    if (level || this.data.level) body.level = level || this.data.level;
    if (!this.data.etag) body.gym = gym;
    // When it was done as the heat says, once that has begun.
    if (!this.data.etag && Date.parse(this.data.done) <= now()) body.performed_at = this.data.done;
    const [judge, sheet] = [this.judge, this.entry.sheet?.trim()];
    const how = this.same && judge === this.data.judge && mayState(judge, this.data.how) ? this.data.how : kept.how;
    if (judge) body.attestation = { judge, how, ...(sheet && { sheet }) };
    if (this.entry.reason) body.reason = this.entry.reason;
    return body;
  }

  // Whether the figures are those that are stored, and somebody stands for them.
  get same() {
    const { text, level } = this.entry ?? {};
    return Boolean(this.data.judge) && text?.trim() === this.data.text && (!level || level === this.data.level);
  }

  // Who vouches. Figures as they are stored keep the judge who stands for them, unless the lane names another.
  get judge() {
    if (this.by) return meant(this.by.value).code;
    return this.same ? this.data.judge : kept.judge;
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
    // Whose holds is asked before anything else.
    if (!this.entry || this.entry.send || this.deciding) return;
    this.asked += 1;
    const turn = this.asked;
    const holds = () => turn === this.asked && this.entry && !this.entry.send;
    const answer = await inTurn(() => holds() && ask("POST", `${this.path}/check`, this.body()));
    if (!holds()) return;
    if (answer?.status === 401) return this.signedOut();
    if (later(answer)) {
      this.tell([[answer ? words.unchecked : where("offline")]]);
      // Nothing is stored of what is only typed: it is looked at again, not before the service wants that.
      this.timer = setTimeout(() => this.check(), Math.max(answer?.after ?? 0, 5) * 1000);
      return;
    }
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
    const said = lines.map(([text, kind, code]) => ({ text, kind, code, line: element("p", { className: kind ?? "" }, ...[text].flat()) }));
    this.say.replaceChildren(...said.map(({ line }) => line));
    asks(this, said.filter(({ kind }) => kind === "ask"));
    this.reveal();
  }

  // The focus goes to what is asked here, unless somebody is at another place by now: what they type stays where
  // it was meant. The bar leads here. Whether it does.
  reach(field) {
    const at = document.activeElement;
    const elsewhere = at && at !== document.body && !this.work.contains(at) && !this.li.contains(at);
    if (!elsewhere) field?.focus();
    return !elsewhere;
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
    const above = input.getBoundingClientRect().top - barHeight() - 8;
    const by = Math.min(below, above);
    if (by > 0) window.scrollBy({ top: by, behavior: "instant" });
  }

  // --- stored

  save() {
    return save(this);
  }

  ready() {
    return ready(this);
  }

  send() {
    return send(this);
  }

  onTop(etag) {
    return onTop(this, etag);
  }

  // What is asked for before now may be older than this row.
  touch() {
    changes.n += 1;
    this.changed = changes.n;
  }

  // The row as the service has it.
  now(view) {
    const untouched = this.correcting && !this.entry && this.input.value === this.data.text;
    Object.assign(this.data, {
      state: view.state,
      etag: view.etag,
      attempt: view.attempt,
      text: view.performance.text,
      level: view.level,
      // A correction that came late waits beside the score: that is what was saved.
      received: (view.waiting ?? view).received_at,
      judge: view.attestation?.judge ?? "",
      how: view.attestation?.how ?? "",
      sheet: view.sheet ?? "",
    });
    if (!this.entry) this.levelAsStored();
    // What stands in the field to be corrected is what is stored.
    if (untouched) this.input.value = this.open ? "" : this.data.text;
    this.li.toggleAttribute("data-locked", view.locked || ["flagged", "withheld"].includes(view.state));
    this.work.querySelector(".late").replaceChildren(...lateLines(view).map((said) => element("p", {}, ...[said].flat())));
  }

  // Whether nothing is stored that could be corrected.
  get open() {
    return ["missing", "withdrawn", "guest"].includes(this.data.state);
  }

  // Whether somebody is at it: then it is left as it is.
  get inHand() {
    return Boolean(this.entry || this.busy || this.undo);
  }

  show() {
    const { state, text } = this.data;
    const { entry, open } = this;
    const mayCorrect = !open && state !== "not_taking_part" && !("locked" in this.data);
    this.correcting = !open && (Boolean(entry) || (this.correcting && mayCorrect));
    const value = this.work.querySelector(".value");
    value.textContent = text ?? "";
    this.work.querySelector(".state").textContent = states[state] ?? state;
    sayNth(this.work.querySelector(".state"), this.data);
    if (open) this.makeForm();
    if (this.form) this.form.hidden = !open && !this.correcting;
    if (!entry && this.by !== document.activeElement) this.lane();
    tick(sectionOf(this.data.workout), this);
    this.li.classList.toggle("unsent", Boolean(entry));
    const buttons = [];
    const settled = !entry && !open && !this.correcting;
    const received = settled && this.data.received;
    const saved = this.saved ?? (received ? clock(Date.parse(received)) : undefined);
    if (saved) buttons.push(element("span", { className: "saved", textContent: put(words.saved_at, { time: saved }) }));
    if (this.undo && !this.correcting) buttons.push(plain(words.undo, () => takeBack(this)));
    if (entry) buttons.push(element("span", { className: "saved", textContent: words.typed }));
    // What is on its way, or may have come, is not called back by a word here; where somebody was quicker, it is
    // asked apart.
    if (this.correcting && !this.busy && !this.deciding && !entry?.tried) buttons.push(this.leaving());
    if (entry || this.correcting) {
      // Nothing else: it is in hand.
    } else if (open && this.form && !["visiting", "other"].some((one) => one in this.data)) {
      const out = plain(words.out, () => takesNoPart(this), this.name);
      out.classList.add("out");
      buttons.push(out);
    } else if (state === "not_taking_part" && !this.undo && !("visiting" in this.data) && !("locked" in this.data)) {
      buttons.push(plain(words.in_again, () => takesPart(this), this.name));
    } else if (mayCorrect) {
      buttons.push(plain(words.correct, () => this.correct(), this.name));
      if (!this.undo && mayTakeBack(this)) buttons.push(plain(words.take_back, () => askTakeBack(this), this.name));
    }
    this.buttons.replaceChildren(...buttons);
    told("shown", this.li);
  }

  signedOut() {
    this.tell([[signedOut(), "error"]]);
  }
}
