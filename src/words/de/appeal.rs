//! What an athlete's page says of appeals, in German.

use crate::words::en::appeal::AppealWords;

/// German.
pub const APPEAL: AppealWords = AppealWords {
    title: "Einspruch gegen die Entscheidung",
    about: "Darüber entscheidet jemand aus dem Schiedsgericht, der bisher nicht beteiligt war. Bis dahin bleiben Stand und Platz, wie sie sind. Es gibt nur einen Einspruch, und was dabei herauskommt, gilt endgültig.",
    until: "Möglich bis {at}.",
    reason: "Warum die Entscheidung nicht stimmt",
    reason_hint: "Was gemacht wurde, was Wertungsblatt oder Video zeigen. Das liest nur das Schiedsgericht.",
    button: "Einspruch einlegen",
    sent: "Dein Einspruch liegt beim Schiedsgericht. Die Entscheidung steht dann hier, mit der Begründung.",
    open: "Seit {at}: wartet auf eine Entscheidung",
    decided: "Entschieden; die Entscheidung oben gilt endgültig",
    over: "Einspruch war möglich bis {at}",
    could: "Einspruch ist möglich bis {at}",
    changed: "Dieses Ergebnis wurde inzwischen geändert. Sieh es dir noch einmal an; dein Einspruch ist noch nicht eingelegt.",
};
