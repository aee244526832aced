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
    let mut text = |name| members.text(name, SHORT).unwrap_or_default();
    let gym = RawGym {
        slug: text("slug"),
        name: text("name"),
        country: text("country"),
        region: text("region"),
        time_zone: text("time_zone"),
        contact: text("contact"),
        email: text("email"),
        phone: text("phone"),
        emergency: text("emergency"),
    };
    Ok(members.parts(gym))
}

/// Reads an entry, with a stand-in for each member at fault, and what is wrong.
pub fn entry(body: &Value) -> Result<Read<RawEntry>, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let bib = members.small("bib", 1, MOST_BIB);
    let show_name = members.yes("show_name");
    let guardian_consent = members.yes("guardian_consent");
    let mut text = |name| members.text(name, SHORT).unwrap_or_default();
    let entry = RawEntry {
        bib,
        name: text("name"),
        born: text("born"),
        category: text("category"),
        division: text("division"),
        gym: text("gym"),
        country: text("country"),
        region: text("region"),
        email: text("email"),
        show_name,
        guardian_consent,
    };
    Ok(members.parts(entry))
}

/// Reads a judge, with a stand-in for each member at fault, and what is wrong.
pub fn judge(body: &Value) -> Result<Read<RawJudge>, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let mut text = |name| members.text(name, SHORT).unwrap_or_default();
    let judge = RawJudge {
        code: text("code"),
        name: text("name"),
        gym: text("gym"),
        valid_from: text("valid_from"),
        valid_to: text("valid_to"),
        email: text("email"),
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
