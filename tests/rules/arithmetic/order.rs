//! The key against the rule order written the slow way.

use super::generate::{reps, task_and_lines, work};
use super::written_forms::{amrap, for_time, intervals, max_count, max_load, send};
use proptest::prelude::*;
use std::cmp::{Ordering, Reverse};
use tallywright::rules::order::{Key, gap, key};
use tallywright::rules::performance::{Figures, Performance};
use tallywright::rules::quantity::{LoadUnit, Millis, Rounding, TimeStep};
use tallywright::rules::scheme::{MAX_TOTAL, Repeat, Scheme};
use tallywright::rules::workout::{CountUnit, Format, IntervalMeasure, Intervals, Scored, Task, Tiebreak};

/// What starts a placeholder that was left unfilled.
const OPEN: char = '{';

/// rules.md section 4, rule by rule.
fn slow_compare(task: &Task, a: (u8, &Performance), b: (u8, &Performance)) -> Ordering {
    // Lower levels stand below every score of a higher one.
    a.0.cmp(&b.0).then_with(|| by_figures(task, a.1, b.1)).then_with(|| by_tiebreak(task, a.1, b.1))
}

fn by_figures(task: &Task, a: &Performance, b: &Performance) -> Ordering {
    match (a.figures(), b.figures()) {
        // Finished before not finished; then less time; not finished: more reps.
        (Figures::Time(_), Figures::Reps { .. }) => Ordering::Less,
        (Figures::Reps { .. }, Figures::Time(_)) => Ordering::Greater,
        (Figures::Time(a), Figures::Time(b)) => rounded(task, *a).cmp(&rounded(task, *b)),
        (Figures::Reps { total: a, .. }, Figures::Reps { total: b, .. }) | (Figures::Count(a), Figures::Count(b)) => {
            Reverse(a).cmp(&Reverse(b))
        }
        (Figures::Loads(_), Figures::Loads(_)) => Reverse(a.grams(task)).cmp(&Reverse(b.grams(task))),
        (Figures::IntervalCounts(a), Figures::IntervalCounts(b)) => {
            Reverse(scored(task, a.iter().copied())).cmp(&Reverse(scored(task, b.iter().copied())))
        }
        (Figures::IntervalTimes(a), Figures::IntervalTimes(b)) => {
            let figure = |times: &[Millis]| scored(task, times.iter().map(|t| rounded(task, *t)));
            figure(a).cmp(&figure(b))
        }
        other => panic!("{other:?}"),
    }
}

/// A time in milliseconds, rounded by remainders instead of steps.
fn rounded(task: &Task, time: Millis) -> u64 {
    let step = match task.time_step {
        TimeStep::Second => 1000,
        TimeStep::Tenth => 100,
        TimeStep::Hundredth => 10,
    };
    let over = time.0 % step;
    match task.time_rounding {
        Rounding::Down => time.0 - over,
        Rounding::Up if over == 0 => time.0,
        Rounding::Up => time.0 - over + step,
    }
}

fn scored(task: &Task, figures: impl Iterator<Item = u64>) -> u64 {
    match task.intervals.unwrap().scored {
        Scored::Sum => figures.sum(),
        Scored::Least | Scored::Fastest => figures.min().unwrap(),
        Scored::Best | Scored::Slowest => figures.max().unwrap(),
    }
}

/// Lower is better; without one after all that have one; a finisher's only where it serves.
fn by_tiebreak(task: &Task, a: &Performance, b: &Performance) -> Ordering {
    let of = |p: &Performance| {
        let serves = !matches!(p.figures(), Figures::Time(_)) || task.tiebreak_for_finishers;
        p.tiebreak().filter(|_| serves).map(|t| rounded(task, t))
    };
    match (of(a), of(b)) {
        (Some(a), Some(b)) => a.cmp(&b),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn keys_stand_in_the_order_of_the_rules((task, lines) in task_and_lines(8), levels in prop::collection::vec(0..3_u8, 6)) {
        // Every figure with every tiebreak, so that ties and near ties are met.
        let halves: Vec<(&str, Option<&str>)> =
            lines.iter().map(|l| l.split_once(" tb ").map_or((l.as_str(), None), |(main, tb)| (main, Some(tb)))).collect();
        let crossed = halves.iter().flat_map(|(main, _)| halves.iter().take(4).map(move |(_, tb)| match tb {
            Some(tb) => format!("{main} tb {tb}"),
            None => (*main).to_owned(),
        }));
        let done: Vec<(u8, Performance)> = crossed
            .zip(levels.iter().cycle())
            .filter_map(|(line, level)| Some((*level, send(&task, &line).ok()?.value)))
            .collect();
        for a in &done {
            for b in &done {
                let (ka, kb) = (key(&task, a.0, &a.1).unwrap(), key(&task, b.0, &b.1).unwrap());
                prop_assert_eq!(ka.cmp(&kb), slow_compare(&task, (a.0, &a.1), (b.0, &b.1)), "{:?} {:?}", a, b);
                prop_assert_eq!(ka.level(), a.0);
                prop_assert!(ka.0 >= 0);
                // Whatever lies between them can be said.
                let said = gap(&task, ka.min(kb), ka.max(kb), LoadUnit::Kg).say(super::LANG);
                prop_assert!(!said.is_empty() && !said.contains(OPEN), "{}", said);
                prop_assert_eq!(said == "tied", ka == kb);
            }
        }
    }

    #[test]
    fn close_totals_tie_only_when_equal(a in 0..3000_u64, b in 0..3000_u64, ta in 600..720_u64, tb in 600..720_u64) {
        let task = amrap();
        let done = |n: u64, t: u64| {
            let line = if n < 44 { format!("{n} reps") } else { format!("{n} reps tb {}", Millis(t * 1000).exact()) };
            let value = send(&task, &line).unwrap().value;
            (key(&task, 0, &value).unwrap(), value)
        };
        let ((ka, a), (kb, b)) = (done(a, ta), done(b, tb));
        prop_assert_eq!(ka.cmp(&kb), slow_compare(&task, (0, &a), (0, &b)));
        prop_assert_eq!(ka == kb, a == b);
    }
}

fn key_of(task: &Task, level: u8, line: &str) -> Key {
    key(task, level, &send(task, line).unwrap_or_else(|f| panic!("{line}: {f:?}")).value).unwrap()
}

#[test]
fn the_bits_lie_as_described() {
    let task = for_time();
    assert_eq!(key_of(&task, 0, "9:32").0, 572 << 27 | ((1 << 27) - 1));
    let inverted = (1_i64 << 32) - 1 - 148;
    assert_eq!(key_of(&task, 5, "148 reps tb 8:00").0, 5 << 60 | 1 << 59 | inverted << 27 | 0x1e0, "480 steps");
}

#[test]
fn the_largest_figures_fit_and_keep_their_order() {
    let task = amrap();
    let (most, less) = (format!("{MAX_TOTAL} reps tb 12:00"), format!("{} reps tb 0:01", MAX_TOTAL - 1));
    assert!(key_of(&task, 0, &most) < key_of(&task, 0, &less));
    assert!(send(&task, &format!("{} reps", MAX_TOTAL + 1)).is_err());
    // The longest time in the finest step, as a figure and as a tiebreak.
    let fine = Task {
        cap: Some(Millis(359_999_999)),
        time_step: TimeStep::Hundredth,
        tiebreak_for_finishers: true,
        time_rounding: Rounding::Up,
        ..for_time()
    };
    let longest = key_of(&fine, 7, "99:59:59.999 tb 99:59:59.98");
    assert!(key_of(&fine, 7, "99:59:59.99 tb 99:59:59.98") < longest);
    assert!(key_of(&fine, 7, "99:59:59.999 tb 99:59:59.97") < longest);
    assert!(longest < key_of(&fine, 7, "99:59:59.999"));
    assert!(longest.0 > 0);
    // Sixty intervals of the longest time, summed in the finest step.
    let n = 60;
    let sixty = Task {
        intervals: Some(Intervals { n, measure: IntervalMeasure::Time, scored: Scored::Sum }),
        time_step: TimeStep::Hundredth,
        ..Task::of(Format::Intervals)
    };
    let line = vec!["99:59:59.99"; 60].join("/");
    assert!(send(&sixty, &line).is_ok());
}

#[test]
fn what_does_not_fit_is_refused_and_never_wraps() {
    let sum = intervals(60, IntervalMeasure::Count);
    let line = vec![MAX_TOTAL.to_string(); 60].join("/");
    let faults = send(&sum, &line).unwrap_err();
    assert_eq!(faults[0].sentence.code, "figure_too_large");
    let fits = vec![(MAX_TOTAL / 2).to_string(); 60].join("/");
    assert!(send(&sum, &fits).is_ok());
    let value = send(&amrap(), "6+14").unwrap().value;
    assert_eq!(key(&amrap(), 8, &value).unwrap_err().sentence.code, "level_too_low");
    let loads = max_load(&["a"; 500]);
    let heavy = vec!["10000 kg"; 500].join("+");
    assert!(send(&loads, &heavy).is_err());
}

#[test]
fn times_equal_in_their_step_tie() {
    let task = for_time();
    assert_eq!(key_of(&task, 0, "9:32.1"), key_of(&task, 0, "9:32.9"));
    assert!(key_of(&task, 0, "9:32.9") < key_of(&task, 0, "9:33"));
    // A finisher's tiebreak that does not serve separates nobody.
    assert_eq!(key_of(&task, 0, "9:32 tb 8:00"), key_of(&task, 0, "9:32"));
}

#[test]
fn intervals_are_rounded_before_they_are_combined() {
    let up = Task { time_rounding: Rounding::Up, ..intervals(2, IntervalMeasure::Time) };
    // 1:00.1 and 1:00.1 are 1:01 and 1:01: slower than 2:01.9 as 1:00 and 1:01.9.
    assert_eq!(key_of(&up, 0, "1:00.1/1:00.1"), key_of(&up, 0, "1:00/1:01.9"));
}

#[test]
fn gaps_are_said_in_the_units_of_the_workout() {
    let said =
        |task: &Task, a: &str, b: &str, unit| gap(task, key_of(task, 0, a), key_of(task, 0, b), unit).say(super::LANG);
    let kg = LoadUnit::Kg;
    assert_eq!(said(&amrap(), "6+14 tb 11:24", "6+11 tb 11:24", kg), "3 reps");
    assert_eq!(said(&amrap(), "6+14", "6+13", kg), "1 rep");
    assert_eq!(said(&amrap(), "6+14 tb 11:20", "6+14 tb 11:24", kg), "0:04 on the tiebreak");
    assert_eq!(said(&amrap(), "6+14 tb 11:20", "6+14", kg), "a tiebreak time");
    assert_eq!(said(&amrap(), "6+14", "6+14", kg), "tied");
    assert_eq!(said(&for_time(), "9:32", "9:36", kg), "0:04");
    assert_eq!(said(&for_time(), "9:32", "168 reps", kg), "12 reps to the finish");
    assert_eq!(said(&for_time(), "170 reps", "168 reps", kg), "2 reps");
    assert_eq!(said(&max_load(&["press"]), "102.5 kg", "100 kg", kg), "2.5 kg");
    assert_eq!(said(&max_load(&["press"]), "225 lb", "220 lb", LoadUnit::Lb), "5 lb");
    assert_eq!(said(&max_count(CountUnit::Calories), "57", "50", kg), "7 cal");
    assert_eq!(said(&intervals(2, IntervalMeasure::Time), "1:52/1:58", "1:52/2:00", kg), "0:02");
    let (a, b) = (key_of(&amrap(), 0, "0+0"), key_of(&amrap(), 1, "9+0"));
    assert_eq!(gap(&amrap(), a, b, kg).say(super::LANG), "a level");
}

#[test]
fn a_finishers_tiebreak_needs_a_marker_below_the_end() {
    let once = Scheme::new(vec![work(vec![reps("swing", 50)], Repeat::Rounds(1))], false).unwrap();
    let task = Task { scheme: Some(once), tiebreak: Tiebreak::EachRound, tiebreak_for_finishers: true, ..for_time() };
    let faults = send(&task, "9:32 tb 9:00").unwrap_err();
    assert_eq!(faults[0].sentence.say(super::LANG), "No tiebreak is taken before the finish here: leave the time out.");
}
