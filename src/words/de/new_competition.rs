//! What the page says in German on which a competition is made.

use crate::words::en::new_competition::NewCompetition;

/// German.
pub const NEW_COMPETITION: NewCompetition = NewCompetition {
    link: "Einen Wettkampf anlegen",
    title: "Einen Wettkampf anlegen",
    about: "Ein Wettkampf ist ein einziger Text: Klassen, Workouts, Zeitfenster und Gewichte. Nimm das Beispiel, schreib deins hinein, und schau dir an, was daraus wird, bevor etwas gespeichert ist.",
    example: "Ein Beispiel für den Anfang",
    there_already: "Einen Wettkampf mit diesem Namen in Adressen (slug) gibt es schon. Wähl einen anderen slug, oder ändere den Wettkampf auf seiner eigenen Seite.",
    created: "Der Wettkampf ist da. Als Nächstes: seine Gyms, Judges und Meldungen; dann Zugänge für die Gyms.",
};
