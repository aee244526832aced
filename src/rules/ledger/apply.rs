//! A competition file applied: created, or changed with what that does to stored scores.

use super::case::refuse_access;
use super::notes::{Notes, check_text};
use super::{Asked, Decided, Ledger, Outcome, Precondition, Refusal};
use crate::rules::access::{Act, permit};
use crate::rules::competition::{Competition, Meaning, RawCompetition, compile, differences, mark_published, meaning};
use crate::rules::event::{Event, NoteRef, Reworked};
use crate::rules::fault::Fault;
use crate::rules::life::{Attempt, State, Stored};
use crate::rules::order;
use crate::rules::performance::{self, Around, RawPerformance};
use crate::rules::workout::Prescription;
use crate::words::Sentence;

/// How a file is to be applied.
pub(super) struct How<'a> {
    /// Only say what would change.
    pub dry_run: bool,
    /// Work stored scores out again where their meaning changes.
    pub rescore: bool,
    /// Why; empty: not said.
    pub reason: &'a str,
}

/// Applies a file, or says what it would change.
pub(super) fn apply(ledger: &Ledger, asked: &Asked, raw: &RawCompetition, how: &How<'_>) -> Result<Decided, Refusal> {
    let act =
        if ledger.definition.is_some() { Act::Apply { competition: &asked.competition } } else { Act::Administer };
    let permit = permit(&asked.actor, act).map_err(refuse_access)?;
    // The file that is in force sent once more, as by a second tap: done, whatever was seen before.
    let known = matches!(asked.precondition, Precondition::Match(_))
        && ledger.definition.as_ref().is_some_and(|(in_force, _)| in_force.as_ref() == raw);
    if !known {
        precondition(ledger, asked)?;
    }
    let checked = compile(raw).map_err(Refusal::Faults)?;
    let new = checked.value;
    if new.slug != asked.competition {
        let sentence = Sentence::new("slug_differs").with("file", &new.slug).with("asked", &asked.competition);
        return Err(Refusal::Faults(vec![Fault::new("competition.slug", sentence)]));
    }
    let old = ledger.definition.as_ref().map(|(r, c)| (r.as_ref(), c.as_ref()));
    let mut found = differences(old, (raw, &new));
    if let Some((_, old)) = old {
        mark_published(&mut found, old, asked.received);
    }
    let mut decided = Decided { actor: Some(permit.actor().clone()), warnings: checked.warnings, ..Decided::default() };
    if old.is_some() && found.is_empty() {
        return Ok(decided);
    }
    keeps_what_has_scores(ledger, &new)?;
    let reworked = match old {
        Some((_, old)) if found.iter().any(|d| d.rescore) => {
            let touched = rework(ledger, old, &new)?;
            if !touched.is_empty() && !how.rescore {
                let sentence = Sentence::new("needs_rescore").with("scores", touched.len());
                return Err(Refusal::Conflict(sentence, found));
            }
            touched
        }
        _ => Vec::new(),
    };
    let published = found.iter().any(|d| d.published);
    decided.outcome = Outcome::Applied { created: old.is_none(), differences: found, reworked: reworked.clone() };
    if !how.dry_run {
        let reason = reason(ledger, asked, how.reason, published, &mut decided)?;
        decided.events.push(Event::Applied { definition: Box::new(raw.clone()), reworked, reason });
    }
    Ok(decided)
}

/// Why, kept apart from the log; it has to be said where something that is published changes.
fn reason(
    ledger: &Ledger,
    asked: &Asked,
    said: &str,
    published: bool,
    decided: &mut Decided,
) -> Result<Option<NoteRef>, Refusal> {
    if said.trim().is_empty() {
        let fault = || Fault::new("/reason", Sentence::new("reason_for_published"));
        return if published { Err(Refusal::Faults(vec![fault()])) } else { Ok(None) };
    }
    check_text("/reason", said, true).map_err(|f| Refusal::Faults(vec![f]))?;
    let mut notes = Notes::after(ledger.head.last_note, asked.salt, None);
    let reason = notes.keep(said.trim());
    decided.notes = notes.into_taken();
    Ok(Some(reason))
}

fn precondition(ledger: &Ledger, asked: &Asked) -> Result<(), Refusal> {
    let met = match (&asked.precondition, ledger.definition.is_some()) {
        (Precondition::None, _) | (Precondition::Any, true) | (Precondition::Absent, false) => true,
        (Precondition::Match(tags), true) => ledger.definition_tag().is_some_and(|tag| tags.contains(&tag)),
        (Precondition::Any | Precondition::Match(_), false) | (Precondition::Absent, true) => false,
    };
    if met { Ok(()) } else { Err(Refusal::PreconditionFailed(None)) }
}

/// Removing a division with entries or a workout with scores is always refused.
fn keeps_what_has_scores(ledger: &Ledger, new: &Competition) -> Result<(), Refusal> {
    let mut faults = Vec::new();
    let mut gone_workouts: Vec<&str> = Vec::new();
    for (workout, _) in ledger.attempts.keys() {
        if new.workout(workout).is_none() && !gone_workouts.contains(&workout.as_str()) {
            gone_workouts.push(workout);
            faults.push(Fault::new("workout", Sentence::new("workout_has_scores").with("slug", workout)));
        }
    }
    let mut gone_divisions: Vec<&str> = Vec::new();
    for entry in ledger.entries.values() {
        let gone = new.division(&entry.division).is_none_or(|d| !d.combines.is_empty());
        if gone && !gone_divisions.contains(&entry.division.as_str()) {
            gone_divisions.push(&entry.division);
            faults.push(Fault::new("division", Sentence::new("division_has_entries").with("slug", &entry.division)));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::Faults(faults)) }
}

/// Every stored score whose meaning changes, worked out again from its written figures. Those
/// that no longer fit are listed, and nothing is applied until none is left. Scores that stand
/// nowhere (withdrawn, struck, stale already) hold nothing up: they become stale.
fn rework(ledger: &Ledger, old: &Competition, new: &Competition) -> Result<Vec<Reworked>, Refusal> {
    let mut faults = Vec::new();
    let mut reworked = Vec::new();
    for attempt in ledger.attempts.values().flatten() {
        let Some(entry) = ledger.entries.get(&attempt.score.bib) else { continue };
        let again = |stored: &Stored| worked_out_again(old, new, &attempt.score.workout, &entry.division, stored);
        // What does not fit of these can no longer be let in, or given back.
        let changed = |stored: &Stored| again(stored).ok().map(|(new, _)| new).filter(|new| new != stored);
        let waiting = attempt.waiting.as_ref().and_then(|w| changed(&w.stored));
        let before = attempt.ruling.as_ref().and_then(|r| changed(&r.before));
        let score = attempt.score.clone();
        match again(&attempt.stored) {
            Ok((stored, void)) => {
                if stored != attempt.stored || void || waiting.is_some() || before.is_some() {
                    reworked.push(Reworked { score, stored: Some(stored), void, stale: false, waiting, before });
                }
            }
            Err(_) if attempt.stale => {}
            Err(_) if matches!(attempt.state, State::Withdrawn | State::Struck) => {
                reworked.push(Reworked { score, stored: None, void: true, stale: true, waiting, before });
            }
            Err(found) => faults.extend(found.iter().map(|f| unfit(attempt, &f.sentence))),
        }
    }
    if faults.is_empty() { Ok(reworked) } else { Err(Refusal::Faults(faults)) }
}

/// Figures under the new file, and whether that voids their attestation.
fn worked_out_again(
    old: &Competition,
    new: &Competition,
    workout: &str,
    division: &str,
    stored: &Stored,
) -> Result<(Stored, bool), Vec<Fault>> {
    // Levels are found again by name: their order may have changed.
    let level = old
        .levels
        .get(usize::from(stored.level))
        .and_then(|l| new.levels.iter().position(|n| n.slug == l.slug))
        .and_then(|i| u8::try_from(i).ok());
    let found = level.and_then(|level| new.prescription(workout, division, level).map(|p| (level, p)));
    let Some((level, prescription)) = found else {
        return Err(vec![Fault::new("", Sentence::new("no_prescription_left"))]);
    };
    let raw = RawPerformance::Text(stored.written.clone());
    // What was asked when it was sent has been answered then.
    let around = Around { confirm_all: true, ..Around::default() };
    let task = &prescription.task;
    let performance = performance::check(task, &raw, &around)?.value;
    let key = order::key(task, level, &performance).map_err(|f| vec![f])?;
    let before: Option<&Prescription> = old.prescription(workout, division, stored.level);
    let void = before.is_none_or(|b| meaning(&b.task, task) == Meaning::Void);
    let text = performance.text(task);
    let prescription = hex::encode(prescription.digest);
    Ok((Stored { level, text, key, prescription, ..stored.clone() }, void))
}

fn unfit(attempt: &Attempt, why: &Sentence) -> Fault {
    let score = &attempt.score;
    let sentence = Sentence::new("score_no_longer_fits")
        .with("bib", score.bib)
        .with("workout", &score.workout)
        .with("written", &attempt.stored.written)
        .with_said("why", why.clone());
    Fault::new(format!("/scores/{}/{}/{}", score.workout, score.bib, score.attempt), sentence)
}
