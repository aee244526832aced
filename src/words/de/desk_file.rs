//! What the desk's page for a CSV file says in German.

use crate::words::en::desk_file::DeskFile;

/// German.
pub const DESK_FILE: DeskFile = DeskFile {
    link: "Ergebnisse aus einer Tabelle holen oder in eine mitnehmen",
    title: "Ergebnisse von {gym} als Datei",
    out_title: "Mitnehmen",
    out_about: "Alle aus diesem Gym in einem Workout, mit dem, was gespeichert ist, für jede Tabellenkalkulation. Trag ein, was fehlt, und schick die Datei unten zurück.",
    out_link: "{workout} als CSV",
    in_title: "Viele auf einmal senden",
    in_about: "Wähl eine CSV-Datei, oder füg Zeilen mit ihrer Kopfzeile ein. Jede Zeile wird für sich übernommen oder abgelehnt, Zeilen ohne Ergebnis werden übergangen, und dieselben Zeilen zweimal zu schicken ändert nichts. Andere Zahlen als die gespeicherten brauchen „yes“ in der Spalte revise.",
    workout: "Workout",
    outcome: "{taken} gespeichert, {unchanged} wie gehabt, {refused} abgelehnt.",
    asked_below: "Zu manchen Zeilen gibt es eine Rückfrage. Jede steht einmal unter dem Feld: ein Häkchen dort ist ein Ja für alle Zeilen, die sie haben.",
    asked_about: "Setz ein Häkchen, wo es in jeder Zeile mit der Rückfrage stimmt, und schick die Zeilen noch einmal. Stimmt es nur in manchen, berichtige zuerst die anderen im Feld. Die Rückfrage steht hier mit den Zahlen ihrer ersten Zeile.",
    asked_rows: "Zeilen damit: {n}.",
    asked_held: "Was du mit Ja beantwortet hast, geht mit der nächsten Sendung mit. Nimm das Häkchen weg, wo es nicht stimmt.",
    held_spreadsheet_time: "Mit Ja beantwortet: gemeint ist die Zeit ohne das :00, das eine Tabelle angehängt hat.",
    held_time_without_colon: "Mit Ja beantwortet: die Ziffern ohne Doppelpunkt sind eine Zeit.",
    held_total_as_rounds: "Mit Ja beantwortet: so viele Runden stimmen.",
    held_tiebreak_pace: "Mit Ja beantwortet: die Zeit des Tiebreaks stimmt, auch wenn der Rest so lange gedauert hat.",
    held_kg_or_lb: "Mit Ja beantwortet: eine so schwere Last stimmt, und zwar in Kilogramm.",
    asked_yes: "Ja, es stimmt in allen.",
    empty: "{n} ohne Ergebnis wurden übergangen.",
    empty_one: "1 ohne Ergebnis wurde übergangen.",
};
