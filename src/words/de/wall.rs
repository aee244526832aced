//! What a gym's screen says in German.

use crate::words::en::wall::Wall;

/// German.
pub const WALL: Wall = Wall {
    title: "{gym}: {workout}",
    link: "Für einen Bildschirm an der Wand",
    about: "Diese Seite darf jede Person öffnen: Sie zeigt, was öffentlich ist, und braucht auf dem Bildschirm keine Anmeldung.",
    show: "Was gezeigt wird",
    overall: "Gesamtwertung",
    by_heat: "Nach Heats",
    no_heat: "In keinem Heat",
    heat: "Gerade dran: Heat {n}",
    heat_caption: "Bahnen in Heat {n}",
    lane: "Bahn {n}",
    place: "Platz",
    athlete: "Athlet:in",
    result: "Ergebnis",
    points: "Punkte",
    more: "{n} weitere",
    nothing: "Noch keine Ergebnisse aus diesem Gym.",
    hidden: "Die Ergebnisse erscheinen, wenn das Zeitfenster endet: {at}.",
    nothing_open: "Noch hat kein Workout begonnen.",
    again: "{name}, Fortsetzung",
    page: "Seite {n} von {of}",
    page_back: "Die Seite davor",
    page_on: "Die nächste Seite",
    pause: "Nicht mehr aktualisieren",
    go_on: "Weiter aktualisieren",
    fresh: "Stand: {at}",
    stopped: "Angehalten um {at}",
    lost: "Keine Verbindung seit {at}: Was hier steht, kann veraltet sein.",
};
