//! Places in a workout; the overall result with all its options.
//!
//! Three steps, each a pure function: keys → [`places`] of one workout ([`workout`]); places of
//! all workouts → a [`Matrix`] of what each is worth ([`matrix`]); matrix → [`Standing`]s and
//! the order in which rows are listed ([`overall`]). Who is ranked against whom, and which
//! workouts a reader counts, is the caller's affair.

pub mod matrix;
pub mod overall;
pub mod workout;

pub use matrix::{Cell, Matrix, Source, matrix};
pub use overall::{Standing, listing, overall};
pub use workout::{Ranking, level_of, percentile, places, ranking};

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
