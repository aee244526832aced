//! Taking personal facts away: the log keeps its commitments, nobody can open them any more.

use super::case::refuse_access;
use super::{Asked, Decided, Ledger, Outcome, Refusal, Whose};
use crate::rules::access::{Act, permit};
use crate::rules::event::Event;
use crate::words::Sentence;

/// Erases somebody, who is asked for by themselves or by the organiser. Once is enough.
pub(super) fn erase(ledger: &Ledger, asked: &Asked, whose: &Whose) -> Result<Decided, Refusal> {
    let (bib, judge) = match whose {
        Whose::Entry(bib) => (Some(*bib), None),
        Whose::Judge(code) => (None, Some(code.as_str())),
    };
    let act = Act::Erase { competition: &asked.competition, bib, judge };
    let permit = permit(&asked.actor, act).map_err(refuse_access)?;
    let none = |sentence| Refusal::NotFound(sentence);
    let person = match whose {
        Whose::Entry(bib) => ledger.entries.get(bib).map(|e| e.person.id),
        Whose::Judge(code) => ledger.judges.get(code).map(|j| j.person.id),
    };
    let person = person.ok_or_else(|| match whose {
        Whose::Entry(bib) => none(Sentence::new("no_entry").with("bib", bib)),
        Whose::Judge(code) => none(Sentence::new("no_judge").with("code", code)),
    })?;
    let actor = Some(permit.actor().clone());
    if !ledger.persons.contains_key(&person) {
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    Ok(Decided { events: vec![Event::Erased { person }], actor, outcome: Outcome::Stated, ..Decided::default() })
}
