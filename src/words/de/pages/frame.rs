//! What stands on every page: the frame around it, forms, problems.

area! { ($) frame:
    lang: "de",
    own_name: "Deutsch",
    languages_label: "Sprache",
    skip: "Zum Inhalt",
    nav_label: "Hauptmenü",
    nav_account: "Konto",
    nav_sign_in: "Anmelden",
    nav_sign_out: "Abmelden",
    nav_referee: "Schiedsgericht",
    nav_desk: "Eingabe",
    trail_label: "Du bist hier",
    trail_home: "Wettkämpfe",
    foot_api: "Für Programme: die API",
    foot_caution: "Jede Person darf jemanden stoppen; gewertet werden die Wiederholungen bis dahin. Örtliche Vorschriften, die Regeln des Gyms und zugelassene Fachleute gehen vor.",
    as_of: "Stand {seq} im Protokoll des Wettkampfs, gezeigt {at}.",

    time_over: "die Zeit ist um: lade die Seite neu",
    time_yours: "bei dir {at}",
    time_there: "im Gym {at}, {zone}",

    // Forms
    errors_title: "Bitte berichtigen",
    questions_title: "Bitte prüfen",
    question_yes: "Ja, das stimmt so.",
    back_to_desk: "Zurück zur Eingabe",
    back_to_own: "Zurück zur eigenen Seite",
    back_to_referee: "Zurück zur Liste",
    do_col: "Aktion",
    field_number: "Schreib hier eine ganze Zahl, oder lass es leer.",
    field_time: "Schreib Datum und Uhrzeit wie 2027-01-16 10:40, oder lass es leer.",

    // Problems
    problem_send_again: "Um es noch einmal zu senden, lade diese Seite neu: was du getippt hast, geht mit.",
    problem_look_again: "Um es noch einmal zu versuchen, lade diese Seite neu.",
    problem_signed_out: "Deine Sitzung ist zu Ende, also wurde nichts gespeichert. Melde dich an, dann kommst du zu der Seite zurück.",
    problem_typed: "Was du eingegeben hast",
    problem_typed_about: "Gespeichert wurde davon nichts. Kopier es, bevor du weitergehst; es steht nur noch auf dieser Seite.",
    problem_typed_row: "{whose}, {field}",
    problem_typed_ticked: "angekreuzt",
    problem_typed_n: "{n} angekreuzt",
    problem_typed_file: "{name}: wähle sie noch einmal",
    problem_back: "Zurück zur Seite davor",
    problem_home: "Zu den Wettkämpfen",
}
