//! Times, loads, lengths and counts. Integers only; nothing here wraps, truncates or floats.

mod length;
mod load;
mod text;
mod time;

pub use length::{MAX_LENGTH, centimetres, inches};
pub use load::{Load, MAX_LOAD, Pair, kilograms, pair, pounds};
pub(crate) use text::{all_digits, compact, from_hundredths, quoted};
pub use text::{decimal_hundredths, fold, whole};
pub(crate) use time::Clock;
pub use time::MAX_TIME;

use serde::{Deserialize, Serialize};

/// A duration in whole milliseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Millis(pub u64);

/// A load in whole grams.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Grams(pub u64);

/// A length in whole millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Millimetres(pub u64);

/// The step times are ranked and shown in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum TimeStep {
    /// Whole seconds (default).
    #[default]
    #[serde(rename = "1s")]
    Second,
    /// Tenths.
    #[serde(rename = "0.1s")]
    Tenth,
    /// Hundredths.
    #[serde(rename = "0.01s")]
    Hundredth,
}

/// Which way a time is rounded to its step.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rounding {
    /// Cut: a judge who reads a running clock has already cut down (common practice).
    #[default]
    Down,
    /// To the next longer step (hand timing, World Athletics Technical Rules).
    Up,
}

/// The unit a load was written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LoadUnit {
    /// Kilograms.
    Kg,
    /// International pounds, 453.59237 g exactly (NIST SP 811, App. B).
    Lb,
}
