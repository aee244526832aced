//! Who an entry is, put right: the name, the e-mail, a guardian's consent, and whether the name is shown (rules.md
//! section 6). The record says what was changed; never what it was before.

use super::case::refuse_access;
use super::entries::{erased_stays, keep};
use super::{Asked, Decided, Ledger, Outcome, Precondition, Refusal};
use crate::rules::access::{Act, Denied, Permit, permit};
use crate::rules::competition::Competition;
use crate::rules::event::{Amended, Event};
use crate::rules::people::{Entry, Person};
use crate::rules::roster::{self, EntryFacts};
use crate::words::Sentence;

/// Puts right who an entry is: all of it by the organiser, whether the name is shown by the athlete too.
pub(super) fn amend(ledger: &Ledger, asked: &Asked, bib: u32, facts: &EntryFacts) -> Result<Decided, Refusal> {
    let none = || Refusal::NotFound(Sentence::new("no_such_competition").with("slug", &asked.competition));
    let (_, competition) = ledger.definition.as_ref().ok_or_else(none)?;
    let before = ledger.entries.get(&bib);
    let person = before.and_then(|entry| ledger.persons.get(&entry.person.id));
    let permit = may(asked, competition, bib, person, facts)?;
    let none = || Refusal::NotFound(Sentence::new("no_such_bib").with("bib", bib));
    let before = before.ok_or_else(none)?;
    erased_stays(ledger, &before.person, &bib.to_string())?;
    let was = person.cloned().unwrap_or_default();
    let person = roster::check_entry_facts(&was, facts).map_err(Refusal::Faults)?;
    let what = what(before, &was, &person, facts.show_name);
    if what.is_empty() {
        let actor = Some(permit.actor().clone());
        return Ok(Decided { actor, outcome: Outcome::Unchanged, ..Decided::default() });
    }
    let as_seen = match &asked.precondition {
        Precondition::None | Precondition::Any => true,
        Precondition::Match(tags) => tags.contains(&before.facts_tag()),
        Precondition::Absent => false,
    };
    if !as_seen {
        return Err(Refusal::PreconditionFailed(None));
    }
    let kept = keep(ledger, asked, Some(&before.person), person);
    let show_name = facts.show_name.unwrap_or(before.show_name);
    let entry = Entry { show_name, person: kept.reference, ..before.clone() };
    Ok(Decided {
        events: vec![Event::EntryAmended { entry, what }],
        actor: Some(permit.actor().clone()),
        persons: Vec::from_iter(kept.fresh),
        outcome: Outcome::Roster { created: false, id: bib.to_string() },
        ..Decided::default()
    })
}

/// Whoever may do all of it. Under 18 an athlete is told who decides.
fn may(
    asked: &Asked,
    competition: &Competition,
    bib: u32,
    person: Option<&Person>,
    facts: &EntryFacts,
) -> Result<Permit, Refusal> {
    let slug = &*asked.competition;
    if facts.name.is_some() || facts.email.is_some() || facts.guardian_consent.is_some() {
        return permit(&asked.actor, Act::Organise { competition: slug }).map_err(refuse_access);
    }
    let of_age = !person.is_some_and(|person| roster::is_under_age(person, competition));
    permit(&asked.actor, Act::ShowName { competition: slug, bib, of_age }).map_err(|denied| match denied {
        Denied::NotAllowed if !of_age && asked.actor.is_athlete(slug, bib) => {
            Refusal::NotAllowed(Sentence::new("show_name_under_age"))
        }
        other => refuse_access(other),
    })
}

fn what(before: &Entry, was: &Person, now: &Person, show_name: Option<bool>) -> Vec<Amended> {
    let shown = show_name.filter(|show| *show != before.show_name);
    let changed = [
        (was.name != now.name).then_some(Amended::Name),
        (was.email != now.email).then_some(Amended::Email),
        (was.guardian_consent != now.guardian_consent).then_some(Amended::Consent),
        shown.map(|show| if show { Amended::Shown } else { Amended::Hidden }),
    ];
    changed.into_iter().flatten().collect()
}
