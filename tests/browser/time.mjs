// Countdowns with a clock of our own: a device that is set wrong, a laptop that slept, a page that is
// looked at again, a reader in another zone, and none of it without scripts.

import { assert, check } from "./checks.mjs";
import { open, signIn } from "./people.mjs";

const HOUR = 3600_000;

/** Minutes that a countdown's words say. */
const minutes = (text) => {
  const of = (unit) => Number(new RegExp(`(\\d+)\\s*${unit}`).exec(text)?.[1] ?? 0);
  return of("day") * 1440 + of("h\\b") * 60 + of("min");
};

/** What is left of the running workout: its words, and what they should be by this machine's clock. */
async function left(page) {
  const element = page.locator("[data-until]").first();
  const until = Date.parse(await element.getAttribute("data-until"));
  return { text: await element.innerText(), right: Math.floor((until - Date.now()) / 60_000) };
}

/** Words of two units, the smaller one cut down: right within the smaller unit. */
const fits = (said, right) => said <= right + 1 && said >= right - (right >= 1440 ? 60 : 1);

export async function countdowns(base, demo) {
  await check("a countdown is right on a device whose clock is three hours wrong", async () => {
    const { page, close } = await open(base);
    await page.clock.install({ time: Date.now() + 3 * HOUR });
    await page.goto("/");
    const { text, right } = await left(page);
    assert(fits(minutes(text), right), `${text}, not ${right} min`);
    await close();
  });
  await check("after two hours of sleep a countdown has gone on by two hours", async () => {
    const { page, close } = await open(base);
    await page.clock.install({ time: Date.now() });
    await page.goto("/");
    const before = await left(page);
    await page.route("**/healthz", (route) => route.abort());
    await page.clock.fastForward("02:00:00");
    const after = await left(page);
    assert(fits(minutes(after.text), before.right - 120), `${before.text}, then ${after.text}`);
    // Looked at again, it asks the server, whose clock did not move.
    await page.unroute("**/healthz");
    await page.clock.fastForward("00:00:09");
    await page.evaluate(() => window.dispatchEvent(new Event("focus")));
    await page.waitForFunction((text) => document.querySelector("[data-until]").textContent !== text, after.text);
    const again = await left(page);
    assert(fits(minutes(again.text), again.right), `${again.text}, not ${again.right} min`);
    await close();
  });
  await check("at a desk it is said how long until the close, then how long first scores count, then judges' word", async () => {
    const { page, close } = await open(base);
    const staff = demo.sign_in.find((s) => s.role === "staff");
    await signIn(page, staff);
    await page.clock.install({ time: Date.now() });
    await page.goto(`/desk/${demo.competition}/${staff.gym}`);
    // The device alone knows the time from now on.
    for (const asked of ["**/healthz", "**/api/**", "**/desk/**"]) await page.route(asked, (route) => route.abort());
    const left = page.locator("section.workout .left strong").first();
    const { until, graceUntil } = await left.evaluate((element) => ({ ...element.dataset }));
    assert(/^closes in /.test(await left.innerText()), await left.innerText());
    const grace = (Date.parse(graceUntil) - Date.parse(until)) / 60_000;
    assert(grace >= 5, `${grace} min of grace`);
    await page.clock.fastForward(Date.parse(until) - Date.now() + 120_000);
    const said = await left.innerText();
    assert(/^closed; first scores still count for another /.test(said) && fits(minutes(said), grace - 2), said);
    await page.clock.fastForward(grace * 60_000);
    assert(/^closed; judges can vouch for another /.test(await left.innerText()), await left.innerText());
    await close();
  });
  await check("a deadline is said in the reader's zone where that is another", async () => {
    for (const [timezoneId, notes] of [["Asia/Tokyo", true], ["Europe/Lisbon", false]]) {
      const { page, close } = await open(base, { timezoneId });
      await page.goto("/");
      const said = await page.getByText("your time").count();
      assert(said > 0 === notes, `${timezoneId}: ${said}`);
      await close();
    }
  });
  await check("at a desk, in heats and on a brief every deadline has its zone, and the reader's", async () => {
    const person = (role) => demo.sign_in.find((s) => s.role === role);
    for (const [timezoneId, notes] of [["Asia/Tokyo", true], ["Europe/Lisbon", false]]) {
      const { page, close } = await open(base, { timezoneId });
      await signIn(page, person("staff"));
      const desk = `/desk/${demo.competition}/${person("staff").gym}`;
      await page.goto(desk);
      const workout = await page.locator("section.workout").first().getAttribute("data-workout");
      for (const path of [desk, `${desk}/heats/${workout}`, `/c/${demo.competition}/workouts/${workout}`]) {
        await page.goto(path);
        const times = page.locator("main time[data-zone]");
        const n = await times.count();
        if (path !== `${desk}/heats/${workout}`) assert(n > 0, `${path}: no deadline`);
        for (const time of await times.all()) {
          const [at, zone] = [await time.getAttribute("datetime"), await time.getAttribute("data-zone")];
          const hour = new Intl.DateTimeFormat("en", { timeZone: zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(new Date(at));
          assert((await time.textContent()).includes(hour), `${path}: ${await time.textContent()} is not ${hour}`);
        }
        assert((await page.locator("main").getByText("your time").count()) > 0 === (notes && n > 0), `${path} in ${timezoneId}`);
      }
      await page.goto(desk);
      assert((await page.locator("section.workout").first().getByText(/\(Europe\/Lisbon\)/).count()) >= 2, "the zone's name");
      await close();
    }
  });
  await check("without scripts the time left and the deadline stand", async () => {
    const { page, close } = await open(base, { javaScriptEnabled: false });
    await page.goto("/");
    const { text, right } = await left(page);
    assert(fits(minutes(text), right), text);
    assert((await page.locator("main time[datetime]").count()) > 0, "no absolute time");
    await close();
  });
}
