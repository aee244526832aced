//! Reads: what each list holds, in which order, and what is hidden.

use super::support::{FILE, Place, apply, ask, entry, moved, noon, reader, score};
use futures_util::TryStreamExt;
use std::collections::BTreeSet;
use tallywright::rules::heats::{self, Judging, Plan, Settings};
use tallywright::rules::ledger::{Asked, Change, Precondition, Whose};
use tallywright::rules::life::{Decision, FlagReason, Move, State};
use tallywright::rules::placement::{Change as Placed, Placement};
use tallywright::rules::roster::RawEntry;
use tallywright::store::entries::EntryFilter;
use tallywright::store::merkle::includes;
use tallywright::store::names::NameFilter;
use tallywright::store::scores::ScoreFilter;

#[tokio::test]
async fn the_file_in_force_at_a_log_position_is_read_from_the_log() {
    let place = Place::with_entries(1).await;
    let id = place.id().await;
    let before = place.store.heads().await.unwrap()[0].1;
    place.submit(apply(&FILE.replace("Saltmarsh Series", "Saltmarsh Winter Series"))).await.unwrap();
    // A store that has compiled nothing yet reads the same.
    for store in [place.store.clone(), place.open_again().await] {
        let title = async |seq| store.definition_at(id, seq).await.unwrap().map(|d| d.competition.title.clone());
        assert_eq!(title(0).await, None);
        assert_eq!(title(1).await.as_deref(), Some("Saltmarsh Series"));
        assert_eq!(title(before).await.as_deref(), Some("Saltmarsh Series"));
        assert_eq!(title(before + 1).await.as_deref(), Some("Saltmarsh Winter Series"));
        let known = store.find_competition("saltmarsh").await.unwrap().unwrap();
        assert_eq!(known.definition.competition.title, "Saltmarsh Winter Series");
        assert_eq!((known.definition.seq, known.seq), (before + 1, before + 1));
        assert_eq!(store.list_competitions().await.unwrap().len(), 1);
        assert!(store.find_competition("elsewhere").await.unwrap().is_none());
        assert!(store.definition_at(id + 1, 9).await.unwrap().is_none());
    }
}

#[tokio::test]
async fn a_hidden_name_is_neither_told_nor_found() {
    let place = Place::with_entries(3).await;
    let id = place.id().await;
    let hidden = RawEntry { name: "Çelik 100%".to_owned(), show_name: Some(false), ..entry(4) };
    place.submit(ask(Change::SetEntry(hidden))).await.unwrap();
    let found = place.store.find_entry(id, 4).await.unwrap().unwrap();
    assert_eq!(found.name, None);
    assert_eq!(place.store.find_entry(id, 1).await.unwrap().unwrap().name.as_deref(), Some("Person 1"));
    assert_eq!(place.store.find_entry(id, 99).await.unwrap(), None);
    let bibs = async |q| {
        let filter = EntryFilter { q: Some(q), ..EntryFilter::default() };
        let shown = place.store.list_entries(id, &filter).await.unwrap();
        let all = place.store.list_entries_privately(&reader(), id, &filter).await.unwrap();
        let shown: Vec<u32> = shown.iter().map(|n| n.entry.bib).collect();
        (shown, all.iter().map(|(e, _)| e.bib).collect::<Vec<u32>>())
    };
    assert_eq!(bibs("çelik").await, (vec![], vec![4]));
    assert_eq!(bibs("100%").await, (vec![], vec![4]));
    assert_eq!(bibs("person").await, (vec![1, 2, 3], vec![1, 2, 3]));
    assert_eq!(bibs("per_on").await, (vec![], vec![]), "wildcards are letters");
    assert_eq!(bibs("4").await, (vec![4], vec![4]), "a bib is found whoever it is");
}

#[tokio::test]
async fn lists_of_entries_are_filtered_and_paged_by_bib() {
    let place = Place::with_entries(7).await;
    let id = place.id().await;
    let bibs = async |filter: EntryFilter<'static>| -> Vec<u32> {
        place.store.list_entries(id, &filter).await.unwrap().iter().map(|n| n.entry.bib).collect()
    };
    let all = EntryFilter::default;
    assert_eq!(bibs(EntryFilter { gym: Some("quayside"), ..all() }).await, [1, 3, 5, 7]);
    assert_eq!(bibs(EntryFilter { division: Some("men"), ..all() }).await, [2, 4, 6]);
    assert_eq!(bibs(EntryFilter { after: 3, limit: 2, ..all() }).await, [4, 5]);
    let named = place.store.list_named(id, &[7, 2, 99, 2]).await.unwrap();
    assert_eq!(named.len(), 2);
    let slugs: Vec<String> = place.store.list_gyms(id, "", 10).await.unwrap().into_iter().map(|g| g.slug).collect();
    assert_eq!(slugs, ["milltown", "quayside"]);
    assert_eq!(place.store.find_gym(id, "quayside").await.unwrap().unwrap().country, "PT");
    let judges = place.store.list_judges(id, Some("milltown"), "", 10).await.unwrap();
    assert_eq!(judges.iter().map(|j| j.code.as_str()).collect::<Vec<_>>(), ["J-2"]);
    let person = place.store.find_person(&reader(), id, judges[0].person.id).await.unwrap().unwrap();
    assert_eq!(person.name, "Judge of milltown");
}

#[tokio::test]
async fn the_desk_sees_scores_by_state_and_who_is_missing() {
    let place = Place::with_entries(8).await;
    let id = place.id().await;
    for (bib, attested) in [(1, true), (2, true), (3, false), (5, true)] {
        place.submit(score("w1", bib, "4+0", attested)).await.unwrap();
    }
    place.submit(moved("w1", 7, Move::NotTakingPart)).await.unwrap();
    place.submit(moved("w1", 5, Move::Withdraw)).await.unwrap();
    let bibs = async |filter: ScoreFilter<'static>| -> Vec<u32> {
        let listed = place.store.list_scores(&reader(), id, "w1", &filter).await.unwrap();
        listed.iter().map(|l| l.attempt.score.bib).collect()
    };
    let all = ScoreFilter::default;
    assert_eq!(bibs(all()).await, [1, 2, 3, 5]);
    assert_eq!(bibs(ScoreFilter { gym: Some("quayside"), ..all() }).await, [1, 3, 5]);
    assert_eq!(bibs(ScoreFilter { state: Some(State::Entered), ..all() }).await, [3]);
    assert_eq!(bibs(ScoreFilter { after: (1, 1), limit: 2, ..all() }).await, [2, 3]);
    assert_eq!(bibs(ScoreFilter { gym: Some("quayside"), after: (1, 1), ..all() }).await, [3, 5]);
    assert_eq!(bibs(ScoreFilter { gym: Some("quayside"), state: Some(State::Withdrawn), ..all() }).await, [5]);
    assert_eq!(bibs(ScoreFilter { state: Some(State::Entered), after: (3, 1), ..all() }).await, [] as [u32; 0]);
    assert_eq!(bibs(ScoreFilter { state: Some(State::Attested), after: (1, 0), ..all() }).await, [1, 2]);
    let missing = async |gym| -> Vec<u32> {
        let entries = place.store.list_missing(&reader(), id, "w1", gym, 0, 100).await.unwrap();
        entries.iter().map(|e| e.bib).collect()
    };
    assert_eq!(missing(Some("quayside")).await, [5]);
    assert_eq!(missing(None).await, [4, 5, 6, 8]);
    let out = place.store.list_not_taking_part(&reader(), id, "w1", None).await.unwrap();
    assert!(matches!(out[..], [(7, Some(_))]), "whom, and when it was stated: {out:?}");
    assert!(place.store.is_not_taking_part(id, "w1", 7).await.unwrap());
    assert!(!place.store.is_not_taking_part(id, "w2", 7).await.unwrap());
}

#[tokio::test]
async fn rulings_come_newest_first_with_reasons_for_all_and_notes_for_some() {
    let place = Place::with_entries(4).await;
    let id = place.id().await;
    for bib in [1, 2] {
        place.attested(bib, "5+0").await;
        let flag = Move::Flag { reason: FlagReason::Count, note: format!("Doubt {bib}"), withhold: false };
        place.submit(moved("w1", bib, flag)).await.unwrap();
        let reason = format!("Struck {bib}");
        place
            .submit(moved("w1", bib, Move::Rule { decision: Decision::Strike, reason, on_appeal: false }))
            .await
            .unwrap();
    }
    let rulings = place.store.list_rulings(id, None, 10).await.unwrap();
    let subjects: Vec<&str> = rulings.iter().map(|r| r.subject.as_str()).collect();
    assert_eq!(subjects, ["score/w1/2", "score/w1/1"]);
    let older = place.store.list_rulings(id, Some(rulings[0].seq), 10).await.unwrap();
    assert_eq!(older, rulings[1..]);
    let [attempt] = &place.store.list_attempts(id, "w1", 1).await.unwrap()[..] else { panic!() };
    let reason = attempt.ruling.as_ref().unwrap().reason.id;
    let doubt = reason - 1;
    let public = place.store.list_public_notes(id, &[reason, doubt]).await.unwrap();
    assert_eq!(public.into_iter().collect::<Vec<_>>(), [(reason, "Struck 1".to_owned())]);
    let all = place.store.list_notes(&reader(), id, &[reason, doubt]).await.unwrap();
    assert_eq!(all[&doubt], "Doubt 1");
    let history = place.store.list_history(id, "score/w1/1", 0, 100).await.unwrap();
    let actions: Vec<&str> = history.iter().map(|r| r.record().unwrap().event.action()).collect();
    assert_eq!(actions, ["submitted", "attested", "flagged", "ruled"]);
}

#[tokio::test]
async fn placements_are_read_as_they_were_told() {
    // More records than are read at once.
    let place = Place::with_entries(4_200).await;
    let id = place.id().await;
    let alone = RawEntry { gym: String::new(), country: Some("PT".to_owned()), ..entry(4_201) };
    place.submit(ask(Change::SetEntry(alone))).await.unwrap();
    let first = place.attested(1, "4+0").await;
    let again = Asked { precondition: Precondition::Any, ..score("w1", 1, "5+0", true) };
    let last = place.submit(again).await.unwrap().seq;
    let told: Vec<Placement> = place.told.lock().unwrap().iter().flat_map(|c| c.placements.clone()).collect();
    let read = place.placements(0, last).await;
    assert_eq!(read, told);
    assert!(read.len() > 4_200 && read.is_sorted_by_key(|p| p.seq));
    let texts = |rows: Vec<Placement>| -> Vec<String> {
        rows.into_iter()
            .filter_map(|p| match p.change {
                Placed::Score { text, key, .. } => Some(format!("{text} {}", key.is_some())),
                Placed::Entry { .. } => None,
            })
            .collect()
    };
    assert_eq!(texts(place.placements(0, first.etag).await), ["4+0 false", "4+0 true"]);
    assert_eq!(texts(place.placements(first.etag, last).await), ["5+0 false", "5+0 true"]);
    assert_eq!(place.placements(last, last + 9).await, []);
    place.raw().await.run("UPDATE placements SET state = 'lost' WHERE workout = 'w1'").await.unwrap();
    assert!(place.store.placements(id, 0, last).try_for_each(|_| async { Ok(()) }).await.is_err());
}

#[tokio::test]
async fn a_name_is_found_by_the_beginning_of_its_words_whatever_its_case_and_accents() {
    let place = Place::with_entries(3).await;
    let id = place.id().await;
    let named = |bib, name: &str, division: &str| {
        let category = if division == "men" { "men" } else { "women" };
        let (name, division, category) = (name.to_owned(), division.to_owned(), category.to_owned());
        ask(Change::SetEntry(RawEntry { bib: Some(bib), name, division, category, ..entry(bib) }))
    };
    for (bib, name, division) in [
        (11, "Inês Ávila", "women"),
        (12, "INES DUARTE", "women"),
        (13, "Ana Inés d’Ávila-Łoś", "women"),
        (14, "Inigo Duarte", "men"),
        (15, "Ana Ana", "women"),
        (17, "Ines Duarte", "women"),
    ] {
        place.submit(named(bib, name, division)).await.unwrap();
    }
    let hidden = RawEntry { name: "Inesa Ozola".to_owned(), show_name: Some(false), ..entry(19) };
    place.submit(ask(Change::SetEntry(hidden))).await.unwrap();
    let women = ["women".to_owned()];
    let find = async |q: &str, gym: Option<&str>, limit: u32| -> (Vec<u32>, Vec<u32>) {
        let filter = NameFilter { q, divisions: &women, gym, limit };
        let shown = place.store.find_by_name(id, &filter).await.unwrap();
        let all = place.store.find_by_name_privately(&reader(), id, &filter).await.unwrap();
        (shown.iter().map(|n| n.entry.bib).collect(), all.iter().map(|(e, _)| e.bib).collect())
    };
    // The names in their order, namesakes by bib.
    let (shown, all) = find("ines", None, 9).await;
    assert_eq!((shown, all), (vec![11, 13, 12, 17], vec![11, 13, 12, 17, 19]));
    assert_eq!(find("  INÉS   du", None, 9).await.0, [12, 17]);
    assert_eq!(find("avila l", None, 9).await.0, [13]);
    assert_eq!(find("los", None, 9).await.0, [13]);
    assert_eq!(find("ana", None, 9).await.0, [15, 13], "two words of one name are one person");
    assert_eq!(find("ana", None, 1).await.0, [15]);
    assert_eq!(find("ana", None, 2).await.0, [15, 13], "as many persons as are asked for, not as many words");
    assert_eq!(find("ana", Some("quayside"), 2).await.0, [15, 13]);
    assert_eq!(find("ines", None, 2).await.0, [11, 13]);
    assert_eq!(find("ines", Some("quayside"), 9).await.0, [11, 13, 17]);
    assert!(find("nes", None, 9).await.0.is_empty());
    assert!(find(" -%_ ", None, 9).await.0.is_empty());
    // Another name takes the place of the one before; who is erased is not found.
    place.submit(named(11, "Zoé Ávila", "women")).await.unwrap();
    place.submit(ask(Change::Erase(Whose::Entry(12)))).await.unwrap();
    assert_eq!(find("ines", None, 9).await.0, [13, 17]);
    assert_eq!(find("zoe av", None, 9).await.0, [11]);
    assert_eq!(place.difference().await, None);
    // A database from before is filled when it is opened.
    let before = find("a", None, 99).await;
    place.raw().await.run("DELETE FROM name_starts").await.unwrap();
    assert!(place.difference().await.is_some());
    place.open_again().await;
    assert_eq!(find("a", None, 99).await, before);
    assert_eq!(place.difference().await, None);
    place.raw().await.run("INSERT INTO name_starts VALUES (1, 99, 'nobody')").await.unwrap();
    assert!(place.difference().await.is_some_and(|said| said.contains("99")));
}

/// Two places of a plan, with their judges.
fn plan(judges: [Option<&str>; 2]) -> Plan {
    let settings = Settings { start: noon(), minutes: 10, lanes: 2, judging: Judging::Judges };
    let place =
        |(bib, judge): (u32, Option<&str>)| heats::Place { bib, heat: 1, lane: bib, judge: judge.map(str::to_owned) };
    let places = [1, 2].into_iter().zip(judges).map(place).collect();
    Plan { settings, places, later: Vec::new(), visitors: BTreeSet::new() }
}

#[tokio::test]
async fn the_heats_that_name_a_judge_are_found_as_they_are_now_and_were_before_the_table_of_them() {
    let place = Place::with_entries(2).await;
    let id = place.id().await;
    let save = async |gym: &str, workout: &str, version, judges| {
        let saved = place.store.save_heats(&reader(), id, gym, workout, version, &plan(judges), noon()).await.unwrap();
        assert!(saved, "{gym} {workout}");
    };
    let of = async |judge: &str| -> Vec<String> {
        let found = place.store.list_heats_of_judge(&reader(), id, judge).await.unwrap();
        found.into_iter().map(|(gym, workout, plan)| format!("{gym} {workout} {}", plan.places.len())).collect()
    };
    save("quayside", "w1", 0, [Some("J-1"), Some("J-1")]).await;
    save("quayside", "w2", 0, [Some("J-1"), Some("J-2")]).await;
    save("millpond", "w1", 0, [None, Some("J-10")]).await;
    assert_eq!(of("J-1").await, ["quayside w1 2", "quayside w2 2"]);
    assert_eq!((of("J-10").await, of("J-_").await), (vec!["millpond w1 2".to_owned()], Vec::new()));
    // Given to somebody else; not changed, where somebody was quicker; taken away.
    save("quayside", "w1", 1, [Some("J-2"), None]).await;
    assert_eq!(of("J-1").await, ["quayside w2 2"]);
    let late = plan([Some("J-1"), None]);
    assert!(!place.store.save_heats(&reader(), id, "quayside", "w1", 1, &late, noon()).await.unwrap());
    assert_eq!((of("J-1").await.len(), of("J-2").await.len()), (1, 2));
    assert!(!place.store.remove_heats(&reader(), id, "quayside", "w2", 9).await.unwrap());
    assert!(place.store.remove_heats(&reader(), id, "quayside", "w1", 2).await.unwrap());
    assert_eq!(of("J-2").await, ["quayside w2 2"]);
    // As it was before there was a table of them.
    let known = (of("J-1").await, of("J-2").await, of("J-10").await);
    let mut raw = place.raw().await;
    raw.run("DROP TABLE heat_judges").await.unwrap();
    raw.run("DELETE FROM _sqlx_migrations WHERE version = 14").await.unwrap();
    place.open_again().await;
    assert_eq!((of("J-1").await, of("J-2").await, of("J-10").await), known);
}

#[tokio::test]
async fn every_record_has_a_proof_that_leads_to_the_head() {
    let place = Place::with_entries(5).await;
    let id = place.id().await;
    let head = place.store.find_head(id).await.unwrap().unwrap();
    for seq in 1..=head.seq {
        let proof = place.store.find_proof(id, seq, head.seq).await.unwrap().unwrap();
        assert_eq!(proof.root, head.root);
        assert!(includes(&head.root, head.seq, seq - 1, &proof.leaf, &proof.path));
    }
    assert_eq!(place.store.find_proof(id, head.seq + 1, head.seq + 1).await.unwrap(), None);
    assert_eq!(place.store.find_proof(id, 0, head.seq).await.unwrap(), None);
    assert!(place.store.find_head(id + 1).await.unwrap().is_none());
}
