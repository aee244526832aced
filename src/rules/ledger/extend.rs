//! Later windows for one gym or region (a power cut, say).

use super::case::{local, refuse_access};
use super::notes::{Notes, check_text};
use super::{Asked, Decided, Ledger, Outcome, Refusal};
use crate::rules::access::{Act, permit};
use crate::rules::event::{Event, Extension};
use crate::rules::fault::Fault;
use crate::words::Sentence;

/// Moves a workout's `closes` and `attest_by` for a gym or a region.
pub(super) fn extend(ledger: &Ledger, asked: &Asked, extension: &Extension, reason: &str) -> Result<Decided, Refusal> {
    let permit = permit(&asked.actor, Act::Organise { competition: &asked.competition }).map_err(refuse_access)?;
    let none = |code, slug: &str| Refusal::NotFound(Sentence::new(code).with("slug", slug));
    let (_, competition) = ledger.definition.as_ref().ok_or_else(|| none("no_such_competition", &asked.competition))?;
    let workout = competition.workout(&extension.workout).ok_or_else(|| none("no_such_workout", &extension.workout))?;
    let mut faults = Vec::from_iter(check_text("/reason", reason, true).err());
    match (&extension.gym, &extension.region) {
        (Some(gym), None) => {
            if !ledger.gyms.contains_key(gym) {
                faults.push(Fault::new("/gym", Sentence::new("no_such_gym").with("slug", gym)));
            }
        }
        (None, Some(region)) if !region.trim().is_empty() => {}
        _ => faults.push(Fault::new("/gym", Sentence::new("gym_or_region"))),
    }
    // With the file's own time what was given by mistake is taken back; to others it gives nothing.
    let (closes, attest_by) = (workout.window.closes, workout.window.attest_by);
    let given = ledger.extensions.iter().rev().find(|e| e.for_the_same(extension));
    if extension.closes < closes || (extension.closes == closes && given.is_none()) {
        let sentence = Sentence::new("extension_not_later").with("closes", local(competition, closes));
        faults.push(Fault::new("/closes", sentence));
    }
    if extension.attest_by < extension.closes {
        faults.push(Fault::new("/attest_by", Sentence::new("attest_by_before_closes")));
    } else if extension.attest_by < attest_by {
        let sentence = Sentence::new("extension_attest_by_early").with("attest_by", local(competition, attest_by));
        faults.push(Fault::new("/attest_by", sentence));
    }
    if !faults.is_empty() {
        return Err(Refusal::Faults(faults));
    }
    let actor = Some(permit.actor().clone());
    let taken_back = (extension.closes, extension.attest_by) == (closes, attest_by);
    let extension = Extension { taken_back, ..extension.clone() };
    if ledger.extensions.last() == Some(&extension) {
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    let mut notes = Notes::after(ledger.head.last_note, asked.salt, None);
    let reason = notes.keep(reason.trim());
    Ok(Decided {
        events: vec![Event::Extended { extension, reason }],
        actor,
        notes: notes.into_taken(),
        outcome: Outcome::Stated,
        ..Decided::default()
    })
}
