//! What happens in the demo after its gyms, judges and entries are in, and when: the sheets come
//! in, entries move, some take no part, late scores are let in or not. The referees' part is in
//! [`super::officials`].

use super::field::Field;
use super::officials;
use super::series::{Calendar, WHY};
use super::sheets::{self, Line, Part, Sheet};
use crate::rules::event::Extension;
use crate::rules::life::{Decision, FlagReason};
use crate::rules::people::EntryState;
use jiff::{SignedDuration, Timestamp};

/// Something that happens, and when.
pub(super) struct Happening {
    pub at: Timestamp,
    pub what: Deed,
}

/// What happens.
pub(super) enum Deed {
    Sheet(Sheet),
    Move(u32, EntryState, &'static str),
    NotTakingPart(&'static str, u32),
    Flag { workout: &'static str, bib: u32, reason: FlagReason, note: &'static str, withhold: bool },
    Rule { workout: &'static str, bib: u32, decision: Decision, reason: &'static str, on_appeal: bool },
    Appeal { workout: &'static str, bib: u32, reason: &'static str },
    Admit { workout: &'static str, bib: u32, admit: bool, reason: &'static str },
    Extend(Extension, &'static str),
    Apply(String, &'static str),
}

/// Everything that happens before `now`, in order.
pub(super) fn happenings(field: &Field, calendar: &Calendar, now: Timestamp) -> anyhow::Result<Vec<Happening>> {
    let lines = sheets::lines(field, calendar, now)?;
    let mut all: Vec<Happening> = sheets::files(&lines)?
        .into_iter()
        .map(|sheet| Happening { at: sheet.received, what: Deed::Sheet(sheet) })
        .collect();
    for athlete in &field.athletes {
        let moved = match sheets::part(athlete.bib) {
            Part::Whole => None,
            Part::Guest => Some((-25, EntryState::Guest, "Takes part out of competition.")),
            Part::Withdraws => Some((-14, EntryState::Withdrawn, "Injured; asked to be withdrawn.")),
            Part::IsRemoved => Some((-5, EntryState::Removed, "Entered in another competition of the series too.")),
        };
        if let Some((day, state, reason)) = moved {
            all.push(Happening { at: calendar.at(day, 12, 0)?, what: Deed::Move(athlete.bib, state, reason) });
        }
    }
    all.push(Happening { at: calendar.at(-24, 18, 30)?, what: Deed::Apply(calendar.file()?, WHY) });
    all.extend(missing(field, &lines, calendar)?);
    all.extend(officials::officials(field, &lines, calendar, now)?);
    all.extend(late(&lines)?);
    let extension = Extension {
        workout: "w4".to_owned(),
        gym: Some("sluice".to_owned()),
        region: None,
        closes: calendar.at(3, 21, 0)?,
        attest_by: calendar.at(4, 21, 0)?,
        taken_back: false,
    };
    all.push(Happening {
        at: calendar.at(-1, 8, 0)?,
        what: Deed::Extend(extension, "Flooded street: the gym was shut for a day."),
    });
    all.retain(|h| h.at < now);
    all.sort_by_key(|h| h.at);
    Ok(all)
}

/// Some of those without a score are said to take no part; the others stay missing.
fn missing(field: &Field, lines: &[Line], calendar: &Calendar) -> anyhow::Result<Vec<Happening>> {
    let mut all = Vec::new();
    for workout in ["w1", "w2"] {
        let done: std::collections::HashSet<u32> =
            lines.iter().filter(|l| l.workout == workout).map(|l| l.bib).collect();
        let (_, closes) = calendar.window(workout);
        let absent = field.athletes.iter().filter(|a| !done.contains(&a.bib) && sheets::part(a.bib) == Part::Whole);
        for athlete in absent.filter(|a| a.bib % 3 == 0) {
            all.push(Happening { at: calendar.at(closes, 20, 30)?, what: Deed::NotTakingPart(workout, athlete.bib) });
        }
    }
    Ok(all)
}

/// Late scores: most are let in the next day, some refused, some still wait.
fn late(lines: &[Line]) -> anyhow::Result<Vec<Happening>> {
    let mut all = Vec::new();
    for line in lines.iter().filter(|l| l.late) {
        let at = line.received.checked_add(SignedDuration::from_hours(13))?;
        let (workout, bib) = (line.workout, line.bib);
        let what = match bib % 5 {
            0..=2 => {
                Deed::Admit { workout, bib, admit: true, reason: "Power cut at the gym; the sheet was signed in time." }
            }
            3 => Deed::Admit { workout, bib, admit: false, reason: "No reason was given for the delay." },
            _ => continue,
        };
        all.push(Happening { at, what });
    }
    Ok(all)
}
