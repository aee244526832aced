//! A whole database copied into an empty one, of the same engine and of the other.

use super::support::database::Database;
use super::support::{Place, account, moved, noon, score, submit};
use jiff::SignedDuration;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tallywright::rules::access::{Grant, Role};
use tallywright::rules::life::{Move, Submit};
use tallywright::store::Store;
use tallywright::store::transfer::TransferError;
use tallywright::store::ways_in::NewSession;

/// Something in the tables with a log and in those without one.
async fn eventful(database: Database) -> Place {
    let place = Place::on(database).await.filled(600).await;
    let asked: Vec<_> = (1..=300).map(|bib| score("w1", bib, "4+3", bib % 3 > 0)).collect();
    assert!(place.writer.submit_many(asked).await.iter().all(Result::is_ok));
    let video = Submit { video: Some("https://example.org/ü/1".to_owned()), ..submit("3+0") };
    place.submit(moved("w1", 301, Move::Submit(video))).await.unwrap();
    place.submit(moved("w1", 302, Move::NotTakingPart)).await.unwrap();
    let store = &place.store;
    let account = account(store, "A@example.org", Some("$hash")).await;
    let role = Grant { role: Role::Referee, competition: None, gym: None, bib: None, judge: None };
    store.add_grants(account, &[role], noon()).await.unwrap();
    let later = noon() + SignedDuration::from_hours(1);
    let session = NewSession { hash: &[0; 32], device: "A phone", expires: later };
    assert!(store.sign_in_by_password(account, "$hash", None, session, noon()).await.unwrap());
    store.add_token(&[255; 32], account, "A script", noon(), later).await.unwrap();
    place
}

fn told(error: &TransferError) -> &str {
    match error {
        TransferError::Refused(sentence) => &sentence.code,
        TransferError::Store(error) => panic!("{error}"),
    }
}

#[tokio::test]
async fn everything_arrives_and_comes_back_from_the_other_engine() {
    let place = eventful(Database::new()).await;
    let (there, back) = (Database::file(), Database::new());
    let (there, again) = (Store::open(&there.url).await.unwrap(), Store::open(&back.url).await.unwrap());
    let mut steps = Vec::new();
    let sent = place.store.transfer_to(&there, |done, all| steps.push((done, all))).await.unwrap();
    assert!(steps.is_sorted() && steps.last().is_some_and(|(done, all)| done == all), "{steps:?}");
    assert!(sent.tables.iter().any(|t| t.table == "scores" && t.rows == 301), "{:?}", sent.tables);
    assert!(sent.tables.iter().filter(|t| t.rows > 0).count() >= 12, "{:?}", sent.tables);
    let returned = there.transfer_to(&again, |_, _| {}).await.unwrap();
    let sorted = |tables: &[tallywright::store::transfer::Copied]| {
        let mut tables = tables.to_vec();
        tables.sort_by(|a, b| a.table.cmp(&b.table));
        tables
    };
    assert_eq!(sorted(&sent.tables), sorted(&returned.tables));
    assert_eq!(sent.verified, place.store.verify(None).await.unwrap());
    assert_eq!(again.verify(None).await.unwrap(), sent.verified);

    // Both read the same, and go on counting where the other stopped.
    let id = place.id().await;
    let (one, two) =
        (place.store.list_attempts_of(id, 301).await.unwrap(), again.list_attempts_of(id, 301).await.unwrap());
    assert_eq!(one, two);
    let known = again.find_by_session(&[0; 32], noon()).await.unwrap().unwrap();
    let known = again.find_own_session(known.actor.account.unwrap(), known.session).await.unwrap().unwrap();
    assert_eq!((known.id, known.device.as_str()), (1, "A phone"));
    assert_eq!(account(&again, "b@example.org", None).await, 2);
}

#[tokio::test]
async fn what_is_copied_is_every_table_of_the_migrations() {
    let place = eventful(Database::new()).await;
    let there = Database::file();
    let sent = place.store.transfer_to(&Store::open(&there.url).await.unwrap(), |_, _| {}).await.unwrap();
    let tables = "SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'";
    // All but the list of migrations.
    assert_eq!(i64::try_from(sent.tables.len() + 1), Ok(there.raw().await.number(tables).await));
}

#[tokio::test]
async fn a_target_that_is_not_empty_is_refused_and_left_as_it_is() {
    let place = Place::with_entries(2).await;
    // A file, and where the tests are run on a server one of its databases, whose tables are ours and of today.
    for other in [Database::file(), Database::new()] {
        let target = Store::open(&other.url).await.unwrap();
        account(&target, "a@example.org", None).await;
        let refused = place.store.transfer_to(&target, |_, _| {}).await.unwrap_err();
        assert_eq!(told(&refused), "move_not_empty");
        assert_eq!(target.list_competitions().await.unwrap().len(), 0);
        assert_eq!(target.list_accounts(0, 10).await.unwrap().len(), 1);
        account(&target, "b@example.org", None).await;
    }
}

#[tokio::test]
async fn a_copy_that_is_broken_off_leaves_the_target_empty() {
    for (from, to) in [(Database::new(), Database::file()), (Database::file(), Database::new())] {
        let place = eventful(from).await;
        let target = Store::open(&to.url).await.unwrap();
        let rows = Arc::new(Mutex::new(0));
        let (source, seen, into) = (place.store.clone(), Arc::clone(&rows), target.clone());
        let copying = tokio::spawn(async move {
            source
                .transfer_to(&into, |done, _| {
                    *seen.lock().unwrap() = done;
                    assert!(done < 900, "broken off here");
                })
                .await
                .map(drop)
        });
        assert!(copying.await.is_err());
        assert!(*rows.lock().unwrap() >= 900);
        assert_eq!(target.list_competitions().await.unwrap().len(), 0);
        assert_eq!(target.list_accounts(0, 10).await.unwrap().len(), 0);
        // Both databases are free again.
        place.submit(score("w1", 400, "4+3", true)).await.unwrap();
        place.store.transfer_to(&target, |_, _| {}).await.unwrap();
        assert_eq!(target.list_competitions().await.unwrap().len(), 1);
    }
}

#[tokio::test]
async fn a_log_that_does_not_agree_with_its_tables_is_not_passed_on() {
    let (place, other) = (eventful(Database::new()).await, Database::file());
    assert_eq!(place.database.raw().await.run("UPDATE scores SET key = key - 1 WHERE bib = 7").await.unwrap(), 1);
    let target = Store::open(&other.url).await.unwrap();
    let refused = place.store.transfer_to(&target, |_, _| {}).await.unwrap_err();
    assert_eq!(told(&refused), "move_log");
    assert_eq!(target.list_competitions().await.unwrap().len(), 0);
}

#[tokio::test]
async fn a_text_that_a_server_cannot_hold_is_named() {
    let (place, other) = (eventful(Database::file()).await, Database::new());
    place.database.raw().await.run("UPDATE sessions SET device = 'A' || char(0) || 'phone'").await.unwrap();
    let target = Store::open(&other.url).await.unwrap();
    let moved = place.store.transfer_to(&target, |_, _| {}).await;
    if other.is_served() {
        assert_eq!(told(&moved.unwrap_err()), "move_nul");
    } else {
        moved.unwrap();
    }
}

/// Both engines let readers in meanwhile: they see where the log stands.
#[tokio::test(flavor = "multi_thread")]
async fn nobody_writes_to_the_source_meanwhile() {
    let (place, other) = (eventful(Database::new()).await, Database::file());
    let target = Store::open(&other.url).await.unwrap();
    let writer = place.second_writer().await;
    let before = place.store.find_competition("saltmarsh").await.unwrap().unwrap().seq;
    let (late, seen) = (Arc::new(Mutex::new(None)), Arc::new(Mutex::new(Vec::new())));
    let (task, source, positions) = (Arc::clone(&late), place.store.clone(), Arc::clone(&seen));
    let sent = place
        .store
        .transfer_to(&target, move |_, _| {
            let mut task = task.lock().unwrap();
            task.get_or_insert_with(|| {
                let writer = writer.clone();
                let write = async move { writer.submit(score("w1", 500, "4+3", true), None).await };
                let write = tokio::spawn(write);
                // By far longer than it takes where nobody keeps it from being stored.
                std::thread::sleep(Duration::from_millis(500));
                write
            });
            let now = tokio::task::block_in_place(|| {
                tokio::runtime::Handle::current().block_on(source.find_competition("saltmarsh"))
            });
            positions.lock().unwrap().push(now.unwrap().unwrap().seq);
        })
        .await
        .unwrap();
    let seen = std::mem::take(&mut *seen.lock().unwrap());
    assert!(seen.len() > 10 && seen.iter().all(|seq| *seq == before), "{before} and then {seen:?}");
    assert_eq!(sent.verified[0].records, before);
    assert_eq!(target.find_competition("saltmarsh").await.unwrap().unwrap().seq, before);
    // Who wanted to has waited until it was done, or was sent away, and is free to now.
    let late = late.lock().unwrap().take().unwrap();
    let late = late.await.unwrap();
    let after = place.store.find_competition("saltmarsh").await.unwrap().unwrap().seq;
    assert_eq!(late.is_ok(), after > before, "{late:?}");
    place.in_a_moment(score("w1", 500, "5+3", true)).await;
}
