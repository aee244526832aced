// What the pictures of tests/looks are called: the stop, or the problem, and how wide the page is.

import { germanOf, germans, problemName, problems } from "./stops.mjs";

export const named = (name) => name.toLowerCase().replace(/[^a-z0-9]+/g, "-");

/** The widths at which a page is kept: on a phone, and on a desk. */
export const widths = [390, 1280];

/** The file of a page at a width. */
export const picture = (name, width) => `${named(name)}-${width}.webp`;

/** Every picture that a walk through these stops takes; two of the same name are in it twice. */
export function pictures(stops) {
  const whole = [...stops.map(([, name]) => name), ...Object.keys(problems).map(problemName)];
  const short = germans.flatMap((who) => germanOf(stops, who)).map(([, name]) => `${name} in German`);
  return [...whole.flatMap((name) => widths.map((width) => picture(name, width))), ...short.map((name) => picture(name, widths[0]))];
}
