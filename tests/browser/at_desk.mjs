// A gym's desk as whoever works at it sees it: the same rows in lists on a phone and in the grid on a
// wide screen, with the same fields and words, found wherever they stand. For the walks along it.

import { open, send, signIn } from "./people.mjs";

/** One row. `li` carries what is stored of it, `work` its field, words and buttons. */
export class Row {
  constructor(page, id) {
    this.id = id;
    this.li = page.locator(`#${id}`);
    this.work = page.locator(`#${id} .work, .grid .work[data-row="${id}"]`);
    this.who = page.locator(`#${id} .who, .grid tr:has(.work[data-row="${id}"]) th`).filter({ visible: true });
    this.field = this.work.locator("input.perf");
    this.judge = this.work.locator("input.by");
    this.level = this.work.locator("select[name=level]");
    this.sheet = this.work.locator("input.sheet");
    this.reason = this.work.getByLabel(/^Reason for/);
  }

  data(name) {
    return this.li.getAttribute(`data-${name}`);
  }

  button(name) {
    return this.work.getByRole("button", { name });
  }

  async press(name) {
    await this.button(name).first().click();
  }

  async says(text) {
    await this.work.getByText(text).filter({ visible: true }).first().waitFor({ state: "visible" });
  }

  async saved() {
    await this.says(/^Saved (.+, )?\d\d:\d\d/);
  }

  async focused() {
    return this.field.evaluate((input) => input === document.activeElement);
  }

  /** Stores what is typed; a question about the figures is answered with yes. */
  async store() {
    await this.field.press("Enter");
    for (let i = 0; i < 4; i += 1) {
      const yes = this.button("Yes, it is right").first();
      const done = this.work.getByText(/^Saved (.+, )?\d\d:\d\d/);
      await yes.or(done).first().waitFor({ state: "visible" });
      if (await done.isVisible()) return;
      await yes.click();
      await this.field.press("Enter");
    }
  }

  async type(text) {
    await this.field.fill(text);
    await this.store();
  }

  /** Typed, and told which place it would have. */
  async checked(text) {
    await this.field.fill(text);
    await this.says(/^Would be \d+(st|nd|rd|th) of/);
  }
}

/** A desk that is open in a page; `on` is the same desk in another page. */
export class Desk {
  constructor(page, address, workout, written) {
    Object.assign(this, { page, address, workout, written });
    this.section = page.locator(`section[data-workout="${workout}"]`);
    this.missing = this.section.locator('ul.todo > li[data-state="missing"]');
    this.summary = page.locator(`section[data-workout="${workout}"] .summary, .grid th[data-workout="${workout}"] .summary`);
    this.visitor = this.section.getByLabel("Somebody from another gym: bib");
    this.vouching = this.section.locator("form.vouch");
  }

  /** The desk of who is signed in, with how a result of the running workout is written. */
  static async find(page, competition, gym) {
    const address = `/desk/${competition}/${gym}`;
    await page.goto(address);
    const workout = await page.locator("section.workout").first().getAttribute("data-workout");
    const written = await howWritten(page, competition, workout);
    return new Desk(page, address, workout, written);
  }

  on(page) {
    return new Desk(page, this.address, this.workout, this.written);
  }

  row(bib) {
    return new Row(this.page, `r-${this.workout}-${bib}`);
  }

  /** The row that is the nth of those with nothing stored, now. */
  async take(n = 0) {
    return new Row(this.page, await this.missing.nth(n).getAttribute("id"));
  }

  /** The written result with its first number so much less: other figures, still possible ones. */
  less(n) {
    return this.written.replace(/\d+/, (number) => String(Math.max(1, Number(number) - n)));
  }

  /** What is settled is folded away in a list, and always there in the grid. */
  async unfold() {
    const folded = this.section.locator("details.done-with:not([open]) > summary");
    if (await folded.isVisible()) await folded.click();
  }

  async counted(what) {
    return Number(new RegExp(`(\\d+) ${what}`).exec(await this.summary.innerText())[1]);
  }

  async vouchedBy(judge) {
    await this.page.locator("#judge").fill(judge);
    await this.page.locator("#judge").press("Tab");
  }
}

/** How a result of a workout is written, from its brief, in a page of its own. */
export async function howWritten(page, competition, workout) {
  const brief = await page.context().newPage();
  await brief.goto(`/c/${competition}/workouts/${workout}`);
  const rows = brief.locator("table", { has: brief.getByText("How to write a result") }).locator("tbody th");
  const written = (await rows.first().innerText()).trim();
  await brief.close();
  return written;
}

/** The sample's own staff: their gym, a judge of it, and how a page of theirs is signed in. */
export function staffOf(demo) {
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const staff = person("staff");
  return { gym: staff.gym, judge: person("judge").judge, enter: (page) => signIn(page, staff) };
}

/** Staff of another gym, where nobody has been at work: invited by the organiser for each page anew. */
export async function staffElsewhere(base, demo, gym) {
  const organiser = demo.sign_in.find((s) => s.role === "organiser");
  const api = `/api/v1/competitions/${demo.competition}`;
  let invited = 0;
  const enter = async (page) => {
    const office = await open(base);
    await signIn(office.page, organiser);
    invited += 1;
    const body = { email: `desk-${invited}-${Date.now()}@${gym}.example`, roles: [{ role: "staff", competition: demo.competition, gym }] };
    const { link } = await office.page.evaluate(async (body) => {
      const answer = await fetch("/api/v1/accounts", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
      return answer.json();
    }, body);
    await office.close();
    await page.goto(new URL(link).pathname + new URL(link).search);
    await page.getByRole("button", { name: "Sign in" }).click();
    await page.waitForURL((url) => !url.pathname.startsWith("/signin"));
  };
  const first = await open(base);
  await enter(first.page);
  const judges = await (await first.page.request.get(`${api}/judges?gym=${gym}`)).json();
  await first.close();
  return { gym, judge: judges[0].code, enter };
}

// Rows with nothing stored that an evening at a desk takes: some 45 were filled in when this was counted, and some more.
const AN_EVENING = 56;

/** The smallest gyms, but the sample's own, where enough is missing in a workout for an evening each. */
export async function gymsForAnEvening(base, demo, workout, n) {
  const office = await open(base);
  await signIn(office.page, demo.sign_in.find((s) => s.role === "organiser"));
  const api = `/api/v1/competitions/${demo.competition}`;
  const ask = async (path) => (await office.page.request.get(`${api}${path}`)).json();
  const own = staffOf(demo).gym;
  const gyms = (await ask("/gyms")).filter((gym) => gym.slug !== own);
  const left = [];
  for (const { slug } of gyms) {
    const { missing, entries } = await ask(`/workouts/${workout}/scores?gym=${slug}`);
    if (missing >= AN_EVENING) left.push([entries, slug]);
  }
  await office.close();
  if (left.length < n) throw new Error(`${left.length} gyms have enough left`);
  return left.sort(([a], [b]) => a - b).slice(0, n).map(([, slug]) => slug);
}

/** Somebody new of a gym for whoever needs rows that nobody has touched, entered by the organiser: their bibs, and how they are taken out again. */
export async function newcomers(base, demo, gym, n) {
  const office = await open(base);
  await signIn(office.page, demo.sign_in.find((s) => s.role === "organiser"));
  const api = `/api/v1/competitions/${demo.competition}/entries`;
  const first = 970_000 + Math.floor(Math.random() * 9_000);
  const bibs = Array.from({ length: n }, (_, i) => first + i);
  const rows = bibs.map((bib, i) => ({ bib, name: `Somebody new ${i + 1}`, born: "1996-04-02", category: "women", division: "women", gym }));
  const told = await send(office.page, "POST", api, rows);
  if (told.json.taken !== n) throw new Error(JSON.stringify(told));
  const leave = async () => {
    for (const bib of bibs) {
      const { status, json } = await send(office.page, "PATCH", `${api}/${bib}`, { state: "removed", reason: "entered for a check" });
      if (status !== 200) throw new Error(JSON.stringify(json));
    }
    await office.close();
  };
  return { bibs, leave };
}
