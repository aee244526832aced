//! Gyms, entries and judges as anyone sends them: raw → checked, all faults at once.

use super::competition::Competition;
use super::fault::{Checked, Fault};
use super::people::{Entry, EntryState, Gym, Judge, Person, PersonRef};
use jiff::civil::Date;
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

/// A gym that passed; its contact's number is given out by the ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewGym {
    /// Without its contact.
    pub gym: Gym,
    /// Name, e-mail and phone of the contact, if any is given.
    pub contact: Option<Person>,
}

/// An entry that passed; its bib (where blank) and its person's number are given out by the
/// ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewEntry {
    /// `None`: to be given out.
    pub bib: Option<u32>,
    /// Division slug.
    pub division: String,
    /// Gym slug.
    pub gym: Option<String>,
    /// ISO 3166-1 alpha-2, or empty.
    pub country: String,
    /// Free text, or empty.
    pub region: String,
    /// Whether others may see the name; default yes, under 18 no.
    pub show_name: bool,
    /// Name, birth, category, e-mail, consent.
    pub person: Person,
}

impl NewEntry {
    /// The entry with what the ledger gives out. `gym` is the registered gym, whose country and
    /// region stand in for blank ones.
    #[must_use]
    pub fn into_entry(self, bib: u32, person: PersonRef, gym: Option<&Gym>) -> (Entry, Person) {
        let or = |own: String, theirs: fn(&Gym) -> &str| {
            if own.is_empty() { gym.map(theirs).unwrap_or_default().to_owned() } else { own }
        };
        let entry = Entry {
            bib,
            division: self.division,
            gym: self.gym,
            country: or(self.country, |g| &g.country),
            region: or(self.region, |g| &g.region),
            state: EntryState::Active,
            show_name: self.show_name,
            past_gyms: Vec::new(),
            person,
        };
        (entry, self.person)
    }
}

/// A judge that passed; the person's number is given out by the ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewJudge {
    /// Unique in the competition.
    pub code: String,
    /// Gym slug.
    pub gym: Option<String>,
    /// First valid day.
    pub valid_from: Date,
    /// Last valid day.
    pub valid_to: Date,
    /// Name and e-mail.
    pub person: Person,
}

impl NewJudge {
    /// The judge with what the ledger gives out.
    #[must_use]
    pub fn into_judge(self, person: PersonRef) -> (Judge, Person) {
        let judge =
            Judge { code: self.code, gym: self.gym, valid_from: self.valid_from, valid_to: self.valid_to, person };
        (judge, self.person)
    }
}

/// Checks a gym.
pub fn check_gym(raw: &RawGym) -> Result<Checked<NewGym>, Vec<Fault>> {
    let _ = raw;
    todo!()
}

/// Checks an entry; `known_gym` says whether a gym of this slug is registered.
pub fn check_entry(
    raw: &RawEntry,
    competition: &Competition,
    known_gym: &dyn Fn(&str) -> bool,
) -> Result<Checked<NewEntry>, Vec<Fault>> {
    let _ = (raw, competition, known_gym);
    todo!()
}

/// Checks a judge.
pub fn check_judge(raw: &RawJudge, known_gym: &dyn Fn(&str) -> bool) -> Result<Checked<NewJudge>, Vec<Fault>> {
    let _ = (raw, known_gym);
    todo!()
}

/// Checks a change of an entry and gives the entry as it would be. `person`: the personal facts,
/// where they are not erased (a new division needs them).
pub fn check_entry_change(
    entry: &Entry,
    person: Option<&Person>,
    change: &EntryChange,
    competition: &Competition,
    known_gym: &dyn Fn(&str) -> bool,
) -> Result<Checked<Entry>, Vec<Fault>> {
    let _ = (entry, person, change, competition, known_gym);
    todo!()
}
