//! Gyms, entries and judges as anyone sends them: raw → checked, all faults at once.

use super::people::EntryState;
use serde::{Deserialize, Serialize};

/// A gym as sent; the columns of its CSV.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[allow(missing_docs, reason = "the columns of competition-file's table")]
pub struct RawGym {
    pub slug: String,
    pub name: String,
    pub country: String,
    pub region: String,
    pub time_zone: String,
    pub contact: String,
    pub email: String,
    pub phone: String,
    pub emergency: String,
}

/// An entry as sent; the columns of its CSV.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[allow(missing_docs, reason = "the columns of competition-file's table")]
pub struct RawEntry {
    pub bib: Option<u32>,
    pub name: String,
    pub born: String,
    pub category: String,
    pub division: String,
    pub gym: String,
    pub country: String,
    pub region: String,
    pub email: String,
    pub show_name: Option<bool>,
    pub guardian_consent: Option<bool>,
}

/// A judge as sent; the columns of its CSV.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[allow(missing_docs, reason = "the columns of competition-file's table")]
pub struct RawJudge {
    pub code: String,
    pub name: String,
    pub gym: String,
    pub valid_from: String,
    pub valid_to: String,
    pub email: String,
}

/// A change to an entry, with its reason.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct EntryChange {
    /// New division.
    pub division: Option<String>,
    /// New gym; an empty text: none.
    pub gym: Option<String>,
    /// New state.
    pub state: Option<EntryState>,
    /// Why; compulsory.
    pub reason: String,
}
