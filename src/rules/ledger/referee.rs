//! Doubt and its answer: flag, withhold, ruling, appeal (rules.md section 8).

use super::attest::state_words;
use super::case::{Case, no_open_appeal};
use super::notes::{Notes, check_text};
use super::submit::{level, prescription};
use super::{Decided, Outcome, Refusal};
use crate::rules::access::{Act, Permit};
use crate::rules::event::Event;
use crate::rules::fault::Fault;
use crate::rules::life::{Attempt, Decision, FlagReason, Ruled, RulingKind, State, Stored};
use crate::rules::order;
use crate::rules::performance::{self, Around, Deduction, Performance, RawPerformance};
use crate::rules::workout::Prescription;
use crate::words::Sentence;
use jiff::SignedDuration;

/// How long a ruling can be appealed.
pub const APPEAL_WITHIN: SignedDuration = SignedDuration::from_hours(48);

/// Records a doubt; `withhold` takes the score off the places until a ruling.
pub(super) fn flag(case: &Case<'_>, reason: FlagReason, note: &str, withhold: bool) -> Result<Decided, Refusal> {
    let permit = case.referee(&[])?;
    let attempt = case.shown().ok_or_else(|| case.no_score())?;
    case.seen(attempt)?;
    no_open_appeal(attempt)?;
    let may = match attempt.state {
        State::Attested | State::Amended => true,
        State::Flagged => withhold,
        _ => false,
    };
    if !may {
        return Err(wrong_state(attempt));
    }
    not_final(attempt)?;
    check_text("/note", note, reason == FlagReason::Other).map_err(|f| Refusal::Faults(vec![f]))?;
    let mut notes = notes(case);
    let note = Some(note.trim()).filter(|n| !n.is_empty()).map(|n| notes.keep(n));
    let event = Event::Flagged { score: attempt.score.clone(), reason, note, withheld: withhold };
    Ok(decided(&permit, attempt, vec![event], notes))
}

/// Answers a doubt, or an appeal.
pub(super) fn rule(case: &Case<'_>, decision: &Decision, reason: &str, on_appeal: bool) -> Result<Decided, Refusal> {
    let attempt = if on_appeal {
        let open = |a: &&Attempt| a.appeal.as_ref().is_some_and(|p| !p.decided);
        // Asked for before the permission is known: who may not see the case learns nothing.
        case.attempts.iter().find(open)
    } else {
        let doubted = |a: &&Attempt| matches!(a.state, State::Flagged | State::Withheld);
        case.attempts.iter().find(doubted).or_else(|| case.shown())
    };
    let barred = attempt.filter(|_| on_appeal).map_or(&[][..], |a| &a.officials);
    let permit = case.referee(barred)?;
    let Some(attempt) = attempt else {
        let none = Refusal::Conflict(Sentence::new("no_open_appeal"), Vec::new());
        return Err(if on_appeal { none } else { case.no_score() });
    };
    case.seen(attempt)?;
    let may = match attempt.state {
        State::Attested | State::Amended | State::Flagged | State::Withheld => true,
        State::Struck => on_appeal,
        // Ruled on, then moved to another prescription: only a referee can give it figures.
        State::Entered => on_appeal || attempt.locked && new_figures(decision),
        _ => false,
    };
    let deducts = matches!(decision, Decision::Deduct { .. });
    if !may || attempt.stale && deducts {
        return Err(wrong_state(attempt));
    }
    if !on_appeal {
        no_open_appeal(attempt)?;
        not_final(attempt)?;
    }
    let mut faults = Vec::from_iter(check_text("/reason", reason, true).err());
    let ruled = match worked_out(case, attempt, decision, on_appeal) {
        Ok(ruled) => Some(ruled),
        Err(found) => {
            faults.extend(found);
            None
        }
    };
    let (Some(ruled), true) = (ruled, faults.is_empty()) else {
        return Err(Refusal::Faults(faults));
    };
    let mut notes = notes(case);
    let score = attempt.score.clone();
    let mut events = Vec::new();
    if attempt.flag.is_none() && !on_appeal {
        // A ruling without a flag records its own.
        let reason = FlagReason::Other;
        events.push(Event::Flagged { score: score.clone(), reason, note: None, withheld: false });
    }
    let reason = notes.keep(reason.trim());
    events.push(Event::Ruled { score, ruling: ruled, reason, on_appeal });
    Ok(decided(&permit, attempt, events, notes))
}

/// Asks for a second opinion on a ruling.
pub(super) fn appeal(case: &Case<'_>, reason: &str) -> Result<Decided, Refusal> {
    let attempt = case.attempts.iter().rev().find(|a| a.ruling.is_some()).or_else(|| case.shown());
    let at = attempt.and_then(|a| a.stored.gym.as_deref());
    let permit = case.may(Act::Appeal { competition: &case.competition.slug, entry: case.entry, at })?;
    let attempt = attempt.ok_or_else(|| case.no_score())?;
    case.seen(attempt)?;
    let conflict = |code| Refusal::Conflict(Sentence::new(code), Vec::new());
    let ruling = attempt.ruling.as_ref().ok_or_else(|| conflict("nothing_to_appeal"))?;
    not_final(attempt)?;
    if attempt.appeal.is_some() {
        return Err(conflict("already_appealed"));
    }
    if matches!(attempt.state, State::Withdrawn | State::Late) {
        return Err(wrong_state(attempt));
    }
    if case.asked.received >= ruling.at + APPEAL_WITHIN {
        let sentence = Sentence::new("appeal_too_late").with("until", case.local(ruling.at + APPEAL_WITHIN));
        return Err(Refusal::Conflict(sentence, Vec::new()));
    }
    check_text("/reason", reason, true).map_err(|f| Refusal::Faults(vec![f]))?;
    let mut notes = notes(case);
    let reason = notes.keep(reason.trim());
    let event = Event::Appealed { score: attempt.score.clone(), reason };
    Ok(decided(&permit, attempt, vec![event], notes))
}

/// What a decision comes to; all faults at once.
fn worked_out(case: &Case<'_>, attempt: &Attempt, decision: &Decision, on_appeal: bool) -> Result<Ruled, Vec<Fault>> {
    let keep = |kind, state| Ruled { kind, state, stored: None, version: attempt.version };
    match decision {
        // On appeal the ruling stands, and a flag raised meanwhile is answered with it.
        Decision::Stands => Ok(keep(RulingKind::Stands, attempt.flag.as_ref().map_or(attempt.state, |f| f.before))),
        Decision::Strike => Ok(keep(RulingKind::Strike, State::Struck)),
        Decision::Restore => {
            let before = attempt.ruling.as_ref().filter(|_| on_appeal);
            let Some(before) = before else {
                return Err(vec![Fault::new("/decision", Sentence::new("restore_only_on_appeal"))]);
            };
            // A prescription that changed in more than text took the attestation with it.
            let fits =
                case.unchanged(&before.before) || before.before_state.placed() && case.still_fits(&before.before);
            if !fits {
                return Err(vec![Fault::new("/decision", Sentence::new("restore_of_changed_workout"))]);
            }
            let stored = (before.before != attempt.stored).then(|| before.before.clone());
            let version = attempt.version + u32::from(stored.is_some());
            Ok(Ruled { kind: RulingKind::Restore, state: before.before_state, stored, version })
        }
        Decision::Deduct { reps, seconds, tiebreak, no_tiebreak } => {
            let mut faults = Vec::new();
            let Some(prescription) = prescription(case, attempt.stored.level, &mut faults) else {
                return Err(faults);
            };
            let now = reread(prescription, &attempt.stored)?;
            let deduction = Deduction {
                reps: *reps,
                seconds: *seconds,
                seconds_per_rep: case.workout.seconds_per_rep,
                tiebreak: tiebreak.as_deref(),
                no_tiebreak: *no_tiebreak,
            };
            let deducted = now.deduct(&prescription.task, &deduction);
            let performance = deducted.map_err(|found| all_inside("/decision", found))?.value;
            let written = performance.text(&prescription.task);
            revised(case, attempt, RulingKind::Deduct, prescription, attempt.stored.level, &performance, written)
        }
        Decision::Replace { performance: raw, level: slug } => {
            let mut faults = Vec::new();
            let level = match slug {
                None => Some(attempt.stored.level),
                Some(slug) => level(case, Some(slug), "/decision/level", &mut faults),
            };
            let found = level.and_then(|l| prescription(case, l, &mut faults).map(|p| (l, p)));
            let Some((level, prescription)) = found else { return Err(faults) };
            // A referee has seen the evidence: nothing is asked again.
            let checked = performance::check(&prescription.task, raw, &seen_before())
                .map_err(|found| all_inside("/decision", found))?;
            let written = performance::written(raw);
            revised(case, attempt, RulingKind::Replace, prescription, level, &checked.value, written)
        }
    }
}

/// The referee's figures as a revision of their own.
fn revised(
    case: &Case<'_>,
    attempt: &Attempt,
    kind: RulingKind,
    prescription: &Prescription,
    level: u8,
    performance: &Performance,
    written: String,
) -> Result<Ruled, Vec<Fault>> {
    let key = order::key(&prescription.task, level, performance).map_err(|f| vec![f])?;
    let stored = Stored {
        level,
        written,
        text: performance.text(&prescription.task),
        key,
        received_at: case.asked.received,
        prescription: hex::encode(prescription.digest),
        by: case.actor().account,
        ..attempt.stored.clone()
    };
    Ok(Ruled { kind, state: State::Amended, stored: Some(stored), version: attempt.version + 1 })
}

/// Stored figures as a performance; they were valid when stored.
fn reread(prescription: &Prescription, stored: &Stored) -> Result<Performance, Vec<Fault>> {
    let raw = RawPerformance::Text(stored.text.clone());
    performance::check(&prescription.task, &raw, &seen_before()).map(|c| c.value)
}

/// Nothing is asked about what a person has already looked at.
fn seen_before() -> Around<'static> {
    Around { confirm_all: true, ..Around::default() }
}

fn all_inside(prefix: &str, faults: Vec<Fault>) -> Vec<Fault> {
    let inside = |f: Fault| Fault { pointer: format!("{prefix}{}", f.pointer), ..f };
    faults.into_iter().map(inside).collect()
}

/// Whether a decision gives a score figures of its own, or ends it.
fn new_figures(decision: &Decision) -> bool {
    matches!(decision, Decision::Replace { .. } | Decision::Strike)
}

fn not_final(attempt: &Attempt) -> Result<(), Refusal> {
    if attempt.ruling.as_ref().is_some_and(|r| r.on_appeal) {
        return Err(Refusal::Conflict(Sentence::new("ruling_is_final"), Vec::new()));
    }
    Ok(())
}

fn wrong_state(attempt: &Attempt) -> Refusal {
    Refusal::Conflict(Sentence::new("wrong_state").with_said("state", state_words(attempt.state)), Vec::new())
}

fn notes(case: &Case<'_>) -> Notes {
    Notes::after(case.ledger.head.last_note, case.asked.salt, Some(case.entry.bib))
}

fn decided(permit: &Permit, attempt: &Attempt, events: Vec<Event>, notes: Notes) -> Decided {
    Decided {
        events,
        actor: Some(permit.actor().clone()),
        notes: notes.into_taken(),
        outcome: Outcome::Score { created: false, attempt: attempt.score.attempt },
        ..Decided::default()
    }
}
