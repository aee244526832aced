//! Taking a score back, taking no part, and letting late scores in.

use super::attest::state_words;
use super::case::{Case, no_open_appeal, refuse_access};
use super::notes::{Notes, check_text};
use super::{Decided, Outcome, Refusal};
use crate::rules::access::{Act, Role, permit};
use crate::rules::event::Event;
use crate::rules::life::{Attempt, State};
use crate::rules::window::Window;
use crate::words::Sentence;
use jiff::Timestamp;

/// The athlete or the gym takes a score back.
pub(super) fn withdraw(case: &Case<'_>) -> Result<Decided, Refusal> {
    let attempt = case.meant(None);
    let at = attempt.and_then(|a| a.stored.gym.as_deref());
    let permit = case.may(Act::Withdraw { competition: &case.competition.slug, entry: case.entry, at })?;
    let attempt = attempt.ok_or_else(|| case.no_score())?;
    let actor = Some(permit.actor().clone());
    if attempt.state == State::Withdrawn {
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    case.seen(attempt)?;
    no_open_appeal(attempt)?;
    let may = matches!(attempt.state, State::Entered | State::Attested | State::Late) && !attempt.locked;
    if !may {
        let sentence = Sentence::new("not_withdrawable").with_said("state", state_words(attempt.state));
        return Err(Refusal::Conflict(sentence, Vec::new()));
    }
    let deadline = withdrawal_ends(permit.role(), &case.window);
    if case.asked.received >= deadline && attempt.state != State::Late {
        let sentence = Sentence::new("withdrawal_too_late").with("until", case.local(deadline));
        return Err(Refusal::Conflict(sentence, Vec::new()));
    }
    Ok(Decided {
        events: vec![Event::Withdrawn { score: attempt.score.clone() }],
        actor,
        outcome: Outcome::Score { created: false, attempt: attempt.score.attempt },
        ..Decided::default()
    })
}

/// Until when a score that came in time can be taken back in this role.
#[must_use]
pub fn withdrawal_ends(role: Option<Role>, window: &Window) -> Timestamp {
    if role == Some(Role::Athlete) { window.grace_ends } else { window.attest_by }
}

/// The gym states that an entry takes no part in a workout (`out`), or takes that back.
pub(super) fn taking_part(case: &Case<'_>, out: bool) -> Result<Decided, Refusal> {
    let permit = case.may(Act::NotTakingPart { competition: &case.competition.slug, entry: case.entry })?;
    let actor = Some(permit.actor().clone());
    if out == case.stated_out.is_some() {
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    if out && case.attempts.iter().any(|a| a.state != State::Withdrawn) {
        return Err(Refusal::Conflict(Sentence::new("has_a_score"), Vec::new()));
    }
    let (workout, bib) = (case.workout.slug.clone(), case.entry.bib);
    let event = if out { Event::NotTakingPart { workout, bib } } else { Event::TakingPart { workout, bib } };
    Ok(Decided { events: vec![event], actor, outcome: Outcome::Stated, ..Decided::default() })
}

/// The attempt of a score that waits for the organiser's word: the first that has not had one,
/// else the first that was refused.
#[must_use]
pub fn awaiting(attempts: &[Attempt]) -> Option<&Attempt> {
    let waits = |a: &&Attempt| a.state == State::Late || a.waiting.is_some() || a.waiting_attestation.is_some();
    let undecided = |a: &&Attempt| {
        a.state == State::Late && !a.refused
            || a.waiting.as_ref().is_some_and(|w| !w.refused)
            || a.waiting_attestation.is_some()
    };
    attempts.iter().find(undecided).or_else(|| attempts.iter().find(waits))
}

/// The organiser lets in what came late, or not.
pub(super) fn admit(case: &Case<'_>, admitted: bool, reason: &str) -> Result<Decided, Refusal> {
    let act = Act::Organise { competition: &case.competition.slug };
    let permit = permit(case.actor(), act).map_err(refuse_access)?;
    let attempt = awaiting(case.attempts);
    let attempt = attempt.ok_or_else(|| {
        if case.attempts.is_empty() {
            case.no_score()
        } else {
            Refusal::Conflict(Sentence::new("nothing_late"), Vec::new())
        }
    })?;
    if case.asked.precondition != super::Precondition::None {
        case.seen(attempt)?;
    }
    if attempt.locked && attempt.state != State::Late && admitted {
        return Err(Refusal::Conflict(Sentence::new("ruled_on"), Vec::new()));
    }
    let correction = attempt.waiting.as_ref().filter(|w| !w.refused || attempt.waiting_attestation.is_none());
    let current = correction
        .filter(|_| admitted && attempt.state != State::Late)
        .is_none_or(|w| case.unchanged(&w.stored) || !attempt.stale && case.still_fits(&w.stored));
    if !current {
        return Err(Refusal::Conflict(Sentence::new("stale_prescription"), Vec::new()));
    }
    check_text("/reason", reason, true).map_err(|f| Refusal::Faults(vec![f]))?;
    let mut notes = Notes::after(case.ledger.head.last_note, case.asked.salt, Some(case.entry.bib));
    let reason = notes.keep(reason.trim());
    Ok(Decided {
        events: vec![Event::Admitted { score: attempt.score.clone(), admitted, reason }],
        actor: Some(permit.actor().clone()),
        notes: notes.into_taken(),
        outcome: Outcome::Score { created: false, attempt: attempt.score.attempt },
        ..Decided::default()
    })
}
