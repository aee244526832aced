//! The order within a workout as one 63-bit key, lower is better.

use super::fault::Fault;
use super::performance::Performance;
use super::quantity::LoadUnit;
use super::workout::Task;
use crate::words::Sentence;
use serde::{Deserialize, Serialize};

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
        todo!()
    }
}

/// The key of a performance at a level (its index in `levels`, 0 highest).
///
/// A figure that does not fit is a fault: nothing wraps or saturates.
pub fn key(task: &Task, level: u8, performance: &Performance) -> Result<Key, Fault> {
    let _ = (task, level, performance);
    todo!()
}

/// What lies between two places, in the workout's own unit: "3 reps", "0:04", "2.5 kg",
/// "0:04 on the tiebreak", "12 reps to the finish", "a level".
///
/// `unit` is the unit loads are said in.
#[must_use]
pub fn gap(task: &Task, ahead: Key, behind: Key, unit: LoadUnit) -> Sentence {
    let _ = (task, ahead, behind, unit);
    todo!()
}
