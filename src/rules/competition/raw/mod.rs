//! The competition file as written: the one shape of its TOML text, its JSON body and what the
//! log keeps of it.
//!
//! Every key that may be left out has a default and is left out again when written, so that
//! file → raw → JSON → raw is the identity and stays short. Texts of dates, times and zones are
//! kept as written: [`super::compile`] gives them their meaning. Fields are only ever added,
//! with defaults: a log must stay readable for ever. What it does not do: say what is wrong
//! ([`super::read`] does for the shape, [`super::compile`] for the meaning).

mod parts;

pub use parts::{
    Decimal, OneOrMany, RawBlock, RawDeduction, RawHeight, RawLadder, RawLoad, RawLoadStep, RawMeasure, RawRepeat,
    RawStation,
};

use crate::rules::division::Category;
use crate::rules::place::{LevelRule, Missing, Running, Ties};
use crate::rules::quantity::{Rounding, TimeStep};
use crate::rules::workout::{Attempts, Evidence, Format, Publish, Scored, Tiebreak};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

use super::LeapBirthday;

fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn is_one(value: &u32) -> bool {
    *value == 1
}

const fn one() -> u32 {
    1
}

/// The levels of a file that names none, highest first.
#[must_use]
pub fn default_levels() -> Vec<String> {
    vec!["prescribed".to_owned(), "scaled".to_owned()]
}

fn is_default_levels(levels: &Vec<String>) -> bool {
    *levels == default_levels()
}

/// The file as written. Unknown keys are faults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCompetition {
    /// What holds for all of it.
    pub competition: RawHead,
    /// In file order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub division: Vec<RawDivision>,
    /// In file order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub workout: Vec<RawWorkout>,
}

/// `[competition]`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHead {
    /// `[a-z0-9-]`, 1 to 40.
    pub slug: String,
    /// For people.
    pub title: String,
    /// IANA name.
    pub time_zone: String,
    /// The day ages are counted on, `YYYY-MM-DD`.
    pub age_date: String,
    /// Birthdays of 29 February in common years.
    #[serde(default, skip_serializing_if = "is_default")]
    pub leap_birthday: LeapBirthday,
    /// Highest first.
    #[serde(default = "default_levels", skip_serializing_if = "is_default_levels")]
    pub levels: Vec<String>,
    /// Level → its title.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub level_titles: BTreeMap<String, String>,
    /// Hidden from those without a role.
    #[serde(default, skip_serializing_if = "is_default")]
    pub private: bool,
    /// How the overall is worked out.
    #[serde(default, skip_serializing_if = "is_default")]
    pub overall: RawOverall,
}

/// `overall` of the competition.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RawOverall {
    /// What a place is worth.
    #[serde(skip_serializing_if = "is_default")]
    pub points: RawPoints,
    /// Points of place 1, 2, …; with `points = "table"`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub table: Option<Vec<u32>>,
    /// Points past the table's end; with `points = "table"`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub past_end: Option<RawPastEnd>,
    /// What a missing result means.
    #[serde(skip_serializing_if = "is_default")]
    pub missing: Missing,
    /// How many worst results are left out.
    #[serde(skip_serializing_if = "is_default")]
    pub drop_worst: u32,
    /// How ties are broken.
    #[serde(skip_serializing_if = "is_default")]
    pub ties: Ties,
    /// Then by the last workout.
    #[serde(skip_serializing_if = "is_default")]
    pub last_workout: bool,
    /// With or without the running workouts.
    #[serde(skip_serializing_if = "is_default")]
    pub running: Running,
    /// Levels in the overall.
    #[serde(skip_serializing_if = "is_default")]
    pub level_rule: LevelRule,
}

/// `overall.points`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RawPoints {
    /// The place itself.
    #[default]
    Places,
    /// From a table.
    Table,
}

/// `overall.past_end`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RawPastEnd {
    /// The last one's points.
    Last,
    /// Nothing.
    Zero,
}

/// `[[division]]`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawDivision {
    /// `[a-z0-9-]`, 1 to 40.
    pub slug: String,
    /// For people.
    pub title: String,
    /// Who; default any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub category: Option<Category>,
    /// `[from, to]` inclusive, or `[from]`; default none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ages: Option<Vec<u16>>,
    /// Its own level; default the highest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<String>,
    /// Whether lower levels may be scored; default not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub allow_lower: Option<bool>,
    /// The plain divisions it ranks together.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub combines: Vec<String>,
    /// A combined division whose counts may differ.
    #[serde(default, skip_serializing_if = "is_default")]
    pub mixed: bool,
}

/// `[[workout]]`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawWorkout {
    /// `[a-z0-9-]`, 1 to 40.
    pub slug: String,
    /// For people.
    pub title: String,
    /// Workouts of one session are scored from the same effort.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub session: Option<String>,
    /// What is measured.
    pub format: Format,
    /// The time allowed, `m:ss`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cap: Option<String>,
    /// Local date-time; default `opens`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub announce: Option<String>,
    /// Local date-time.
    pub opens: String,
    /// Local date-time.
    pub closes: String,
    /// After `closes`, `m:ss`; default 10 minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grace: Option<String>,
    /// Local date-time; default `closes` + 24 h.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attest_by: Option<String>,
    /// When others see its scores.
    #[serde(default, skip_serializing_if = "is_default")]
    pub publish: Publish,
    /// The step of times.
    #[serde(default, skip_serializing_if = "is_default")]
    pub time_step: TimeStep,
    /// The rounding of times.
    #[serde(default, skip_serializing_if = "is_default")]
    pub time_rounding: Rounding,
    /// When the tiebreak time is taken.
    #[serde(default, skip_serializing_if = "is_default")]
    pub tiebreak: Tiebreak,
    /// Whether finishers are separated by it too.
    #[serde(default, skip_serializing_if = "is_default")]
    pub tiebreak_for_finishers: bool,
    /// Which attempt counts.
    #[serde(default, skip_serializing_if = "is_default")]
    pub attempts: Attempts,
    /// Multiplies its points.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub weight: u32,
    /// What a deducted rep costs a finish time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub deduction: Option<RawDeduction>,
    /// Who must give a video.
    #[serde(default, skip_serializing_if = "is_default")]
    pub evidence: Evidence,
    /// One block in short.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stations: Option<Vec<RawStation>>,
    /// All blocks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blocks: Option<Vec<RawBlock>>,
    /// With `stations`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u64>,
    /// With `stations`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat: Option<RawRepeat>,
    /// With `stations`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub list: Option<Vec<OneOrMany<u64>>>,
    /// With `stations`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ladder: Option<RawLadder>,
    /// Names of the lifts of a `max_load`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lifts: Option<Vec<String>>,
    /// Whether one missed lift makes the sum 0.
    #[serde(default, skip_serializing_if = "is_default")]
    pub all_required: bool,
    /// Expected steps of loads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load_step: Option<RawLoadStep>,
    /// How many intervals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub intervals: Option<u32>,
    /// What each interval, or a `max_count`, is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measure: Option<RawMeasure>,
    /// How the intervals combine; default `sum`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scored: Option<Scored>,
    /// Markdown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub standards: String,
    /// The same by language tag.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub standards_in: BTreeMap<String, String>,
    /// `[[workout.prescription]]`, in file order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prescription: Vec<RawPrescription>,
}

/// `[[workout.prescription]]`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawPrescription {
    /// Plain divisions.
    pub divisions: Vec<String>,
    /// Default: each division's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<String>,
    /// In file order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loads: Vec<RawLoad>,
    /// In file order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub heights: Vec<RawHeight>,
    /// Free text shown with the loads.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub alternatives: String,
    /// Its own cap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cap: Option<String>,
    /// Its own tiebreak.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tiebreak: Option<Tiebreak>,
    /// Its own scheme, as in the workout.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stations: Option<Vec<RawStation>>,
    /// Its own scheme, as in the workout.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blocks: Option<Vec<RawBlock>>,
    /// Its own repetition of the workout's stations, or of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u64>,
    /// Likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat: Option<RawRepeat>,
    /// Likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub list: Option<Vec<OneOrMany<u64>>>,
    /// Likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ladder: Option<RawLadder>,
}
