//! From what anyone sends to what may be stored: [`RawPerformance`] → [`Performance`].
//!
//! One function, [`check`], is shared by forms, JSON, CSV and the command line.

use super::fault::{Checked, Fault};
use super::quantity::{Grams, LoadUnit, Millis};
use super::workout::Task;
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
}

/// Facts around a performance that some questions need.
#[derive(Clone, Debug, Default)]
pub struct Around<'a> {
    /// Codes of questions answered with yes.
    pub confirmed: &'a [String],
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
