//! Flags, rulings, appeals and admissions as JSON.

use super::Members;
use super::members::{LONG, SHORT};
use crate::rules::fault::Fault;
use crate::rules::life::{Decision, FlagReason, RulingKind};
use crate::words::Sentence;
use serde_json::Value;

/// Why a score can be doubted.
pub const REASONS: [(&str, FlagReason); 8] = [
    ("count", FlagReason::Count),
    ("range_of_motion", FlagReason::RangeOfMotion),
    ("equipment", FlagReason::Equipment),
    ("tiebreak", FlagReason::Tiebreak),
    ("timing", FlagReason::Timing),
    ("evidence", FlagReason::Evidence),
    ("identity", FlagReason::Identity),
    ("other", FlagReason::Other),
];

/// What can be decided.
pub const KINDS: [(&str, RulingKind); 5] = [
    ("stands", RulingKind::Stands),
    ("deduct", RulingKind::Deduct),
    ("replace", RulingKind::Replace),
    ("strike", RulingKind::Strike),
    ("restore", RulingKind::Restore),
];

/// A ruling as asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ruled {
    /// What.
    pub decision: Decision,
    /// Public.
    pub reason: String,
    /// Decides an appeal.
    pub on_appeal: bool,
}

/// Reads a flag: why, and in words.
pub fn flag(body: &Value) -> Result<(FlagReason, String), Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let reason = members.needed_word("reason", &REASONS).unwrap_or(FlagReason::Other);
    let note = members.needed_text("note", LONG);
    members.done((reason, note))
}

/// Reads a ruling. Members of other kinds are refused: nobody means them.
pub fn rule(body: &Value) -> Result<Ruled, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let kind = members.needed_word("kind", &KINDS);
    let reason = members.needed_text("reason", LONG);
    let on_appeal = members.yes("on_appeal").unwrap_or(false);
    let decision = match kind {
        Some(RulingKind::Deduct) => Decision::Deduct {
            reps: members.whole("reps", 0, 1 << 40),
            seconds: members.whole("seconds", 0, 360_000),
            tiebreak: members.text("tiebreak", SHORT),
            no_tiebreak: members.yes("no_tiebreak").unwrap_or(false),
        },
        Some(RulingKind::Replace) => {
            let performance = super::score::performance(&mut members);
            Decision::Replace { performance, level: members.text("level", SHORT) }
        }
        Some(RulingKind::Strike) => Decision::Strike,
        Some(RulingKind::Restore) => Decision::Restore,
        Some(RulingKind::Stands) | None => Decision::Stands,
    };
    members.done(Ruled { decision, reason, on_appeal })
}

/// Reads the reason of an appeal.
pub fn appeal(body: &Value) -> Result<String, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let reason = members.needed_text("reason", LONG);
    members.done(reason)
}

/// Reads an admission: in or not, and why.
pub fn admission(body: &Value) -> Result<(bool, String), Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let admit = members.yes("admit");
    if admit.is_none() && members.value("admit").is_none() {
        members.fault("admit", Sentence::new("member_needed").with("member", "admit"));
    }
    let reason = members.needed_text("reason", LONG);
    members.done((admit.unwrap_or(false), reason))
}
