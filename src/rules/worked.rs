//! Worked examples: pairs of results of a task, made from its own scheme and cap, with what lies
//! between them. They are read and ordered by the same functions as what is stored.

use super::order::{gap, key};
use super::performance::{Around, Performance, RawPerformance, check, example};
use super::quantity::{LoadUnit, Millis};
use super::workout::{Format, IntervalMeasure, Task, Tiebreak};
use crate::words::Sentence;

/// Two results, the better first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
    /// As readers see it.
    pub better: String,
    /// As readers see it.
    pub other: String,
    /// What lies between them.
    pub gap: Sentence,
}

/// Examples for a task: by the figure, by the tiebreak where it has one, and of a `for_time` one who
/// finishes before one who does not. What a small scheme has no room for is left out.
///
/// ```
/// use tallywright::rules::worked::pairs;
/// use tallywright::rules::workout::{Format, Task};
///
/// let pair = &pairs(&Task::of(Format::MaxLoad))[0];
/// assert_eq!((pair.better.as_str(), pair.other.as_str()), ("102.5 kg", "225 lb"));
/// assert_eq!(pair.gap.say(Default::default()), "0.44 kg");
/// ```
#[must_use]
pub fn pairs(task: &Task) -> Vec<Pair> {
    let cap = task.cap.unwrap_or(Millis(600_000));
    // Four fifths of the cap, in whole seconds, and some seconds more.
    let time = |more: u64| Millis((cap.0 - cap.0 / 5) / 1000 * 1000 + more * 1000).exact();
    let mut found = Vec::new();
    let mut add = |one: &str, other: &str| found.extend(pair(task, one, other));
    match task.format {
        Format::Amrap => {
            let total = read(task, &example(task)).and_then(|p| p.total_reps()).unwrap_or(0);
            add(&format!("{total} reps"), &format!("{} reps", total.saturating_sub(3)));
            if task.tiebreak != Tiebreak::None {
                add(&format!("{total} reps tb {}", time(0)), &format!("{total} reps tb {}", time(6)));
            }
        }
        Format::ForTime => {
            let end = task.scheme.as_ref().and_then(super::scheme::Scheme::end).unwrap_or(0);
            add(&time(0), &time(4));
            add(&cap.exact(), &format!("{} reps", end.saturating_sub(1)));
            if task.tiebreak != Tiebreak::None {
                let reps = end - end.div_ceil(5);
                add(&format!("{reps} reps tb {}", time(0)), &format!("{reps} reps tb {}", time(6)));
            }
        }
        Format::MaxLoad if task.lifts.len() > 1 => {
            let others = "80 + ".repeat(task.lifts.len() - 1);
            add(&format!("{others}102.5 kg"), &format!("{others}100 kg"));
        }
        Format::MaxLoad => add("102.5 kg", "225 lb"),
        Format::MaxCount => {
            add("57", "54");
            if task.tiebreak != Tiebreak::None {
                add(&format!("57 tb {}", time(0)), &format!("57 tb {}", time(6)));
            }
        }
        Format::Intervals => {
            let timed = task.intervals.is_some_and(|i| i.measure == IntervalMeasure::Time);
            let all = |figure: &str| vec![figure; task.intervals.map_or(1, |i| i.n as usize)].join("/");
            if timed { add(&all("1:52"), &all("1:55")) } else { add(&all("21"), &all("19")) }
        }
    }
    found
}

fn read(task: &Task, text: &str) -> Option<Performance> {
    let around = Around { confirm_all: true, ..Around::default() };
    check(task, &RawPerformance::Text(text.to_owned()), &around).ok().map(|checked| checked.value)
}

/// Two results as a pair; `None`: one does not fit the task, or they are equal.
fn pair(task: &Task, one: &str, other: &str) -> Option<Pair> {
    let (one, other) = (read(task, one)?, read(task, other)?);
    let (a, b) = (key(task, 0, &one).ok()?, key(task, 0, &other).ok()?);
    let (better, worse) = if a < b { (&one, &other) } else { (&other, &one) };
    (a != b).then(|| Pair {
        better: better.shown(task),
        other: worse.shown(task),
        gap: gap(task, a.min(b), a.max(b), LoadUnit::Kg),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::competition;

    fn said(toml: &str, workout: &str) -> Vec<String> {
        let raw = competition::from_toml(toml).expect("reads");
        let compiled = competition::compile(&raw).expect("holds together").value;
        let task = &compiled.workout(workout).expect("is there").task;
        let say = |p: Pair| format!("{} before {}: {}", p.better, p.other, p.gap.say(crate::words::Lang::En));
        pairs(task).into_iter().map(say).collect()
    }

    #[test]
    fn an_amrap_is_compared_by_reps_then_by_the_tiebreak() {
        let found = said(include_str!("../../tests/data/small.toml"), "w1");
        // Rounds of 44: three of them and half of the next.
        assert_eq!(found, ["3+22 before 3+19: 3 reps", "3+22 tb 9:36 before 3+22 tb 9:42: 0:06 on the tiebreak"]);
    }

    #[test]
    fn who_finishes_at_the_cap_stands_before_who_lacks_a_rep() {
        let found = said(include_str!("../../tests/data/small.toml"), "w2");
        assert_eq!(found, ["12:00 before 12:04: 0:04", "15:00 before 119 reps: 1 rep to the finish"]);
    }

    #[test]
    fn every_format_of_the_sample_has_an_example() {
        let text = include_str!("../../tests/data/saltmarsh.toml");
        let raw = competition::from_toml(text).expect("reads");
        for x in &competition::compile(&raw).expect("holds together").value.workouts {
            assert!(!pairs(&x.task).is_empty(), "{}", x.slug);
        }
    }
}
