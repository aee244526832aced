//! Who is ranked against whom: categories, ages, levels; who is eligible.

use super::competition::{Competition, LeapBirthday};
use crate::words::Sentence;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// The category of a division.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Category {
    /// Women.
    Women,
    /// Men.
    Men,
    /// Anybody.
    #[default]
    Any,
}

/// Who is ranked against whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Division {
    /// `[a-z0-9-]`, unique in the competition.
    pub slug: String,
    /// For people.
    pub title: String,
    /// Who.
    pub category: Category,
    /// Inclusive, in full years on the competition's age date.
    pub from_age: Option<u16>,
    /// Inclusive.
    pub to_age: Option<u16>,
    /// Its own level, as an index of the competition's levels.
    pub level: u8,
    /// Whether lower levels may be scored.
    pub allow_lower: bool,
    /// The plain divisions whose entries it ranks together; empty: it is a plain one.
    pub combines: Vec<String>,
    /// A combined division whose counts differ, which its page says.
    pub mixed: bool,
}

/// Full years on `on` of somebody born on `born`; `None` when not yet born.
///
/// Born on 29 February, the birthday in a common year is 1 March, or 28 February with
/// [`LeapBirthday::Feb28`] (rules.md section 6).
#[must_use]
pub fn age_on(born: Date, on: Date, leap: LeapBirthday) -> Option<u16> {
    let _ = (born, on, leap);
    todo!()
}

/// Whether somebody may be entered in `division`: category and age; the age is worked out and the
/// division that would fit is named. `category` is the person's own (`Any`: not said).
pub fn check_eligible(
    competition: &Competition,
    division: &Division,
    born: Date,
    category: Category,
) -> Result<(), Vec<Sentence>> {
    let _ = (competition, division, born, category);
    todo!()
}
