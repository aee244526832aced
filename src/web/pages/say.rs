//! The names of states, reasons, rulings and gaps in the reader's language.

use super::shell::words;
use crate::actions::times::Times;
use crate::rules::competition::Competition;
use crate::rules::workout::Workout;
use jiff::Timestamp;

/// A state, always a word. `refused`: a late score the organiser did not let in.
#[must_use]
pub fn state(state: &str, refused: bool) -> &'static str {
    let w = words();
    match state {
        "entered" => w.state_entered,
        "attested" => w.state_attested,
        "flagged" => w.state_flagged,
        "withheld" => w.state_withheld,
        "amended" => w.state_amended,
        "struck" => w.state_struck,
        "withdrawn" => w.state_withdrawn,
        "late" if refused => w.state_late_refused,
        "late" => w.state_late,
        "not_taking_part" => w.state_not_taking_part,
        "guest" => crate::words::organise(crate::actions::language::reader()).state_guest,
        _ => w.state_missing,
    }
}

/// A state where nothing is known of what became of lateness: whether a late score still waits, or was
/// not let in, its own people are told.
#[must_use]
pub fn public(now: &str) -> &'static str {
    if now == "late" { words().state_late_unplaced } else { state(now, false) }
}

/// What is said where an entry of this gym and region has no score in a workout, by the window that holds for
/// it; `None`: of a file of the past.
#[must_use]
pub fn no_score(times: &Times, workout: Option<&Workout>, whose: (Option<&str>, &str), now: Timestamp) -> &'static str {
    none(workout.is_some_and(|x| times.window_of(x, whose.0, whose.1).closed(now)))
}

/// The same, where it has closed, or has not.
#[must_use]
pub fn none(closed: bool) -> &'static str {
    if closed { words().no_score } else { words().no_score_yet }
}

/// What an entry is where it is not simply competing.
#[must_use]
pub fn entry(state: &str) -> &'static str {
    let o = crate::words::organise(crate::actions::language::reader());
    match state {
        "withdrawn" => o.state_withdrawn,
        "guest" => o.state_guest,
        _ => "",
    }
}

/// The state of a placed score where it is more than "attested".
#[must_use]
pub fn remarkable(now: Option<&str>) -> String {
    now.filter(|s| *s != "attested").map_or_else(String::new, |s| public(s).to_owned())
}

/// The reason of a doubt.
#[must_use]
pub fn doubt(reason: &str) -> &'static str {
    let w = words();
    match reason {
        "count" => w.reason_count,
        "range_of_motion" => w.reason_range_of_motion,
        "equipment" => w.reason_equipment,
        "tiebreak" => w.reason_tiebreak,
        "timing" => w.reason_timing,
        "evidence" => w.reason_evidence,
        "identity" => w.reason_identity,
        _ => w.reason_other,
    }
}

/// A decision, after "Ruling:" or below it.
#[must_use]
pub fn ruling(kind: &str) -> &'static str {
    let w = words();
    match kind {
        "stands" => w.ruled_stands,
        "deduct" => w.ruled_deduct,
        "replace" => w.ruled_replace,
        "strike" => w.ruled_strike,
        _ => w.ruled_restore,
    }
}

/// How an attestation was given.
#[must_use]
pub fn how(how: &str) -> &'static str {
    let w = words();
    match how {
        "signed_in" => w.how_signed_in,
        "video" => w.how_video,
        _ => w.how_paper_sheet,
    }
}

/// A role; none is the command line.
#[must_use]
pub fn role(role: Option<&str>) -> &'static str {
    let w = words();
    match role {
        Some("organiser") => w.role_organiser,
        Some("referee") => w.role_referee,
        Some("staff") => w.role_staff,
        Some("judge") => w.role_judge,
        Some("athlete") => w.role_athlete,
        _ => w.role_operator,
    }
}

/// A division's title; its slug where the file no longer has it.
#[must_use]
pub fn division<'a>(competition: &'a Competition, slug: &'a str) -> &'a str {
    competition.division(slug).map_or(slug, |d| &d.title)
}

/// A level's title by its slug.
#[must_use]
pub fn level<'a>(competition: &'a Competition, slug: &'a str) -> &'a str {
    competition.levels.iter().find(|l| l.slug == slug).map_or(slug, |l| &l.title)
}
