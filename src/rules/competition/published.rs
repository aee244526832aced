//! Which differences change what everybody has read already.

use super::Competition;
use super::differ::Difference;
use jiff::Timestamp;

/// Marks the differences that change something published at `at`: anything of a workout that was
/// announced by then, and what holds for all workouts once one of them was. What is only added beside
/// it (a workout, a division) changes nothing that anybody has read.
pub fn mark_published(found: &mut [Difference], old: &Competition, at: Timestamp) {
    let any = old.workouts.iter().any(|w| w.window.announced(at));
    for difference in found {
        difference.published = match workout_of(&difference.key) {
            Some(slug) => old.workout(slug).is_some_and(|w| w.window.announced(at)),
            None => any && !comes(difference),
        };
    }
}

/// A whole division that was not there.
fn comes(difference: &Difference) -> bool {
    difference.from.is_none() && difference.key.strip_prefix("division.").is_some_and(|rest| !rest.contains('.'))
}

/// The slug of the workout that a key is about.
fn workout_of(key: &str) -> Option<&str> {
    key.strip_prefix("workout.")?.split('.').next()
}
