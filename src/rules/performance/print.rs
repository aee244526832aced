//! How a performance is written: canonically, for readers, and as it was sent.

use super::{Figures, Performance, RawFigures, RawPerformance};
use crate::rules::quantity::{Load, LoadUnit, Millis};
use crate::rules::scheme::Scheme;
use crate::rules::workout::{CountUnit, Format, IntervalMeasure, Task};

/// Above this many rounds a total is written instead: `278+0` may be a total in the wrong place.
const MANY_ROUNDS: u64 = 60;

impl Performance {
    /// The canonical written form; [`super::check`] reads it back to the same value, asking
    /// nothing. Times are exact; for readers see [`Self::shown`].
    #[must_use]
    pub fn text(&self, task: &Task) -> String {
        self.print(task, &|time| canonical(time, task.cap))
    }

    /// As shown to readers: like [`Self::text`], with times rounded to the task's step.
    #[must_use]
    pub fn shown(&self, task: &Task) -> String {
        self.print(task, &|time| time.shown(task.time_step, task.time_rounding))
    }

    fn print(&self, task: &Task, time: &dyn Fn(Millis) -> String) -> String {
        let mut out = match &self.figures {
            Figures::Reps { total, capped: false } => task
                .scheme
                .as_ref()
                .map_or_else(|| count(*total, CountUnit::Reps), |scheme| rounds_and_reps(scheme, *total)),
            Figures::Reps { total, capped: true } => count(*total, CountUnit::Reps),
            Figures::Time(finish) => time(*finish),
            Figures::Loads(lifts) => loads(lifts),
            Figures::Count(n) => count(*n, task.unit),
            Figures::IntervalCounts(counts) => joined(counts.iter().map(u64::to_string)),
            Figures::IntervalTimes(times) => joined(times.iter().map(|t| time(*t))),
        };
        if let Some(tiebreak) = self.tiebreak {
            out.push_str(" tb ");
            out.push_str(&time(tiebreak));
        }
        out
    }
}

/// A time exactly; whole minutes from an hour on in minutes where `9:32:00` would be asked about.
fn canonical(time: Millis, cap: Option<Millis>) -> String {
    let whole_minutes = time.0.is_multiple_of(60_000);
    if whole_minutes && time.0 >= 3_600_000 && cap.is_none_or(|cap| time > cap) {
        time.exact_minutes()
    } else {
        time.exact()
    }
}

fn joined(items: impl Iterator<Item = String>) -> String {
    items.collect::<Vec<_>>().join("/")
}

/// `6+14` where rounds are counted and say more than the total does.
fn rounds_and_reps(scheme: &Scheme, total: u64) -> String {
    let rounds = scheme.split(total).and_then(|at| at.rounds.map(|rounds| (rounds, at.reps)));
    match rounds {
        Some((rounds, reps)) if rounds <= MANY_ROUNDS && worth_rounds(scheme, rounds) => format!("{rounds}+{reps}"),
        _ => count(total, CountUnit::Reps),
    }
}

/// Whether a round is more than one rep.
fn worth_rounds(scheme: &Scheme, rounds: u64) -> bool {
    scheme.round_size(rounds).is_none_or(|size| size > 1)
}

/// `148 reps`, `57 cal`, `1250 m`.
pub(super) fn count(n: u64, unit: CountUnit) -> String {
    match unit {
        CountUnit::Reps => format!("{n} reps"),
        CountUnit::Calories => format!("{n} cal"),
        CountUnit::Metres => format!("{n} m"),
    }
}

/// `102.5 kg`, `95 + 120 kg`, `95 kg + 265 lb`, `x + 120 kg`, `no lift`.
fn loads(lifts: &[super::Lift]) -> String {
    let made: Vec<Option<Load>> =
        lifts.iter().map(|l| l.load.map(|_| Load { unit: l.unit, hundredths: l.hundredths })).collect();
    if made.iter().all(Option::is_none) {
        return "no lift".to_owned();
    }
    let last_unit = made.last().copied().flatten().map(|l| l.unit);
    let one_unit = last_unit.filter(|unit| made.iter().flatten().all(|l| l.unit == *unit));
    let mut parts: Vec<String> = made
        .iter()
        .map(|load| match (load, one_unit) {
            (None, _) => "x".to_owned(),
            (Some(load), None) => load.text(),
            (Some(load), Some(_)) => crate::rules::quantity::from_hundredths(load.hundredths),
        })
        .collect();
    if let (Some(unit), Some(last)) = (one_unit, parts.last_mut()) {
        last.push(' ');
        last.push_str(LoadUnit::as_str(unit));
    }
    parts.join(" + ")
}

/// A stored canonical text as readers see it: with times rounded to the task's step. A text that
/// does not fit the task (any more) stays as it is.
///
/// ```
/// use tallywright::rules::performance::shown;
/// use tallywright::rules::workout::{Format, IntervalMeasure, Intervals, Scored, Task};
///
/// let times = Intervals { n: 2, measure: IntervalMeasure::Time, scored: Scored::Sum };
/// let task = Task { intervals: Some(times), ..Task::of(Format::Intervals) };
/// assert_eq!(shown(&task, "1:52.4/1:58"), "1:52/1:58");
/// ```
#[must_use]
pub fn shown(task: &Task, text: &str) -> String {
    let around = super::Around { confirm_all: true, ..super::Around::default() };
    match super::check(task, &RawPerformance::Text(text.to_owned()), &around) {
        Ok(checked) => checked.value.shown(task),
        Err(_) => text.to_owned(),
    }
}

/// The raw performance as one written line, kept beside the canonical figures. Reads as the
/// object does.
#[must_use]
pub fn written(raw: &RawPerformance) -> String {
    match raw {
        RawPerformance::Text(text) => text.clone(),
        RawPerformance::Object(object) => {
            let mut out = main_figure(object);
            if let Some(tiebreak) = &object.tiebreak {
                out.push_str(" tb ");
                out.push_str(tiebreak);
            }
            out
        }
    }
}

/// The object form's main figure in writing.
pub(super) fn main_figure(object: &RawFigures) -> String {
    let mut parts = Vec::new();
    match (object.rounds, object.reps) {
        (Some(rounds), Some(reps)) => parts.push(format!("{rounds} rounds + {reps}")),
        (Some(rounds), None) => parts.push(format!("{rounds} rounds")),
        (None, Some(reps)) => parts.push(format!("{reps} reps")),
        (None, None) => {}
    }
    parts.extend(object.total_reps.map(|n| count(n, CountUnit::Reps)));
    parts.extend(object.time.clone());
    parts.extend(object.loads.as_ref().map(|loads| loads.join(" + ")));
    parts.extend(object.count.map(|n| n.to_string()));
    parts.extend(object.intervals.as_ref().map(|items| items.join("/")));
    parts.join(" ")
}

/// An example of a performance for this task in writing, from its own scheme: for hints.
#[must_use]
pub fn example(task: &Task) -> String {
    examples(task).0
}

/// The usual form and another one, from the task's own figures.
pub(super) fn examples(task: &Task) -> (String, String) {
    let scheme = task.scheme.as_ref();
    let total = scheme.map_or(148, |s| s.end().map_or_else(|| some_total(s), |end| end - end.div_ceil(5)));
    let reps = count(total, CountUnit::Reps);
    match task.format {
        Format::Amrap => (scheme.map_or_else(|| reps.clone(), |s| rounds_and_reps(s, total)), reps),
        Format::ForTime => {
            let cap = task.cap.unwrap_or(Millis(600_000)).0;
            (Millis((cap - cap / 5).div_ceil(1000) * 1000).exact(), reps)
        }
        Format::MaxLoad => {
            let all = vec!["100"; task.lifts.len().max(1)].join(" + ");
            (format!("{all} kg"), "no lift".to_owned())
        }
        Format::MaxCount => (count(57, task.unit), count(0, task.unit)),
        Format::Intervals => {
            let (n, one) = match task.intervals.map(|i| (i.n, i.measure)) {
                Some((n, IntervalMeasure::Time)) => (n, "1:52"),
                Some((n, IntervalMeasure::Count)) => (n, "21"),
                None => (1, "21"),
            };
            let all = vec![one; n.min(4) as usize].join("/") + if n > 4 { "/…" } else { "" };
            (all, one.to_owned())
        }
    }
}

/// Three rounds and some of an amrap.
fn some_total(scheme: &Scheme) -> u64 {
    let through = scheme.through(3).or_else(|| scheme.through(0)).unwrap_or(0);
    let part = scheme.round_size(3).map_or(0, |size| size / 2);
    (through + part).min(scheme.most())
}
