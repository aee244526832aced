//! The cautions in German. Sources and standing as in the English ones.

use crate::words::cautions::Cautions;

/// The block.
pub const CAUTIONS: Cautions = Cautions {
    title: "Bevor du anfängst",
    intro: "Hartes Training kann schaden. Lies das einmal durch, und hängt Adresse, Notruf (in Europa 112) und Standort des Defibrillators so auf, dass alle sie sehen.",
    groups: &[
        (
            "Sofort aufhören, Notruf wählen (in Europa 112), Defibrillator holen lassen",
            &[
                "Schmerz oder Druck in Brust, Arm oder Kiefer.",
                "Ohnmacht oder beinahe. Zusammenbruch.",
                "Atemnot, die das Sprechen verhindert, oder unregelmäßiger Herzschlag.",
                "Verwirrtheit oder Zusammenbruch bei Hitze: die Person sofort kühlen und den Notruf wählen.",
            ],
        ),
        (
            "Aufhören",
            &[
                "Stechender Schmerz oder Schmerz in einem Gelenk.",
                "Schlag auf den Kopf: an diesem Tag nicht weitermachen.",
                "Die Last gerät außer Kontrolle. Wenn die Technik nachlässt: Gewicht runter oder Pause.",
                "Jede Person darf jemanden stoppen. Gewertet werden die Wiederholungen bis dahin, ohne Abzug.",
            ],
        ),
        (
            "Nicht teilnehmen",
            &[
                "Mit Fieber oder kurz nach einem Infekt.",
                "Vorher ärztlich klären: bei einer Herzkrankheit, plötzlichem Herztod in der Familie, Brustschmerzen, egal wann, Schwindel oder Bluthochdruck; in der Schwangerschaft oder nach der Geburt; nach langer Pause; wenn Training neu für dich ist.",
                "Asthmaspray und Diabetes-Set griffbereit.",
            ],
        ),
        (
            "Danach: Muskelzerfall (Rhabdomyolyse)",
            &[
                "Möglich nach ungewohntem Umfang, nach viel Ablassen oder Hängen, nach Hitze oder Krankheit.",
                "Starke Schmerzen oder Schwellung, Schwäche, dunkler Urin, auch noch ein bis drei Tage später: sofort ärztliche Hilfe.",
            ],
        ),
        (
            "Auf der Fläche",
            &[
                "Aufwärmen. Verschlüsse an die Stange. Hinter einem schweren Versuch bleibt die Bahn frei. Wissen, wie man die Stange abwirft; über Kopf nicht mit den Händen sichern.",
                "Boxen und Rigs stehen fest, der Boden ist frei.",
                "Unter 18: nur mit Einwilligung der Sorgeberechtigten und einer qualifizierten Trainerin oder einem qualifizierten Trainer; ohne beides kein Maximalversuch.",
            ],
        ),
    ],
    standing: "Örtliche Vorschriften, die Regeln des Gyms und zugelassene Fachleute gehen vor. Das ist keine medizinische Beratung. Muskelzerfall: nach NIOSH (USA); das Übrige ist übliche Praxis.",
};
