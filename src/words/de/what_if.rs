//! What the box that works out another result says in German, and what is said of percentiles.

use crate::words::en::what_if::WhatIf;

/// German.
pub const WHAT_IF: WhatIf = WhatIf {
    title: "Was wäre, wenn?",
    about: "Probier ein anderes Ergebnis: Die Plätze werden berechnet, als wäre es das, was zählt. Nichts wird gespeichert, und niemand sieht es.",
    workout: "Workout",
    level: "Level",
    performance: "Ergebnis",
    button: "Berechnen",
    with: "Mit {text} in {workout}",
    caption: "Plätze jetzt und mit {text}",
    among: "Unter",
    place_now: "Platz jetzt",
    place_then: "Platz dann",
    overall_now: "Gesamt jetzt",
    overall_then: "Gesamt dann",
    of: "{ordinal} von {of}",
    of_with: "{ordinal} von {of}, {points}",
    none: "keiner",
    same: "Nichts würde sich ändern.",
    not_counted: "{workout} zählt in der Gesamtwertung noch nicht, sie bleibt also, wie sie ist.",
    check: "Bitte prüfen: {said}",
    busy: "Gerade probieren das viele. Warte ein paar Sekunden und versuch es noch einmal; was du geschrieben hast, steht noch da.",
    percentile: "Perzentil",
    percentile_said: "{whole},{tenth} %",
    percentile_about: "Das Perzentil ist der Anteil der gewerteten Ergebnisse der Klasse, die nicht besser sind als dieses, es selbst mitgezählt, auf ein Zehntel abgerundet.",
};
