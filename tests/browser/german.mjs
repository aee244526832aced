// The site in German: chosen in the foot of a page and kept, or asked for by the browser; what is
// typed is answered in German while it is typed. How its pages look is seen in pages.mjs.

import { assert, check, sees } from "./checks.mjs";
import { open } from "./people.mjs";

const language = (page) => page.evaluate(() => document.documentElement.lang);

async function anmelden(page, { email, password }) {
  await page.goto("/signin");
  await page.getByLabel("E-Mail").fill(email);
  await page.getByLabel("Passwort", { exact: true }).fill(password);
  await page.getByRole("main").getByRole("button", { name: "Anmelden" }).click();
  await page.waitForURL((url) => !url.pathname.startsWith("/signin"));
}

export async function inGerman(base, demo) {
  const series = `/c/${demo.competition}`;
  const person = (role) => demo.sign_in.find((s) => s.role === role);
  const gym = person("staff").gym;

  const anybody = await open(base, { locale: "en-GB" });
  await check("the language is chosen in the foot of a page, and kept", async () => {
    await anybody.page.goto("/");
    assert((await language(anybody.page)) === "en", "English first");
    await anybody.page.getByRole("link", { name: "Deutsch", exact: true }).click();
    await sees(anybody.page, "Wettkämpfe");
    await anybody.page.goto(series);
    assert((await language(anybody.page)) === "de", "kept");
    await sees(anybody.page, "So entstehen die Plätze");
  });
  const division = await anybody.page.locator("tbody th a").first().getAttribute("href");
  await check("a page leads to itself in the other language, with what was asked of it", async () => {
    await anybody.page.goto(`${division}?gym=${gym}`);
    await anybody.page.getByRole("link", { name: "English", exact: true }).click();
    const { pathname, search } = new URL(anybody.page.url());
    assert(pathname === division && search.includes(`gym=${gym}`), pathname + search);
    assert((await language(anybody.page)) === "en", "English again");
    await anybody.page.getByRole("link", { name: "Deutsch", exact: true }).click();
  });
  await anybody.close();

  const staff = await open(base, { locale: "de-DE" });
  await check("a gym's desk answers in German while somebody types", async () => {
    await anmelden(staff.page, person("staff"));
    await staff.page.goto(`/desk/${demo.competition}/${gym}`);
    await sees(staff.page, "Noch zu tun");
    const figure = staff.page.locator("input.perf").first();
    await figure.fill("viel");
    await sees(staff.page, "„viel“");
    await figure.fill("");
    await figure.press("Tab");
  });
  await staff.close();
}
