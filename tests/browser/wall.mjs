// A gym's screen on its wall: what does not fit is shown page by page, a connection that is cut is said
// with since when, a laptop that slept is right again as it wakes.

import { assert, check, sees, sound } from "./checks.mjs";
import { open } from "./people.mjs";

const SCREEN = { width: 1280, height: 720 };

/** Names on the screen now, each with whether it is inside of it. */
const seen = (page) =>
  page.locator("#wall tbody tr").evaluateAll((all) =>
    all
      .filter((row) => row.offsetParent)
      .map((row) => ({ name: row.textContent, inside: row.getBoundingClientRect().bottom <= window.innerHeight, under: row.closest("table").caption.textContent })),
  );

export async function walls(base, demo) {
  const { gym } = demo.sign_in.find((s) => s.role === "staff");
  const address = `/desk/${demo.competition}/${gym}/wall`;
  const plain = await open(base, { javaScriptEnabled: false, viewport: SCREEN });
  await plain.page.goto(address);
  const all = (await seen(plain.page)).map((row) => row.name);
  await check("without scripts the whole screen is there, to be scrolled", async () => {
    assert(all.length > 20, `${all.length} rows`);
    assert((await plain.page.locator("meta[http-equiv=refresh]").count()) === 1, "it is loaded again");
  });
  await check("each division's name stands over its first row, in the same column", async () => {
    const apart = await plain.page.locator("#wall table").evaluateAll((all) =>
      all
        .filter((table) => table.rows.length > 1)
        .map((table) => [table.caption.getBoundingClientRect(), table.tBodies[0].rows[0].getBoundingClientRect(), table.caption.textContent])
        .filter(([name, row]) => Math.abs(name.left - row.left) > 2 || row.top < name.bottom - 2)
        .map(([, , text]) => text),
    );
    assert(apart.length === 0, apart.join(", "));
  });
  await plain.close();

  const at = await open(base, { viewport: SCREEN });
  const { page, context } = at;
  const pager = page.locator("#wall-pages span");
  await page.clock.install({ time: Date.now() });
  await check("what does not fit is on other pages, and everybody is on exactly one of them", async () => {
    await page.goto(address);
    await sees(page, /^Page 1 of \d+$/);
    const pages = Number((await pager.innerText()).split(" ").pop());
    const found = [];
    for (let n = 1; n <= pages; n += 1) {
      await sees(page, `Page ${n} of ${pages}`);
      const rows = await seen(page);
      assert(rows.length > 0 && rows.every((row) => row.inside), `page ${n}: ${rows.filter((r) => !r.inside).length} of ${rows.length} rows below the screen`);
      assert(rows.every((row) => row.under.trim()), "each division has its name");
      found.push(...rows.map((row) => row.name));
      await page.getByRole("button", { name: "The next page" }).click();
    }
    await sees(page, `Page 1 of ${pages}`);
    assert(String([...found].sort()) === String([...all].sort()), `${found.length} rows on pages, ${all.length} in all`);
  });
  await check("pages turn by themselves, and stay when they are told to", async () => {
    await sees(page, /^Page 1 of/);
    await page.clock.fastForward(13_000);
    await sees(page, /^Page 2 of/);
    await page.getByRole("button", { name: "Stop updating" }).click();
    await page.clock.fastForward(40_000);
    await sees(page, /^Page 2 of/);
    await sees(page, /^Stopped at/);
    await page.getByRole("button", { name: "The page before" }).click();
    await sees(page, /^Page 1 of/);
    await page.getByRole("button", { name: "Go on updating" }).click();
    await sees(page, /^Looked at/);
  });
  await check("a network that is cut is said with since when, and that it is back", async () => {
    await context.setOffline(true);
    await sees(page, /^No connection since \d\d:\d\d: what is shown may be old\.$/);
    await page.clock.fastForward(20_000);
    await sees(page, /^No connection since/);
    assert((await seen(page)).length > 0, "what was there stays");
    await context.setOffline(false);
    await sees(page, /^Looked at \d\d:\d\d$/);
  });
  await check("a page that is not the service's is no look at it", async () => {
    const agree = { status: 200, contentType: "text/html", body: "<!doctype html><title>Free network</title><p>Agree to go on." };
    await page.route("**/*", (route) => route.fulfill(agree));
    await page.clock.fastForward(20_000);
    await sees(page, /^No connection since \d\d:\d\d: what is shown may be old\.$/);
    assert((await seen(page)).length > 0, "what was there stays");
    await page.unroute("**/*");
    await page.clock.fastForward(16_000);
    await sees(page, /^Looked at/);
  });
  await check("a laptop that slept says at once since when it is old, and counts right", async () => {
    await page.route("**/*", (route) => route.abort());
    const left = page.locator("#wall [data-until]");
    const before = await left.innerText();
    await page.clock.fastForward("26:00:00");
    // A night later the day is said too.
    await sees(page, /^No connection since \w+,? .*\d\d:\d\d: what is shown may be old\.$/);
    assert((await left.innerText()) !== before, `${before} still`);
    await page.unroute("**/*");
    await page.clock.fastForward(16_000);
    await sees(page, /^Looked at/);
  });
  await check("the screen does nothing odd", async () => assert(page.odd.length === 0, page.odd.join("\n")));
  await at.close();

  const hand = await open(base);
  await check("in a hand it is one page, to be scrolled", async () => {
    await hand.page.goto(address);
    await sees(hand.page, /^Looked at/);
    assert((await seen(hand.page)).length === all.length, "everybody is there");
    assert(!(await hand.page.locator("#wall-pages").isVisible()), "and no pages");
  });
  await hand.close();

  const still = await open(base, { viewport: SCREEN });
  await still.page.goto(`${address}?still=yes`);
  await sound(still.page, "the gym's screen by pages");
  await still.close();
}
