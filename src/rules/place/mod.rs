//! Places in a workout; the overall result with all its options.
//!
//! Three steps, each pure: the keys of a workout → a [`Column`], which knows the place of each row; the
//! columns that count → an [`Overall`], in which rows stand by what their results add up to
//! ([`tally`]); both with what has [changed](Changes) since → [`Places`] and [`Live`], which answer
//! exactly without ranking everybody again. Who is ranked against whom, and which workouts a reader
//! counts, is the caller's affair.

mod changes;
mod column;
mod live;
mod merge;
mod overall;
mod sort;
pub mod tally;
mod workout;

pub use changes::{Changes, Places};
pub use column::Column;
pub use live::{Live, Moved, Seat};
pub use merge::Merged;
pub use overall::{Overall, Standing, overall};
pub use tally::{Cell, Cells, Counting, Sum};
pub use workout::{level_of, percentile, places};

use serde::{Deserialize, Serialize};

/// How the overall is worked out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OverallRules {
    /// What a place is worth.
    pub points: Points,
    /// What a missing result means.
    pub missing: Missing,
    /// How many of an entry's worst results are left out.
    pub drop_worst: u32,
    /// Whether ties are broken by countback.
    pub ties: Ties,
    /// After the countback: the place in the last workout, the one before it, …
    pub last_workout: bool,
    /// Whether running workouts count where a reader does not say.
    pub running: Running,
    /// Whether entries stand first by their lowest level.
    pub level_rule: LevelRule,
}

/// What a place is worth.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Points {
    /// Its number; lower is better (World Sailing's Racing Rules, App. A4).
    #[default]
    Places,
    /// From a table by place; more is better.
    Table {
        /// Points of place 1, 2, …
        table: Vec<u32>,
        /// Past its end: the last one's points, else 0.
        past_end_last: bool,
    },
}

/// What a missing result means.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Missing {
    /// One place after the last, nothing more.
    #[default]
    AfterLast,
    /// Below those with more placed results.
    BelowComplete,
    /// No standing.
    Unplaced,
}

/// Equal points.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ties {
    /// Counted places, best to worst, compared in turn (A8.1).
    #[default]
    Countback,
    /// They share the standing.
    Shared,
}

/// With or without the workouts whose window is open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Running {
    /// They count.
    #[default]
    With,
    /// They do not.
    Without,
}

/// Levels in the overall.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LevelRule {
    /// Only within each workout.
    #[default]
    PerWorkout,
    /// First by the lowest level of any counted result.
    Lowest,
}

/// The number of a row, or of rows: rows have bibs of 32 bits, so there are never more.
#[expect(clippy::cast_possible_truncation, reason = "there are fewer than 2^32 rows")]
const fn number(n: usize) -> u32 {
    n as u32
}
