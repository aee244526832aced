//! What is wrong with a log or its tables.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[
    ("log_gap", "Eintrag {seq} fehlt: an seiner Stelle steht Eintrag {found}."),
    ("log_leaf", "Eintrag {seq} wurde verändert: seine Bytes haben nicht den Hash, der von ihnen aufbewahrt wurde."),
    ("log_unreadable", "Eintrag {seq} lässt sich nicht lesen: {why}."),
    ("log_unlike", "Eintrag {seq} nennt etwas anderes als {what} als seine Zeile in der Tabelle."),
    ("log_goes_back", "Eintrag {seq} ist früher datiert als der Eintrag vor ihm."),
    ("log_file_refused", "Die Wettkampfdatei in Eintrag {seq} ist nicht mehr schlüssig."),
    ("log_head", "Der Kopf des Wettkampfs nennt {found} als {what}; das Protokoll kommt auf {expected}."),
    ("log_root", "Der Baum über den Einträgen des Protokolls hat eine andere Wurzel, als der Kopf sagt."),
    ("table_row_missing", "Die Zeile {key} fehlt in der Tabelle {table}, obwohl sie im Protokoll steht."),
    ("table_row_extra", "Die Zeile {key} steht in der Tabelle {table}, obwohl das Protokoll nichts von ihr weiß."),
    ("table_row_differs", "Die Zeile {key} der Tabelle {table} ist nicht, worauf das Protokoll kommt: siehe {column}."),
    ("note_altered", "Der Text der Notiz {id} ist nicht der, den das Protokoll festgelegt hat."),
    ("note_missing", "Der Text der Notiz {id} fehlt, obwohl niemand gelöscht wurde."),
    ("person_altered", "Die Angaben zu Person {id} sind nicht die, die das Protokoll festgelegt hat."),
    ("person_missing", "Die Angaben zu Person {id} fehlen, obwohl das Protokoll nicht sagt, dass sie gelöscht wurden."),
    (
        "person_not_erased",
        "Die Angaben zu Person {id} sind noch da, obwohl das Protokoll sagt, dass sie gelöscht wurden.",
    ),
];
