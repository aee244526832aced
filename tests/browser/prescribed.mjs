// What a competition file prescribes, read here from the file alone: the lines that a judge's sheet has to tick,
// and the rows of a brief, in each language.

const LANGUAGES = {
  en: { decimal: String, tick: "Level done (tick one):", none: "no load or height given", nothing: "Nothing is prescribed beyond the movements." },
  de: {
    decimal: (n) => String(n).replace(".", ","),
    tick: "Level (eines ankreuzen):",
    none: "kein Gewicht, keine Höhe vorgegeben",
    nothing: "Über die Übungen hinaus ist nichts vorgegeben.",
  },
};
export const words = (lang) => LANGUAGES[lang];

// The international pound, in kilograms; an inch is 2.54 cm.
const POUND = 0.45359237;
const inPounds = (kg) => Math.round(kg / POUND);
const inKilograms = (lb) => Math.round((lb * POUND) * 10) / 10;
const each = (numbers) => [numbers].flat();

// `30, 35, 40 kg`, with decimals as the language writes them.
function measured(numbers, unit, { decimal }) {
  const all = each(numbers).map(decimal);
  return `${all.join(all.some((n) => n.includes(",")) ? "; " : ", ")} ${unit}`;
}

/** `kettlebell 16 kg (35 lb)`: what the file has first, and the other unit beside it, worked out where it has none. */
function load(raw, lang) {
  const kg = measured(raw.kg ?? each(raw.lb).map(inKilograms), "kg", words(lang));
  const lb = measured(raw.lb ?? each(raw.kg).map(inPounds), "lb", words(lang));
  const [first] = Object.keys(raw).filter((key) => key === "kg" || key === "lb");
  return first === "kg" ? `${raw.item} ${kg} (${lb})` : `${raw.item} ${lb} (${kg})`;
}

function height(raw, lang) {
  const cm = measured(raw.cm ?? Math.round(raw.inch * 2.54), "cm", words(lang));
  const inch = measured(raw.inch ?? Math.round(raw.cm / 2.54), "in", words(lang));
  return raw.cm === undefined ? `${raw.item} ${inch} (${cm})` : `${raw.item} ${cm} (${inch})`;
}

const items = (p, lang) => [...(p.loads ?? []).map((l) => load(l, lang)), ...(p.heights ?? []).map((h) => height(h, lang))];

const levels = (file) => file.competition.levels ?? ["prescribed", "scaled"];
const levelTitle = (file, level) => file.competition.level_titles?.[level] ?? level;
const own = (file, division) => division.level ?? levels(file)[0];
const plainDivisions = (file) => file.division.filter((d) => !d.combines);
const of = (file, workout, division, level) =>
  workout.prescription.find((p) => p.divisions.includes(division.slug) && (p.level ?? own(file, division)) === level);

// What is counted otherwise than in the workout itself: levels that differ in it are not on one sheet.
const counted = (p) => JSON.stringify(["cap", "stations", "blocks", "rounds", "repeat", "list", "ladder"].map((key) => p[key] ?? null));

function tick(file, level, p, lang) {
  const alternatives = p.alternatives ? `. ${p.alternatives}` : "";
  return `${levelTitle(file, level)}: ${items(p, lang).join(", ") || words(lang).none}${alternatives}`;
}

/** Every sheet that there is of a workout: the division, the level, whether it is the division's own, and the lines to tick. */
export function sheetsOf(file, workout, lang) {
  const found = [];
  for (const division of plainDivisions(file)) {
    const all = levels(file).map((level) => [level, of(file, workout, division, level)]).filter(([, p]) => p);
    for (const [level, p] of all) {
      const same = all.filter(([other, q]) => other === level || counted(q) === counted(p));
      found.push({ division, level, own: level === own(file, division), ticks: same.map(([other, q]) => tick(file, other, q, lang)) });
    }
  }
  return found;
}

/** The rows of a workout's brief: who, which level, the loads and heights, and what may be done instead. */
export function rowsOf(file, workout, lang) {
  const title = (slug) => file.division.find((d) => d.slug === slug).title;
  const level = (p) => levelTitle(file, p.level ?? own(file, file.division.find((d) => d.slug === p.divisions[0])));
  const row = (p) => [p.divisions.map(title).join(", "), level(p), items(p, lang), p.alternatives ?? ""];
  return workout.prescription.map(row).filter(([, , loads, instead]) => loads.length || instead);
}
