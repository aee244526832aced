//! The order within a workout as one 63-bit key, lower is better.
//!
//! A key can be compared, sorted and indexed without knowing the workout, and taken apart again
//! to say what lies between two places. What it does not do: say who is ranked (see
//! [`super::place`]).

use super::fault::Fault;
use super::performance::{Figures, Performance, finisher_tiebreak_serves};
use super::quantity::{Grams, LoadUnit, Millis, kilograms, pounds};
use super::scheme::Scheme;
use super::workout::{CountUnit, Format, IntervalMeasure, Scored, Task};
use crate::words::{Sentence, Value};
use serde::{Deserialize, Serialize};

/// Bits of the tiebreak, in steps; all ones: absent.
const TIEBREAK_BITS: u32 = 27;
/// Bits of the figure.
const FIGURE_BITS: u32 = 32;
/// Bits of "not finished".
const UNFINISHED_BITS: u32 = 1;
/// Bits of the level.
const LEVEL_BITS: u32 = 3;

const TIEBREAK_ABSENT: u64 = (1 << TIEBREAK_BITS) - 1;
const FIGURE_MAX: u64 = (1 << FIGURE_BITS) - 1;
const LEVEL_MAX: u64 = (1 << LEVEL_BITS) - 1;

const FIGURE_AT: u32 = TIEBREAK_BITS;
const UNFINISHED_AT: u32 = FIGURE_AT + FIGURE_BITS;
const LEVEL_AT: u32 = UNFINISHED_AT + UNFINISHED_BITS;

/// A position in the total preorder of a workout. Two performances tie exactly when equal.
///
/// From the top: 3 bits level, 1 bit not finished, 32 bits figure (inverted where more is
/// better; times in steps), 27 bits tiebreak in steps (absent: all ones).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Key(pub i64);

impl Key {
    /// The level's index in `levels`, 0 highest.
    #[must_use]
    pub fn level(self) -> u8 {
        u8::try_from(self.bits(LEVEL_AT, LEVEL_MAX)).unwrap_or(0)
    }

    /// Whether it is of a `for_time` that was not finished.
    #[must_use]
    pub fn capped(self) -> bool {
        self.unfinished()
    }

    /// What was ranked by, of a key of this task: reps, a count or grams; a time in steps.
    #[must_use]
    pub fn amount(self, task: &Task) -> u64 {
        if task.less_is_better() && !self.unfinished() { self.figure() } else { FIGURE_MAX - self.figure() }
    }

    fn unfinished(self) -> bool {
        self.bits(UNFINISHED_AT, 1) == 1
    }

    fn figure(self) -> u64 {
        self.bits(FIGURE_AT, FIGURE_MAX)
    }

    /// In steps; `None`: absent.
    fn tiebreak(self) -> Option<u64> {
        Some(self.bits(0, TIEBREAK_ABSENT)).filter(|t| *t != TIEBREAK_ABSENT)
    }

    fn bits(self, at: u32, mask: u64) -> u64 {
        (self.0.cast_unsigned() >> at) & mask
    }
}

/// The key of a performance at a level (its index in `levels`, 0 highest).
///
/// A figure that does not fit is a fault: nothing wraps or saturates.
///
/// ```
/// use tallywright::rules::order::key;
/// use tallywright::rules::performance::{Around, RawPerformance, check};
/// use tallywright::rules::workout::{Format, Task};
///
/// let task = Task::of(Format::MaxLoad);
/// let lift = |text: &str| check(&task, &RawPerformance::Text(text.into()), &Around::default()).unwrap().value;
/// let key = |text: &str, level| key(&task, level, &lift(text)).unwrap();
/// assert!(key("102.5 kg", 0) < key("225 lb", 0));
/// assert!(key("no lift", 0) < key("225 lb", 1), "a lower level stands below every score of a higher one");
/// ```
pub fn key(task: &Task, level: u8, performance: &Performance) -> Result<Key, Fault> {
    let level = u64::from(level);
    if level > LEVEL_MAX {
        return Err(Fault::new("/level", Sentence::new("level_too_low").with("most", LEVEL_MAX + 1)));
    }
    let (unfinished, figure, more_is_better) = ranked(task, performance);
    let too_large = || Fault::new("/performance", Sentence::new("figure_too_large"));
    let figure = figure.filter(|f| *f <= FIGURE_MAX).ok_or_else(too_large)?;
    let figure = if more_is_better { FIGURE_MAX - figure } else { figure };
    let tiebreak = match serving_tiebreak(task, performance) {
        None => TIEBREAK_ABSENT,
        Some(time) => {
            let steps = time.steps(task.time_step, task.time_rounding);
            Some(steps).filter(|s| *s < TIEBREAK_ABSENT).ok_or_else(too_large)?
        }
    };
    let key = level << LEVEL_AT | u64::from(unfinished) << UNFINISHED_AT | figure << FIGURE_AT | tiebreak;
    Ok(Key(key.cast_signed()))
}

/// Not finished; the figure that is ranked by, `None` where it overflows; whether more is better.
fn ranked(task: &Task, performance: &Performance) -> (bool, Option<u64>, bool) {
    match performance.figures() {
        Figures::Reps { total, capped } => (*capped, Some(*total), true),
        Figures::Time(time) => (false, Some(time.steps(task.time_step, task.time_rounding)), false),
        Figures::Loads(_) => (false, performance.grams(task).map(|g| g.0), true),
        Figures::Count(n) => (false, Some(*n), true),
        Figures::IntervalCounts(counts) => (false, combined(task, counts), true),
        Figures::IntervalTimes(times) => {
            // Each is rounded, then combined.
            let steps: Vec<u64> = times.iter().map(|t| t.steps(task.time_step, task.time_rounding)).collect();
            (false, combined(task, &steps), false)
        }
    }
}

/// Intervals as one figure.
pub(super) fn combined(task: &Task, figures: &[u64]) -> Option<u64> {
    match task.intervals?.scored {
        Scored::Sum => figures.iter().try_fold(0_u64, |sum, f| sum.checked_add(*f)),
        Scored::Least | Scored::Fastest => figures.iter().min().copied(),
        Scored::Best | Scored::Slowest => figures.iter().max().copied(),
    }
}

/// The tiebreak that orders: a finisher's only where it serves finishers.
fn serving_tiebreak(task: &Task, performance: &Performance) -> Option<Millis> {
    let finished = matches!(performance.figures(), Figures::Time(_));
    performance.tiebreak().filter(|_| !finished || finisher_tiebreak_serves(task))
}

/// What lies between two places, in the workout's own unit: "3 reps", "0:04", "2.5 kg",
/// "0:04 on the tiebreak", "12 reps to the finish", "a level".
///
/// `unit` is the unit loads are said in. Both keys are of this task's workout.
#[must_use]
pub fn gap(task: &Task, ahead: Key, behind: Key, unit: LoadUnit) -> Sentence {
    if ahead == behind {
        return Sentence::new("gap_tied");
    }
    if ahead.level() != behind.level() {
        return Sentence::new("gap_level");
    }
    if ahead.unfinished() != behind.unfinished() {
        let slower = if ahead.unfinished() { ahead } else { behind };
        let done = FIGURE_MAX - slower.figure();
        let left = task.scheme.as_ref().and_then(Scheme::end).unwrap_or(done).saturating_sub(done);
        return plural("gap_to_finish", "gap_to_finish_one", left);
    }
    let apart = ahead.figure().abs_diff(behind.figure());
    if apart == 0 {
        return gap_tiebreak(task, ahead, behind);
    }
    let counted = || match task.unit {
        CountUnit::Reps => plural("gap_reps", "gap_rep", apart),
        CountUnit::Calories => Sentence::new("gap_calories").with("n", apart),
        CountUnit::Metres => Sentence::new("gap_metres").with("n", apart),
    };
    let timed = task.intervals.is_some_and(|i| i.measure == IntervalMeasure::Time);
    match task.format {
        Format::ForTime if !ahead.unfinished() => gap_time(task, apart),
        Format::Amrap | Format::ForTime => plural("gap_reps", "gap_rep", apart),
        Format::MaxLoad => {
            let number = match unit {
                LoadUnit::Kg => kilograms(Grams(apart)),
                LoadUnit::Lb => pounds(Grams(apart)),
            };
            Sentence::new("gap_load").with_value("load", Value::Decimal(number)).with("unit", unit.as_str())
        }
        Format::Intervals if timed => gap_time(task, apart),
        Format::MaxCount | Format::Intervals => counted(),
    }
}

fn plural(many: &'static str, one: &'static str, n: u64) -> Sentence {
    Sentence::new(if n == 1 { one } else { many }).with("n", n)
}

fn gap_time(task: &Task, steps: u64) -> Sentence {
    let time = Millis(steps.saturating_mul(task.time_step.millis()));
    Sentence::new("gap_time").with("time", time.shown(task.time_step, task.time_rounding))
}

fn gap_tiebreak(task: &Task, ahead: Key, behind: Key) -> Sentence {
    match (ahead.tiebreak(), behind.tiebreak()) {
        (Some(a), Some(b)) => {
            let time = Millis(a.abs_diff(b).saturating_mul(task.time_step.millis()));
            Sentence::new("gap_tiebreak").with("time", time.shown(task.time_step, task.time_rounding))
        }
        _ => Sentence::new("gap_tiebreak_missing"),
    }
}
