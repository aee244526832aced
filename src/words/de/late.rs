//! What is said in German of a score that came after the close, and what happens next.

use crate::words::en::late::Late;

/// German.
pub const LATE: Late = Late {
    stored: "{late} nach Schluss gekommen: gespeichert, ohne Platz. Die Wettkampfleitung entscheidet, und die Entscheidung steht dann hier.",
    refused: "{late} nach Schluss gekommen, und die Wettkampfleitung hat es nicht zugelassen. Es bleibt im Verlauf und kann noch zugelassen werden: schreib der Wettkampfleitung.",
    counted: "{late} nach Schluss eingegangen; es zählt.",
    correction: "Eine Korrektur auf {text} kam zu spät und wartet auf die Wettkampfleitung. Bis dahin gilt {now}.",
    correction_refused: "Eine Korrektur auf {text} kam zu spät, und die Wettkampfleitung hat sie nicht zugelassen. Es gilt {now}.",
    attestation: "Die Bestätigung von Judge {judge} kam zu spät und wartet auf die Wettkampfleitung.",
    rows_one: "1 Zeile kam nach Schluss: als verspätet gespeichert, ohne Platz, bis die Wettkampfleitung sie zulässt.",
    rows: "{n} Zeilen kamen nach Schluss: als verspätet gespeichert, ohne Platz, bis die Wettkampfleitung sie zulässt.",
};
