//! Gyms, entries and judges set; entries moved (rules.md section 6).

use super::case::refuse_access;
use super::notes::{Notes, derived_salt};
use super::{Asked, Decided, Ledger, Outcome, Precondition, Refusal};
use crate::rules::access::{Act, Permit, permit};
use crate::rules::competition::Competition;
use crate::rules::event::{Event, Reworked};
use crate::rules::fault::{Fault, Warning};
use crate::rules::life::Attempt;
use crate::rules::people::{Entry, Gym, Person, PersonRef, fold_name};
use crate::rules::roster::{self, EntryChange, NewGym, RawEntry, RawGym, RawJudge};
use crate::rules::table::dates::{self, DateOrder};
use crate::words::Sentence;

/// The competition, and the permission to organise it.
fn organise<'a>(ledger: &'a Ledger, asked: &Asked) -> Result<(&'a Competition, Permit), Refusal> {
    let permit = permit(&asked.actor, Act::Organise { competition: &asked.competition }).map_err(refuse_access)?;
    let none = || Refusal::NotFound(Sentence::new("no_such_competition").with("slug", &asked.competition));
    let (_, competition) = ledger.definition.as_ref().ok_or_else(none)?;
    Ok((competition, permit))
}

/// Facts of a person under a number: the number it has, or the next one.
pub(super) struct Kept {
    pub(super) reference: PersonRef,
    /// To be stored; `None`: as it was.
    pub(super) fresh: Option<(u64, Person, [u8; 32])>,
}

pub(super) fn keep(ledger: &Ledger, asked: &Asked, known: Option<&PersonRef>, person: Person) -> Kept {
    if let Some(reference) = known.filter(|r| ledger.persons.get(&r.id) == Some(&person)) {
        return Kept { reference: reference.clone(), fresh: None };
    }
    // An erased person never comes back under the old number.
    let id = known.filter(|r| ledger.persons.contains_key(&r.id)).map_or(ledger.head.last_person + 1, |r| r.id);
    let salt = derived_salt(&asked.salt, id);
    let commitment = person.commitment(&salt);
    Kept { reference: PersonRef { id, commitment }, fresh: Some((id, person, salt)) }
}

fn set(permit: &Permit, created: bool, id: String, event: Option<Event>, kept: Option<Kept>) -> Decided {
    let outcome = if event.is_some() { Outcome::Roster { created, id } } else { Outcome::Unchanged };
    Decided {
        events: Vec::from_iter(event),
        actor: Some(permit.actor().clone()),
        persons: Vec::from_iter(kept.and_then(|k| k.fresh)),
        outcome,
        ..Decided::default()
    }
}

/// Adds or changes a gym.
pub(super) fn set_gym(ledger: &Ledger, asked: &Asked, raw: &RawGym) -> Result<Decided, Refusal> {
    let (_, permit) = organise(ledger, asked)?;
    let before = ledger.gyms.get(raw.slug.trim());
    let known = before.and_then(|g| g.contact.as_ref());
    let person = known.and_then(|known| ledger.persons.get(&known.id));
    let said = before.map_or_else(|| raw.clone(), |gym| raw.over(gym, person));
    let checked = roster::check_gym(&said).map_err(Refusal::Faults)?;
    let NewGym { gym, contact } = checked.value;
    let is_erased = known.is_some_and(|known| !ledger.persons.contains_key(&known.id));
    if is_erased && contact.is_some() {
        // Who it was is not known any more: somebody else is named on purpose.
        let sentence = Sentence::new("erased_contact_stays").with("gym", &gym.slug);
        return Err(Refusal::Faults(vec![Fault::new("/contact", sentence)]));
    }
    let kept = contact.map(|person| keep(ledger, asked, known, person));
    // Of an erased one it stays known that there was somebody.
    let unsaid = || known.filter(|_| raw.leaves_contact()).cloned();
    let gym = Gym { contact: kept.as_ref().map(|k| k.reference.clone()).or_else(unsaid), ..gym };
    let slug = gym.slug.clone();
    let gym_contact_gone = gym.contact.is_none();
    let event = (before != Some(&gym)).then_some(Event::GymSet { gym });
    // Facts that nobody refers to any more are not kept.
    let gone = known.filter(|_| gym_contact_gone && !is_erased).map(|known| Event::Erased { person: known.id });
    let mut decided = set(&permit, before.is_none(), slug, event, kept);
    decided.events.extend(gone);
    decided.warnings = checked.warnings;
    Ok(decided)
}

/// Adds or changes a judge.
pub(super) fn set_judge(ledger: &Ledger, asked: &Asked, raw: &RawJudge) -> Result<Decided, Refusal> {
    let (_, permit) = organise(ledger, asked)?;
    let before = ledger.judges.get(raw.code.trim());
    // Where nothing is said of the gym, it is the one they have.
    let stays = |slug: &str| raw.gym.is_none() && before.is_some_and(|judge| judge.gym.as_deref() == Some(slug));
    let known_gym = |slug: &str| ledger.gyms.contains_key(slug) || stays(slug);
    let person = before.and_then(|judge| ledger.persons.get(&judge.person.id));
    let said = before.map_or_else(|| raw.clone(), |judge| raw.over(judge, person));
    let checked = roster::check_judge(&said, &known_gym).map_err(Refusal::Faults)?;
    let new = checked.value;
    if let Some(judge) = before {
        erased_stays(ledger, &judge.person, &judge.code)?;
    }
    let kept = keep(ledger, asked, before.map(|j| &j.person), new.person.clone());
    let (judge, _) = new.into_judge(kept.reference.clone());
    let code = judge.code.clone();
    let event = (before != Some(&judge)).then_some(Event::JudgeSet { judge });
    let mut decided = set(&permit, before.is_none(), code, event, Some(kept));
    decided.warnings = checked.warnings;
    decided.warnings.extend(person.map_or(Vec::new(), |known| raw.other_name(known)));
    Ok(decided)
}

/// A file that is sent again brings nobody back who was erased.
pub(super) fn erased_stays(ledger: &Ledger, person: &PersonRef, number: &str) -> Result<(), Refusal> {
    if ledger.persons.contains_key(&person.id) {
        return Ok(());
    }
    Err(Refusal::Faults(vec![Fault::new("/name", Sentence::new("erased_stays").with("number", number))]))
}

/// Adds an entry, or changes its facts; division and gym only change with a reason
/// ([`move_entry`]).
pub(super) fn set_entry(ledger: &Ledger, asked: &Asked, raw: &RawEntry) -> Result<Decided, Refusal> {
    let (competition, permit) = organise(ledger, asked)?;
    let known_gym = |slug: &str| ledger.gyms.contains_key(slug);
    // Whoever has no bib yet is found by name and birth.
    let named = || (fold_name(&raw.name), dates::read(&raw.born, DateOrder::Ask).ok());
    let bib = raw.bib.or_else(|| ledger.by_name.get(&named()).copied());
    let before = bib.and_then(|bib| ledger.entries.get(&bib));
    let person = before.and_then(|entry| ledger.persons.get(&entry.person.id));
    let mut said = before.map_or_else(|| raw.clone(), |entry| raw.over(entry, person));
    let stays_hidden = before.is_some_and(|entry| raw.shows_hidden(entry, person, competition));
    if stays_hidden {
        said.show_name = Some(false);
    }
    let checked = roster::check_entry(&said, competition, &known_gym).map_err(|mut faults| {
        // Said at once with the rest, where the bib tells whose row it is.
        let before = raw.bib.and_then(|bib| ledger.entries.get(&bib));
        let moved = before.map(|entry| moved(entry, raw.division.trim(), raw.gym.trim())).unwrap_or_default();
        faults.extend(moved.into_iter().filter(|m| !faults.iter().any(|f| f.pointer == m.pointer)).collect::<Vec<_>>());
        Refusal::Faults(faults)
    })?;
    let new = checked.value;
    let bib = match bib {
        Some(bib) => bib,
        None => ledger
            .head
            .last_bib
            .checked_add(1)
            .ok_or_else(|| Refusal::Faults(vec![Fault::new("/bib", Sentence::new("no_bib_left"))]))?,
    };
    if let Some(entry) = before {
        erased_stays(ledger, &entry.person, &bib.to_string())?;
        let faults = moved(entry, &new.division, new.gym.as_deref().unwrap_or(""));
        if !faults.is_empty() {
            return Err(Refusal::Faults(faults));
        }
    }
    let kept = keep(ledger, asked, before.map(|e| &e.person), new.person.clone());
    let gym = new.gym.as_deref().and_then(|g| ledger.gyms.get(g));
    let (entry, _) = new.into_entry(bib, kept.reference.clone(), gym);
    let entry = match before {
        Some(before) => Entry { state: before.state, past_gyms: before.past_gyms.clone(), ..entry },
        None => entry,
    };
    let event = (before != Some(&entry)).then_some(Event::EntrySet { entry });
    let mut decided = set(&permit, before.is_none(), bib.to_string(), event, Some(kept));
    decided.warnings = checked.warnings;
    if stays_hidden {
        let sentence = Sentence::new("hidden_stays").with("bib", bib);
        decided.warnings.push(Warning { pointer: "/show_name".to_owned(), sentence });
    }
    Ok(decided)
}

/// Division and gym of an entry do not change by the way.
fn moved(entry: &Entry, division: &str, gym: &str) -> Vec<Fault> {
    let fixed = [("/division", &*entry.division, division), ("/gym", entry.gym.as_deref().unwrap_or(""), gym)];
    let moved = fixed.into_iter().filter(|(_, now, then)| now != then);
    let fault = |(pointer, now, then): (&str, &str, &str)| {
        Fault::new(
            pointer,
            Sentence::new("move_with_a_reason").with("bib", entry.bib).with("now", now).with("asked", then),
        )
    };
    moved.map(fault).collect()
}

/// Changes an entry's division, gym or state, with a reason; says what happens to each score.
pub(super) fn move_entry(
    ledger: &Ledger,
    asked: &Asked,
    bib: u32,
    change: &EntryChange,
    dry_run: bool,
) -> Result<Decided, Refusal> {
    let (competition, permit) = organise(ledger, asked)?;
    let none = || Refusal::NotFound(Sentence::new("no_such_bib").with("bib", bib));
    let before = ledger.entries.get(&bib).ok_or_else(none)?;
    let as_seen = match &asked.precondition {
        Precondition::None | Precondition::Any => true,
        Precondition::Match(tags) => tags.contains(&before.tag()),
        Precondition::Absent => false,
    };
    if !as_seen {
        return Err(Refusal::PreconditionFailed(None));
    }
    let known_gym = |slug: &str| ledger.gyms.contains_key(slug);
    let person = ledger.persons.get(&before.person.id);
    let checked =
        roster::check_entry_change(before, person, change, competition, &known_gym).map_err(Refusal::Faults)?;
    let mut entry = checked.value;
    if entry == *before {
        let actor = Some(permit.actor().clone());
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    if entry.gym != before.gym
        && let Some(old) = &before.gym
        && !entry.past_gyms.contains(old)
    {
        entry.past_gyms.push(old.clone());
    }
    let reworked = reworked(ledger, competition, before, &entry);
    let mut notes = Notes::after(ledger.head.last_note, asked.salt, Some(bib));
    let reason = notes.keep(change.reason.trim());
    let outcome = Outcome::Moved { reworked: reworked.clone() };
    let mut decided =
        Decided { actor: Some(permit.actor().clone()), outcome, warnings: checked.warnings, ..Decided::default() };
    if !dry_run {
        decided.events.push(Event::EntryMoved { entry, reason, reworked });
        decided.notes = notes.into_taken();
    }
    Ok(decided)
}

/// Scores whose prescription is the same move along; the others become `entered`, their
/// attestation void, to be attested only with new figures.
///
/// A score bears the digest of what it was validated against then; where only text or loads were
/// put right since, it goes by what both divisions are given now.
fn reworked(ledger: &Ledger, competition: &Competition, before: &Entry, entry: &Entry) -> Vec<Reworked> {
    if before.division == entry.division {
        return Vec::new();
    }
    let own = |a: &&Attempt| a.score.bib == entry.bib;
    let moves_along = |a: &Attempt| {
        let given = |division: &str| competition.prescription(&a.score.workout, division, a.stored.level);
        given(&entry.division).is_some_and(|now| {
            let as_before = given(&before.division).is_some_and(|then| then.digest == now.digest);
            as_before || hex::encode(now.digest) == a.stored.prescription
        })
    };
    ledger
        .attempts
        .values()
        .flatten()
        .filter(own)
        .filter(|a| !moves_along(a))
        .map(|a| Reworked {
            score: a.score.clone(),
            stored: None,
            void: true,
            stale: true,
            waiting: None,
            before: None,
        })
        .collect()
}
