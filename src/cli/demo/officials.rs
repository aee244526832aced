//! What the demo's referees doubt and decide, what is appealed, and what is still open.

use super::deeds::{Deed, Happening};
use super::field::{Field, OWN_BIB};
use super::series::Calendar;
use super::sheets::{self, Line, Part};
use crate::rules::life::{Decision, FlagReason};
use crate::rules::performance::RawPerformance;
use jiff::{SignedDuration, Timestamp};

/// Scores that a referee can look at: attested, in time, the only line, of an athlete who shows
/// the name and is not the one that can be signed in as.
fn clear<'a>(
    field: &'a Field,
    lines: &'a [Line],
    workout: &'a str,
    before: Timestamp,
) -> impl Iterator<Item = &'a Line> {
    lines.iter().filter(move |l| {
        l.workout == workout
            && l.only
            && !l.late
            && l.judge.is_some()
            && l.bib != OWN_BIB
            && l.received < before
            && sheets::part(l.bib) == Part::Whole
            && field.athletes.iter().any(|a| a.bib == l.bib && a.shows_name)
    })
}

/// What the referees do.
pub(super) fn officials(
    field: &Field,
    lines: &[Line],
    calendar: &Calendar,
    now: Timestamp,
) -> anyhow::Result<Vec<Happening>> {
    let mut all = swings(field, lines, calendar)?;
    all.extend(clocks(field, lines, calendar)?);
    all.extend(bells(field, lines, now)?);
    Ok(all)
}

/// Workout 1, after its close: two scores stand, reps are taken off four; one ruling falls on
/// appeal, another appeal waits.
fn swings(field: &Field, lines: &[Line], calendar: &Calendar) -> anyhow::Result<Vec<Happening>> {
    let mut all = Vec::new();
    let closed = calendar.at(-18, 9, 0)?;
    // Reps come off the unfinished round, so that the tiebreak's round stays done.
    let doubted = clear(field, lines, "w1", closed).filter(|l| rest(&l.performance) >= 8).step_by(97);
    for (n, line) in (0_i8..6).zip(doubted) {
        let (workout, bib) = ("w1", line.bib);
        let mut at = |at: Timestamp, what: Deed| all.push(Happening { at, what });
        let note = "Hips stay bent in the last swings of round 3.";
        let flag = Deed::Flag { workout, bib, reason: FlagReason::RangeOfMotion, note, withhold: false };
        at(calendar.at(-18, 10, n)?, flag);
        let (decision, reason) = if n < 2 {
            (Decision::Stands, "Seen again at half speed: every rep is open at the top.")
        } else {
            let reps = u64::from(n.unsigned_abs());
            let deduct = Decision::Deduct { reps: Some(reps), seconds: None, tiebreak: None, no_tiebreak: false };
            (deduct, "These swings of round 3 did not reach the end position.")
        };
        at(calendar.at(-17, 15, n)?, Deed::Rule { workout, bib, decision, reason, on_appeal: false });
        if n == 3 {
            let reason = "The judge counted two no-reps already; they are not in the total.";
            at(calendar.at(-16, 9, 0)?, Deed::Appeal { workout, bib, reason });
            let reason = "The no-reps are on the sheet: the total was right.";
            let restore = Deed::Rule { workout, bib, decision: Decision::Restore, reason, on_appeal: true };
            at(calendar.at(-15, 18, 0)?, restore);
        }
        if n == 4 {
            let reason = "From the camera's side the hips look closed; they were not.";
            at(calendar.at(-16, 10, 0)?, Deed::Appeal { workout, bib, reason });
        }
    }
    Ok(all)
}

/// Workout 2: a time corrected, one score struck, one stands, one doubt still open.
fn clocks(field: &Field, lines: &[Line], calendar: &Calendar) -> anyhow::Result<Vec<Happening>> {
    let mut all = Vec::new();
    let closed = calendar.at(-6, 9, 0)?;
    let doubted = clear(field, lines, "w2", closed).filter(|l| !l.performance.contains("reps")).step_by(131);
    for (n, line) in (0_i8..4).zip(doubted) {
        let (workout, bib) = ("w2", line.bib);
        let note = "The clock in the picture and the time on the sheet differ.";
        let what = Deed::Flag { workout, bib, reason: FlagReason::Timing, note, withhold: false };
        all.push(Happening { at: calendar.at(-6, 11, n)?, what });
        let (decision, reason) = match n {
            0 => {
                let performance = RawPerformance::Text(later(&line.performance));
                (Decision::Replace { performance, level: None }, "The clock in the picture is eleven seconds further.")
            }
            1 => (Decision::Strike, "The person in the picture is not the one entered."),
            2 => (Decision::Stands, "The clock was started late; the sheet is right."),
            _ => continue,
        };
        let what = Deed::Rule { workout, bib, decision, reason, on_appeal: false };
        all.push(Happening { at: calendar.at(-5, 16, n)?, what });
    }
    Ok(all)
}

/// The running workout: some scores are being checked this minute, two are off the places.
fn bells(field: &Field, lines: &[Line], now: Timestamp) -> anyhow::Result<Vec<Happening>> {
    let mut all = Vec::new();
    let recent = now.checked_sub(SignedDuration::from_hours(20))?;
    for (n, line) in (0_i64..6).zip(clear(field, lines, "w4", recent).step_by(61)) {
        let withhold = n >= 4;
        let note =
            if withhold { "The monitor cannot be read at any bell." } else { "The third bell looks one calorie high." };
        let at = now.checked_sub(SignedDuration::from_mins(150 - n))?;
        all.push(Happening {
            at,
            what: Deed::Flag { workout: "w4", bib: line.bib, reason: FlagReason::Count, note, withhold },
        });
    }
    Ok(all)
}

/// Reps of the unfinished round in `6+14 tb 11:24`; 0 where nothing of a whole round is written.
fn rest(performance: &str) -> u64 {
    let figures = performance.split(" tb").next().unwrap_or_default();
    match figures.split_once('+') {
        Some((rounds, reps)) if rounds != "0" => reps.parse().unwrap_or(0),
        _ => 0,
    }
}

/// Eleven seconds more than `m:ss`, at most the cap of 8:00.
fn later(time: &str) -> String {
    let Some((minutes, seconds)) = time.split_once(':') else { return time.to_owned() };
    let all = minutes.parse().unwrap_or(7) * 60 + seconds.parse().unwrap_or(0) + 11;
    let all: u32 = u32::min(all, 480);
    format!("{}:{:02}", all / 60, all % 60)
}
