//! From what anyone sends to what may be stored: [`RawPerformance`] → [`Performance`].
//!
//! One function, [`check`], is shared by forms, JSON, CSV and the command line.

use super::fault::{Checked, Fault};
use super::quantity::{Grams, LoadUnit, Millis};
use super::workout::{CountUnit, Format, Task};
use serde::{Deserialize, Serialize};

/// A performance as anyone sends it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum RawPerformance {
    /// In writing: `6+14 tb 11:24`.
    Text(String),
    /// As an object.
    Object(RawFigures),
}

/// The object form; exactly the members of one format are given.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawFigures {
    /// Whole rounds, with `reps`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u64>,
    /// Reps of the next round, with `rounds`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reps: Option<u64>,
    /// All reps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_reps: Option<u64>,
    /// A finish time, written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// Loads, written with unit; `x` for a missed one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loads: Option<Vec<String>>,
    /// A count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count: Option<u64>,
    /// One written figure for each interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub intervals: Option<Vec<String>>,
    /// The tiebreak time, written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tiebreak: Option<String>,
}

/// One lift of a `max_load`: as written and in grams; a missed one has no load.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lift {
    /// Canonical load; `None` when missed.
    pub load: Option<Grams>,
    /// The unit it was written in.
    pub unit: LoadUnit,
    /// Hundredths of that unit as written.
    pub hundredths: u64,
}

/// What was done. Only [`check`] makes one, so it always fits its task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Figures {
    /// `amrap`, and a `for_time` that was not finished.
    Reps {
        /// All reps.
        total: u64,
        /// For a `for_time` at its cap.
        capped: bool,
    },
    /// A finished `for_time`, as entered.
    Time(Millis),
    /// A `max_load`.
    Loads(Vec<Lift>),
    /// A `max_count`.
    Count(u64),
    /// Counts of the intervals.
    IntervalCounts(Vec<u64>),
    /// Times of the intervals, as entered.
    IntervalTimes(Vec<Millis>),
}

/// A performance that fits its task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Performance {
    figures: Figures,
    tiebreak: Option<Millis>,
}

impl Performance {
    /// What was done.
    #[must_use]
    pub fn figures(&self) -> &Figures {
        &self.figures
    }

    /// The tiebreak time as entered.
    #[must_use]
    pub fn tiebreak(&self) -> Option<Millis> {
        self.tiebreak
    }

    /// The canonical written form; [`check`] reads it back to the same value, asking nothing.
    #[must_use]
    pub fn text(&self, task: &Task) -> String {
        let _ = task;
        todo!()
    }

    /// As shown to readers: like [`Self::text`], with times rounded to the task's step.
    #[must_use]
    pub fn shown(&self, task: &Task) -> String {
        let _ = task;
        todo!()
    }

    /// All reps of an amrap or of a `for_time` that was not finished; the count of a `max_count`.
    #[must_use]
    pub fn total_reps(&self) -> Option<u64> {
        todo!()
    }

    /// The load that is ranked by, of a `max_load`: best lift or sum.
    #[must_use]
    pub fn grams(&self, task: &Task) -> Option<Grams> {
        let _ = task;
        todo!()
    }

    /// These figures with a referee's deduction (rules.md section 8).
    pub fn deduct(&self, task: &Task, deduction: &Deduction<'_>) -> Result<Checked<Self>, Vec<Fault>> {
        let _ = (task, deduction);
        todo!()
    }

    /// For JSON: `written` is what was sent.
    #[must_use]
    pub fn view(&self, task: &Task, written: &str) -> PerformanceView {
        let _ = (task, written);
        todo!()
    }
}

/// What a ruling takes off.
#[derive(Clone, Copy, Debug, Default)]
pub struct Deduction<'a> {
    /// Reps; from a finish time `reps × seconds_per_rep`.
    pub reps: Option<u64>,
    /// Seconds added to a finish time, instead of reps.
    pub seconds: Option<u64>,
    /// The workout's published rate.
    pub seconds_per_rep: Option<u32>,
    /// The right tiebreak, written, where the old one's marker is no longer passed.
    pub tiebreak: Option<&'a str>,
    /// Or that there is none.
    pub no_tiebreak: bool,
}

/// A performance in JSON: the members of its format.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PerformanceView {
    /// What is measured.
    pub format: Format,
    /// All reps (`amrap`, `for_time` not finished).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_reps: Option<u64>,
    /// Whole rounds of the repeating block; `null` inside an unfinished buy-in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rounds: Option<Option<u64>>,
    /// Reps of the next round; the total where `rounds` is `null`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reps: Option<u64>,
    /// Whether a `for_time` was finished.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub finished: Option<bool>,
    /// The finish time, rounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_ms: Option<u64>,
    /// What a `max_load` is ranked by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grams: Option<u64>,
    /// Each lift in grams; `null` for a missed one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loads: Option<Vec<Option<u64>>>,
    /// The count of a `max_count`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count: Option<u64>,
    /// Of what: reps, calories or metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<CountUnit>,
    /// Each interval: counts, or rounded milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub intervals: Option<Vec<u64>>,
    /// Their combined figure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub combined: Option<u64>,
    /// The tiebreak time, rounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tiebreak_ms: Option<u64>,
    /// As shown to readers.
    pub text: String,
    /// As sent.
    pub written: String,
}

/// An example of a performance for this task in writing, from its own scheme: for hints.
#[must_use]
pub fn example(task: &Task) -> String {
    let _ = task;
    todo!()
}

/// Facts around a performance that some questions need.
#[derive(Clone, Debug, Default)]
pub struct Around<'a> {
    /// Codes of questions answered with yes.
    pub confirmed: &'a [String],
    /// Every question counts as answered with yes (figures that were already stored once).
    pub confirm_all: bool,
    /// Grams of the heaviest stored for this workout, division and level, where there are at
    /// least ten.
    pub heaviest: Option<Grams>,
}

/// Reads and validates a performance against its task.
///
/// The written form as given is the caller's to keep (see [`written`]).
pub fn check(task: &Task, raw: &RawPerformance, around: &Around<'_>) -> Result<Checked<Performance>, Vec<Fault>> {
    let _ = (task, raw, around);
    todo!()
}

/// The raw performance as one written line, kept beside the canonical figures.
#[must_use]
pub fn written(raw: &RawPerformance) -> String {
    let _ = raw;
    todo!()
}
