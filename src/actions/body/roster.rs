//! Gyms, entries, judges and changes of an entry as JSON.

use super::Members;
use super::members::{LONG, SHORT};
use crate::rules::event::Extension;
use crate::rules::fault::{Fault, Read};
use crate::rules::people::EntryState;
use crate::rules::roster::{EntryChange, RawEntry, RawGym, RawJudge};
use jiff::Timestamp;
use serde_json::Value;

/// Highest bib.
pub const MOST_BIB: u32 = 9_999_999;

/// How an entry can take part.
const STATES: [(&str, EntryState); 4] = [
    ("active", EntryState::Active),
    ("withdrawn", EntryState::Withdrawn),
    ("removed", EntryState::Removed),
    ("guest", EntryState::Guest),
];

/// Reads a gym, with a stand-in for each member at fault, and what is wrong.
pub fn gym(body: &Value) -> Result<Read<RawGym>, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    // What is left out is not said.
    let mut said = |name| members.text(name, SHORT);
    let gym = RawGym {
        slug: said("slug").unwrap_or_default(),
        name: said("name").unwrap_or_default(),
        country: said("country").unwrap_or_default(),
        region: said("region"),
        time_zone: said("time_zone"),
        contact: said("contact"),
        email: said("email"),
        phone: said("phone"),
        emergency: said("emergency"),
    };
    Ok(members.parts(gym))
}

/// Reads an entry, with a stand-in for each member at fault, and what is wrong.
pub fn entry(body: &Value) -> Result<Read<RawEntry>, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let bib = members.small("bib", 1, MOST_BIB);
    let show_name = members.yes("show_name");
    let guardian_consent = members.yes("guardian_consent");
    // What is left out is not said.
    let mut said = |name| members.text(name, SHORT);
    let entry = RawEntry {
        bib,
        name: said("name").unwrap_or_default(),
        born: said("born").unwrap_or_default(),
        category: said("category").unwrap_or_default(),
        division: said("division").unwrap_or_default(),
        gym: said("gym").unwrap_or_default(),
        country: said("country"),
        region: said("region"),
        email: said("email"),
        show_name,
        guardian_consent,
        proposed: false,
    };
    Ok(members.parts(entry))
}

/// Reads a judge, with a stand-in for each member at fault, and what is wrong.
pub fn judge(body: &Value) -> Result<Read<RawJudge>, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    // What is left out is not said.
    let mut said = |name| members.text(name, SHORT);
    let judge = RawJudge {
        code: said("code").unwrap_or_default(),
        name: said("name").unwrap_or_default(),
        gym: said("gym"),
        valid_from: said("valid_from").unwrap_or_default(),
        valid_to: said("valid_to").unwrap_or_default(),
        email: said("email"),
    };
    Ok(members.parts(judge))
}

/// Reads a change of an entry. `"gym": null` takes the gym away.
pub fn entry_change(body: &Value) -> Result<EntryChange, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let gym = members.text("gym", SHORT);
    let change = EntryChange {
        division: members.text("division", SHORT),
        gym: if members.is_null("gym") { Some(String::new()) } else { gym },
        state: members.word("state", &STATES),
        reason: members.needed_text("reason", LONG),
    };
    members.done(change)
}

/// Reads an extension of `workout`'s windows, and its reason.
pub fn extension(workout: &str, body: &Value) -> Result<(Extension, String), Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let gym = members.text("gym", SHORT);
    let region = members.text("region", SHORT);
    if gym.is_some() == region.is_some() {
        members.fault("gym", crate::words::Sentence::new("extension_whom"));
    }
    let extension = Extension {
        workout: workout.to_owned(),
        gym,
        region,
        closes: members.needed_instant("closes").unwrap_or(Timestamp::UNIX_EPOCH),
        attest_by: members.needed_instant("attest_by").unwrap_or(Timestamp::UNIX_EPOCH),
        taken_back: false,
    };
    let reason = members.needed_text("reason", LONG);
    members.done((extension, reason))
}
