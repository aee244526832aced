//! How places are worked out, on a competition's page.

area! { ($) rules:
    rule_place: "In einem Workout ist dein Platz um eins höher als die Zahl derer in deiner Klasse, die besser waren. Gleiche Ergebnisse teilen sich einen Platz, und die Plätze, die sie belegen, fallen weg: auf zwei Dritte folgt Platz 5.",
    rule_level: "Ein Ergebnis auf einem tieferen Level steht hinter jedem auf einem höheren.",
    rule_attested: "Ein Ergebnis zählt, sobald ein Judge es bestätigt hat. Wird es geprüft, behält es seinen Platz, bis das Schiedsgericht entscheidet; ein zurückgehaltenes hat bis dahin keinen Platz.",
    rule_points_places: "Für die Gesamtwertung werden deine Plätze in den Workouts zusammengezählt. Die kleinste Summe steht vorn.",
    rule_points_table: "In der Gesamtwertung bringt jeder Platz Punkte: {table}. Die höchste Summe steht vorn.",
    rule_table_last: "weitere Plätze bekommen die letzte Zahl",
    rule_table_zero: "weitere Plätze bekommen nichts",
    rule_weight: "{workout} zählt {weight}-fach.",
    rule_missing_after_last: "Ein Workout ohne gewertetes Ergebnis zählt als ein Platz hinter dem letzten.",
    rule_missing_below: "Wer weniger gewertete Ergebnisse hat, steht hinter denen, die mehr haben.",
    rule_missing_unplaced: "Wem ein Workout fehlt, hat keinen Rang.",
    rule_drop: "Deine schlechtesten {n} Ergebnisse werden gestrichen.",
    rule_drop_one: "Dein schlechtestes Ergebnis wird gestrichen.",
    rule_ties_countback: "Bei gleicher Summe entscheidet der beste einzelne Platz; ist auch der gleich, der zweitbeste, und so weiter.",
    rule_ties_shared: "Bei gleicher Summe wird der Rang geteilt.",
    rule_last_workout: "Ist das alles gleich, entscheidet der bessere Platz im letzten Workout, dann der im vorletzten.",
    rule_ties_end: "Trennt sie nichts, teilen sie sich den Rang.",
    rule_running_with: "Workouts, die noch offen sind, zählen mit ihrem jetzigen Stand. In der Rangliste kannst du sie weglassen.",
    rule_running_without: "Workouts, die noch offen sind, zählen in der Gesamtwertung erst, wenn sie vorbei sind, außer du willst sie sehen.",
    rule_lowest_level: "Wer ein Ergebnis auf einem tieferen Level hat, steht hinter allen, die keins haben.",
}
