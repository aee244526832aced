//! The competition file: raw → compiled, all faults at once; and what a change of it means.
//!
//! Reading order: `raw` (the shape) → `tree` and `read` (TOML or JSON into it) → `compile` (what it
//! means) → `differ` (what a change of it means) → `published` (whom it concerns already) → `describe` (in plain words).
//!
//! [`RawCompetition`] is the shape of the TOML text and of the JSON body alike. It is also what
//! the log keeps, so it must stay readable for ever: fields are only ever added, with defaults.

use super::division::Division;
use super::place::OverallRules;
use super::workout::{Prescription, Workout};
pub mod raw;

mod compile;
mod decimal;
mod describe;
mod differ;
mod published;
mod read;
mod shape;
mod tree;
mod write;

pub use compile::{compile, find_zone, is_slug};
pub use describe::describe;
pub use differ::{Difference, Meaning, differences, meaning};
pub use published::mark_published;
pub use raw::RawCompetition;
pub use read::{from_json, from_toml};
pub(super) use shape::{clip, nearest};
pub use write::to_toml;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

/// How the workout was done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Level {
    /// As in the file.
    pub slug: String,
    /// For people; defaults to the slug.
    pub title: String,
}

/// When someone born on 29 February has a birthday in a common year.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LeapBirthday {
    /// On 1 March (default).
    #[default]
    Mar1,
    /// On 28 February.
    Feb28,
}

/// A competition file that holds together.
#[derive(Clone, Debug)]
pub struct Competition {
    /// `[a-z0-9-]`, 1 to 40.
    pub slug: String,
    /// For people.
    pub title: String,
    /// The zone of all its dates.
    pub time_zone: TimeZone,
    /// Its IANA name.
    pub time_zone_name: String,
    /// The day ages are counted on.
    pub age_date: Date,
    /// Birthdays of 29 February.
    pub leap_birthday: LeapBirthday,
    /// Highest first, 1 to 8.
    pub levels: Vec<Level>,
    /// Hidden from those without a role.
    pub private: bool,
    /// How the overall is worked out.
    pub overall: OverallRules,
    /// In file order.
    pub divisions: Vec<Division>,
    /// In file order.
    pub workouts: Vec<Workout>,
}

impl Competition {
    /// The workout called `slug`.
    #[must_use]
    pub fn workout(&self, slug: &str) -> Option<&Workout> {
        self.workouts.iter().find(|w| w.slug == slug)
    }

    /// The division called `slug`.
    #[must_use]
    pub fn division(&self, slug: &str) -> Option<&Division> {
        self.divisions.iter().find(|d| d.slug == slug)
    }

    /// The prescription that a score of `division` at `level` is validated against.
    #[must_use]
    pub fn prescription(&self, workout: &str, division: &str, level: u8) -> Option<&Prescription> {
        let own = self.division(division)?.level;
        self.workout(workout)?
            .prescriptions
            .iter()
            .find(|p| p.divisions.iter().any(|d| d == division) && p.level.unwrap_or(own) == level)
    }
}
