//! What a plot of results says in German.

use crate::words::en::plot::Plot;

/// German.
pub const PLOT: Plot = Plot {
    title: "So verteilen sich die Ergebnisse",
    bands: "Von links nach rechts: {bands}.",
    median: "Die Hälfte hat {text} oder besser.",
    ties_none: "Kein Platz ist geteilt.",
    ties_one: "Ein Platz ist geteilt: {ordinal}, von {n}.",
    ties: "Geteilte Plätze: {places}, zusammen {athletes}. Die meisten auf Platz {ordinal}: {n}.",
    yours: "Du bist auf Platz {ordinal} mit {text}.",
    theirs: "Startnummer {bib} ist auf Platz {ordinal} mit {text}.",
    unplaced_you: "Du hast in diesem Workout noch keinen Platz.",
    unplaced: "Startnummer {bib} hat in diesem Workout keinen Platz.",
    you: "Du",
    band: "{name}: {n}",
    band_all: "Alle Ergebnisse",
    band_done: "Fertig geworden",
    band_capped: "Am Cap nicht fertig",
    band_no_lift: "Kein gültiger Versuch",
    band_level: "{level}: {band}",
    numbers: "Dasselbe in Zahlen",
    caption: "Wie viele Ergebnisse in welchem Bereich liegen, die besten zuerst",
    range: "Ergebnis",
    athletes: "Athlet:innen",
    places: "Plätze",
    places_from_to: "{from} bis {to}",
    nobody: "keine",
    rounds_from_to: "{from} bis {to} Runden",
    before_rounds: "vor der ersten Runde",
    from_to: "{from} bis {to}",
    load_from_under: "{from} bis unter {to}",
    no_lift: "kein gültiger Versuch",
};
