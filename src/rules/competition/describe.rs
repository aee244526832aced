//! A workout in plain words.

use crate::rules::workout::{Task, Workout};
use crate::words::Sentence;

/// One sentence on what is measured, e.g. "as many rounds and reps as possible in 12:00".
#[must_use]
pub fn describe(workout: &Workout, task: &Task) -> Sentence {
    let _ = (workout, task);
    todo!()
}
