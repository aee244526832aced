//! Taking personal facts away: the log keeps its commitments, nobody can open them any more.

use super::case::refuse_access;
use super::{Asked, Decided, Ledger, Outcome, Refusal, Whose};
use crate::rules::access::{Act, permit};
use crate::rules::event::Event;
use crate::rules::people::{Person, fold_name};
use crate::words::Sentence;

/// Erases somebody, who is asked for by themselves or by the organiser. Once is enough.
pub(super) fn erase(ledger: &Ledger, asked: &Asked, whose: &Whose) -> Result<Decided, Refusal> {
    let permit = permit(&asked.actor, act(ledger, asked, whose)).map_err(refuse_access)?;
    let person = number(ledger, whose)?;
    let actor = Some(permit.actor().clone());
    let goes = match whose {
        Whose::ContactToo(_, also) => same(facts(ledger, whose), facts(ledger, also)),
        Whose::Entry(_) | Whose::Judge(_) | Whose::Contact(_) => true,
    };
    let Some(person) = person.filter(|person| goes && ledger.persons.contains_key(person)) else {
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    };
    Ok(Decided { events: vec![Event::Erased { person }], actor, outcome: Outcome::Stated, ..Decided::default() })
}

/// What has to be allowed for it.
fn act<'a>(ledger: &Ledger, asked: &'a Asked, whose: &'a Whose) -> Act<'a> {
    let competition = &*asked.competition;
    let of = |bib, judge, contact_of| Act::Erase { competition, bib, judge, contact_of };
    match whose {
        Whose::Entry(bib) => of(Some(*bib), None, None),
        Whose::Judge(code) => of(None, Some(code), None),
        Whose::Contact(gym) => {
            let own = facts(ledger, whose).is_some_and(|c| is_under(c, &asked.actor.email));
            of(None, None, Some(&**gym).filter(|_| own))
        }
        // Who may erase the one may erase the same person there.
        Whose::ContactToo(_, also) if same(facts(ledger, whose), facts(ledger, also)) => act(ledger, asked, also),
        Whose::ContactToo(..) => of(None, None, None),
    }
}

/// Whether the person has this address, and any.
fn is_under(person: &Person, folded_email: &str) -> bool {
    !person.email.is_empty() && fold_name(&person.email) == folded_email
}

/// Whether both are one person, as far as facts show: an address may be a whole gym's.
fn same(one: Option<&Person>, other: Option<&Person>) -> bool {
    let (Some(one), Some(other)) = (one, other) else { return false };
    is_under(one, &fold_name(&other.email)) && fold_name(&one.name) == fold_name(&other.name)
}

/// What is kept of somebody.
fn facts<'a>(ledger: &'a Ledger, whose: &Whose) -> Option<&'a Person> {
    ledger.persons.get(&number(ledger, whose).ok()??)
}

/// Somebody's number; none: of a gym that has no contact.
fn number(ledger: &Ledger, whose: &Whose) -> Result<Option<u64>, Refusal> {
    let found = match whose {
        Whose::Entry(bib) => {
            let entry = ledger.entries.get(bib).map(|e| Some(e.person.id));
            entry.ok_or_else(|| Sentence::new("no_entry").with("bib", bib))
        }
        Whose::Judge(code) => {
            let judge = ledger.judges.get(code).map(|j| Some(j.person.id));
            judge.ok_or_else(|| Sentence::new("no_judge").with("code", code))
        }
        Whose::Contact(gym) | Whose::ContactToo(gym, _) => {
            let known = ledger.gyms.get(gym).map(|g| g.contact.as_ref().map(|c| c.id));
            known.ok_or_else(|| Sentence::new("no_gym").with("gym", gym))
        }
    };
    found.map_err(Refusal::NotFound)
}
