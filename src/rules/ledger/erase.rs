//! Taking personal facts away: the log keeps its commitments, nobody can open them any more.

use super::case::refuse_access;
use super::{Asked, Decided, Ledger, Outcome, Refusal, Whose};
use crate::rules::access::{Act, permit};
use crate::rules::event::Event;
use crate::rules::people::fold_name;
use crate::words::Sentence;

/// Erases somebody, who is asked for by themselves or by the organiser. Once is enough.
pub(super) fn erase(ledger: &Ledger, asked: &Asked, whose: &Whose) -> Result<Decided, Refusal> {
    let contact = |gym: &String| ledger.gyms.get(gym).and_then(|g| g.contact.as_ref()).map(|c| c.id);
    let competition = &*asked.competition;
    let act = match whose {
        Whose::Entry(bib) => Act::Erase { competition, bib: Some(*bib), judge: None, own: false },
        Whose::Judge(code) => Act::Erase { competition, bib: None, judge: Some(code), own: false },
        Whose::Contact(gym) => {
            let known = contact(gym).and_then(|id| ledger.persons.get(&id));
            // The same non-empty address is the same person.
            let own = known.is_some_and(|c| !c.email.is_empty() && fold_name(&c.email) == asked.actor.email);
            Act::Erase { competition, bib: None, judge: None, own }
        }
    };
    let permit = permit(&asked.actor, act).map_err(refuse_access)?;
    let (person, unknown) = match whose {
        Whose::Entry(bib) => (ledger.entries.get(bib).map(|e| e.person.id), Sentence::new("no_entry").with("bib", bib)),
        Whose::Judge(code) => {
            (ledger.judges.get(code).map(|j| j.person.id), Sentence::new("no_judge").with("code", code))
        }
        // A gym that has no contact has none to erase.
        Whose::Contact(gym) => {
            (ledger.gyms.get(gym).map(|_| contact(gym).unwrap_or_default()), Sentence::new("no_gym").with("gym", gym))
        }
    };
    let person = person.ok_or(Refusal::NotFound(unknown))?;
    let actor = Some(permit.actor().clone());
    if !ledger.persons.contains_key(&person) {
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    Ok(Decided { events: vec![Event::Erased { person }], actor, outcome: Outcome::Stated, ..Decided::default() })
}
