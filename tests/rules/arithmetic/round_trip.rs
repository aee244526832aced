//! What is stored reads back to the same; nothing that is sent brings the reader down.

use super::generate::{any_task, task_and_lines};
use super::written_forms::{amrap, for_time, intervals, max_count, max_load, send};
use proptest::prelude::*;
use tallywright::rules::order::key;
use tallywright::rules::performance::{Around, RawFigures, RawPerformance, check};
use tallywright::rules::quantity::Millis;
use tallywright::rules::workout::{CountUnit, IntervalMeasure, Task, Tiebreak};

/// Whatever is taken has a key, and its canonical text reads back to it, asking nothing.
fn reads_back(task: &Task, line: &str) -> Result<bool, TestCaseError> {
    let Ok(checked) = send(task, line) else { return Ok(false) };
    let text = checked.value.text(task);
    let again = send(task, &text).map_err(|f| TestCaseError::fail(format!("{line} -> {text}: {f:?}")))?;
    prop_assert_eq!(&again.value, &checked.value, "{} -> {}", line, text);
    // The pace of a tiebreak may be asked about again: that is about the figures, not the text.
    let about_text: Vec<_> = again.questions.iter().filter(|q| q.sentence.code != "tiebreak_pace").collect();
    prop_assert!(about_text.is_empty(), "{} -> {}: {:?}", line, text, about_text);
    prop_assert_eq!(again.value.text(task), text);
    prop_assert!(key(task, 7, &checked.value).is_ok());
    prop_assert!(!checked.value.shown(task).is_empty());
    Ok(true)
}

fn tasks() -> Vec<Task> {
    vec![
        amrap(),
        for_time(),
        Task { tiebreak_for_finishers: true, ..for_time() },
        max_load(&["press"]),
        Task { tiebreak: Tiebreak::Time, ..max_load(&["press", "squat", "pull"]) },
        max_count(CountUnit::Reps),
        Task { tiebreak: Tiebreak::Time, ..max_count(CountUnit::Metres) },
        intervals(1, IntervalMeasure::Time),
        intervals(3, IntervalMeasure::Count),
        intervals(3, IntervalMeasure::Time),
    ]
}

/// Signs and words of performances, strung together.
fn near_misses() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        6 => (0..10_000_u64).prop_map(|n| n.to_string()),
        1 => any::<u64>().prop_map(|n| n.to_string()),
        8 => prop::sample::select(vec![
            "+", "/", ":", ".", ",", "'", "\"", " ", "-", "#", "tb", "x", "kg", "lb", "cap", "reps", "rds", "r", "m", "cal", "no lift", "e+", "am",
            "may", "′", "″", "：", "６", "\u{a0}", "(", ")", "left", "00", "0",
        ]).prop_map(str::to_owned),
    ];
    prop::collection::vec(piece, 0..9).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn what_is_stored_reads_back((task, lines) in task_and_lines(12)) {
        for line in lines {
            reads_back(&task, &line)?;
        }
    }

    #[test]
    fn any_text_is_taken_or_refused(line in any::<String>()) {
        for task in tasks() {
            reads_back(&task, &line)?;
        }
    }

    #[test]
    fn near_misses_are_taken_or_refused(line in near_misses()) {
        for task in tasks() {
            reads_back(&task, &line)?;
        }
    }

    #[test]
    fn any_object_is_taken_or_refused(
        task in any_task(),
        numbers in prop::collection::vec(prop::option::weighted(0.3, any::<u64>()), 4),
        texts in prop::collection::vec(prop::option::weighted(0.3, near_misses()), 2),
        lists in prop::collection::vec(prop::option::weighted(0.3, prop::collection::vec(near_misses(), 0..4)), 2),
    ) {
        let raw = RawPerformance::Object(RawFigures {
            rounds: numbers[0],
            reps: numbers[1],
            total_reps: numbers[2],
            count: numbers[3],
            time: texts[0].clone(),
            tiebreak: texts[1].clone(),
            loads: lists[0].clone(),
            intervals: lists[1].clone(),
        });
        if let Ok(checked) = check(&task, &raw, &Around::default()) {
            reads_back(&task, &checked.value.text(&task))?;
        }
    }
}

/// Figures that generators make are taken often enough for the property above to mean something.
#[test]
fn most_generated_lines_are_taken() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let (mut taken, mut all) = (0, 0);
    for _ in 0..200 {
        let (task, lines) = task_and_lines(10).new_tree(&mut runner).unwrap().current();
        all += lines.len();
        taken += lines.iter().filter(|line| send(&task, line).is_ok()).count();
    }
    assert!(taken * 3 > all, "{taken} of {all}");
}

// Lines that once were, or might be, trouble: slices inside a letter, empty parts, overflow.
#[test]
fn known_troublemakers() {
    let long = "9".repeat(2000);
    let lines = [
        "",
        " ",
        "+",
        "++",
        "6+",
        "+14",
        "6++14",
        "/",
        "//",
        "tb",
        "tbtb",
        "tb tb 1:00",
        "x",
        "xx",
        "x+",
        "+x",
        "kg",
        "#",
        "##",
        "'",
        "''",
        "\"",
        "\"\"",
        "'''",
        "9'",
        "'9",
        ":",
        "::",
        "0:0",
        "cap",
        "cap+",
        "cap++1",
        "capé",
        "cap148é",
        "é",
        "6é14",
        "½",
        "6½",
        "²",
        "6²",
        "İ",
        "ß+ß",
        "\u{0}",
        "1\u{0}",
        "-1",
        "--",
        "1e5",
        "1e+5",
        "∞",
        "NaN",
        "18446744073709551615",
        "18446744073709551616+1",
        "9007199254740992",
        "9007199254740991+9007199254740991",
        "1+18446744073709551615",
        "999999999:59",
        "0.0",
        "0.00",
        ".",
        ",",
        ".5",
        "5.",
        "1.2.3.4",
        "1:00:00:00",
        "1/2/3/4/5/6/7/8/9",
        "٣+٤",
        "６＋１４",
        "x kg",
        "0 kg",
        "0 lb + 0 kg",
        "nolift+nolift",
        "1 000 m",
        "=6+14",
        "6+14 tb 0.5",
        "tb11:24",
        "\u{202e}6+14",
        long.as_str(),
    ];
    for task in tasks() {
        for line in lines {
            reads_back(&task, line).unwrap_or_else(|e| panic!("{line}: {e}"));
        }
    }
}

#[test]
fn a_whole_hour_and_minutes_without_cap_read_back() {
    let task = intervals(1, IntervalMeasure::Time);
    let checked = send(&task, "2:05:00.0").unwrap();
    assert_eq!(checked.value.text(&task), "125:00");
    assert!(reads_back(&task, "2:05:00.0").unwrap());
    let capped = Task { cap: Some(Millis(36_000_000)), ..task };
    assert_eq!(send(&capped, "2:05:00").unwrap().value.text(&capped), "2:05:00");
}
