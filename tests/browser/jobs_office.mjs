// By keyboard alone, an organiser's: a late score, and the competition file.

import { assert, check, sees } from "./checks.mjs";
import { follow, to, type, write } from "./keyboard.mjs";
import { inTurn } from "./people.mjs";

/** The nth of those that wait. */
export function late({ how, c, page, n }) {
  return check(`${how}: an organiser lets a late score in`, async () => {
    const at = await page("organiser");
    await at.goto(`/c/${c}`);
    await follow(at, at.locator(`header a[href="/organise/${c}"], header a[href="/organise"]`));
    if (new URL(at.url()).pathname === "/organise") await follow(at, at.locator(`main a[href="/organise/${c}"]`));
    const action = await at.locator('form.decide[action*="/late/"]').nth(2 * n).getAttribute("action");
    const form = at.locator(`form[action="${action}"]`);
    await type(at, form.locator('input[name="reason"]'), "Power cut, told by telephone.");
    await follow(at, form.locator('button[value="admit"]'));
    await at.locator("[role=status]").getByText("Let in. The place counts from now on.").waitFor({ state: "visible" });
    assert((await at.locator(`details:not([open]) >> form[action="${action}"]`).count()) === (await form.count()), "it still waits");
  });
}

/** A line of the file is changed, looked at and in force, and again as it was. */
export function file({ how, c, page, running }) {
  const home = `/organise/${c}`;
  const [before, after] = ["what comes after the bell does not count.", "calories after the bell are not counted."];
  // There is one file in force.
  return check(`${how}: the organiser changes a line of the file, with its reason, and changes it back`, () => inTurn("file", async () => {
    const at = await page("organiser");
    const text = at.locator("#text");
    const apply = async (changed, reason) => {
      await at.goto(home);
      await follow(at, at.locator(`main nav a[href="${home}/file"]`));
      await write(at, text, changed);
      await follow(at, at.getByRole("button", { name: "Show what would change" }));
      assert((await at.locator("#changes ~ .scroll tbody tr").count()) === 1, "one line, one change");
      await type(at, at.locator("#reason"), reason);
      await follow(at, at.getByRole("button", { name: "Apply it" }));
      await sees(at, "Applied. It is in force.");
    };
    await at.goto(`${home}/file`);
    const file = await text.inputValue();
    assert(file.includes(before), "the standards of the running workout");
    // What cannot be read is said with its line, and nothing that was typed is lost.
    await to(at, text);
    await at.keyboard.press("ControlOrMeta+End");
    await at.keyboard.type("colour = \"green\"");
    await follow(at, at.getByRole("button", { name: "Show what would change" }));
    await at.locator("#errors").waitFor({ state: "visible" });
    assert((await text.inputValue()).endsWith("colour = \"green\""), "what was typed is lost");
    await apply(file.replace(before, after), "Asked for by several gyms.");
    await at.goto(`/c/${c}/workouts/${running}`);
    await sees(at, after);
    await apply(file, "The first words are clearer.");
    await at.goto(`${home}/file`);
    assert((await text.inputValue()) === file, "as it was");
  }));
}
