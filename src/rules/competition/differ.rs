//! What applying a competition file over another changes, and what that means for stored scores.

use super::Competition;
use super::raw::RawCompetition;
use crate::rules::workout::Task;
use serde::{Deserialize, Serialize};

/// One difference between two competition files, for a person and for a program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Difference {
    /// Key, e.g. `workout.w1.cap`; a whole division or workout that comes or goes is
    /// `division.women` or `workout.w1`.
    pub key: String,
    /// Before, printed; `None` where added.
    pub from: Option<String>,
    /// After, printed; `None` where removed.
    pub to: Option<String>,
    /// Alters the meaning of stored scores: needs `rescore`.
    pub rescore: bool,
    /// Counts or cap changed: attestations of the workout's scores are void.
    pub voids: bool,
    /// A division or workout goes: refused while it has scores (or entries).
    #[serde(default)]
    pub removes: bool,
}

/// What a change of the task of one (workout, division, level) means for its stored scores.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meaning {
    /// Only text, if anything.
    Same,
    /// They are worked out again from their written figures.
    Rescore,
    /// Counts or cap changed: and their attestations are void.
    Void,
}

/// Compares the tasks a score was and will be validated against. Titles and names of movements
/// are text.
#[must_use]
pub fn meaning(old: &Task, new: &Task) -> Meaning {
    let _ = (old, new);
    todo!()
}

/// What applying `new` over `old` changes; empty when nothing does.
#[must_use]
pub fn differences(
    old: Option<(&RawCompetition, &Competition)>,
    new: (&RawCompetition, &Competition),
) -> Vec<Difference> {
    let _ = (old, new);
    todo!()
}
