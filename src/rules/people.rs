//! Who takes part: gyms, entries, judges, and the personal facts kept apart from them.

use crate::words::Sentence;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// A place where performances happen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gym {
    /// `[a-z0-9-]`, unique in the competition.
    pub slug: String,
    /// For people.
    pub name: String,
    /// ISO 3166-1 alpha-2, upper case.
    pub country: String,
    /// Free text; empty: none.
    pub region: String,
    /// IANA zone; empty: the competition's.
    pub time_zone: String,
    /// Address, number and defibrillator, shown on sheets.
    pub emergency: String,
    /// Contact name, e-mail and phone, kept apart.
    pub contact: Option<PersonRef>,
}

/// How an entry takes part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EntryState {
    /// Ranked (default).
    #[default]
    Active,
    /// Keeps the scores done so far and their places.
    Withdrawn,
    /// All its scores are off every place.
    Removed,
    /// Shown without a place.
    Guest,
}

/// One athlete in one competition and division.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// Unique in the competition, from 1.
    pub bib: u32,
    /// Division slug.
    pub division: String,
    /// Gym slug, if any.
    pub gym: Option<String>,
    /// ISO 3166-1 alpha-2, upper case, or empty.
    pub country: String,
    /// Free text, or empty.
    pub region: String,
    /// How it takes part.
    pub state: EntryState,
    /// Whether others may see the name.
    pub show_name: bool,
    /// Gyms it belonged to before in this competition.
    pub past_gyms: Vec<String>,
    /// Name, birth, e-mail, kept apart.
    pub person: PersonRef,
}

/// Somebody who may attest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Judge {
    /// Unique in the competition, e.g. `J-0142`.
    pub code: String,
    /// Gym slug, if any.
    pub gym: Option<String>,
    /// First valid day, in the competition's zone.
    pub valid_from: Date,
    /// Last valid day.
    pub valid_to: Date,
    /// Name and e-mail, kept apart.
    pub person: PersonRef,
}

/// Where somebody's personal facts stand, and what the log has of them.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct PersonRef {
    /// Number within the competition, from 1.
    pub id: u64,
    /// Hex SHA-256 over salt and facts ([`Person::commitment`]).
    pub commitment: String,
}

/// Personal facts: never in the log, deleted when the person asks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// One full name, NFC, as the person writes it.
    pub name: String,
    /// Birth date; compulsory for entries.
    pub born: Option<Date>,
    /// `women`, `men` or empty.
    pub category: String,
    /// Empty: none.
    pub email: String,
    /// Phone of a gym's contact; empty: none.
    pub phone: String,
    /// For those under age.
    pub guardian_consent: bool,
}

impl Person {
    /// Hex SHA-256 of the salt followed by the facts as JSON in the order of the fields.
    #[must_use]
    pub fn commitment(&self, salt: &[u8; 32]) -> String {
        use sha2::Digest;
        let facts = serde_json::to_vec(self).expect("strings, dates and booleans always serialize");
        let mut hash = sha2::Sha256::new();
        hash.update(salt);
        hash.update(&facts);
        hex::encode(hash.finalize())
    }
}

/// A name folded for matching and search: NFKC, case folded, spaces made one. Never shown.
#[must_use]
pub fn fold_name(name: &str) -> String {
    let _ = name;
    todo!()
}

/// A name as it is kept: NFC, trimmed, case untouched. Controls, direction controls and
/// invisible characters are refused (Unicode UAX #9, #15).
pub fn check_name(name: &str) -> Result<String, Sentence> {
    let _ = name;
    todo!()
}

/// Any one-line free text of people (region, phone, title), under the same rules; may be empty.
/// `most`: the most characters.
pub fn check_line(text: &str, most: usize) -> Result<String, Sentence> {
    let _ = (text, most);
    todo!()
}

/// An e-mail address as kept: trimmed; something on both sides of one `@`, no spaces.
pub fn check_email(email: &str) -> Result<String, Sentence> {
    let _ = email;
    todo!()
}
