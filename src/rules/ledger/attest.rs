//! A judge vouches for a score. Nobody attests their own performance: neither the judge named
//! nor the account that records it; the same person is the same account or the same e-mail.

use super::case::Case;
use super::submit::{corrects, shared_sheet, sheet_number, warn};
use super::{Decided, Outcome, Refusal};
use crate::rules::access::Act;
use crate::rules::event::Event;
use crate::rules::fault::{Fault, Warning};
use crate::rules::life::{self, Attempt, Attest, Attestation, How, State, Stored, Submit};
use crate::rules::people::{Judge, fold_name};
use crate::words::Sentence;
use jiff::{SignedDuration, Timestamp};

/// Attests a stored score.
pub(super) fn attest_stored(case: &Case<'_>, sent: &Attest) -> Result<Decided, Refusal> {
    let attempt = case.meant(sent.attempt).ok_or_else(|| case.no_score())?;
    let slug = &case.competition.slug;
    let act =
        Act::Attest { competition: slug, entry: case.entry, at: attempt.stored.gym.as_deref(), judge: &sent.judge };
    let permit = case.may(act)?;
    let mut decided = Decided {
        actor: Some(permit.actor().clone()),
        outcome: Outcome::Score { created: false, attempt: attempt.score.attempt },
        ..Decided::default()
    };
    let same = |a: &Attestation| a.judge == sent.judge && a.how == sent.how;
    // One that waits is said again in vain, unless the time to attest was moved past it.
    let waiting = attempt.waiting_attestation.as_ref().filter(|_| !case.window.takes_corrections(case.asked.received));
    let known = attempt.attestation.as_ref().or(waiting).is_some_and(same);
    let sheet_sent = sent.sheet.as_deref().map(str::trim);
    let same_sheet = sheet_sent.is_none_or(|s| s == attempt.details.sheet.as_deref().unwrap_or(""));
    if known && same_sheet && !case.guessed(sent.attempt, attempt) {
        decided.outcome = Outcome::Unchanged;
        return Ok(decided);
    }
    case.seen(attempt)?;
    if let Some(sheet) = &sent.sheet {
        let mut faults = Vec::new();
        let sheet = sheet_number(sheet, "/sheet", &mut faults);
        if !faults.is_empty() {
            return Err(Refusal::Faults(faults));
        }
        if sheet != attempt.details.sheet {
            let details = life::Details { sheet, ..attempt.details.clone() };
            shared_sheet(case, &attempt.stored, &details, "/sheet", &mut decided.warnings);
            decided.events.push(Event::Detailed { score: attempt.score.clone(), details });
        }
    }
    if !known {
        let event = attest(case, attempt, &attempt.stored, sent, "", &mut decided.warnings)?;
        decided.events.push(event);
    }
    Ok(decided)
}

/// The attestation of `attempt` for the figures `stored`. `at` is the pointer of the attestation
/// inside the request.
pub(super) fn attest(
    case: &Case<'_>,
    attempt: &Attempt,
    stored: &Stored,
    sent: &Attest,
    at: &str,
    warnings: &mut Vec<Warning>,
) -> Result<Event, Refusal> {
    let slug = &case.competition.slug;
    let act = Act::Attest { competition: slug, entry: case.entry, at: stored.gym.as_deref(), judge: &sent.judge };
    case.may(act)?;
    match attempt.state {
        State::Entered | State::Late if attempt.attestation.is_none() => {}
        State::Entered | State::Late | State::Attested => {
            let judge = attempt.attestation.as_ref().map_or("", |a| a.judge.as_str());
            return Err(Refusal::Conflict(Sentence::new("already_attested").with("judge", judge), Vec::new()));
        }
        State::Flagged | State::Withheld | State::Amended | State::Struck | State::Withdrawn => {
            let sentence = Sentence::new("not_attestable").with_said("state", state_words(attempt.state));
            return Err(Refusal::Conflict(sentence, Vec::new()));
        }
    }
    if attempt.stale {
        return Err(Refusal::Conflict(Sentence::new("stale_prescription"), Vec::new()));
    }
    let faults = judge_faults(case, sent, stored.performed_at, at);
    if !faults.is_empty() {
        return Err(Refusal::Faults(faults));
    }
    if let Some(judge) = case.ledger.judges.get(&sent.judge) {
        // Where nobody has said when it was done, the receipt stands for it: a pile of sheets that is
        // typed in at once was not counted at once.
        let said = |s: &Stored| s.performed_at != case.window.default_performed_at(s.received_at);
        let corrects = case.attempts.iter().find(|a| a.score == attempt.score);
        if said(stored) && corrects.is_none_or(|a| said(&a.stored)) {
            overlapping(case, judge, stored.performed_at, &format!("{at}/judge"), warnings);
        }
    }
    let waiting = case.asked.received >= case.window.attest_by && attempt.state != State::Late;
    if waiting {
        warnings.push(warn(at, Sentence::new("attested_late")));
    }
    Ok(Event::Attested {
        score: attempt.score.clone(),
        attestation: Attestation {
            judge: sent.judge.clone(),
            how: sent.how,
            digest: life::digest(slug, &attempt.score, stored),
            by: case.actor().account,
            at: case.now,
        },
        waiting,
    })
}

/// Whether another judge than the one who stands for a score is to stand for it.
pub(super) fn by_another(attempt: &Attempt, sent: &Attest) -> bool {
    attempt.attestation.as_ref().is_some_and(|known| known.judge != sent.judge)
}

/// The attestation of the same figures by another judge, in the place of the one there is: put there on
/// purpose, like other figures.
pub(super) fn replaced(
    case: &Case<'_>,
    asked: &Submit,
    attempt: &Attempt,
    sent: &Attest,
    warnings: &mut Vec<Warning>,
) -> Result<Event, Refusal> {
    if asked.row && !asked.revise {
        let judge = attempt.attestation.as_ref().map_or("", |known| &known.judge);
        let sentence = Sentence::new("judge_differs").with("judge", judge);
        return Err(Refusal::Faults(vec![Fault::new("/attestation/judge", sentence)]));
    }
    corrects(case, asked, attempt)?;
    if case.asked.received >= case.window.attest_by && attempt.state != State::Late {
        let sentence = Sentence::new("judge_stays").with("at", case.local(case.window.attest_by));
        return Err(Refusal::Conflict(sentence, Vec::new()));
    }
    let state = if attempt.state == State::Attested { State::Entered } else { attempt.state };
    let unvouched = Attempt { state, attestation: None, ..attempt.clone() };
    attest(case, &unvouched, &attempt.stored, sent, "/attestation", warnings)
}

/// What is wrong with a judge who vouches for a performance of that instant. `at` is the pointer
/// of the attestation inside the request.
pub(super) fn judge_faults(case: &Case<'_>, sent: &Attest, performed_at: Timestamp, at: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    let pointer = format!("{at}/judge");
    match case.ledger.judges.get(&sent.judge) {
        None => faults.push(Fault::new(&pointer, Sentence::new("no_such_judge").with("judge", &sent.judge))),
        Some(judge) => {
            valid_that_day(case, judge, performed_at, &pointer, &mut faults);
            not_themselves(case, judge, &pointer, &mut faults);
        }
    }
    let signed_in = case.actor().operator || case.actor().is_judge(&case.competition.slug, &sent.judge);
    if sent.how == How::SignedIn && !signed_in {
        let sentence = Sentence::new("signed_in_as_somebody_else").with("judge", &sent.judge);
        faults.push(Fault::new(format!("{at}/how"), sentence));
    }
    faults
}

fn valid_that_day(case: &Case<'_>, judge: &Judge, at: Timestamp, pointer: &str, faults: &mut Vec<Fault>) {
    let day = case.competition.time_zone.to_datetime(at).date();
    if day < judge.valid_from || day > judge.valid_to {
        let sentence = Sentence::new("credential_not_valid")
            .with("judge", &judge.code)
            .with("from", judge.valid_from)
            .with("to", judge.valid_to)
            .with("day", day);
        faults.push(Fault::new(pointer, sentence));
    }
}

fn not_themselves(case: &Case<'_>, judge: &Judge, pointer: &str, faults: &mut Vec<Fault>) {
    let email = |id: u64| case.ledger.persons.get(&id).map(|p| fold_name(&p.email)).filter(|e| !e.is_empty());
    let athlete = email(case.entry.person.id);
    let same_mail = athlete.is_some() && athlete == email(judge.person.id);
    let same_account = case.ledger.around.same_account.contains(&(judge.code.clone(), case.entry.bib));
    let actor = case.actor();
    let slug = &case.competition.slug;
    let actor_is_athlete =
        actor.is_athlete(slug, case.entry.bib) || (athlete.is_some() && athlete == Some(fold_name(&actor.email)));
    if same_mail || same_account || (actor_is_athlete && actor.is_judge(slug, &judge.code)) {
        faults.push(Fault::new(pointer, Sentence::new("judge_is_the_athlete")));
    } else if actor_is_athlete {
        faults.push(Fault::new(pointer, Sentence::new("athlete_records_attestation")));
    }
}

/// The judge seems to count two people at once: noticed, not refused.
fn overlapping(case: &Case<'_>, judge: &Judge, at: Timestamp, pointer: &str, warnings: &mut Vec<Warning>) {
    let Some(others) = case.ledger.around.judging.get(&judge.code) else { return };
    let long = |workout: &str| {
        let cap = case.competition.workout(workout).and_then(|w| w.task.cap);
        SignedDuration::from_millis(cap.and_then(|c| i64::try_from(c.0).ok()).unwrap_or(60_000))
    };
    let ends = at + long(&case.workout.slug);
    let other = others
        .iter()
        .find(|(workout, bib, began)| *bib != case.entry.bib && *began < ends && at < *began + long(workout));
    if let Some((workout, bib, began)) = other {
        let sentence = Sentence::new("judge_in_two_places")
            .with("judge", &judge.code)
            .with("bib", bib)
            .with("workout", workout)
            .with("at", case.local(*began));
        warnings.push(warn(pointer, sentence));
    }
}

/// A state in words, as part of a sentence.
#[must_use]
pub fn state_words(state: State) -> Sentence {
    let code = match state {
        State::Entered => "state_entered",
        State::Attested => "state_attested",
        State::Flagged => "state_flagged",
        State::Withheld => "state_withheld",
        State::Amended => "state_amended",
        State::Struck => "state_struck",
        State::Withdrawn => "state_withdrawn",
        State::Late => "state_late",
    };
    Sentence::new(code)
}
