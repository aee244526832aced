//! Who an entry is, put right; the own name hidden and shown.

use super::support::{World, account, athlete, codes, grant, organiser, referee, staff};
use std::collections::BTreeSet;
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::event::{Amended, Event};
use tallywright::rules::ledger::{Change, Outcome, Precondition, Refusal, Whose};
use tallywright::rules::roster::{EntryFacts, RawEntry};

fn name(name: &str) -> EntryFacts {
    EntryFacts { name: Some(name.into()), ..EntryFacts::default() }
}

fn email(email: &str) -> EntryFacts {
    EntryFacts { email: Some(email.into()), ..EntryFacts::default() }
}

fn show(show: bool) -> EntryFacts {
    EntryFacts { show_name: Some(show), ..EntryFacts::default() }
}

fn consent(given: bool) -> EntryFacts {
    EntryFacts { guardian_consent: Some(given), ..EntryFacts::default() }
}

fn amend(bib: u32, facts: EntryFacts) -> Change {
    Change::AmendEntry { bib, facts }
}

/// One code.
fn only(code: &str) -> BTreeSet<String> {
    BTreeSet::from([code.to_owned()])
}

/// What the last record says was put right.
fn said(world: &World) -> Vec<Amended> {
    match &world.log.last().unwrap().event {
        Event::EntryAmended { what, .. } => what.clone(),
        other => panic!("{other:?}"),
    }
}

/// Bib 4 is sixteen on the day by which ages are counted.
fn with_a_minor() -> World {
    let mut world = World::new();
    let entry = RawEntry {
        bib: Some(4),
        name: "Lia Reis".into(),
        born: "2010-06-01".into(),
        category: "women".into(),
        division: "women".into(),
        gym: "quayside".into(),
        guardian_consent: Some(true),
        ..RawEntry::default()
    };
    world.ok(&organiser(), Change::SetEntry(entry));
    world
}

#[test]
fn a_guardians_consent_is_the_organisers_alone_to_note() {
    let mut world = with_a_minor();
    assert_eq!(world.ok(&organiser(), amend(4, consent(true))), Outcome::Unchanged);
    for given in [false, true] {
        world.ok(&organiser(), amend(4, consent(given)));
        assert_eq!(said(&world), [Amended::Consent]);
        assert_eq!(world.ledger.persons[&world.ledger.entries[&4].person.id].guardian_consent, given);
    }
    for actor in [athlete(4), staff("quayside"), referee(20)] {
        assert_eq!(codes(&world.ask(&actor, amend(4, consent(false))).unwrap_err()), only("not_allowed"));
    }
}

#[test]
fn the_organiser_puts_name_and_e_mail_right_and_the_log_has_neither() {
    let mut world = World::new();
    let before = world.ledger.entries[&1].clone();
    let facts = EntryFacts { show_name: Some(false), email: Some("ana@rocha.example".into()), ..name(" Anna Rocha ") };
    let outcome = world.ok(&organiser(), amend(1, facts.clone()));
    assert_eq!(outcome, Outcome::Roster { created: false, id: "1".into() });
    assert_eq!(said(&world), [Amended::Name, Amended::Email, Amended::Hidden]);
    let entry = &world.ledger.entries[&1];
    assert_eq!((entry.person.id, entry.show_name), (before.person.id, false));
    assert_ne!(entry.person.commitment, before.person.commitment);
    let person = &world.ledger.persons[&entry.person.id];
    assert_eq!((&*person.name, &*person.email), ("Anna Rocha", "ana@rocha.example"));
    assert_eq!((person.born.unwrap().to_string(), &*person.category), ("1995-05-05".to_owned(), "women"));
    let bytes: Vec<u8> = world.log.iter().flat_map(tallywright::rules::event::Record::to_bytes).collect();
    let log = String::from_utf8(bytes).unwrap();
    for text in ["Rocha", "rocha.example", "athlete1@"] {
        assert!(!log.contains(text), "{text}");
    }
    // Whoever follows the places hears of it: pages with the name on them are made anew.
    assert_eq!(world.placements.last().map(|p| (p.seq, p.bib)), Some((world.ledger.head.seq, 1)));
    assert_eq!(world.from_log().entries, world.ledger.entries);
    // Once more it is so already.
    let records = world.log.len();
    assert_eq!(world.ok(&organiser(), amend(1, facts)), Outcome::Unchanged);
    assert_eq!(world.log.len(), records);
    // What is not said stays.
    world.ok(&organiser(), amend(1, email("")));
    assert_eq!(said(&world), [Amended::Email]);
    assert_eq!(world.ledger.persons[&before.person.id].name, "Anna Rocha");
    assert!(!world.ledger.entries[&1].show_name);
}

#[test]
fn an_athlete_hides_and_shows_the_own_name_and_puts_nothing_else_right() {
    let mut world = World::new();
    let own = athlete(1);
    world.ok(&own, amend(1, show(false)));
    assert_eq!((said(&world), world.ledger.entries[&1].show_name), (vec![Amended::Hidden], false));
    assert_eq!(world.log.last().unwrap().actor.role, Some(Role::Athlete));
    assert_eq!(world.ok(&own, amend(1, show(false))), Outcome::Unchanged);
    world.ok(&own, amend(1, show(true)));
    assert_eq!((said(&world), world.ledger.entries[&1].show_name), (vec![Amended::Shown], true));
    let both = EntryFacts { show_name: Some(false), ..name("Somebody Else") };
    for facts in [name("Somebody Else"), email("x@example.org"), both] {
        assert_eq!(codes(&world.ask(&own, amend(1, facts)).unwrap_err()), only("not_allowed"));
    }
    assert!(world.ledger.entries[&1].show_name, "nothing of what is refused is done");
}

#[test]
fn nobody_else_puts_anything_right() {
    let mut world = World::new();
    let judge = account(30, vec![Grant { judge: Some("J-1".into()), ..grant(Role::Judge) }]);
    let elsewhere = account(31, vec![Grant { competition: Some("other".into()), ..grant(Role::Organiser) }]);
    let others = [athlete(2), staff("quayside"), staff("hilltop"), judge, referee(20), elsewhere, account(32, vec![])];
    for actor in &others {
        for facts in [name("Somebody Else"), email("x@example.org"), show(false), EntryFacts::default()] {
            let refused = world.ask(actor, amend(1, facts)).unwrap_err();
            assert_eq!(codes(&refused), only("not_allowed"), "{actor:?}");
        }
    }
    assert_eq!(world.ask(&Actor::nobody(), amend(1, show(false))).unwrap_err(), Refusal::NotSignedIn);
    assert_eq!(codes(&world.ask(&organiser(), amend(99, show(false))).unwrap_err()), only("no_such_bib"));
}

#[test]
fn under_18_the_organiser_alone_decides_whether_the_name_is_shown() {
    let mut world = with_a_minor();
    assert!(!world.ledger.entries[&4].show_name, "hidden where nothing is said");
    for shown in [true, false] {
        let refused = world.ask(&athlete(4), amend(4, show(shown))).unwrap_err();
        assert_eq!(codes(&refused), only("show_name_under_age"));
    }
    world.ok(&organiser(), amend(4, show(true)));
    assert_eq!((said(&world), world.ledger.entries[&4].show_name), (vec![Amended::Shown], true));
    let refused = world.ask(&athlete(4), amend(4, show(false))).unwrap_err();
    assert_eq!(codes(&refused), only("show_name_under_age"));
    // To others it is said no more than else: how old somebody is is not theirs to know.
    assert_eq!(codes(&world.ask(&athlete(1), amend(4, show(false))).unwrap_err()), only("not_allowed"));
}

#[test]
fn what_is_wrong_is_told_at_once_and_nobody_erased_comes_back() {
    let mut world = World::new();
    let wrong = EntryFacts { email: Some("no address".into()), ..name("  ") };
    let refused = world.ask(&organiser(), amend(1, wrong)).unwrap_err();
    assert_eq!(codes(&refused), BTreeSet::from(["email_wrong".to_owned(), "name_missing".to_owned()]));
    world.ok(&athlete(1), Change::Erase(Whose::Entry(1)));
    for (actor, facts) in [(organiser(), name("Ana Rocha")), (organiser(), show(true)), (athlete(1), show(false))] {
        let refused = world.ask(&actor, amend(1, facts)).unwrap_err();
        assert_eq!(codes(&refused), only("erased_stays"));
    }
}

/// What was shown of somebody is compared by whoever decides, not by the page that showed it.
#[test]
fn who_it_is_is_put_right_as_it_was_seen_or_not_at_all() {
    let mut world = World::new();
    let seen = |world: &World| Precondition::Match(vec![world.ledger.entries[&1].facts_tag()]);
    let first = seen(&world);
    world.ask_with(&organiser(), first.clone(), amend(1, name("Anna Rocha"))).unwrap();
    // A second tap finds it done; another name does not go over what nobody of them has seen.
    let again = world.ask_with(&organiser(), first.clone(), amend(1, name("Anna Rocha"))).unwrap();
    assert_eq!(again.outcome, Outcome::Unchanged);
    let refused = world.ask_with(&organiser(), first, amend(1, name("Hannah Rocha"))).unwrap_err();
    assert!(matches!(refused, Refusal::PreconditionFailed(_)), "{refused:?}");
    // That somebody is moved meanwhile is nothing of it.
    let now = seen(&world);
    let change = tallywright::rules::roster::EntryChange {
        gym: Some("hilltop".into()),
        reason: "moved house".into(),
        ..Default::default()
    };
    world.move_entry(1, change).unwrap();
    world.ask_with(&organiser(), now, amend(1, name("Hannah Rocha"))).unwrap();
    let entry = &world.ledger.entries[&1];
    assert_eq!(
        (entry.gym.as_deref(), &*world.ledger.persons[&entry.person.id].name),
        (Some("hilltop"), "Hannah Rocha")
    );
}
