//! What a row of a list leaves out stays as it is.

use super::support::{World, athlete, organiser};
use jiff::civil::date;
use tallywright::rules::ledger::{Change, Outcome};
use tallywright::rules::people::{Person, fold_name};
use tallywright::rules::roster::{EntryFacts, RawEntry, RawGym, RawJudge};
use tallywright::rules::table;
use tallywright::rules::table::dates::DateOrder;
use tallywright::words::Lang;

fn person(world: &World, bib: u32) -> &Person {
    &world.ledger.persons[&world.ledger.entries[&bib].person.id]
}

/// Rows of entries as a file has them.
fn entries(world: &mut World, file: &str) -> Vec<Outcome> {
    let table = table::read(file.as_bytes()).expect("a table");
    let rows = table.rows.iter().map(|row| table::entry(&table, row, DateOrder::Ask).value).collect::<Vec<_>>();
    rows.into_iter().map(|row| world.ok(&organiser(), Change::SetEntry(row))).collect()
}

/// The first list, sent once more with somebody who is new, shows nobody who has been hidden since.
#[test]
fn a_list_without_a_column_changes_nothing_of_it() {
    let mut world = World::new();
    let with = "bib,name,born,category,division,gym,country,region,email,show_name\n\
        1,Ana Rocha,1995-05-05,women,women,quayside,ES,North,ana@example.org,no\n";
    entries(&mut world, with);
    let hidden = world.ledger.entries[&1].clone();
    assert!(!hidden.show_name && hidden.country == "ES" && hidden.region == "North");
    let base = "bib,name,born,category,division,gym\n\
        1,Ana Rocha,1995-05-05,women,women,quayside\n\
        9,Lea Pinto,1996-06-06,women,women,quayside\n";
    let outcomes = entries(&mut world, base);
    assert_eq!(outcomes[0], Outcome::Unchanged);
    assert_eq!((&world.ledger.entries[&1], person(&world, 1).email.as_str()), (&hidden, "ana@example.org"));
    assert!(world.ledger.entries[&9].show_name, "who is new has what is usual");
    // What the file has and leaves empty is said: nothing.
    entries(&mut world, "bib,name,born,category,division,gym,email\n1,Ana Rocha,1995-05-05,women,women,quayside,\n");
    assert_eq!((person(&world, 1).email.as_str(), world.ledger.entries[&1].show_name), ("", false));
}

/// What its athlete has hidden since the list was made, the list shows to nobody: row by row that is said.
#[test]
fn a_list_shows_no_name_that_is_hidden_but_of_who_is_under_age() {
    let mut world = World::new();
    let row = |name: &str, born: &str, show: &str| {
        format!("bib,name,born,category,division,gym,show_name\n1,{name},{born},women,women,quayside,{show}\n")
    };
    let send = |world: &mut World, file: &str| {
        let table = table::read(file.as_bytes()).expect("a table");
        let row = table::entry(&table, &table.rows[0], DateOrder::Ask).value;
        let decided = world.ask(&organiser(), Change::SetEntry(row)).expect("allowed");
        let codes = decided.warnings.iter().map(|w| w.sentence.code.to_string()).collect::<Vec<_>>();
        (decided.outcome, codes, world.ledger.entries[&1].show_name)
    };
    let first = row("Ana Rocha", "1995-05-05", "yes");
    assert!(send(&mut world, &first).2);
    let hide = EntryFacts { show_name: Some(false), ..EntryFacts::default() };
    world.ok(&athlete(1), Change::AmendEntry { bib: 1, facts: hide });
    for _ in 0..2 {
        let told = send(&mut world, &first);
        assert_eq!(told, (Outcome::Unchanged, vec!["hidden_stays".to_owned()], false));
    }
    // A slip that the list mends shows nobody either.
    let mended = row("Anna Rocha", "1995-05-05", "yes");
    let (outcome, codes, shown) = send(&mut world, &mended);
    assert!(outcome != Outcome::Unchanged && codes == ["hidden_stays"] && !shown, "{outcome:?} {codes:?}");
    // The entry's own page does, and then the list says nothing new.
    let show = EntryFacts { show_name: Some(true), ..EntryFacts::default() };
    world.ok(&organiser(), Change::AmendEntry { bib: 1, facts: show });
    assert_eq!(send(&mut world, &mended), (Outcome::Unchanged, Vec::new(), true));
    // Hiding is a list's too; and somebody else who has the bib is nobody who has hidden anything.
    assert!(!send(&mut world, &row("Anna Rocha", "1995-05-05", "no")).2);
    assert!(send(&mut world, &row("Eva Sol", "1990-01-01", "yes")).2);
}

/// Under 18 it is the organiser's and the guardian's to decide, by whatever list.
#[test]
fn who_is_under_age_is_shown_by_a_list_that_says_so() {
    let mut world = World::new();
    let row = |show: &str| {
        format!(
            "bib,name,born,category,division,gym,guardian_consent,show_name\n\
            9,Lia Reis,2010-06-01,women,women,quayside,yes,{show}\n"
        )
    };
    for (show, shown) in [("", false), ("yes", true), ("no", false), ("yes", true)] {
        entries(&mut world, &row(show));
        assert_eq!(world.ledger.entries[&9].show_name, shown, "{show}");
    }
}

/// A slip that is put right keeps what is known; whoever is under age by it is not shown unasked; and nobody gets the
/// facts of whoever had the bib before.
#[test]
fn what_is_known_of_one_is_not_known_of_another() {
    let mut world = World::new();
    let row =
        |name: &str, born: &str| format!("bib,name,born,category,division,gym\n1,{name},{born},women,women,quayside\n");
    entries(&mut world, &row("Ana Rocha", "1995-05-06"));
    assert_eq!(person(&world, 1).email, "athlete1@example.org");
    assert!(world.ledger.entries[&1].show_name);
    entries(&mut world, &row("Ana Rocha", "2011-05-05"));
    assert!(!world.ledger.entries[&1].show_name, "of fifteen");
    entries(&mut world, &row("Anna Rocha", "2011-05-05"));
    assert_eq!((person(&world, 1).email.as_str(), world.ledger.entries[&1].show_name), ("athlete1@example.org", false));
    entries(&mut world, &row("Eva Sol", "1990-01-01"));
    assert_eq!((person(&world, 1).email.as_str(), world.ledger.entries[&1].show_name), ("", true));
}

/// Found by name and birth: nothing of what is known goes, and no other address comes in its place.
#[test]
fn a_gyms_proposal_of_somebody_who_is_entered_changes_nothing_of_them() {
    let mut world = World::new();
    let raw = RawEntry {
        name: "Ana Rocha".into(),
        born: "1995-05-05".into(),
        category: "women".into(),
        division: "women".into(),
        gym: "quayside".into(),
        ..RawEntry::default()
    };
    let hidden = RawEntry { bib: Some(1), show_name: Some(false), ..raw.clone() };
    world.ok(&organiser(), Change::SetEntry(hidden));
    // As the store finds them.
    world.ledger.by_name.insert((fold_name("Ana Rocha"), Some(date(1995, 5, 5))), 1);
    let proposed = RawEntry { proposed: true, email: Some("gym@example.org".into()), ..raw };
    let done = world.ok(&organiser(), Change::SetEntry(proposed));
    assert_eq!(done, Outcome::Unchanged);
    assert_eq!((person(&world, 1).email.as_str(), world.ledger.entries[&1].show_name), ("athlete1@example.org", false));
}

/// Of a gym that is named again without its contact the contact stays; another contact has no facts of the first.
#[test]
fn a_gym_keeps_its_contact_until_another_one_is_named() {
    let mut world = World::new();
    let raw = RawGym { slug: "quayside".into(), name: "Quayside".into(), country: "PT".into(), ..RawGym::default() };
    let with = RawGym {
        contact: Some("Ines Duarte".into()),
        email: Some("ines@example.org".into()),
        phone: Some("+351 1".into()),
        region: Some("North".into()),
        time_zone: Some("Atlantic/Azores".into()),
        ..raw.clone()
    };
    world.ok(&organiser(), Change::SetGym(with));
    let before = world.ledger.gyms["quayside"].clone();
    let emergency = RawGym { emergency: Some("Call 112.".into()), ..raw.clone() };
    world.ok(&organiser(), Change::SetGym(emergency));
    let gym = world.ledger.gyms["quayside"].clone();
    assert_eq!((&gym.contact, &*gym.region, &*gym.time_zone), (&before.contact, "North", "Atlantic/Azores"));
    let known = |world: &World| {
        let contact = world.ledger.gyms["quayside"].contact.clone().expect("somebody");
        let person = &world.ledger.persons[&contact.id];
        (person.name.clone(), person.email.clone(), person.phone.clone())
    };
    let is = |name: &str, email: &str, phone: &str| (name.to_owned(), email.to_owned(), phone.to_owned());
    assert_eq!(known(&world), is("Ines Duarte", "ines@example.org", "+351 1"));
    let same = RawGym { contact: Some("Ines Duarte".into()), phone: Some("+351 2".into()), ..raw.clone() };
    world.ok(&organiser(), Change::SetGym(same));
    assert_eq!(known(&world), is("Ines Duarte", "ines@example.org", "+351 2"));
    world.ok(&organiser(), Change::SetGym(RawGym { contact: Some("Rui Costa".into()), ..raw }));
    assert_eq!(known(&world), is("Rui Costa", "", ""));
}

#[test]
fn a_judge_keeps_gym_and_address() {
    let mut world = World::new();
    let raw = RawJudge {
        code: "J-1".into(),
        name: "Judge J-1".into(),
        valid_from: "2027-01-01".into(),
        valid_to: "2027-12-31".into(),
        ..RawJudge::default()
    };
    world.ok(&organiser(), Change::SetJudge(RawJudge { gym: Some("quayside".into()), ..raw.clone() }));
    let longer = RawJudge { valid_to: "2028-12-31".into(), ..raw.clone() };
    world.ok(&organiser(), Change::SetJudge(longer));
    let judge = &world.ledger.judges["J-1"];
    let person = &world.ledger.persons[&judge.person.id];
    assert_eq!((judge.gym.as_deref(), person.email.as_str()), (Some("quayside"), "judge1@example.org"));
    // A code that goes to somebody else takes no address along, and what that means is said; once.
    let told = |world: &mut World, raw: RawJudge| {
        let decided = world.ask(&organiser(), Change::SetJudge(raw)).expect("allowed");
        let told = decided.warnings.iter().map(|w| format!("{} {}", w.pointer, w.sentence.code)).collect::<Vec<_>>();
        assert!(decided.warnings.iter().all(|w| w.sentence.say(Lang::En).contains("J-1")));
        told
    };
    let other = RawJudge { name: "Rui Costa".into(), ..raw.clone() };
    assert_eq!(told(&mut world, other.clone()), ["/name judge_other_name", "/email judge_address_gone"]);
    let person = &world.ledger.persons[&world.ledger.judges["J-1"].person.id];
    assert_eq!((person.name.as_str(), person.email.as_str()), ("Rui Costa", ""));
    assert!(told(&mut world, other).is_empty());
    // With an address of its own nothing is lost; a name in other letters is the same name.
    let with = |name: &str| RawJudge { name: name.into(), email: Some("rui@example.org".into()), ..raw.clone() };
    assert_eq!(told(&mut world, with("Rui Costa-Sá")), ["/name judge_other_name"]);
    assert!(told(&mut world, with("RUI COSTA-SÁ")).is_empty());
}
