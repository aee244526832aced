//! What happens in the demo from the first file to this minute, told in the order it happened,
//! with the clock moved along: files come in, entries move, referees doubt and rule, an athlete
//! appeals, the organiser lets late scores in.

use super::field::{Field, OWN_BIB};
use super::series::{Calendar, SLUG};
use super::sheets::{self, Line, Part, Sheet};
use crate::actions::import::{ImportView, Rows, What, import};
use crate::actions::{Failure, Request, ScorePath, admit, appeal, apply, extend, move_entry, referee, withdraw};
use crate::app::{App, Clock};
use crate::rules::access::Actor;
use crate::rules::competition;
use crate::rules::event::Extension;
use crate::rules::ledger::Precondition;
use crate::rules::life::{Decision, FlagReason};
use crate::rules::people::EntryState;
use crate::rules::performance::RawPerformance;
use crate::rules::roster::EntryChange;
use anyhow::anyhow;
use jiff::{SignedDuration, Timestamp};

/// Who acts in the story.
pub(super) struct Cast {
    /// Files, late scores, entries.
    pub organiser: Actor,
    /// Flags and rules.
    pub referee: Actor,
    /// Decides appeals.
    pub second_referee: Actor,
    /// Sends in the files of one gym.
    pub staff: Actor,
}

/// Something that happens, and when.
struct Happening {
    at: Timestamp,
    what: Deed,
}

/// What happens.
enum Deed {
    Sheet(Sheet),
    Move(u32, EntryState, &'static str),
    NotTakingPart(&'static str, u32),
    Flag { workout: &'static str, bib: u32, reason: FlagReason, note: &'static str, withhold: bool },
    Rule { workout: &'static str, bib: u32, decision: Decision, reason: &'static str, on_appeal: bool },
    Appeal { workout: &'static str, bib: u32, reason: &'static str },
    Admit { workout: &'static str, bib: u32, admit: bool, reason: &'static str },
    Extend(Extension, &'static str),
}

/// How many rows became what.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    /// Scores stored.
    pub scores: u32,
    /// Anything that was refused, in words: nothing should be.
    pub refused: Vec<String>,
}

/// Tells the whole story up to `now`. `step` hears how far it is, in thousandths.
pub(super) async fn tell(
    app: &App,
    clock: &Clock,
    calendar: &Calendar,
    now: Timestamp,
    cast: &Cast,
    mut step: impl FnMut(usize),
) -> anyhow::Result<Told> {
    clock.set(calendar.at(-31, 10, 0)?);
    let field = open(app, clock, calendar, cast).await?;
    let mut told = Told::default();
    let happenings = happenings(&field, calendar, now)?;
    let count = happenings.len().max(1);
    for (index, happening) in happenings.into_iter().enumerate() {
        clock.set(happening.at);
        if let Err(refused) = happen(app, cast, happening, &mut told).await {
            told.refused.push(format!("{refused:?}"));
        }
        step(index * 1000 / count);
    }
    Ok(told)
}

/// The file is applied; gyms, judges and entries come in.
async fn open(app: &App, clock: &Clock, calendar: &Calendar, cast: &Cast) -> anyhow::Result<Field> {
    let text = calendar.file()?;
    let raw = competition::from_toml(&text).map_err(|f| anyhow!("the demo's file does not read: {f:?}"))?;
    let compiled = competition::compile(&raw).map_err(|f| anyhow!("the demo's file does not hold together: {f:?}"))?;
    let field = Field::draw(calendar, compiled.value.age_date);
    let request = || Request::at(clock.now());
    apply::apply(app, &cast.organiser, None, request(), raw, apply::How::default()).await?;
    let athletes: Vec<_> = field.athletes.iter().map(|a| &a.entry).collect();
    let files = [
        (What::Gyms, serde_json::to_vec(&field.gyms)?),
        (What::Judges, serde_json::to_vec(&field.judges)?),
        (What::Entries, serde_json::to_vec(&athletes)?),
    ];
    for (what, json) in files {
        let name = format!("{what:?}");
        let view = import(app, &cast.organiser, SLUG, request(), what, Rows::Json(json)).await?;
        anyhow::ensure!(view.refused == 0, "{name} of the demo are refused: {:?}", view.rows.first());
    }
    Ok(field)
}

fn happenings(field: &Field, calendar: &Calendar, now: Timestamp) -> anyhow::Result<Vec<Happening>> {
    let lines = sheets::lines(field, calendar, now)?;
    let mut all: Vec<Happening> = sheets::files(&lines, field)?
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
    all.extend(missing(field, &lines, calendar)?);
    all.extend(officials(field, &lines, calendar, now)?);
    all.extend(late(&lines)?);
    let extension = Extension {
        workout: "w4".to_owned(),
        gym: Some("sluice".to_owned()),
        region: None,
        closes: calendar.at(3, 21, 0)?,
        attest_by: calendar.at(4, 21, 0)?,
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
        let (_, closes) = Calendar::window(workout);
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
            0 | 1 | 2 => {
                Deed::Admit { workout, bib, admit: true, reason: "Power cut at the gym; the sheet was signed in time." }
            }
            3 => Deed::Admit { workout, bib, admit: false, reason: "No reason was given for the delay." },
            _ => continue,
        };
        all.push(Happening { at, what });
    }
    Ok(all)
}

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
            && field.athletes.iter().any(|a| a.bib == l.bib && a.entry.show_name == Some(true))
    })
}

/// What the referees do.
fn officials(field: &Field, lines: &[Line], calendar: &Calendar, now: Timestamp) -> anyhow::Result<Vec<Happening>> {
    let mut all = Vec::new();
    let mut at = |at: Timestamp, what: Deed| all.push(Happening { at, what });
    let flag = |workout, bib, reason, note| Deed::Flag { workout, bib, reason, note, withhold: false };
    let rule = |workout, bib, decision, reason| Deed::Rule { workout, bib, decision, reason, on_appeal: false };

    // Workout 1, after its close: reps taken off, one score stands, one ruling is appealed.
    let closed = calendar.at(-18, 9, 0)?;
    let deduct = |reps| Decision::Deduct { reps: Some(reps), seconds: None, tiebreak: None, no_tiebreak: false };
    // Reps come off the unfinished round, so that the tiebreak's round stays done.
    let w1: Vec<u32> = clear(field, lines, "w1", closed)
        .filter(|l| rest(&l.performance) >= 8)
        .map(|l| l.bib)
        .step_by(97)
        .take(6)
        .collect();
    for (n, &bib) in w1.iter().enumerate() {
        at(
            calendar.at(-18, 10, n as i8)?,
            flag("w1", bib, FlagReason::RangeOfMotion, "Hips stay bent in the last swings of round 3."),
        );
        let (decision, reason) = match n {
            0 | 1 => (Decision::Stands, "Seen again at half speed: every rep is open at the top."),
            _ => (deduct(2 + n as u64), "These swings of round 3 did not reach the end position."),
        };
        at(calendar.at(-17, 15, n as i8)?, rule("w1", bib, decision, reason));
    }
    if let Some(&bib) = w1.get(3) {
        at(
            calendar.at(-16, 9, 0)?,
            Deed::Appeal {
                workout: "w1",
                bib,
                reason: "The judge counted two no-reps already; they are not in the total.",
            },
        );
        let upheld = Decision::Restore;
        let reason = "The no-reps are on the sheet: the total was right.";
        at(calendar.at(-15, 18, 0)?, Deed::Rule { workout: "w1", bib, decision: upheld, reason, on_appeal: true });
    }
    if let Some(&bib) = w1.get(4) {
        at(
            calendar.at(-16, 10, 0)?,
            Deed::Appeal { workout: "w1", bib, reason: "From the camera's side the hips look closed; they were not." },
        );
    }

    // Workout 2: a time corrected, one struck, one stands, one still open.
    let closed = calendar.at(-6, 9, 0)?;
    let w2: Vec<(u32, String)> = clear(field, lines, "w2", closed)
        .filter(|l| !l.performance.contains("reps"))
        .map(|l| (l.bib, l.performance.clone()))
        .step_by(131)
        .take(4)
        .collect();
    for (n, (bib, time)) in w2.iter().enumerate() {
        at(
            calendar.at(-6, 11, n as i8)?,
            flag("w2", *bib, FlagReason::Timing, "The clock in the picture and the time on the sheet differ."),
        );
        let (decision, reason) = match n {
            0 => {
                let performance = RawPerformance::Text(later(time));
                (Decision::Replace { performance, level: None }, "The clock in the picture is eleven seconds further.")
            }
            1 => (Decision::Strike, "The person in the picture is not the one entered."),
            2 => (Decision::Stands, "The clock was started late; the sheet is right."),
            _ => continue,
        };
        at(calendar.at(-5, 16, n as i8)?, rule("w2", *bib, decision, reason));
    }

    // The running workout: some are being checked this minute, two are off the places.
    let recent = now.checked_sub(SignedDuration::from_hours(20))?;
    for (n, line) in clear(field, lines, "w4", recent).step_by(61).take(6).enumerate() {
        let moment = now.checked_sub(SignedDuration::from_mins(150 - n as i64))?;
        let withhold = n >= 4;
        let note =
            if withhold { "The monitor cannot be read at any bell." } else { "The third bell looks one calorie high." };
        at(moment, Deed::Flag { workout: "w4", bib: line.bib, reason: FlagReason::Count, note, withhold });
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

async fn happen(app: &App, cast: &Cast, happening: Happening, told: &mut Told) -> Result<(), Failure> {
    let request = Request::at(happening.at);
    let seen = || Request::at(happening.at).having_seen(Precondition::Any);
    let path = |workout: &str, bib| ScorePath { competition: SLUG.to_owned(), workout: workout.to_owned(), bib };
    match happening.what {
        Deed::Sheet(sheet) => {
            let actor = if sheet.own { &cast.staff } else { &cast.organiser };
            let what = What::Scores { workout: Some(sheet.workout.to_owned()) };
            let view = import(app, actor, SLUG, request, what, Rows::Csv(sheet.csv.into_bytes())).await?;
            count(&view, sheet.workout, told);
        }
        Deed::Move(bib, state, reason) => {
            let change = EntryChange { state: Some(state), reason: reason.to_owned(), ..EntryChange::default() };
            move_entry::move_entry(app, &cast.organiser, SLUG, bib, request, change, false).await?;
        }
        Deed::NotTakingPart(workout, bib) => {
            withdraw::state_not_taking_part(app, &cast.organiser, &path(workout, bib), request, true).await?;
        }
        Deed::Flag { workout, bib, reason, note, withhold } => {
            let act = path(workout, bib);
            if withhold {
                referee::withhold(app, &cast.referee, &act, seen(), reason, note.to_owned()).await?;
            } else {
                referee::flag(app, &cast.referee, &act, seen(), reason, note.to_owned()).await?;
            }
        }
        Deed::Rule { workout, bib, decision, reason, on_appeal } => {
            let actor = if on_appeal { &cast.second_referee } else { &cast.referee };
            referee::rule(app, actor, &path(workout, bib), seen(), decision, reason.to_owned(), on_appeal).await?;
        }
        Deed::Appeal { workout, bib, reason } => {
            appeal::appeal(app, &cast.organiser, &path(workout, bib), seen(), reason.to_owned()).await?;
        }
        Deed::Admit { workout, bib, admit: let_in, reason } => {
            admit::admit(app, &cast.organiser, &path(workout, bib), seen(), let_in, reason.to_owned()).await?;
        }
        Deed::Extend(extension, reason) => {
            extend::extend(app, &cast.organiser, SLUG, request, extension, reason.to_owned()).await?;
        }
    }
    Ok(())
}

fn count(view: &ImportView, workout: &str, told: &mut Told) {
    told.scores += view.taken;
    for row in &view.rows {
        let why: Vec<&str> = row.errors.iter().map(|e| e.message.as_str()).collect();
        told.refused.push(format!("{workout}, {}: {}", row.cells.join(","), why.join(" ")));
    }
}
