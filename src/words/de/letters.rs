//! What letters say in German, and the page that tells what became of them.

use crate::words::en::letters::Letters;

/// German.
pub const LETTERS: Letters = Letters {
    invite_button: "Zugänge per E-Mail schicken",
    invite_about: "Jeder Kontakt bekommt den Link per E-Mail. Was aus den Briefen geworden ist, steht unten.",
    invite_done: "{n} Briefe sind unterwegs. Was aus ihnen geworden ist, steht unten.",
    invite_unlisted: "{n} Briefe sind unterwegs, aber die Liste unten konnte nicht geschrieben werden: was aus diesen wird, steht vielleicht nirgends.",
    invite_nobody: "Niemand braucht einen Brief: alle Kontakte haben einen Zugang oder keine E-Mail.",
    link_sent: "An {email} geschickt.",
    link_waiting: "Unterwegs an {email}. Was daraus geworden ist, steht unten.",
    link_unlisted: "Unterwegs an {email}, aber die Liste unten konnte nicht geschrieben werden: was aus diesem Brief wird, steht vielleicht nirgends.",
    link_failed: "Nicht an {email} geschickt. {why}",
    link_unseen: "Dieses Konto hat ein eigenes Passwort, deshalb sieht den Link niemand: nur wer das Konto hat, bekommt ihn per E-Mail.",
    title: "Briefe",
    caption: "Briefe der letzten {n} Tage: zuerst die nicht verschickten, dann die unterwegs, dann die anderen",
    more: "Hier stehen nur die ersten {n}.",
    n_failed: "Nicht verschickt: {n}.",
    n_unknown: "Nicht bekannt, was daraus geworden ist: {n}.",
    n_waiting: "Unterwegs: {n}.",
    n_sent: "Vom Mailserver angenommen: {n}.",
    when: "Wann",
    outcome: "Was daraus geworden ist",
    sent: "vom Mailserver angenommen",
    waiting: "unterwegs",
    unknown: "nicht bekannt: davon war nichts mehr zu hören. Mach einen neuen Link",
    subject: "Dein Zugang zu {competition}",
    gym_text: "Hallo {name},\n\ndas ist der Zugang von {gym} zu {competition}:\n\n{link}\n\nEr gilt einmal, bis {until}. Setz auf der Seite danach ein Passwort, um ohne Link wiederzukommen. Von dort ist es ein Schritt zur Eingabe der Ergebnisse eures Gyms.\n\nDu hast diesen Brief nicht erwartet? Dann lass ihn liegen: ohne den Link geschieht nichts.\n",
    service_subject: "Dein Zugang",
    service_text: "Hallo,\n\ndas ist dein Zugang zu {service}:\n\n{link}\n\nEr gilt einmal, bis {until}. Setz auf der Seite danach ein Passwort, um ohne Link wiederzukommen. Hast du deins vergessen, kannst du dort innerhalb von 15 Minuten ein neues setzen.\n\nDu hast diesen Brief nicht erwartet? Dann lass ihn liegen: ohne den Link geschieht nichts.\n",
    forgotten_subject: "Ein neues Passwort",
    forgotten_text: "Hallo,\n\njemand, wahrscheinlich du, hat bei {service} nach einem Weg zu einem neuen Passwort gefragt. Hier ist er:\n\n{link}\n\nEr gilt einmal, bis {until}. Er meldet dich an; setz das neue Passwort auf der Seite danach, innerhalb von 15 Minuten.\n\nDu hast nicht danach gefragt? Dann lass diesen Brief liegen: ohne den Link ändert sich nichts.\n",
    text: "Hallo,\n\ndas ist dein Zugang zu {competition}:\n\n{link}\n\nEr gilt einmal, bis {until}. Setz auf der Seite danach ein Passwort, um ohne Link wiederzukommen. Hast du deins vergessen, kannst du dort innerhalb von 15 Minuten ein neues setzen.\n\nDu hast diesen Brief nicht erwartet? Dann lass ihn liegen: ohne den Link geschieht nichts.\n",
};
