//! The ways a result of a task is written, each made from the task's own scheme, cap and steps.
//!
//! Whatever is offered as an example is read by [`check`] first: what it would refuse or ask about
//! is left out, so that nobody is shown a result that the service does not take.

use super::tiebreak::{Serves, serves};
use super::{Around, Figures, Performance, RawPerformance, check, print};
use crate::rules::quantity::{Load, LoadUnit, Millis};
use crate::rules::scheme::Scheme;
use crate::rules::workout::{CountUnit, Format, IntervalMeasure, Task};

/// What a written result says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    /// Whole rounds and reps of the next.
    Rounds {
        /// Whole ones.
        rounds: u64,
        /// Of the next.
        reps: u64,
    },
    /// All reps together.
    Total,
    /// A finish time.
    Finished,
    /// Not finished: the reps done.
    Capped,
    /// Not finished: the reps left.
    Left(u64),
    /// One lift.
    Load,
    /// One lift, in pounds.
    LoadInPounds,
    /// A sum of lifts.
    Lifts,
    /// Started, without a good lift.
    NoLift,
    /// A count.
    Count,
    /// One figure for each interval.
    Intervals,
}

/// One way to write a result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// As it is typed.
    pub text: String,
    /// What it says.
    pub says: Says,
    /// The tiebreak time in it.
    pub tiebreak: Option<Millis>,
}

/// The ways to write a result of this task, the usual one first; after them, where a time of a
/// tiebreak serves, the first that takes one, with it.
///
/// ```
/// use tallywright::rules::performance::ways;
/// use tallywright::rules::workout::{Format, Task};
///
/// let found: Vec<String> = ways(&Task::of(Format::MaxLoad)).into_iter().map(|way| way.text).collect();
/// assert_eq!(found, ["102.5 kg", "225 lb", "no lift"]);
/// ```
#[must_use]
pub fn ways(task: &Task) -> Vec<Way> {
    let plain = |(text, says): (String, Says)| taken(task, &text).map(|_| Way { text, says, tiebreak: None });
    let mut found: Vec<Way> = candidates(task).into_iter().filter_map(plain).collect();
    let timed = found.iter().find_map(|way| with_tiebreak(task, way));
    found.extend(timed);
    found
}

/// What is stored of a text that is taken without a question.
fn taken(task: &Task, text: &str) -> Option<Performance> {
    let checked = check(task, &RawPerformance::Text(text.to_owned()), &Around::default()).ok()?;
    checked.questions.is_empty().then_some(checked.value)
}

/// The same result with the time of its tiebreak, at an even pace.
fn with_tiebreak(task: &Task, way: &Way) -> Option<Way> {
    let figures = taken(task, &way.text)?.figures;
    let cap = task.cap.map_or(600_000, |cap| cap.0);
    let even = |part: u64, whole: u64, time: u64| {
        u64::try_from(u128::from(time) * u128::from(part) / u128::from(whole.max(1))).unwrap_or(time)
    };
    let at = match (serves(task, &figures), &figures) {
        (Serves::At(marker), Figures::Reps { total, .. }) => even(marker.total, *total, cap),
        (Serves::At(marker), Figures::Time(finish)) => {
            even(marker.total, task.scheme.as_ref().and_then(Scheme::end)?, finish.0)
        }
        (Serves::Moment, _) => cap / 2,
        _ => return None,
    };
    let tiebreak = Millis((at / 1_000 * 1_000).max(1_000));
    let text = format!("{} tb {}", way.text, tiebreak.exact());
    taken(task, &text).map(|_| Way { text, says: way.says, tiebreak: Some(tiebreak) })
}

fn candidates(task: &Task) -> Vec<(String, Says)> {
    let (usual, other) = print::examples(task);
    let end = task.scheme.as_ref().and_then(Scheme::end);
    match task.format {
        Format::Amrap => {
            let says = task.scheme.as_ref().zip(taken(task, &usual)).and_then(|(scheme, done)| {
                let at = scheme.split(done.total_reps()?)?;
                Some(Says::Rounds { rounds: at.rounds?, reps: at.reps })
            });
            let in_rounds = says.filter(|_| usual != other).map(|says| (usual, says));
            in_rounds.into_iter().chain([(other, Says::Total)]).collect()
        }
        Format::ForTime => {
            let left = end.map_or(1, |end| end.div_ceil(5));
            vec![(usual, Says::Finished), (other, Says::Capped), (format!("cap+{left}"), Says::Left(left))]
        }
        Format::MaxLoad if task.lifts.len() > 1 => {
            let each = [9_500, 12_000, 8_000, 6_000].into_iter().cycle().take(task.lifts.len());
            let lifts: Vec<String> = each.map(|n| kilograms(task, n).text().replace(" kg", "")).collect();
            vec![(format!("{} kg", lifts.join(" + ")), Says::Lifts), (other, Says::NoLift)]
        }
        Format::MaxLoad => vec![
            (kilograms(task, 10_250).text(), Says::Load),
            (pounds(task, 22_500).text(), Says::LoadInPounds),
            (other, Says::NoLift),
        ],
        Format::MaxCount => {
            let n = match task.unit {
                CountUnit::Reps => 148,
                CountUnit::Calories => 57,
                CountUnit::Metres => 1_250,
            };
            vec![(print::count(n, task.unit), Says::Count)]
        }
        Format::Intervals => vec![(intervals(task), Says::Intervals)],
    }
}

fn intervals(task: &Task) -> String {
    let (n, times) = task.intervals.map_or((4, false), |i| (i.n as usize, i.measure == IntervalMeasure::Time));
    let figures: &[&str] = if times { &["1:52", "1:58", "2:03", "2:01"] } else { &["21", "19", "18", "18"] };
    figures.iter().copied().cycle().take(n).collect::<Vec<_>>().join("/")
}

/// So many hundredths of a kilogram, or less, on the task's step.
fn kilograms(task: &Task, hundredths: u64) -> Load {
    let step = task.load_step.kg.map_or(0, |step| step.0 / 10);
    Load { unit: LoadUnit::Kg, hundredths: on_step(hundredths, step) }
}

/// The same of a pound.
fn pounds(task: &Task, hundredths: u64) -> Load {
    Load { unit: LoadUnit::Lb, hundredths: on_step(hundredths, task.load_step.lb_hundredths.unwrap_or(0)) }
}

fn on_step(n: u64, step: u64) -> u64 {
    n.checked_div(step).map_or(n, |steps| steps.max(1) * step)
}
