//! What is changed of an entry that is there: where it stands, with a reason, and who it is.

use super::{Notes, OF_AGE, unknown_division};
use crate::rules::competition::Competition;
use crate::rules::division::{Category, age_on, check_eligible};
use crate::rules::fault::{Checked, Fault};
use crate::rules::people::{Entry, EntryState, Person, check_email, check_line, check_name};
use crate::words::Sentence;
use serde::{Deserialize, Serialize};

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

/// What is put right about who an entry is; `None`: it stays. Birth and category are not asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct EntryFacts {
    /// The name.
    pub name: Option<String>,
    /// The e-mail; an empty text: none.
    pub email: Option<String>,
    /// Whether others may see the name.
    pub show_name: Option<bool>,
    /// Whether a guardian has consented.
    pub guardian_consent: Option<bool>,
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
    let mut notes = Notes::default();
    let mut new = entry.clone();
    if change.division.is_none() && change.gym.is_none() && change.state.is_none() {
        notes.fault("", Sentence::new("change_empty"));
    }
    match check_line(&change.reason, 500) {
        Ok(reason) if reason.is_empty() => notes.fault("/reason", Sentence::new("change_reason_missing")),
        Ok(_) => {}
        Err(sentence) => notes.fault("/reason", sentence),
    }
    if let Some(division) = change.division.as_deref().map(str::trim).filter(|d| *d != entry.division) {
        check_new_division(division, person, competition, &mut notes);
        division.clone_into(&mut new.division);
    }
    if let Some(gym) = &change.gym {
        new.gym = notes.gym(gym, known_gym);
        if new.gym != entry.gym
            && let Some(old) = &entry.gym
            && !new.past_gyms.contains(old)
        {
            new.past_gyms.push(old.clone());
        }
    }
    if let Some(state) = change.state {
        new.state = state;
    }
    notes.done(new)
}

/// Checks what is put right about who an entry is and gives the person as it would be.
pub fn check_entry_facts(person: &Person, facts: &EntryFacts) -> Result<Person, Vec<Fault>> {
    let mut notes = Notes::default();
    let mut new = person.clone();
    if let Some(name) = &facts.name {
        new.name = notes.take("/name", check_name(name));
    }
    if let Some(email) = &facts.email {
        new.email = notes.take("/email", check_email(email));
    }
    new.guardian_consent = facts.guardian_consent.unwrap_or(new.guardian_consent);
    if notes.faults.is_empty() { Ok(new) } else { Err(notes.faults) }
}

/// Whether somebody is under age in a competition, on the day by which it counts ages. Whose birth is not
/// known is not.
#[must_use]
pub fn is_under_age(person: &Person, competition: &Competition) -> bool {
    let age = person.born.and_then(|born| age_on(born, competition.age_date, competition.leap_birthday));
    age.is_some_and(|age| age < OF_AGE)
}

fn check_new_division(division: &str, person: Option<&Person>, competition: &Competition, notes: &mut Notes) {
    let Some(found) = competition.division(division) else {
        notes.fault("/division", unknown_division(division, competition));
        return;
    };
    let facts = person.and_then(|p| Some((p.born?, Category::parse(&p.category)?)));
    let Some((born, category)) = facts else {
        notes.fault("/division", Sentence::new("person_erased"));
        return;
    };
    if let Err(why) = check_eligible(competition, found, born, category) {
        for sentence in why {
            notes.fault("/division", sentence);
        }
    }
}
