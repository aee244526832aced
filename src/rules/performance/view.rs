//! A performance in JSON.

use super::{Figures, Performance};
use crate::rules::order;
use crate::rules::quantity::Millis;
use crate::rules::workout::{CountUnit, Format, Task};
use serde::Serialize;

/// A performance in JSON: the members of its format.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PerformanceView {
    /// What is measured.
    pub format: Format,
    /// All reps (`amrap`, `for_time` not finished).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_reps: Option<u64>,
    /// Whole rounds of the repeating block; `null` inside an unfinished buy-in and where rounds
    /// are not counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rounds: Option<Option<u64>>,
    /// Reps of the next round; the total where `rounds` is `null`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reps: Option<u64>,
    /// Whether a `for_time` was finished.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub finished: Option<bool>,
    /// The finish time in milliseconds, rounded.
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
    /// Their combined figure: a count, or rounded milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub combined: Option<u64>,
    /// The tiebreak time in milliseconds, rounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tiebreak_ms: Option<u64>,
    /// As shown to readers.
    pub text: String,
    /// As sent.
    pub written: String,
}

impl Performance {
    /// For JSON: `written` is what was sent.
    #[must_use]
    pub fn view(&self, task: &Task, written: &str) -> PerformanceView {
        let rounded = |time: Millis| time.rounded(task.time_step, task.time_rounding).0;
        let mut view = PerformanceView {
            format: task.format,
            total_reps: None,
            rounds: None,
            reps: None,
            finished: None,
            time_ms: None,
            grams: None,
            loads: None,
            count: None,
            unit: None,
            intervals: None,
            combined: None,
            tiebreak_ms: self.tiebreak.map(rounded),
            text: self.shown(task),
            written: written.to_owned(),
        };
        match &self.figures {
            Figures::Reps { total, capped } => {
                let at = task.scheme.as_ref().and_then(|s| s.split(*total));
                view.total_reps = Some(*total);
                view.rounds = Some(at.as_ref().and_then(|at| at.rounds));
                view.reps = Some(at.map_or(*total, |at| at.reps));
                view.finished = capped.then_some(false);
            }
            Figures::Time(time) => {
                view.finished = Some(true);
                view.time_ms = Some(rounded(*time));
            }
            Figures::Loads(lifts) => {
                view.grams = self.grams(task).map(|g| g.0);
                view.loads = Some(lifts.iter().map(|l| l.load.map(|g| g.0)).collect());
            }
            Figures::Count(n) => {
                view.count = Some(*n);
                view.unit = Some(task.unit);
            }
            Figures::IntervalCounts(counts) => {
                view.unit = Some(task.unit);
                view.intervals = Some(counts.clone());
                view.combined = order::combined(task, counts);
            }
            Figures::IntervalTimes(times) => {
                let times: Vec<u64> = times.iter().copied().map(rounded).collect();
                view.combined = order::combined(task, &times);
                view.intervals = Some(times);
            }
        }
        view
    }
}
