//! Slips that are caught, word for word.

use super::LANG;
use super::generate::{reps, work};
use super::written_forms::{amrap, for_time, intervals, max_count, max_load, send};
use tallywright::rules::performance::{Around, RawPerformance, check};
use tallywright::rules::quantity::{Grams, Millis};
use tallywright::rules::scheme::{Repeat, Scheme};
use tallywright::rules::workout::{CountUnit, IntervalMeasure, Task, Tiebreak};

/// What is refused of a line, said.
fn refused(task: &Task, text: &str) -> Vec<String> {
    let faults = send(task, text).err().unwrap_or_else(|| panic!("{text} was taken"));
    assert!(!faults.is_empty(), "{text}");
    faults.iter().map(|f| f.sentence.say(LANG)).collect()
}

/// What is asked about a line, said, and what it is stored as after a yes.
fn asked(task: &Task, text: &str) -> (Vec<String>, String) {
    let raw = RawPerformance::Text(text.to_owned());
    let checked = check(task, &raw, &Around::default()).unwrap_or_else(|f| panic!("{text}: {f:?}"));
    let codes: Vec<String> = checked.questions.iter().map(|q| q.sentence.code.to_string()).collect();
    assert!(!codes.is_empty(), "{text}: nothing asked");
    let confirmed = check(task, &raw, &Around { confirmed: &codes, ..Around::default() }).unwrap();
    assert_eq!((confirmed.questions.len(), &confirmed.value), (0, &checked.value));
    let all = check(task, &raw, &Around { confirm_all: true, ..Around::default() }).unwrap();
    assert!(all.questions.is_empty());
    (checked.questions.iter().map(|q| q.sentence.say(LANG)).collect(), checked.value.text(task))
}

fn warned(task: &Task, text: &str) -> Vec<String> {
    send(task, text).unwrap().warnings.iter().map(|w| w.sentence.say(LANG)).collect()
}

#[test]
fn a_whole_round_as_rest() {
    assert_eq!(refused(&amrap(), "5+44"), ["44 reps is a whole round here: write 6+0."]);
    assert_eq!(refused(&amrap(), "5+50"), ["50 reps is more than a round of 44 here: write 6+6, or check the sheet."]);
    // In a ladder the next round's own size is what counts.
    let ladder = Repeat::Ladder { start: vec![3, 3], step: vec![3], rounds: None };
    let stations = vec![reps("press", 3), reps("swing", 3)];
    let task = Task { scheme: Some(Scheme::new(vec![work(stations, ladder)], true).unwrap()), ..amrap() };
    assert_eq!(refused(&task, "3+24"), ["24 reps is a whole round here: write 4+0."]);
    assert!(send(&task, "3+23").is_ok());
}

#[test]
fn a_total_typed_as_rounds() {
    let (said, stored) = asked(&amrap(), "278+0");
    assert_eq!(said, ["278 rounds? If 278 is the total, write 278 reps."]);
    assert_eq!(stored, "12232 reps");
    assert!(send(&amrap(), "60+0 tb 11:59").unwrap().questions.is_empty());
}

#[test]
fn a_tiebreak_of_an_earlier_round() {
    let (said, _) = asked(&amrap(), "6+14 tb 8:41");
    assert_eq!(said, ["At 8:41 the athlete had 264, then 14 in 3:19: is 8:41 an earlier round's time?"]);
    // Fewer than ten reps after it, or a pace that can be, are not asked about.
    assert!(send(&amrap(), "6+9 tb 8:41").unwrap().questions.is_empty());
    assert!(send(&amrap(), "6+14 tb 11:00").unwrap().questions.is_empty());
}

#[test]
fn the_pace_is_asked_about_above_exactly_four_times() {
    // 44 reps in 1:28 are 2 s each; the 43 after it may take 8 s each: 344 s, to 7:12.
    let task = |cap| Task { cap: Some(Millis(cap)), ..amrap() };
    assert!(send(&task(432_000), "1+43 tb 1:28").unwrap().questions.is_empty());
    assert_eq!(send(&task(432_001), "1+43 tb 1:28").unwrap().questions.len(), 1);
}

#[test]
fn a_tiebreak_that_cannot_be() {
    assert_eq!(refused(&amrap(), "6+14 tb 12:40"), ["12:40 is after the cap; the tiebreak is when round 6 ended."]);
    assert!(send(&amrap(), "6+14 tb 12:00").is_ok());
    assert_eq!(refused(&amrap(), "6+14 tb 0:00"), ["0:00 is no tiebreak time: it is the clock when round 6 ended."]);
    assert_eq!(
        refused(&amrap(), "0+14 tb 3:00"),
        ["No tiebreak was reached yet: the first is at 44 reps. Leave the time out, or check the count."]
    );
    let none = Task { tiebreak: Tiebreak::None, ..amrap() };
    assert_eq!(refused(&none, "6+14 tb 3:00"), ["This workout has no tiebreak: leave the tiebreak time out."]);
    assert_eq!(refused(&amrap(), "6+14 tb 1124"), ["Tiebreak “1124”: write minutes:seconds, 11:24."]);
    assert_eq!(refused(&amrap(), "6+14 tb"), ["tb needs a time: write it like tb 11:24, or leave tb out."]);
    assert_eq!(
        refused(&amrap(), "6+14 tb soon"),
        ["“soon” is not a time: write minutes:seconds, like 9:32 or 9:32.4."]
    );
    let finishers = Task { tiebreak_for_finishers: true, ..for_time() };
    assert_eq!(
        refused(&finishers, "9:32 tb 9:32"),
        ["9:32 is not before the finish at 9:32; the tiebreak is when round 4 ended."]
    );
    assert!(send(&finishers, "9:32 tb 8:00").unwrap().warnings.is_empty());
    let moment = Task { tiebreak: Tiebreak::Time, ..max_count(CountUnit::Reps) };
    assert_eq!(refused(&moment, "0 tb 1:00"), ["Nothing was counted, so there is no tiebreak: leave the time out."]);
    assert_eq!(refused(&moment, "57 tb 4:01"), ["4:01 is after the cap of 4:00."]);
}

#[test]
fn a_tiebreak_that_is_missing_or_does_not_serve_is_remarked_on() {
    assert_eq!(
        warned(&amrap(), "6+14"),
        [
            "No tiebreak time: this stands after all with the same count who have one. It is the clock when round 6 ended."
        ]
    );
    assert_eq!(
        warned(&for_time(), "9:32 tb 9:00"),
        ["The tiebreak serves those who did not finish: it is kept, but does not count here."]
    );
    assert_eq!(warned(&for_time(), "9:32"), Vec::<String>::new());
    assert_eq!(warned(&amrap(), "0+14"), Vec::<String>::new());
}

#[test]
fn both_halves_of_a_line_are_judged() {
    assert_eq!(
        refused(&amrap(), "5+44 tb 12:40"),
        ["44 reps is a whole round here: write 6+0.", "12:40 is after the cap of 12:00."]
    );
    assert_eq!(refused(&amrap(), "nothing tb soon").len(), 2);
}

#[test]
fn what_a_spreadsheet_made_of_it() {
    let (said, stored) = asked(&for_time(), "9:32:00");
    assert_eq!(said, ["9:32:00 is nine hours. Spreadsheets add :00; did you mean 9:32?"]);
    assert_eq!(stored, "9:32");
    let (said, stored) = asked(&amrap(), "6+14 tb 11:24:00");
    assert_eq!(said, ["11:24:00 is eleven hours. Spreadsheets add :00; did you mean 11:24?"]);
    assert_eq!(stored, "6+14 tb 11:24");
    let changed = |text: &str| {
        format!(
            "“{text}”: your spreadsheet changed this into a number or date. Format the column as text and paste again."
        )
    };
    for text in [
        "0.397222",
        "12-may",
        "may-12",
        "12. mai",
        "14/06/2027",
        "2027-06-14",
        "6.02e+02",
        "9:32:00 am",
        "####",
        "#value!",
    ] {
        assert_eq!(refused(&for_time(), text), [changed(text)], "{text}");
        assert_eq!(refused(&amrap(), text), [changed(text)], "{text}");
    }
}

#[test]
fn times_without_their_colon() {
    for (text, said, time) in [
        ("9.32", "Nine minutes thirty-two? Write 9:32.", "9:32"),
        ("9,32", "Nine minutes thirty-two? Write 9:32.", "9:32"),
        ("932", "Nine minutes thirty-two? Write 9:32.", "9:32"),
        ("1101", "Eleven minutes one? Write 11:01.", "11:01"),
        ("900", "Nine minutes? Write 9:00.", "9:00"),
    ] {
        assert_eq!(asked(&for_time(), text), (vec![said.to_owned()], time.to_owned()), "{text}");
    }
    let both = intervals(2, IntervalMeasure::Time);
    assert_eq!(asked(&both, "1.52/158").0.len(), 2);
}

#[test]
fn the_whole_workout_needs_a_time() {
    let said = "180 is the whole workout: then a time is needed, or one rep less.";
    for text in ["180", "180 reps", "cap 180", "cap+0", "5+0", "5 rounds"] {
        assert_eq!(refused(&for_time(), text), [said], "{text}");
    }
    assert_eq!(
        refused(&for_time(), "181 reps"),
        ["181 is more than the 180 reps of the whole workout: write a time, or the reps done, like 144 reps."]
    );
    assert_eq!(refused(&for_time(), "cap+181"), ["181 left? The whole workout is 180 reps: check the sheet."]);
    // 199 is no time: no minute has 99 seconds.
    assert_eq!(refused(&for_time(), "199").len(), 1);
}

#[test]
fn after_the_cap_nobody_finishes() {
    assert_eq!(
        refused(&for_time(), "12:00.3"),
        ["12:00.3 is after the cap of 12:00: who has not finished by then is given reps, like 144 reps."]
    );
    assert!(send(&for_time(), "12:00").is_ok());
    assert_eq!(refused(&for_time(), "0:00"), ["0:00 is no time: write how long it took."]);
}

#[test]
fn pounds_as_kilograms() {
    let task = max_load(&["squat"]);
    let raw = RawPerformance::Text("225 kg".into());
    let ask = |heaviest| {
        let around = Around { heaviest: Some(Grams(heaviest)), ..Around::default() };
        check(&task, &raw, &around).unwrap().questions.iter().map(|q| q.sentence.say(LANG)).collect::<Vec<_>>()
    };
    assert_eq!(ask(112_500), ["225 kg is at least twice the heaviest so far in this division (112.5 kg): 225 lb?"]);
    assert_eq!(ask(112_501), Vec::<String>::new());
    assert_eq!(ask(0), Vec::<String>::new());
    let around = Around { heaviest: Some(Grams(10_000)), ..Around::default() };
    assert!(check(&task, &RawPerformance::Text("225 lb".into()), &around).unwrap().questions.is_empty());
}

#[test]
fn loads_need_their_unit_and_number() {
    assert_eq!(refused(&max_load(&["press"]), "102.5"), ["102.5 needs its unit: write 102.5 kg or 102.5 lb."]);
    assert_eq!(
        refused(&max_load(&["press", "squat"]), "95+120"),
        ["95 + 120 needs its unit: write 95 + 120 kg or 95 + 120 lb."]
    );
    assert_eq!(
        refused(&max_load(&["press", "squat"]), "95 kg"),
        ["2 loads are needed, 1 given: write press + squat in this order, like 100 + 100 kg, with x for a missed one."]
    );
    assert_eq!(
        refused(&max_load(&["press"]), "95 + 100 kg"),
        ["2 loads are given: this workout takes the best one, like 100 kg."]
    );
    assert_eq!(
        refused(&max_load(&["press"]), "1,250 kg"),
        ["“1,250” can be read in two ways: write 1250 kg, or 1.25 kg."]
    );
}

#[test]
fn the_form_that_is_meant_is_shown() {
    assert_eq!(
        refused(&amrap(), "11:24"),
        ["“11:24” does not say rounds and reps: write it like 3+22, or all reps, like 154 reps."]
    );
    assert_eq!(
        refused(&for_time(), "done"),
        [
            "“done” is neither a finish time nor reps: write a time like 9:36, or what was done at the cap, like 144 reps."
        ]
    );
    assert_eq!(refused(&amrap(), "6.14"), ["“6.14”: for 6 rounds and 14 reps write 6+14."]);
    assert_eq!(refused(&amrap(), "6-14"), ["“6-14”: for 6 rounds and 14 reps write 6+14."]);
    // Where no rounds are counted, a dash means something else.
    assert_eq!(
        refused(&intervals(4, IntervalMeasure::Count), "22-20"),
        ["“22-20” does not say what each interval was: write one figure for each, like 21/21/21/21."]
    );
    assert_eq!(
        refused(&amrap(), "6+14 11:24"),
        [
            "“6+14 11:24”: two figures stand beside each other. Write + between rounds and reps, and tb before a tiebreak."
        ]
    );
    assert_eq!(
        refused(&max_count(CountUnit::Metres), "57 cal"),
        ["“57cal” is in another unit than this workout counts: did you mean 57 m?"]
    );
    assert_eq!(
        refused(&max_count(CountUnit::Metres), "1,250"),
        ["“1,250” is not a whole number: write digits only, without separators."]
    );
    assert_eq!(
        refused(&intervals(4, IntervalMeasure::Count), "21/19/18"),
        ["4 intervals are needed, 3 given: write them like 21/21/21/21."]
    );
    assert_eq!(
        refused(&for_time(), "cap"),
        ["“cap”: write the reps done after cap, like cap 148, or those left, like cap+12."]
    );
    let blocks =
        vec![work(vec![reps("step-up", 60)], Repeat::Rounds(2)), work(vec![reps("swing", 20)], Repeat::Rounds(4))];
    let parts = Task { scheme: Some(Scheme::new(blocks, false).unwrap()), ..for_time() };
    assert_eq!(refused(&parts, "1+7"), ["Rounds are not counted in this workout: write all reps, like 160 reps."]);
}

#[test]
fn examples_in_sentences_can_be_sent() {
    let tasks = [
        amrap(),
        for_time(),
        max_load(&["press"]),
        max_load(&["press", "squat"]),
        max_count(CountUnit::Metres),
        intervals(3, IntervalMeasure::Count),
        intervals(3, IntervalMeasure::Time),
    ];
    for task in tasks {
        let example = tallywright::rules::performance::example(&task);
        let checked = send(&task, &example).unwrap_or_else(|f| panic!("{example}: {f:?}"));
        assert!(checked.questions.is_empty(), "{example}");
    }
}

#[test]
fn every_sentence_of_figures_has_all_its_values() {
    // Lines that draw most of the sentences; none may show a placeholder.
    let tasks = [
        amrap(),
        for_time(),
        max_load(&["a", "b"]),
        max_count(CountUnit::Calories),
        intervals(3, IntervalMeasure::Time),
    ];
    let lines = [
        "",
        "tb",
        "5+44",
        "5+99 tb 0:00",
        "999999999+1",
        "9:75",
        "9:5",
        "1:2:3:4",
        "9:32.4567",
        "100:00:00",
        "cap",
        "cap+999",
        "180",
        "9999 reps",
        "99999999999999999999",
        "12:01",
        "0:00",
        "0:00/1:00/2:00",
        "1/2",
        "1 kg",
        "1 + 2",
        "1,250 + 2 kg",
        "1.234 + 2 kg",
        "99999 kg + 2 kg",
        "57 m",
        "6-14",
        "6.14",
        "1 2",
        "0.397222",
        "9:32:00",
        "9.32",
        "278+0",
        "6+14 tb 8:41",
        "999999999",
        "134217729",
    ];
    for task in &tasks {
        for line in lines {
            let said = match send(task, line) {
                Ok(checked) => {
                    let warnings = checked.warnings.into_iter().map(|w| w.sentence);
                    warnings.chain(checked.questions.into_iter().map(|q| q.sentence)).collect::<Vec<_>>()
                }
                Err(faults) => faults.into_iter().map(|f| f.sentence).collect(),
            };
            for sentence in said {
                let text = sentence.say(LANG);
                assert!(!text.contains('{') && text.ends_with(['.', '?']), "{line}: {} {text}", sentence.code);
            }
        }
    }
}
