//! Competition files: what is taken, what is refused and how it is said, what a change means.

use proptest::prelude::*;
use tallywright::rules::competition::{
    self, Competition, RawCompetition, compile, differences, from_json, from_toml, to_toml,
};
use tallywright::rules::fault::Fault;
use tallywright::rules::workout::{Format, Tiebreak};
use tallywright::words::Lang;

const SALTMARSH: &str = include_str!("../data/saltmarsh.toml");

fn both(text: &str) -> (RawCompetition, Competition) {
    let raw = from_toml(text).unwrap_or_else(|faults| panic!("{}", said(&faults)));
    let competition = compile(&raw).unwrap().value;
    (raw, competition)
}

fn said(faults: &[Fault]) -> String {
    let line = |f: &Fault| {
        let line = f.line.map_or("-".to_owned(), |l| l.to_string());
        format!("{line} {}: {}", f.pointer, f.sentence.say(Lang::En))
    };
    faults.iter().map(line).collect::<Vec<_>>().join("\n")
}

/// Faults of the example with one part of it changed.
fn changed(from: &str, to: &str) -> String {
    assert!(SALTMARSH.contains(from), "{from}");
    from_toml(&SALTMARSH.replacen(from, to, 1)).map_or_else(|faults| said(&faults), |_| "taken".to_owned())
}

#[test]
fn the_example_is_taken_whole() {
    let (raw, competition) = both(SALTMARSH);
    assert!(compile(&raw).unwrap().warnings.is_empty());
    assert_eq!(competition.divisions.len(), 4);
    let formats: Vec<Format> = competition.workouts.iter().map(|w| w.format).collect();
    assert_eq!(formats, [Format::Amrap, Format::MaxLoad, Format::ForTime, Format::Intervals]);
    let w3 = competition.workout("w3").unwrap();
    assert_eq!(w3.task.scheme.as_ref().unwrap().end(), Some(1 + 96 + 84));
    assert_eq!(w3.task.tiebreak, Tiebreak::At(vec![60, 120]));
    assert_eq!(competition.prescription("w3", "women", 1).unwrap().task.cap.unwrap().0, 17 * 60 * 1000);
    assert_eq!(competition.prescription("w3", "women", 0).unwrap().task.cap.unwrap().0, 15 * 60 * 1000);
    assert!(competition.prescription("w3", "men", 1).is_none());
    assert_eq!(competition.levels[1].title, "lighter");
    let described: Vec<String> =
        competition.workouts.iter().map(|w| competition::describe(&w.task).say(Lang::En)).collect();
    assert_eq!(
        described,
        [
            "As many rounds and reps as possible in 12:00.",
            "The sum of the heaviest good lifts: press + front squat.",
            "For time: 181 reps, cap 15:00.",
            "4 intervals; the lowest one counts.",
        ]
    );
}

#[test]
fn toml_json_and_the_log_keep_the_same() {
    let raw = from_toml(SALTMARSH).unwrap();
    let json = serde_json::to_string(&raw).unwrap();
    assert_eq!(from_json(json.as_bytes()).unwrap(), raw, "through the reader of bodies");
    assert_eq!(serde_json::from_str::<RawCompetition>(&json).unwrap(), raw, "through the log");
    assert!(!json.contains("null") && !json.contains("\"private\""), "what has its default is left out");
}

/// What is in force is given out as a file again, which says the same, in every format there is.
#[test]
fn the_file_in_force_is_written_and_read_again() {
    let demo = include_str!("../../src/cli/demo/series.toml");
    // The demo's dates are filled in as it is made.
    let dates = [
        ("age_date", "2027-01-15"),
        ("announce", "2027-01-01T10:00"),
        ("opens", "2027-01-02T10:00"),
        ("closes", "2027-01-03T10:00"),
    ];
    let named = |workout: usize, what| {
        if what == "age_date" { format!("{{{what}}}") } else { format!("{{w{workout}_{what}}}") }
    };
    let mut demo = demo.to_owned();
    for workout in 1..=5 {
        for (what, date) in dates {
            demo = demo.replace(&named(workout, what), date);
        }
    }
    let files = [
        SALTMARSH,
        include_str!("../data/small.toml"),
        include_str!("../data/hard_on_paper.toml"),
        include_str!("../data/nothing_yet.toml"),
        include_str!("../../src/web/pages/organise/example.toml"),
        &demo,
    ];
    let odd = SALTMARSH.replacen("[competition]\n", "[competition]\n# not kept\n", 1);
    for file in files.into_iter().chain([odd.as_str()]) {
        let raw = from_toml(file).unwrap_or_else(|faults| panic!("{}", said(&faults)));
        let text = to_toml(&raw).unwrap();
        assert_eq!(from_toml(&text).unwrap_or_else(|faults| panic!("{}\n{text}", said(&faults))), raw, "{text}");
        assert_eq!(to_toml(&from_toml(&text).unwrap()).unwrap(), text, "written once more it is the same");
    }
}

/// Standards in another language are for people to change too.
#[test]
fn texts_of_several_lines_stand_as_such_in_every_language() {
    let mut raw = from_toml(SALTMARSH).unwrap();
    raw.workout[0].standards_in = [("de".to_owned(), "Hüfte unter das Knie.\nKein Absetzen.\n".to_owned())].into();
    let written = to_toml(&raw).unwrap();
    let lines = "\nstandards_in.de = \"\"\"\nHüfte unter das Knie.\nKein Absetzen.\n\"\"\"\n";
    assert!(written.contains(lines), "{written}");
}

/// Texts of every kind come back as they were.
#[test]
fn texts_of_every_kind_are_written_and_read_again() {
    for text in [
        "plain",
        "two\nlines\n",
        "\n",
        "\"\"\" and ''' and \\",
        "a\ttab",
        "# no remark",
        "\u{202e}turned",
        "\u{7f}",
        "ends in \"\"\"\"",
        "]] [[workout]]",
        "🏋️\r\nnew line of another kind",
    ] {
        let mut raw = from_toml(SALTMARSH).unwrap();
        raw.workout[0].standards = text.to_owned();
        raw.workout[0].standards_in.insert("pt".to_owned(), text.to_owned());
        let written = to_toml(&raw).unwrap();
        let read: toml::Table = written.parse().unwrap_or_else(|error| panic!("{error}\n{written}"));
        let said = read["workout"][0]["standards"].as_str();
        assert_eq!(said, Some(text), "{written}");
        let said = read["workout"][0]["standards_in"]["pt"].as_str();
        assert_eq!(said, Some(text), "{written}");
    }
}

#[test]
fn thirteen_faults_are_thirteen_lines() {
    let text = r#"[competition]
slug = "Salt Marsh"
title = "Saltmarsh"
time_zone = "Europe/Lisboa"
age_date = "2027-02-30"
private = "no"

[[division]]
slug = "women"
title = "Women"
category = "woman"
ages = [40, 18]

[[division]]
slug = "all"
title = "All"
combines = ["women", "men"]

[[workout]]
slug = "w1"
titel = "Workout 1"
title = "Workout 1"
format = "amrap"
cap = "twelve"
opens = "2027-01-12T19:00"
closes = "2027-01-17T21:00"
lifts = ["press"]
tiebreak = "time"
stations = [{ movement = "row" }]
repeat = "round"

[[workout.prescription]]
divisions = ["women"]
loads = [{ item = "kettlebell", kg = 16, lb = 53 }]
"#;
    let faults = from_toml(text).unwrap_err();
    let lines: Vec<u32> = faults.iter().map(|f| f.line.unwrap()).collect();
    insta::assert_snapshot!(said(&faults), @r#"
    2 competition.slug: "Salt Marsh" is no short name: use 1 to 40 of a-z, 0-9 and hyphen.
    4 competition.time_zone: There is no time zone Europe/Lisboa. Did you mean Europe/Lisbon?
    5 competition.age_date: "2027-02-30" is no date: write it as 2027-01-15.
    6 competition.private: private is true or false, not "no".
    11 division[0].category: category cannot be "woman". Did you mean women? It is one of: women, men, any.
    12 division[0].ages: Write ages as [from, to] or [from], both inclusive, the younger first: [18, 39], [60], [0, 17].
    17 division[1].combines[1]: There is no division men in this file.
    21 workout[0].titel: There is no key titel here. Did you mean title?
    24 workout[0].cap: “twelve” is not a time: write minutes:seconds, like 9:32 or 9:32.4.
    27 workout[0].lifts: lifts does not apply to amrap, only to max_load: leave it out, or change the format.
    28 workout[0].tiebreak: In amrap a tiebreak is none, each_round, each_station or { at = [ … ] }.
    29 workout[0].stations[0]: Say how row counts: reps, calories, metres with per, or counts = 1.
    34 workout[0].prescription[0].loads[0]: 16 kg and 53 lb cannot be one load: 16 kg is 35.27 lb, 53 lb is 24.04 kg. Mend one of them.
    "#);
    assert_eq!(lines, [2, 4, 5, 6, 11, 12, 17, 21, 24, 27, 28, 29, 34]);
}

#[test]
fn a_text_that_is_no_toml_says_where() {
    let faults = from_toml("[competition]\nslug = saltmarsh\ntitle = \"x\n").unwrap_err();
    assert!(faults.iter().all(|f| f.sentence.code == "file_toml_unreadable"), "{}", said(&faults));
    assert_eq!(faults.iter().map(|f| f.line.unwrap()).collect::<Vec<_>>(), [2, 3]);
    let faults = from_json(b"{\n\"competition\": {,}\n}").unwrap_err();
    assert_eq!((faults[0].line, faults[0].sentence.code.as_ref()), (Some(2), "file_json_unreadable"));
    let twice = from_json(br#"{"competition":{"slug":"a","slug":"b"}}"#).unwrap_err();
    assert!(twice.iter().any(|f| f.sentence.code == "file_key_twice"), "{}", said(&twice));
}

#[test]
fn an_unquoted_cap_is_not_read_as_hours() {
    assert_eq!(changed("cap = \"12:00\"", "cap = 12:00"), "taken");
}

#[test]
fn windows_are_in_order() {
    insta::assert_snapshot!(changed("closes = \"2027-01-17T21:00\"", "closes = \"2027-01-12T19:00\""), @"45 workout[0].closes: closes (2027-01-12 19:00) does not come after opens (2027-01-12 19:00).");
    insta::assert_snapshot!(changed("attest_by = \"2027-01-25T12:00\"", "attest_by = \"2027-01-20T12:00\""), @"106 workout[2].attest_by: attest_by (2027-01-20 12:00) does not come after closes (2027-01-24 21:00).");
    insta::assert_snapshot!(changed("announce = \"2027-01-12T18:00\"", "announce = \"2027-03-28T01:30\""), @"43 workout[0].announce: 2027-03-28T01:30 does not exist in Europe/Lisbon: clocks are set forward over it. Write the time before, 2027-03-28 00:30, or after, 2027-03-28 02:30.");
}

#[test]
fn keys_belong_to_formats() {
    insta::assert_snapshot!(changed("lifts = [\"press\", \"front squat\"]", "intervals = 3\nrounds = 3"), @r#"
    87 workout[1].intervals: intervals does not apply to max_load, only to intervals: leave it out, or change the format.
    88 workout[1].rounds: rounds does not apply to max_load, which has no rounds of stations: say what is done in title and standards.
    "#);
    insta::assert_snapshot!(changed("cap = \"15:00\"\n", ""), @r#"98 workout[2].cap: A workout of format for_time needs a cap, such as cap = "12:00"."#);
    insta::assert_snapshot!(changed("measure = \"calories\"\nscored = \"least\"", "measure = \"time\"\nscored = \"least\""), @"143 workout[3].scored: Intervals that are timed are scored sum, slowest or fastest.");
    insta::assert_snapshot!(changed("intervals = 4", "intervals = 0\ntiebreak = \"time\""), @r#"
    141 workout[3].intervals: 0 is out of range: from 1 to 60.
    142 workout[3].tiebreak: intervals has no tiebreak: leave it out.
    "#);
    insta::assert_snapshot!(changed("tiebreak = { at = [60, 120] }", "tiebreak = { at = [60, 181] }"), @"108 workout[2].tiebreak.at: The workout ends at 181 reps: a tiebreak at 181 is never passed before the end.");
    insta::assert_snapshot!(changed("tiebreak = { at = [60, 120] }", "tiebreak = { at = [60, 60] }"), @"108 workout[2].tiebreak.at: at is a list of 1 to 1000 totals, each larger than the one before, from 1 on.");
    insta::assert_snapshot!(changed("repeat = \"round\"", "rounds = 5"), @r#"37 workout[0]: An amrap goes on without end: write repeat = "round" in its last block, or a ladder without rounds."#);
    insta::assert_snapshot!(changed("{ movement = \"row\", calories = 10 }", "{ movement = \"row\", metres = 250 }"), @"51 workout[0].stations[2].metres: Say how 250 metres count: per = 10 counts each 10 m, counts = 1 the whole stretch once, counts = 0 not at all.");
}

#[test]
fn everyone_who_may_score_has_one_prescription() {
    insta::assert_snapshot!(changed("divisions = [\"men\"]", "divisions = [\"men\", \"women\"]"), @"74 workout[0].prescription[2].divisions[1]: women at level prescribed has two prescriptions in this workout: keep one.");
    insta::assert_snapshot!(changed("divisions = [\"women\", \"women-40\"]", "divisions = [\"women\"]"), @"61 workout[0].prescription: Nothing is prescribed for division women-40 at level prescribed: add it to a [[workout.prescription]].");
    insta::assert_snapshot!(changed("divisions = [\"men\"]", "divisions = [\"men\", \"women-all\", \"woman\"]"), @r#"
    74 workout[0].prescription[2].divisions[1]: women-all is a combined division and has no entries of its own: name its parts.
    74 workout[0].prescription[2].divisions[2]: There is no division woman in this file. Did you mean women?
    "#);
    insta::assert_snapshot!(changed("divisions = [\"men\"]", "divisions = [\"men\"]\nlevel = \"scaled\""), @r#"
    61 workout[0].prescription: Nothing is prescribed for division men at level prescribed: add it to a [[workout.prescription]].
    74 workout[0].prescription[2].divisions[0]: Entries of men cannot score at level scaled: give the division allow_lower = true, or leave it out here.
    "#);
}

#[test]
fn what_is_ranked_together_does_the_same() {
    let apart = "divisions = [\"women-40\"]\ncap = \"16:00\"";
    insta::assert_snapshot!(changed("divisions = [\"women-40\"]", apart), @"35 division[3].combines: women and women-40 have different counts, caps or tiebreaks in workout w3 at level prescribed, so they cannot be ranked together. Give them the same, or say mixed = true, which the page then tells everyone.");
    let mixed =
        SALTMARSH.replace("divisions = [\"women-40\"]", apart).replace("combines = [", "mixed = true\ncombines = [");
    assert!(both(&mixed).1.division("women-all").unwrap().mixed);
    insta::assert_snapshot!(changed("combines = [\"women\", \"women-40\"]", "level = \"scaled\"\ncombines = [\"women\"]"), @r#"
    35 division[3].level: A combined division has no level of its own: it ranks the entries of the divisions it combines. Leave level out.
    36 division[3].combines: A combined division needs at least two divisions in combines.
    "#);
}

#[test]
fn loads_of_a_pair_agree() {
    // 16 kg is 35.27 lb; 40 lb is 13 % more: warned, and taken.
    let odd = SALTMARSH.replacen("kg = 16, lb = 35", "kg = 16, lb = 40", 1);
    let warnings = compile(&from_toml(&odd).unwrap()).unwrap().warnings;
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].pointer, "workout[0].prescription[0].loads[0]");
    assert_ne!(changed("kg = 16, lb = 35", "kg = 16, lb = 45"), "taken");
    insta::assert_snapshot!(changed("kg = 16, lb = 35", "kg = [16, 20], lb = 35"), @"63 workout[0].prescription[0].loads[0]: There are 2 loads in kg and 1 in lb: give as many of both.");
    insta::assert_snapshot!(changed("kg = 16, lb = 35", "kg = 16.125"), @"63 workout[0].prescription[0].loads[0].kg: kg is a number of at most two decimals, from 0 to 1000000, without quotes and unit; 16.125 is not.");
    insta::assert_snapshot!(changed("cm = 50, inch = 20", "cm = 50, inch = 24"), @"64 workout[0].prescription[0].heights[0]: 50 cm and 61 cm (the inches converted) are more than 15 % apart: one of the two is wrong.");
}

/// Nominal pairs of the trade: common practice, no source.
#[test]
fn nominal_pairs_are_one_load() {
    for (lb, kg) in [(35, 16), (45, 20), (55, 25), (65, 30), (75, 35)] {
        let text = SALTMARSH.replacen("kg = 16, lb = 35", &format!("kg = {kg}, lb = {lb}"), 1);
        assert!(from_toml(&text).is_ok(), "{lb} lb / {kg} kg");
    }
}

#[test]
fn the_unit_written_first_is_shown_first() {
    use tallywright::rules::quantity::LoadUnit;
    let (_, competition) = both(SALTMARSH);
    let first = |division: &str| competition.prescription("w3", division, 0).unwrap().loads[0].first;
    assert_eq!((first("women-40"), first("men")), (LoadUnit::Lb, LoadUnit::Kg));
}

#[test]
fn the_digest_is_of_what_is_done_not_of_how_it_is_told() {
    let digest = |text: &str| both(text).1.prescription("w1", "women", 0).unwrap().digest;
    let own = digest(SALTMARSH);
    for (from, to) in [
        ("title = \"Workout 1\"", "title = \"First\""),
        ("Swing: hips", "Hips"),
        ("tiebreak = { at", "weight = 3\ntiebreak = { at"),
    ] {
        let text = SALTMARSH.replacen(from, to, 1).replacen("weight = 2", "", 1);
        assert_eq!(digest(&text), own, "{to}");
    }
    let long = SALTMARSH.replacen("stations = [\n", "blocks = [{ repeat = \"round\", stations = [\n", 1).replacen(
        "]\nrepeat = \"round\"",
        "] }]",
        1,
    );
    assert_eq!(digest(&long), own, "the short form and blocks are the same");
    for (from, to) in [
        ("reps = 20", "reps = 21"),
        ("kg = 16, lb = 35", "kg = 16"),
        ("cap = \"12:00\"", "cap = \"12:01\""),
        ("\"row\"", "\"ski\""),
        ("tiebreak = \"each_round\"", ""),
    ] {
        assert_ne!(digest(&SALTMARSH.replacen(from, to, 1)), own, "{to}");
    }
}

/// What changes, whether scores are worked out again, whether attestations are void.
fn difference(from: &str, to: &str) -> String {
    assert!(SALTMARSH.contains(from), "{from}");
    let (old, new) = (both(SALTMARSH), both(&SALTMARSH.replacen(from, to, 1)));
    let line = |d: competition::Difference| {
        let effect = match (d.rescore, d.voids, d.removes) {
            (_, _, true) => "removes",
            (_, true, _) => "voids",
            (true, ..) => "rescores",
            _ => "text",
        };
        format!("{effect} {}: {} -> {}", d.key, d.from.as_deref().unwrap_or("-"), d.to.as_deref().unwrap_or("-"))
    };
    differences(Some((&old.0, &old.1)), (&new.0, &new.1)).into_iter().map(line).collect::<Vec<_>>().join("\n")
}

#[test]
fn nothing_changed_is_no_difference() {
    let (raw, competition) = both(SALTMARSH);
    assert_eq!(differences(Some((&raw, &competition)), (&raw, &competition)), []);
    let first = differences(None, (&raw, &competition));
    assert!(first.iter().all(|d| d.from.is_none() && !d.rescore && !d.voids && !d.removes));
    assert!(first.iter().any(|d| d.key == "workout.w4"));
}

#[test]
fn a_difference_says_what_it_means() {
    insta::assert_snapshot!(difference("cap = \"12:00\"", "cap = \"13:00\""), @"voids workout.w1.cap: 12:00 -> 13:00");
    insta::assert_snapshot!(difference("reps = 20", "reps = 21"), @"voids workout.w1.stations[0].reps: 20 -> 21");
    insta::assert_snapshot!(difference("kettlebell swing", "swing"), @"text workout.w1.stations[0].movement: kettlebell swing -> swing");
    insta::assert_snapshot!(difference("tiebreak = \"each_round\"", "tiebreak = \"each_station\""), @"rescores workout.w1.tiebreak: each_round -> each_station");
    insta::assert_snapshot!(difference("time_step = \"0.1s\"", ""), @"rescores workout.w3.time_step: 0.1s -> -");
    insta::assert_snapshot!(difference("closes = \"2027-01-31T21:00\"", "closes = \"2027-02-01T21:00\""), @"text workout.w4.closes: 2027-01-31T21:00 -> 2027-02-01T21:00");
    insta::assert_snapshot!(difference("kg = 12, lb = 26", "kg = 12"), @"text workout.w1.prescription[1].loads[0].lb: 26 -> -");
    insta::assert_snapshot!(difference("missing = \"below_complete\", ", ""), @"text competition.overall.missing: below_complete -> -");
    insta::assert_snapshot!(difference("cap = \"17:00\"\n", ""), @"voids workout.w3.prescription[2].cap: 17:00 -> -");
}

#[test]
fn what_goes_is_marked() {
    let without = SALTMARSH.split("[[workout]]\nslug = \"w4\"").next().unwrap();
    let (old, new) = (both(SALTMARSH), both(without));
    let gone = differences(Some((&old.0, &old.1)), (&new.0, &new.1));
    assert_eq!(gone.len(), 1);
    assert!(gone[0].removes && gone[0].rescore && gone[0].key == "workout.w4");
    let back = differences(Some((&new.0, &new.1)), (&old.0, &old.1));
    assert_eq!(back.len(), 1);
    assert!(!back[0].removes && !back[0].rescore && back[0].from.is_none());
}

proptest! {
    #[test]
    fn decimals_are_exact(hundredths in 0u64..100_000_000) {
        let decimal = competition::raw::Decimal(hundredths);
        prop_assert_eq!(competition::raw::Decimal::parse(&decimal.to_string()), Some(decimal));
        let json = serde_json::to_string(&decimal).unwrap();
        prop_assert_eq!(serde_json::from_str::<competition::raw::Decimal>(&json).unwrap(), decimal);
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _ = from_json(&bytes);
        let _ = from_toml(&String::from_utf8_lossy(&bytes));
    }

    /// The example with a stretch of it overwritten: near enough to a file to reach deep.
    #[test]
    fn a_damaged_file_is_read_or_refused(at in 0usize..4000, junk in "[ -~\n]{1,12}", len in 0usize..30) {
        let mut text: Vec<char> = SALTMARSH.chars().collect();
        let at = at.min(text.len());
        let end = (at + len).min(text.len());
        text.splice(at..end, junk.chars());
        let text: String = text.into_iter().collect();
        match from_toml(&text) {
            Ok(raw) => {
                prop_assert!(compile(&raw).is_ok());
                let json = serde_json::to_vec(&raw).unwrap();
                prop_assert_eq!(from_json(&json).unwrap(), raw);
            }
            Err(faults) => {
                prop_assert!(!faults.is_empty());
                for fault in faults {
                    prop_assert!(!fault.sentence.say(Lang::En).contains(&fault.sentence.code.replace('_', " ")));
                }
            }
        }
    }
}
