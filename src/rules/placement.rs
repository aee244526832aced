//! What each change did to the places: the narrow rows that the board loads and follows, and
//! that standings as of a past log position are read from.

use super::life::State;
use super::order::Key;
use super::people::EntryState;

/// One row: the newest row of a (bib, workout) at or before a log position is what held then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placement {
    /// Log position.
    pub seq: u64,
    /// Whose.
    pub bib: u32,
    /// What holds from here on.
    pub change: Change,
}

/// What holds from here on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// The entry's own facts.
    Entry {
        /// Division slug.
        division: String,
        /// Gym slug.
        gym: Option<String>,
        /// The entry's, or its gym's when registered.
        country: String,
        /// The entry's, or its gym's when registered.
        region: String,
        /// How it takes part.
        state: EntryState,
    },
    /// The attempt that counts in a workout, else the latest one.
    Score {
        /// Workout slug.
        workout: String,
        /// Which attempt.
        attempt: u32,
        /// Its order; `None`: it has no place.
        key: Option<Key>,
        /// Index of its level.
        level: u8,
        /// Where it stands.
        state: State,
        /// Canonical written form.
        text: String,
    },
}
