//! Who is ranked against whom: categories, ages, levels; who is eligible.

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
