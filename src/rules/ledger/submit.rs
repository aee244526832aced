//! First scores, new attempts, corrections, details: rules.md sections 3, 7 and 8.

use super::attest::{attest, by_another, judge_faults, replaced};
use super::case::{Case, no_open_appeal};
use super::notes::{Notes, check_text};
use super::{Decided, Outcome, Precondition, Refusal};
use crate::rules::access::{Act, Role};
use crate::rules::competition::Competition;
use crate::rules::event::{Event, NoteRef, ScoreRef};
use crate::rules::fault::{Fault, Question, Warning};
use crate::rules::life::{Attempt, Attest, Details, State, Stored, Submit, Waiting};
use crate::rules::order;
use crate::rules::people::{EntryState, fold_name, is_unshown};
use crate::rules::performance::{self, Around};
use crate::rules::workout::{Attempts, Prescription};
use crate::words::Sentence;
use jiff::Timestamp;

/// Nobody is called on more often than that.
const MOST_NO_REPS: u32 = 10_000;

/// Stores a score, or says why not.
pub(super) fn submit(case: &Case<'_>, asked: &Submit) -> Result<Decided, Refusal> {
    let existing = case.submitted(asked);
    let number = asked.attempt.or(existing.map(|a| a.score.attempt)).unwrap_or(1);
    let permit = {
        // Who may correct a stored score follows from where it was done, not from what the
        // correction claims: else any gym could claim another gym's score.
        let at = existing.map_or(asked.gym.as_deref().or(case.entry.gym.as_deref()), |a| a.stored.gym.as_deref());
        case.may(Act::Enter { competition: &case.competition.slug, entry: case.entry, at })?
    };
    if let EntryState::Withdrawn | EntryState::Removed = case.entry.state {
        return Err(Refusal::Conflict(Sentence::new("entry_not_active").with("bib", case.entry.bib), Vec::new()));
    }

    let mut read = read(case, asked, number, existing)?;
    let sending = Sending {
        case,
        asked,
        existing,
        score: ScoreRef { workout: case.workout.slug.clone(), bib: case.entry.bib, attempt: number },
        decided: Decided {
            actor: Some(permit.actor().clone()),
            outcome: Outcome::Score { created: existing.is_none(), attempt: number },
            warnings: std::mem::take(&mut read.warnings),
            ..Decided::default()
        },
        notes: Notes::after(case.ledger.head.last_note, case.asked.salt, Some(case.entry.bib)),
    };
    let waiting = existing.and_then(|a| a.waiting.as_ref()).filter(|w| same_figures(&w.stored, &read.stored));
    match (waiting, existing) {
        (Some(waiting), _) if sending.waits_already(waiting) => Ok(sending.unchanged()),
        (_, Some(attempt)) if known(attempt, &read.stored) => sending.once_more(attempt),
        _ => sending.anew(read, waiting.map(|w| &w.details), permit.role()),
    }
}

/// A submission that may be made, on its way to a decision.
struct Sending<'a> {
    case: &'a Case<'a>,
    asked: &'a Submit,
    existing: Option<&'a Attempt>,
    score: ScoreRef,
    decided: Decided,
    notes: Notes,
}

impl Sending<'_> {
    /// Sent twice. Other details are another correction, and wait in its place.
    fn waits_already(&self, waiting: &Waiting) -> bool {
        let mut unused = Notes::after(self.case.ledger.head.last_note, self.case.asked.salt, None);
        details(self.case, self.asked, Some(&waiting.details), &mut unused) == waiting.details
    }

    fn unchanged(self) -> Decided {
        Decided { outcome: Outcome::Unchanged, ..self.decided }
    }

    /// The figures are there already: details may be new, an attestation may have come along, or another judge
    /// than before stands for them, who has to be put there on purpose like other figures.
    fn once_more(mut self, attempt: &Attempt) -> Result<Decided, Refusal> {
        let (case, asked) = (self.case, self.asked);
        let warnings = &mut self.decided.warnings;
        let details = details(case, asked, Some(&attempt.details), &mut self.notes);
        if details != attempt.details {
            if !asked.revise {
                case.seen(attempt)?;
            }
            // What a referee looks at is not taken away meanwhile.
            if details.video.is_none() && attempt.details.video.is_some() {
                no_open_appeal(attempt)?;
                if let State::Flagged | State::Withheld = attempt.state {
                    return Err(Refusal::Conflict(Sentence::new("being_checked"), Vec::new()));
                }
            }
            shared_sheet(case, &attempt.stored, &details, "/attestation/sheet", warnings);
            self.decided.events.push(Event::Detailed { score: self.score.clone(), details });
        }
        let unattested = matches!(attempt.state, State::Entered | State::Late) && attempt.attestation.is_none();
        if let Some(sent) = asked.attestation.as_ref().filter(|_| unattested) {
            self.decided.events.push(attest(case, attempt, &attempt.stored, sent, "/attestation", warnings)?);
        }
        if let Some(sent) = asked.attestation.as_ref().filter(|sent| by_another(attempt, sent)) {
            self.decided.events.push(replaced(case, asked, attempt, sent, warnings)?);
        }
        if self.decided.events.is_empty() {
            return Ok(self.unchanged());
        }
        Ok(self.done())
    }

    /// A first score, a new attempt or other figures. `waiting`: details of the same figures that
    /// wait for the organiser.
    fn anew(mut self, read: Read, waiting: Option<&Details>, role: Option<Role>) -> Result<Decided, Refusal> {
        let (case, asked, existing) = (self.case, self.asked, self.existing);
        match existing {
            Some(attempt) => corrects(case, asked, attempt)?,
            None => adds(case)?,
        }
        if !read.questions.is_empty() {
            return Err(Refusal::Ask(read.questions));
        }
        let late = is_late(case, role, existing);
        let upward = is_upward(case, asked, existing, &read.stored)?;
        self.decided.warnings.extend(lateness(case, late, existing.is_none()));
        if let Some(at) = case.stated_out {
            let said = Sentence::new("was_not_taking_part").with("at", case.local(at));
            self.decided.warnings.push(warn("", said));
            let event = Event::TakingPart { workout: self.score.workout.clone(), bib: self.score.bib };
            self.decided.events.push(event);
        }
        let known = waiting.or(existing.map(|a| &a.details));
        let details = details(case, asked, known, &mut self.notes);
        shared_sheet(case, &read.stored, &details, "/attestation/sheet", &mut self.decided.warnings);
        let reason = asked.reason.as_deref().map(str::trim).filter(|r| !r.is_empty()).map(|r| self.notes.keep(r));
        let version = existing.map_or(0, |a| a.version) + 1;
        let waits = late && existing.is_some_and(|a| a.state != State::Late);
        self.decided.events.push(Event::Submitted {
            score: self.score.clone(),
            version,
            stored: read.stored.clone(),
            details: details.clone(),
            reason,
            late,
            upward,
        });
        match &asked.attestation {
            Some(_) if waits => {
                self.decided.warnings.push(warn("/attestation", Sentence::new("attest_once_admitted")));
            }
            Some(sent) => {
                let fresh = fresh(self.score.clone(), version, read.stored, details, late);
                let warnings = &mut self.decided.warnings;
                self.decided.events.push(attest(case, &fresh, &fresh.stored, sent, "/attestation", warnings)?);
            }
            None => {}
        }
        Ok(self.done())
    }

    fn done(self) -> Decided {
        Decided { notes: self.notes.into_taken(), ..self.decided }
    }
}

/// Whether it makes a score better after the deadline, which needs a reason.
fn is_upward(case: &Case<'_>, asked: &Submit, existing: Option<&Attempt>, stored: &Stored) -> Result<bool, Refusal> {
    let better = |a: &Attempt| stored.key < a.stored.key && a.state != State::Late;
    let upward = case.asked.received >= case.window.closes && existing.is_some_and(better);
    if upward && asked.reason.as_deref().unwrap_or_default().trim().is_empty() {
        return Err(Refusal::Faults(vec![Fault::new("/reason", Sentence::new("upward_needs_reason"))]));
    }
    Ok(upward)
}

/// What to say about the hour.
fn lateness(case: &Case<'_>, late: bool, first: bool) -> Option<Warning> {
    if late {
        return Some(warn("", Sentence::new("stored_late")));
    }
    // A started minute is one: nothing is "0 min late".
    let minutes = (case.window.late_by(case.asked.received).as_secs() + 59) / 60;
    let closed = first && case.asked.received >= case.window.closes;
    closed.then(|| warn("", Sentence::new("in_grace").with("minutes", minutes)))
}

/// What a submission reads as.
struct Read {
    stored: Stored,
    warnings: Vec<Warning>,
    questions: Vec<Question>,
}

/// Reads and validates everything in it; all faults at once.
fn read(case: &Case<'_>, asked: &Submit, number: u32, existing: Option<&Attempt>) -> Result<Read, Refusal> {
    let mut faults = Vec::new();
    faults.extend(asked.expect_name.as_deref().and_then(|name| other_name(case, name)));
    attempt_number(case, number, existing.is_some(), &mut faults);
    let level = level(case, asked.level.as_deref(), "/level", &mut faults);
    let gym = gym(case, asked, existing, &mut faults);
    let performed_at = performed_at(case, asked.performed_at, existing, &mut faults);
    let prescription = level.and_then(|l| prescription(case, l, &mut faults).map(|p| (l, p)));
    let mut read = None;
    if let Some((level, prescription)) = prescription {
        let around = Around {
            confirmed: &asked.confirm,
            confirm_all: false,
            heaviest: case
                .ledger
                .around
                .heaviest
                .get(&(case.workout.slug.clone(), case.entry.division.clone(), level))
                .copied(),
        };
        match performance::check(&prescription.task, &asked.performance, &around) {
            Err(found) => faults.extend(found),
            Ok(checked) => match order::key(&prescription.task, level, &checked.value) {
                Err(fault) => faults.push(fault),
                Ok(key) => read = Some((level, prescription, key, checked)),
            },
        }
    }
    // After the figures: faults are read in the order in which a form is filled in.
    check_details(asked, &mut faults);
    let fresh = |sent: &&Attest| existing.is_none_or(|a| a.attestation.is_none() || by_another(a, sent));
    if let Some(sent) = asked.attestation.as_ref().filter(fresh) {
        faults.extend(judge_faults(case, sent, performed_at, "/attestation"));
    }
    if let Some(reason) = &asked.reason {
        faults.extend(check_text("/reason", reason, false).err());
    }
    let (Some((level, prescription, key, checked)), true) = (read, faults.is_empty()) else {
        return Err(Refusal::Faults(faults));
    };
    let mut warnings = checked.warnings;
    let stored = existing.is_some_and(|a| a.details.video.is_some());
    if !asked.video.as_deref().map_or(stored, |link| !link.trim().is_empty()) && wants_video(case) {
        warnings.push(warn("/video", Sentence::new("video_expected")));
    }
    Ok(Read {
        stored: Stored {
            level,
            written: performance::written(&asked.performance),
            text: checked.value.text(&prescription.task),
            key,
            performed_at,
            gym,
            received_at: case.asked.received,
            prescription: hex::encode(prescription.digest),
            by: case.actor().account,
        },
        warnings,
        questions: checked.questions,
    })
}

/// Bib and name of a row are cross-checked; an erased name cannot be.
fn other_name(case: &Case<'_>, sent: &str) -> Option<Fault> {
    let known = &case.ledger.persons.get(&case.entry.person.id)?.name;
    if sent.trim().is_empty() || fold_name(known) == fold_name(sent) {
        return None;
    }
    let sentence = if may_know_name(case) {
        Sentence::new("bib_and_name_differ").with("known", known)
    } else {
        Sentence::new("bib_and_hidden_name_differ")
    };
    Some(Fault::new("/name", sentence.with("bib", case.entry.bib).with("sent", sent)))
}

/// Whether a refusal may say the entry's name: a hidden one only to its own people.
fn may_know_name(case: &Case<'_>) -> bool {
    let (competition, entry) = (&*case.competition.slug, case.entry);
    entry.show_name
        || case.actor().is_athlete(competition, entry.bib)
        || case.may(Act::ReadPersons { competition, gym: entry.gym.as_deref() }).is_ok()
}

fn attempt_number(case: &Case<'_>, number: u32, exists: bool, faults: &mut Vec<Fault>) {
    let next = case.attempts.last().map_or(1, |a| a.score.attempt.saturating_add(1));
    if number == 0 || (!exists && number != next) {
        let sentence = Sentence::new("attempt_out_of_turn").with("attempt", number).with("next", next);
        faults.push(Fault::new("/attempt", sentence));
    } else if !exists && number > 1 && case.workout.attempts == Attempts::One {
        faults.push(Fault::new("/attempt", Sentence::new("one_attempt_only")));
    }
}

/// The level asked for as an index: the division's own, or a lower one where that is allowed.
pub(super) fn level(case: &Case<'_>, slug: Option<&str>, pointer: &str, faults: &mut Vec<Fault>) -> Option<u8> {
    let division = case.competition.division(&case.entry.division);
    let Some(division) = division else {
        faults.push(Fault::new(pointer, Sentence::new("no_such_division").with("slug", &case.entry.division)));
        return None;
    };
    let Some(slug) = slug else { return Some(division.level) };
    let index = case.competition.levels.iter().position(|l| l.slug == slug).and_then(|i| u8::try_from(i).ok());
    match index {
        None => {
            faults.push(Fault::new(pointer, no_such_level(case.competition, slug)));
            None
        }
        Some(i) if i == division.level || (i > division.level && division.allow_lower) => Some(i),
        Some(_) => {
            let own = case.competition.levels.get(usize::from(division.level)).map_or("", |l| l.slug.as_str());
            let code = if division.allow_lower { "level_not_higher" } else { "level_not_allowed" };
            let sentence = Sentence::new(code).with("level", slug).with("division", &division.title).with("own", own);
            faults.push(Fault::new(pointer, sentence));
            None
        }
    }
}

/// A level that the competition does not have, and those that it has.
pub(super) fn no_such_level(competition: &Competition, slug: &str) -> Sentence {
    let names = competition.levels.iter().map(|l| l.slug.as_str()).collect::<Vec<_>>().join(", ");
    Sentence::new("no_such_level").with("level", slug).with("levels", names)
}

/// What a performance of this entry at a level is validated against.
pub(super) fn prescription<'a>(case: &Case<'a>, level: u8, faults: &mut Vec<Fault>) -> Option<&'a Prescription> {
    let found = case.competition.prescription(&case.workout.slug, &case.entry.division, level);
    if found.is_none() {
        let sentence = Sentence::new("not_for_this_division")
            .with("workout", &case.workout.title)
            .with("division", &case.entry.division);
        faults.push(Fault::new("/level", sentence));
    }
    found
}

fn gym(case: &Case<'_>, asked: &Submit, existing: Option<&Attempt>, faults: &mut Vec<Fault>) -> Option<String> {
    match asked.gym.as_deref() {
        // A correction of the figures does not change where it was done.
        None => existing.map_or_else(|| case.entry.gym.clone(), |a| a.stored.gym.clone()),
        Some(slug) if case.ledger.gyms.contains_key(slug) => Some(slug.to_owned()),
        Some(slug) => {
            faults.push(Fault::new("/gym", Sentence::new("no_such_gym").with("slug", slug)));
            None
        }
    }
}

fn performed_at(
    case: &Case<'_>,
    asked: Option<Timestamp>,
    existing: Option<&Attempt>,
    faults: &mut Vec<Fault>,
) -> Timestamp {
    let (window, received) = (case.window, case.asked.received);
    let at = match (asked, existing) {
        (Some(at), _) => at,
        // A correction of the figures does not change when it was done.
        (None, Some(attempt)) => return attempt.stored.performed_at,
        (None, None) => window.default_performed_at(received),
    };
    let wrong = window.check_performed_at(at, received, &case.competition.time_zone).err();
    faults.extend(wrong.map(|sentence| Fault::new("/performed_at", sentence)));
    at
}

fn wants_video(case: &Case<'_>) -> bool {
    let evidence = case.workout.evidence;
    evidence.all || (evidence.no_gym && case.entry.gym.is_none())
}

/// Whether a submission has the figures that an attempt has.
pub(super) fn reads_as_stored(case: &Case<'_>, asked: &Submit, attempt: &Attempt) -> bool {
    read(case, asked, attempt.score.attempt, Some(attempt)).is_ok_and(|read| known(attempt, &read.stored))
}

/// Whether these figures stand already. A score that was taken back does not.
fn known(attempt: &Attempt, stored: &Stored) -> bool {
    attempt.state != State::Withdrawn && same_figures(&attempt.stored, stored)
}

/// Same performance, tiebreak, level, instant and gym.
fn same_figures(a: &Stored, b: &Stored) -> bool {
    a.text == b.text && a.level == b.level && a.performed_at == b.performed_at && a.gym == b.gym
}

/// Whether an attempt may be added by somebody who has seen what they say: a tag that matches no
/// attempt, or any tag where there is no score, fails (RFC 9110 section 13.1.1).
fn adds(case: &Case<'_>) -> Result<(), Refusal> {
    let fits = match &case.asked.precondition {
        Precondition::None | Precondition::Absent => true,
        Precondition::Any => !case.attempts.is_empty(),
        Precondition::Match(tags) => case.attempts.iter().any(|a| tags.contains(&a.tag())),
    };
    if fits { Ok(()) } else { Err(Refusal::PreconditionFailed(case.attempts.last().cloned().map(Box::new))) }
}

/// Whether the stored score may be corrected now, by somebody who has seen it.
pub(super) fn corrects(case: &Case<'_>, asked: &Submit, attempt: &Attempt) -> Result<(), Refusal> {
    if asked.row && !asked.revise {
        let sentence = Sentence::new("differs_from_stored").with("stored", &attempt.stored.text);
        return Err(Refusal::Faults(vec![Fault::new("/performance", sentence)]));
    }
    if !asked.revise {
        match case.asked.precondition {
            Precondition::Absent => return Err(Refusal::PreconditionFailed(Some(Box::new(attempt.clone())))),
            _ => case.seen(attempt)?,
        }
    }
    no_open_appeal(attempt)?;
    let conflict = |code| Err(Refusal::Conflict(Sentence::new(code), Vec::new()));
    match attempt.state {
        State::Flagged | State::Withheld => conflict("being_checked"),
        _ if attempt.locked => conflict("ruled_on"),
        State::Entered | State::Attested | State::Late | State::Withdrawn => Ok(()),
        State::Amended | State::Struck => conflict("ruled_on"),
    }
}

/// Whether it came too late to take effect by itself.
fn is_late(case: &Case<'_>, role: Option<Role>, existing: Option<&Attempt>) -> bool {
    let (window, received) = (case.window, case.asked.received);
    match (existing, role) {
        (Some(a), Some(Role::Staff) | None) if a.state != State::Late => !window.takes_corrections(received),
        _ => !window.takes_scores(received),
    }
}

/// What is wrong with sheet, no-reps and video.
pub(super) fn check_details(asked: &Submit, faults: &mut Vec<Fault>) {
    if asked.no_reps.is_some_and(|n| n > MOST_NO_REPS) {
        faults.push(Fault::new("/no_reps", Sentence::new("too_many_no_reps").with("most", MOST_NO_REPS)));
    }
    if let Some(sheet) = asked.attestation.as_ref().and_then(|a| a.sheet.as_deref()) {
        sheet_number(sheet, "/attestation/sheet", faults);
    }
    if asked.video.as_deref().is_some_and(|v| !is_link(v.trim())) {
        faults.push(Fault::new("/video", Sentence::new("video_not_a_link")));
    }
}

/// Blank, or an address a browser may be sent to.
fn is_link(video: &str) -> bool {
    let web = video.strip_prefix("https://").is_some_and(|rest| !rest.is_empty());
    video.is_empty() || (web && video.len() <= 500 && !video.chars().any(|c| c.is_control() || c.is_whitespace()))
}

/// The details from here on: what was sent (and has been checked), over what was there.
fn details(case: &Case<'_>, asked: &Submit, before: Option<&Details>, notes: &mut Notes) -> Details {
    let mut details = before.cloned().unwrap_or_default();
    if asked.no_reps.is_some() || asked.without_no_reps {
        details.no_reps = asked.no_reps;
    }
    if let Some(sheet) = asked.attestation.as_ref().and_then(|a| a.sheet.as_deref()) {
        details.sheet = Some(sheet.trim().to_owned()).filter(|s| !s.is_empty());
    }
    if let Some(video) = asked.video.as_deref().map(str::trim) {
        let same = |n: &&NoteRef| case.ledger.videos.get(&n.id).is_some_and(|known| known == video);
        let known = before.and_then(|d| d.video.as_ref()).filter(same);
        details.video = (!video.is_empty()).then(|| known.cloned().unwrap_or_else(|| notes.keep(video)));
    }
    details
}

/// A sheet number: short, printable; blank is none.
pub(super) fn sheet_number(sheet: &str, pointer: &str, faults: &mut Vec<Fault>) -> Option<String> {
    let sheet = sheet.trim();
    if sheet.chars().count() > 40 {
        faults.push(Fault::new(pointer, Sentence::new("sheet_too_long").with("most", 40)));
    }
    if sheet.chars().any(is_unshown) {
        faults.push(Fault::new(pointer, Sentence::new("control_characters")));
    }
    (!sheet.is_empty()).then(|| sheet.to_owned())
}

/// The same sheet number twice in one workout and gym.
pub(super) fn shared_sheet(
    case: &Case<'_>,
    stored: &Stored,
    details: &Details,
    pointer: &str,
    warnings: &mut Vec<Warning>,
) {
    let Some(sheet) = &details.sheet else { return };
    let gym = stored.gym.clone().unwrap_or_default();
    let Some(users) = case.ledger.around.sheets.get(&(case.workout.slug.clone(), sheet.clone())) else { return };
    if let Some((_, other)) = users.iter().find(|(g, bib)| *g == gym && *bib != case.entry.bib) {
        let sentence =
            Sentence::new("sheet_twice").with("sheet", sheet).with("bib", case.entry.bib).with("other", other);
        warnings.push(warn(pointer, sentence));
    }
}

/// An attempt as it will be once its submission is folded.
fn fresh(score: ScoreRef, version: u32, stored: Stored, details: Details, late: bool) -> Attempt {
    let state = if late { State::Late } else { State::Entered };
    Attempt::new(score, version, 0, state, stored, details)
}

pub(super) fn warn(pointer: &str, sentence: Sentence) -> Warning {
    Warning { pointer: pointer.to_owned(), sentence }
}
