//! Every written form that is taken, and what it is stored as.

use super::generate::{reps, rounds_of_44, work};
use tallywright::rules::fault::Checked;
use tallywright::rules::performance::{Around, Performance, RawFigures, RawPerformance, check, written};
use tallywright::rules::quantity::{Grams, Millis, TimeStep};
use tallywright::rules::scheme::{Repeat, Scheme};
use tallywright::rules::workout::{CountUnit, Format, IntervalMeasure, Intervals, LoadStep, Scored, Task, Tiebreak};

/// Rounds of 44 in 12:00, tiebreak at each round.
pub fn amrap() -> Task {
    Task {
        scheme: Some(rounds_of_44()),
        cap: Some(Millis(720_000)),
        tiebreak: Tiebreak::EachRound,
        ..Task::of(Format::Amrap)
    }
}

/// Five rounds of 36 for time, cap 12:00: R = 180.
pub fn for_time() -> Task {
    let stations = vec![reps("swing", 20), reps("squat", 16)];
    Task {
        scheme: Some(Scheme::new(vec![work(stations, Repeat::Rounds(5))], false).unwrap()),
        cap: Some(Millis(720_000)),
        tiebreak: Tiebreak::EachRound,
        ..Task::of(Format::ForTime)
    }
}

/// One lift, or several.
pub fn max_load(lifts: &[&str]) -> Task {
    Task { lifts: lifts.iter().map(|l| (*l).to_owned()).collect(), ..Task::of(Format::MaxLoad) }
}

/// As many as possible in 4:00.
pub fn max_count(unit: CountUnit) -> Task {
    Task { cap: Some(Millis(240_000)), unit, ..Task::of(Format::MaxCount) }
}

/// `n` intervals, summed.
pub fn intervals(n: u32, measure: IntervalMeasure) -> Task {
    Task { intervals: Some(Intervals { n, measure, scored: Scored::Sum }), ..Task::of(Format::Intervals) }
}

/// Sends a line.
pub fn send(task: &Task, text: &str) -> Result<Checked<Performance>, Vec<tallywright::rules::fault::Fault>> {
    check(task, &RawPerformance::Text(text.to_owned()), &Around::default())
}

/// What a line that asks nothing is stored as.
pub fn stored(task: &Task, text: &str) -> String {
    let checked = send(task, text).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
    assert!(checked.questions.is_empty(), "{text}: {:?}", checked.questions);
    checked.value.text(task)
}

#[test]
fn rounds_and_reps() {
    for text in [
        "6+14",
        "6r14",
        "6 rds + 14",
        "6 rounds + 14 reps",
        "6 ROUNDS 14",
        "6rd.14",
        " 6 + 14 reps ",
        "６＋１４",
        "6\u{a0}+\u{2009}14",
        "'6+14",
        "278",
        "278 reps",
        "278REPS",
        "\u{feff}278",
    ] {
        assert_eq!(stored(&amrap(), text), "6+14", "{text}");
    }
    for text in ["6r", "6 rounds", "6+0", "264"] {
        assert_eq!(stored(&amrap(), text), "6+0", "{text}");
    }
    assert_eq!(stored(&amrap(), "0"), "0+0");
}

#[test]
fn tiebreaks() {
    for text in [
        "6+14 tb 11:24",
        "6+14 TB 11.24",
        "6+14, tb: 11:24",
        "6+14tb11:24",
        "6+14 (TB 11’24″)",
        "6+14 tiebreak 11:24",
        "6+14 tie-break = 11,24",
        "6+14; tie break 11:24",
        "278 reps tb 11:24.000",
    ] {
        assert_eq!(stored(&amrap(), text), "6+14 tb 11:24", "{text}");
    }
}

#[test]
fn finish_times_and_reps_at_the_cap() {
    for (text, canonical) in [
        ("9:32", "9:32"),
        ("9:32.4", "9:32.4"),
        ("9:32,45", "9:32.45"),
        ("9'32\"", "9:32"),
        ("12:00", "12:00"),
        ("0:00:45", "0:45"),
        ("148 reps tb 8:00", "148 reps tb 8:00"),
        ("148", "148 reps"),
        ("cap 148", "148 reps"),
        ("CAP148", "148 reps"),
        ("cap: 148 reps", "148 reps"),
        ("cap+12", "168 reps"),
        ("cap + 12 reps", "168 reps"),
        ("cap+180", "0 reps"),
        ("4+4", "148 reps"),
        ("0", "0 reps"),
    ] {
        assert_eq!(stored(&for_time(), text), canonical, "{text}");
    }
    let long = Task { cap: Some(Millis(7_200_000)), tiebreak: Tiebreak::None, ..for_time() };
    assert_eq!(stored(&long, "1:04:10"), "1:04:10");
    assert_eq!(stored(&long, "64:10"), "1:04:10");
    assert_eq!(stored(&long, "1:32:00"), "1:32:00");
}

#[test]
fn words_that_are_not_of_the_figure_are_not_taken() {
    // What was written is kept in the log, which holds no names.
    for text in ["9:32 Ana Rocha", "Ana 9:32", "9:32 tb 8:00 Ana", "148 reps Ana", "cap 148 Ana", "9:32x"] {
        assert!(send(&for_time(), text).is_err(), "{text}");
    }
    for text in ["6+14 Ana", "6+14 tb 11:24 Ana", "278 Ana", "6 rounds 14 Ana"] {
        assert!(send(&amrap(), text).is_err(), "{text}");
    }
    for (task, text) in [(max_load(&["press"]), "100 kg Ana"), (max_count(CountUnit::Calories), "57 cal Ana")] {
        assert!(send(&task, text).is_err(), "{text}");
    }
    let times = intervals(2, IntervalMeasure::Time);
    assert!(send(&times, "1:52/1:58 Ana").is_err());
    assert_eq!(stored(&for_time(), "9:32 min"), "9:32");
}

#[test]
fn reps_left_are_echoed() {
    let checked = send(&Task { tiebreak: Tiebreak::None, ..for_time() }, "cap+12").unwrap();
    let said: Vec<String> = checked.warnings.iter().map(|w| w.sentence.say(super::LANG)).collect();
    assert_eq!(said, ["12 left: 168 of 180 done."]);
}

#[test]
fn loads() {
    let one = max_load(&["press"]);
    for (text, canonical) in [
        ("102.5 kg", "102.5 kg"),
        ("102,5 kg", "102.5 kg"),
        ("102.50KG", "102.5 kg"),
        ("225 lb", "225 lb"),
        ("225#", "225 lb"),
        ("225 lbs", "225 lb"),
        ("no lift", "no lift"),
        ("x", "no lift"),
        ("0", "no lift"),
        ("0 kg", "no lift"),
    ] {
        assert_eq!(stored(&one, text), canonical, "{text}");
    }
    let two = max_load(&["press", "squat"]);
    for (text, canonical) in [
        ("95 + 120 kg", "95 + 120 kg"),
        ("95kg+120kg", "95 + 120 kg"),
        ("x + 120 kg", "x + 120 kg"),
        ("95 kg + x", "95 kg + x"),
        ("95 + x kg", "95 kg + x"),
        ("95 kg + 265 lb", "95 kg + 265 lb"),
        ("no lift + 120 kg", "x + 120 kg"),
        ("no lift", "no lift"),
        ("x + x", "no lift"),
    ] {
        assert_eq!(stored(&two, text), canonical, "{text}");
    }
    let grams = |task: &Task, text| send(task, text).unwrap().value.grams(task);
    assert_eq!(grams(&two, "x + 120 kg"), Some(Grams(120_000)));
    assert_eq!(grams(&Task { all_required: true, ..two.clone() }, "x + 120 kg"), Some(Grams(0)));
    assert_eq!(grams(&two, "100 + 225 lb"), Some(Grams(45_359 + 102_058)));
}

#[test]
fn counts_and_intervals() {
    assert_eq!(stored(&max_count(CountUnit::Calories), "57 cal"), "57 cal");
    assert_eq!(stored(&max_count(CountUnit::Calories), "57"), "57 cal");
    assert_eq!(stored(&max_count(CountUnit::Metres), "1250 m"), "1250 m");
    assert_eq!(stored(&max_count(CountUnit::Metres), "1250 metres"), "1250 m");
    assert_eq!(stored(&max_count(CountUnit::Reps), "57 reps"), "57 reps");
    let count = |n| intervals(n, IntervalMeasure::Count);
    assert_eq!(stored(&count(4), "21/19/18/18"), "21/19/18/18");
    assert_eq!(stored(&count(4), "21 / 19 reps / 18 / 0"), "21/19/18/0");
    assert_eq!(stored(&count(3), "1250/1300/1280"), "1250/1300/1280");
    assert_eq!(stored(&count(3), "6/14/2027"), "6/14/2027");
    assert_eq!(stored(&count(1), "21"), "21");
    let time = |n| intervals(n, IntervalMeasure::Time);
    assert_eq!(stored(&time(3), "1:52/1:58/2:03"), "1:52/1:58/2:03");
    assert_eq!(stored(&time(1), "1:52.3"), "1:52.3");
    assert_eq!(stored(&time(2), "112:00/1:52"), "112:00/1:52");
}

#[test]
fn rounds_that_say_nothing_are_written_as_totals() {
    let single = Scheme::new(vec![work(vec![reps("burpee", 1)], Repeat::Endless)], true).unwrap();
    let task = Task { scheme: Some(single), tiebreak: Tiebreak::None, ..amrap() };
    assert_eq!(stored(&task, "143+0"), "143 reps");
    let blocks =
        vec![work(vec![reps("step-up", 60)], Repeat::Rounds(1)), work(vec![reps("swing", 20)], Repeat::Endless)];
    let buy_in = Task { scheme: Some(Scheme::new(blocks, true).unwrap()), tiebreak: Tiebreak::None, ..amrap() };
    assert_eq!(stored(&buy_in, "59"), "59 reps");
    assert_eq!(stored(&buy_in, "60"), "0+0");
    assert_eq!(stored(&buy_in, "2+7"), "2+7");
    assert_eq!(send(&buy_in, "2+7").unwrap().value.total_reps(), Some(107));
}

#[test]
fn readers_see_times_in_steps() {
    let tenths = Task { time_step: TimeStep::Tenth, ..for_time() };
    assert_eq!(send(&tenths, "9:32.47").unwrap().value.shown(&tenths), "9:32.4");
    assert_eq!(send(&tenths, "9:32.47").unwrap().value.text(&tenths), "9:32.47");
    assert_eq!(send(&for_time(), "9:32.47").unwrap().value.shown(&for_time()), "9:32");
}

#[test]
fn loads_off_their_own_step_are_remarked_on() {
    let step = LoadStep { kg: Some(Grams(500)), lb_hundredths: Some(100) };
    let task = Task { load_step: step, ..max_load(&["press"]) };
    let codes = |text| -> Vec<String> {
        send(&task, text).unwrap().warnings.iter().map(|w| w.sentence.code.to_string()).collect()
    };
    assert!(codes("102.5 kg").is_empty() && codes("225 lb").is_empty());
    assert_eq!(codes("102.3 kg"), ["load_off_step"]);
    assert_eq!(codes("225.5 lb"), ["load_off_step"]);
}

/// An object as JSON and what it is stored as.
fn object(task: &Task, json: serde_json::Value) -> Result<String, Vec<(String, String)>> {
    let raw: RawPerformance = serde_json::from_value(json).unwrap();
    match check(task, &raw, &Around::default()) {
        Ok(checked) => {
            // What is kept as written reads back to the same.
            assert_eq!(send(task, &written(&raw)).unwrap().value, checked.value);
            Ok(checked.value.text(task))
        }
        Err(faults) => Err(faults.into_iter().map(|f| (f.pointer, f.sentence.code.into_owned())).collect()),
    }
}

#[test]
fn the_object_form_says_the_same() {
    use serde_json::json;
    assert_eq!(object(&amrap(), json!({"rounds": 6, "reps": 14, "tiebreak": "11:24"})), Ok("6+14 tb 11:24".into()));
    assert_eq!(object(&amrap(), json!({"total_reps": 278})), Ok("6+14".into()));
    assert_eq!(object(&for_time(), json!({"time": "9:32"})), Ok("9:32".into()));
    assert_eq!(object(&for_time(), json!({"total_reps": 148})), Ok("148 reps".into()));
    assert_eq!(object(&max_load(&["a", "b"]), json!({"loads": ["95 kg", "x"]})), Ok("95 kg + x".into()));
    assert_eq!(object(&max_count(CountUnit::Metres), json!({"count": 1250})), Ok("1250 m".into()));
    assert_eq!(object(&intervals(2, IntervalMeasure::Count), json!({"intervals": ["21", "19"]})), Ok("21/19".into()));
    assert_eq!(
        object(&intervals(2, IntervalMeasure::Time), json!({"intervals": ["1:52", "1:58"]})),
        Ok("1:52/1:58".into())
    );
}

#[test]
fn a_faulty_object_points_at_its_members() {
    use serde_json::json;
    let fault = |pointer: &str, code: &str| (pointer.to_owned(), code.to_owned());
    assert_eq!(
        object(&amrap(), json!({"rounds": 5, "reps": 44, "tiebreak": "12:40"})),
        Err(vec![fault("/performance", "whole_round"), fault("/performance/tiebreak", "tiebreak_after_cap_plain")])
    );
    assert_eq!(object(&amrap(), json!({"rounds": 5})), Err(vec![fault("/performance", "object_rounds_and_reps")]));
    assert_eq!(
        object(&amrap(), json!({"rounds": 5, "reps": 1, "count": 3})),
        Err(vec![fault("/performance", "object_mixed")])
    );
    assert_eq!(object(&amrap(), json!({})), Err(vec![fault("/performance", "form_amrap")]));
    assert_eq!(object(&amrap(), json!({"time": "9:32"})), Err(vec![fault("/performance", "form_amrap")]));
    assert_eq!(object(&for_time(), json!({"time": "9:75"})), Err(vec![fault("/performance/time", "time_seconds")]));
    assert_eq!(
        object(&max_load(&["a", "b"]), json!({"loads": ["95", "kg"]})),
        Err(vec![fault("/performance/loads/0", "load_needs_unit"), fault("/performance/loads/1", "load_unreadable")])
    );
    assert_eq!(
        object(&intervals(3, IntervalMeasure::Count), json!({"intervals": ["21", "x", "1.5"]})),
        Err(vec![
            fault("/performance/intervals/1", "interval_count"),
            fault("/performance/intervals/2", "interval_count")
        ])
    );
    let raw: RawFigures = serde_json::from_value(json!({"rounds": 5, "reps": 1})).unwrap();
    assert_eq!(written(&RawPerformance::Object(raw)), "5 rounds + 1");
}

#[test]
fn in_json_a_performance_has_the_members_of_its_format() {
    let task = amrap();
    let view = send(&task, "6+14 tb 11:24").unwrap().value.view(&task, "6r14 tb 11.24");
    insta::assert_json_snapshot!(view, @r#"
    {
      "format": "amrap",
      "total_reps": 278,
      "rounds": 6,
      "reps": 14,
      "tiebreak_ms": 684000,
      "text": "6+14 tb 11:24",
      "written": "6r14 tb 11.24"
    }
    "#);
    let task = max_load(&["press", "squat"]);
    let view = send(&task, "x + 120 kg").unwrap().value.view(&task, "x+120kg");
    insta::assert_json_snapshot!(view, @r#"
    {
      "format": "max_load",
      "grams": 120000,
      "loads": [
        null,
        120000
      ],
      "text": "x + 120 kg",
      "written": "x+120kg"
    }
    "#);
    let task = for_time();
    let view = send(&task, "9:32.4").unwrap().value.view(&task, "9:32.4");
    insta::assert_json_snapshot!(view, @r#"
    {
      "format": "for_time",
      "finished": true,
      "time_ms": 572000,
      "text": "9:32",
      "written": "9:32.4"
    }
    "#);
}
