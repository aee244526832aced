//! Gyms, entries, judges and extensions as their readers see them.

use super::{RemarkView, ReworkedView};
use crate::rules::people::Gym;
use jiff::Timestamp;
use jiff::civil::Date;
use serde::Serialize;
use utoipa::ToSchema;

/// A gym. Contact facts are there for the organiser alone.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct GymView {
    /// Its name in addresses.
    #[schema(example = "quayside")]
    pub slug: String,
    /// For people.
    #[schema(example = "Quayside Hall")]
    pub name: String,
    /// ISO 3166-1 alpha-2.
    #[schema(example = "PT")]
    pub country: String,
    /// Empty: none.
    pub region: String,
    /// IANA zone; empty: the competition's.
    pub time_zone: String,
    /// Address, number, defibrillator.
    pub emergency: String,
    /// Contact name; for the organiser.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contact: Option<String>,
    /// For the organiser.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub email: Option<String>,
    /// For the organiser.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub phone: Option<String>,
}

impl GymView {
    /// What everybody may know of it.
    #[must_use]
    pub fn public(gym: Gym) -> Self {
        Self {
            slug: gym.slug,
            name: gym.name,
            country: gym.country,
            region: gym.region,
            time_zone: gym.time_zone,
            emergency: gym.emergency,
            contact: None,
            email: None,
            phone: None,
        }
    }
}

/// An entry's public facts: never birth date, e-mail or a hidden name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct EntryView {
    /// Its number.
    #[schema(example = 1042)]
    pub bib: u32,
    /// The name, or `Athlete 1042` where it is hidden.
    #[schema(example = "Ines Duarte")]
    pub name: String,
    /// Which division.
    #[schema(example = "women")]
    pub division: String,
    /// Which gym, if any.
    #[schema(example = "quayside")]
    pub gym: Option<String>,
    /// The entry's, or its gym's when registered; empty: none.
    #[schema(example = "PT")]
    pub country: String,
    /// The same.
    pub region: String,
    /// `active`, `withdrawn`, `removed` or `guest`.
    #[schema(example = "active")]
    pub state: &'static str,
    /// Whether the name is shown to all.
    pub show_name: bool,
    /// Of its division, gym and state: for `If-Match` of a change of these.
    #[schema(example = "0-5f0c1d2e3a4b5c6d")]
    pub etag: String,
}

/// Somebody who may attest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct JudgeView {
    /// Unique in the competition.
    #[schema(example = "J-0142")]
    pub code: String,
    /// The name; for the competition's own people.
    #[schema(example = "Rita Alves")]
    pub name: Option<String>,
    /// Which gym, if any.
    pub gym: Option<String>,
    /// First valid day.
    #[schema(value_type = String, format = Date, example = "2027-01-01")]
    pub valid_from: Date,
    /// Last valid day.
    #[schema(value_type = String, format = Date, example = "2027-12-31")]
    pub valid_to: Date,
}

/// What became of one gym, entry or judge.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RosterWritten {
    /// Its slug, bib or code.
    #[schema(example = "quayside")]
    pub id: String,
    /// `created`, `changed` or `unchanged`.
    #[schema(example = "created")]
    pub outcome: &'static str,
    /// Taken, but somebody should know.
    pub warnings: Vec<RemarkView>,
    /// Log position of this answer.
    pub log_seq: u64,
}

/// What became of an entry that was moved, or would.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct MovedView {
    /// The entry afterwards (as it is, in a dry run).
    pub entry: EntryView,
    /// Nothing was stored.
    pub dry_run: bool,
    /// Whether anything changed, or would.
    pub changed: bool,
    /// What happens to its scores; those not listed move along unchanged.
    pub scores: Vec<ReworkedView>,
    /// Taken, but somebody should know.
    pub warnings: Vec<RemarkView>,
    /// Log position of this answer.
    pub log_seq: u64,
}

/// Later windows for one gym or region.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ExtensionView {
    /// Which workout.
    pub workout: String,
    /// For this gym …
    pub gym: Option<String>,
    /// … or this region.
    pub region: Option<String>,
    /// The new deadline.
    #[schema(value_type = String, format = DateTime)]
    pub closes: Timestamp,
    /// The new end of attestations.
    #[schema(value_type = String, format = DateTime)]
    pub attest_by: Timestamp,
    /// Log position of this answer.
    pub log_seq: u64,
}
