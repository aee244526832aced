// Somebody who has a keyboard alone: Tab and Shift with it, arrows, Enter and Space, and typing. On every step the
// focus has to be seen.

import { assert, comes } from "./checks.mjs";

// Whether the focus is on an element, or in a group of radio buttons; and whether it can be seen where it is: inside
// the window, with a ring of its own, and not under something else.
const where = (wanted) => {
  const e = document.activeElement;
  if (!e || e === document.body) return { none: true };
  const box = e.getBoundingClientRect();
  const style = getComputedStyle(e);
  // The button within a field for dates gets the browser's own ring, of which a page knows nothing.
  const button = /^date/.test(e.type ?? "") && !e.matches(":focus") && e.matches(":focus-within");
  const ring = button || (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2);
  const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.width > 0 && box.height > 0;
  const within = (low, part, high) => Math.min(Math.max(part, low + 1), high - 1);
  const open = [0.05, 0.5, 0.95].some((x) => [0.05, 0.5, 0.95].some((y) => {
    const [left, top] = [within(0, box.left + box.width * x, innerWidth), within(0, box.top + box.height * y, innerHeight)];
    const over = document.elementFromPoint(left, top);
    return over && (e.contains(over) || over.contains(e));
  }));
  const group = wanted.type === "radio" && e.type === "radio" && e.name === wanted.name && e.form === wanted.form;
  return { there: e === wanted, group, seen: ring && inside && open, html: `${e.outerHTML.slice(0, 120)} (${ring ? "a ring" : "no ring"}, ${inside ? "inside" : "outside"}, ${open ? "open" : "covered"})` };
};

/** Tab, or with Shift from the end of the page, until the focus is on what a locator finds. */
export async function to(page, wanted, { back = false } = {}) {
  await wanted.waitFor({ state: "visible" });
  const target = await wanted.elementHandle();
  for (let n = 0; n < 600; n += 1) {
    const at = await target.evaluate(where);
    assert(at.none || at.seen, `the focus cannot be seen: ${at.html}`);
    if (at.there || at.group) return;
    await page.keyboard.press(back ? "Shift+Tab" : "Tab");
  }
  throw new Error(`not reached by Tab: ${wanted}`);
}

/** Enter where the focus is, and the page that comes of it. */
export const enter = (page) => comes(page, () => page.keyboard.press("Enter"));

export async function follow(page, wanted, how) {
  await to(page, wanted, how);
  await enter(page);
}

export async function type(page, wanted, text) {
  await to(page, wanted);
  await page.keyboard.type(text);
}

/** In the place of what stands in a field; what is long comes from the clipboard. */
export async function write(page, wanted, text) {
  await to(page, wanted);
  await page.keyboard.press("ControlOrMeta+a");
  if (text.length > 200) await page.keyboard.insertText(text);
  else await page.keyboard.type(text);
  assert((await wanted.inputValue()) === text, `${(await wanted.inputValue()).slice(0, 80)} in the field`);
}

export async function tick(page, wanted) {
  await to(page, wanted);
  await page.keyboard.press("Space");
  assert(await wanted.isChecked(), `not ticked: ${wanted}`);
}

/** A summary is unfolded, where it is not. */
export async function unfold(page, summary) {
  await to(page, summary);
  const opened = () => summary.evaluate((e) => e.parentElement.open);
  if (!(await opened())) await page.keyboard.press("Enter");
  assert(await opened(), `still folded: ${summary}`);
}

/** One of a list, or of some radio buttons, by the arrows. */
export async function pick(page, list, value) {
  await to(page, list);
  const [from, want] = await list.evaluate((e, value) => [e.selectedIndex, [...e.options].findIndex((o) => o.value === value)], value);
  assert(want >= 0, `${value} is not in ${list}`);
  for (let n = from; n !== want; n += Math.sign(want - from)) await page.keyboard.press(want > from ? "ArrowDown" : "ArrowUp");
  assert((await list.inputValue()) === value, `${await list.inputValue()} is chosen`);
}

export async function choose(page, radio) {
  await to(page, radio);
  const target = await radio.elementHandle();
  for (let n = 0; n < 20 && !(await target.evaluate(where)).there; n += 1) await page.keyboard.press("ArrowDown");
  if (!(await radio.isChecked())) await page.keyboard.press("Space");
  assert((await target.evaluate(where)).seen && (await radio.isChecked()), `not chosen: ${radio}`);
}

/** On the page for it. */
export async function signsIn(page, { email, password }) {
  await page.goto("/signin");
  await type(page, page.locator("input[name=email]"), email);
  await page.keyboard.press("Tab");
  await page.keyboard.type(password);
  await enter(page);
  assert(new URL(page.url()).pathname !== "/signin", "signed in");
}
