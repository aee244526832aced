//! The parts of a workout as written: stations, blocks, ladders, loads, heights.

use crate::rules::quantity::LoadUnit;
use serde::{Deserialize, Serialize};

/// `deduction` of a workout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawDeduction {
    /// Whole seconds a rep.
    pub seconds_per_rep: u32,
}

/// A station.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawStation {
    /// What is done.
    pub movement: String,
    /// Repetitions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reps: Option<u64>,
    /// Calories.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calories: Option<u64>,
    /// Metres, counted in lengths of `per`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub metres: Option<u64>,
    /// Metres of a length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per: Option<u64>,
    /// 1 or 0, for a stretch that counts once or not at all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts: Option<u64>,
}

/// A block of stations, or a rest.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawBlock {
    /// For people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// In order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stations: Option<Vec<RawStation>>,
    /// This many rounds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u64>,
    /// Without end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat: Option<RawRepeat>,
    /// A row of counts for each round; a single number stands for every station.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub list: Option<Vec<OneOrMany<u64>>>,
    /// Counts that change by a step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ladder: Option<RawLadder>,
    /// A rest, `m:ss`, instead of stations.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rest: Option<String>,
    /// Further reps need this block done by then, `m:ss`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// `repeat = "round"`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RawRepeat {
    /// Round after round, without end.
    Round,
}

/// Counts that start at `start` and change by `step` each round.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLadder {
    /// One number for every station, or one for each.
    pub start: OneOrMany<u64>,
    /// One number for every station, or one for each; 0 and negative allowed.
    pub step: OneOrMany<i64>,
    /// How many rounds; default without end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u64>,
}

/// One value, or a row of them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum OneOrMany<T> {
    /// One.
    One(T),
    /// A row.
    Many(Vec<T>),
}

impl<T: Copy> OneOrMany<T> {
    /// The values as written.
    #[must_use]
    pub fn as_slice(&self) -> &[T] {
        match self {
            Self::One(value) => std::slice::from_ref(value),
            Self::Many(values) => values,
        }
    }
}

/// `measure` of `intervals` (`count`, `time`, or a unit) and of `max_count` (a unit).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RawMeasure {
    /// A count of reps (`intervals`).
    Count,
    /// A time (`intervals`).
    Time,
    /// Reps.
    Reps,
    /// Calories.
    Calories,
    /// Whole metres.
    Metres,
}

/// A decimal number with at most two decimals, kept in hundredths: never a floating one.
///
/// Written as a JSON or TOML number; the shortest decimal form of `n / 100` is exact for every
/// value taken here (up to a million).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Decimal(
    /// In hundredths.
    pub u64,
);

/// `load_step`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RawLoadStep {
    /// In kilograms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kg: Option<Decimal>,
    /// In pounds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lb: Option<Decimal>,
}

/// A published load.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLoad {
    /// What is lifted.
    pub item: String,
    /// Kilograms; a row for loads that change by round.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kg: Option<OneOrMany<Decimal>>,
    /// Pounds; likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lb: Option<OneOrMany<Decimal>>,
    /// The unit shown first where both are given; default: the one written first in the file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first: Option<LoadUnit>,
}

/// A published height.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHeight {
    /// What stands that high.
    pub item: String,
    /// Centimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cm: Option<Decimal>,
    /// Inches.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inch: Option<Decimal>,
}
