//! A score and an attestation as JSON.

use super::Members;
use super::members::{LONG, SHORT};
use crate::rules::fault::{Fault, Read};
use crate::rules::life::{Attest, How, Submit};
use crate::rules::performance::{RawFigures, RawPerformance};
use crate::words::Sentence;
use serde_json::Value;

/// Largest count taken in JSON, 2^53 − 1: more is not exact there.
const MOST: u64 = (1 << 53) - 1;
/// Highest attempt number.
const ATTEMPTS: u32 = 1_000;

/// The ways an attestation can be given.
const HOW: [(&str, How); 3] = [("signed_in", How::SignedIn), ("paper_sheet", How::PaperSheet), ("video", How::Video)];

/// Reads a score, with a stand-in for each member at fault, and what is wrong.
pub fn submit(body: &Value) -> Result<Read<Submit>, Vec<Fault>> {
    let mut members = Members::of(body, "")?;
    let sent = submit_members(&mut members);
    Ok(members.parts(sent))
}

/// Reads the members of a score; the caller may take more.
pub fn submit_members(members: &mut Members<'_>) -> Submit {
    let performance = performance(members);
    let attestation = members.value("attestation").and_then(|value| {
        let at = members.pointer("attestation");
        attest_at(value, &at).map_err(|faults| members.faults(faults)).ok()
    });
    let without_no_reps = members.is_emptied("no_reps");
    Submit {
        performance,
        attempt: members.small("attempt", 1, ATTEMPTS),
        level: members.text("level", SHORT),
        performed_at: members.instant("performed_at"),
        gym: members.text("gym", SHORT),
        no_reps: if without_no_reps { None } else { members.small("no_reps", 0, 1_000_000) },
        without_no_reps,
        video: members.text("video", SHORT),
        attestation,
        reason: members.text("reason", LONG),
        confirm: members.texts("confirm").unwrap_or_default(),
        expect_name: None,
        revise: false,
        row: false,
    }
}

/// Reads an attestation.
pub fn attest(body: &Value) -> Result<Attest, Vec<Fault>> {
    attest_at(body, "")
}

fn attest_at(body: &Value, at: &str) -> Result<Attest, Vec<Fault>> {
    let mut members = Members::of(body, at)?;
    let sent = Attest {
        judge: members.needed_text("judge", SHORT),
        how: members.needed_word("how", &HOW).unwrap_or(How::PaperSheet),
        sheet: members.text("sheet", SHORT),
        attempt: members.small("attempt", 1, ATTEMPTS),
    };
    members.done(sent)
}

/// Reads the member `performance`, which is needed: in writing, or as an object.
pub fn performance(members: &mut Members<'_>) -> RawPerformance {
    let Some(value) = members.value("performance") else {
        members.fault("performance", Sentence::new("member_needed").with("member", "performance"));
        return RawPerformance::Text(String::new());
    };
    match value {
        Value::String(_) => RawPerformance::Text(members.text("performance", SHORT).unwrap_or_default()),
        Value::Object(_) => {
            let at = members.pointer("performance");
            match figures(value, &at) {
                Ok(figures) => RawPerformance::Object(figures),
                Err(faults) => {
                    members.faults(faults);
                    RawPerformance::Text(String::new())
                }
            }
        }
        _ => {
            members.fault("performance", Sentence::new("performance_form"));
            RawPerformance::Text(String::new())
        }
    }
}

fn figures(value: &Value, at: &str) -> Result<RawFigures, Vec<Fault>> {
    let mut members = Members::of(value, at)?;
    let figures = RawFigures {
        rounds: members.whole("rounds", 0, MOST),
        reps: members.whole("reps", 0, MOST),
        total_reps: members.whole("total_reps", 0, MOST),
        time: members.text("time", SHORT),
        loads: members.texts("loads"),
        count: members.whole("count", 0, MOST),
        intervals: members.texts("intervals"),
        tiebreak: members.text("tiebreak", SHORT),
    };
    members.done(figures)
}
