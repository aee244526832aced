//! What several processes on one database may count on, and what holds on a server alone.

use super::support::{FILE, Place, account, apply, ask, entry, noon, score};
use futures_util::StreamExt;
use jiff::SignedDuration;
use sqlx::migrate::Migrate;
use sqlx::{Connection, Executor, PgConnection};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use tallywright::app::Clock;
use tallywright::rules::access::{Grant, Role};
use tallywright::rules::ledger::{Asked, Change, Outcome};
use tallywright::rules::roster::RawEntry;
use tallywright::store::accounts::NewAccount;
use tallywright::store::throttles::Limit;
use tallywright::store::{Store, Trouble, WriteError, Writer};

#[tokio::test(flavor = "multi_thread")]
async fn a_competition_that_two_processes_make_at_once_is_made_once() {
    let place = Place::new().await;
    let other = place.second_writer().await;
    let answers = tokio::join!(place.submit(apply(FILE)), other.submit(apply(FILE), None));
    assert!(answers.0.is_ok() && answers.1.is_ok(), "{answers:?}");
    assert_eq!(place.store.list_competitions().await.unwrap().len(), 1);
    assert_eq!(place.difference().await, None);
}

/// Each of their groups is of both, so that they meet at both heads all the time.
#[tokio::test(flavor = "multi_thread")]
async fn two_processes_that_write_to_two_competitions_at_once_lose_and_repeat_nothing_of_either() {
    const EACH: u32 = 120;
    let place = Place::with_entries(0).await;
    let elsewhere = |asked: Asked| Asked { competition: "fen".to_owned(), ..asked };
    place.submit(elsewhere(apply(&FILE.replace("saltmarsh", "fen")))).await.unwrap();
    let before: Vec<u64> = place.store.list_heads().await.unwrap().iter().map(|head| head.1).collect();
    let enter = |bib| ask(Change::SetEntry(RawEntry { gym: String::new(), ..entry(bib) }));
    let writers = [place.writer.clone(), place.second_writer().await];
    let mut all = Vec::new();
    // In different orders: whoever holds the one and waits for the other would wait for ever.
    for (n, writer) in (0..).zip(&writers) {
        for bib in 1..=EACH {
            let bib = 2 * bib + n;
            let here = if n == 0 { [enter(bib), elsewhere(enter(bib))] } else { [elsewhere(enter(bib)), enter(bib)] };
            for asked in here {
                let writer = writer.clone();
                all.push(tokio::spawn(async move {
                    let began = Instant::now();
                    loop {
                        match writer.submit(asked.clone(), None).await {
                            // Told to come again: nothing is stored.
                            Err(WriteError::Busy) if began.elapsed() < Duration::from_secs(30) => {
                                tokio::time::sleep(Duration::from_millis(50)).await;
                            }
                            other => return other,
                        }
                    }
                }));
            }
        }
    }
    for answer in all {
        let answer = answer.await.unwrap().unwrap();
        assert!(matches!(answer.outcome, Outcome::Roster { created: true, .. }), "{:?}", answer.outcome);
    }
    let after: Vec<u64> = place.store.list_heads().await.unwrap().iter().map(|head| head.1).collect();
    let more: Vec<u64> = after.iter().zip(&before).map(|(after, before)| after - before).collect();
    assert_eq!(more, [u64::from(2 * EACH); 2]);
    let verified = place.store.verify(None).await.unwrap();
    assert!(verified.len() == 2 && verified.iter().all(|log| log.difference.is_none()), "{verified:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_role_that_two_processes_give_at_once_is_given_once() {
    let place = Place::with_entries(1).await;
    let other = place.open_again().await;
    let account = account(&place.store, "a@example.org", None).await;
    let grant = Grant { role: Role::Referee, competition: None, gym: None, bib: None, judge: None };
    for _ in 0..10 {
        let (one, two) = (std::slice::from_ref(&grant), std::slice::from_ref(&grant));
        let (one, two) =
            tokio::join!(place.store.add_grants(account, one, noon()), other.add_grants(account, two, noon()));
        assert_eq!(one.unwrap(), two.unwrap());
    }
    assert_eq!(place.store.list_grants_of(account).await.unwrap().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn of_two_who_organise_alone_and_give_it_up_in_two_processes_at_once_one_keeps_it() {
    let place = Place::new().await;
    let other = place.open_again().await;
    let everywhere = Grant { role: Role::Organiser, competition: None, gym: None, bib: None, judge: None };
    let here = Grant { competition: Some("saltmarsh".to_owned()), ..everywhere.clone() };
    for round in 0..10 {
        let mut both = Vec::new();
        for name in ["a", "b"] {
            let email = format!("{name}{round}@example.org");
            let id = account(&place.store, &email, None).await;
            place.store.add_grants(id, &[everywhere.clone(), here.clone()], noon()).await.unwrap();
            both.push(id);
        }
        let given = tokio::join!(place.store.give_up_organising(both[0]), other.give_up_organising(both[1]));
        let given = [given.0.unwrap(), given.1.unwrap()];
        assert_eq!(given.iter().filter(|given| given.is_ok()).count(), 1, "{given:?}");
        let kept = both[usize::from(given[0].is_ok())];
        assert_eq!(place.store.list_grants_of(kept).await.unwrap().len(), 2);
        assert!(place.store.erase_account(kept).await.unwrap().is_err());
        assert!(!place.store.close_account(kept, true, noon()).await.unwrap());
        assert!(place.store.close_account(kept, false, noon()).await.unwrap());
    }
}

/// Marks a connection as one of the program's that write.
const MARK: &str = "SELECT pg_advisory_lock_shared(29817, 0)";
const HOLD: &str = "BEGIN; SELECT * FROM competitions FOR UPDATE";

#[tokio::test]
async fn who_stalls_with_a_head_in_hand_is_cut_off_before_others_lose_patience() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let mut stalled = place.raw().await;
    stalled.run(MARK).await.unwrap();
    stalled.run(HOLD).await.unwrap();
    let started = Instant::now();
    place.submit(score("w1", 1, "4+0", false)).await.unwrap();
    assert!(started.elapsed() > Duration::from_millis(500), "it was held");
    assert!(stalled.run("COMMIT").await.is_err(), "who stalled has lost the transaction");
}

#[tokio::test]
async fn who_stalls_in_the_middle_of_an_answer_is_cut_off_too() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let mut stalled = PgConnection::connect(&place.database.url).await.unwrap();
    stalled.execute(MARK).await.unwrap();
    stalled.execute(HOLD).await.unwrap();
    // Far more than what is between the two holds: the server waits for its reader.
    let mut answer = stalled.fetch("SELECT repeat('x', 1000) FROM generate_series(1, 100000)");
    answer.next().await.unwrap().unwrap();
    place.submit(score("w1", 1, "4+0", false)).await.unwrap();
    let rest: Vec<_> = answer.collect().await;
    assert!(rest.iter().any(Result::is_err), "who stalled has lost the transaction");
}

#[tokio::test]
async fn who_stalls_with_the_turn_outside_the_logs_is_cut_off_too() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let mut stalled = place.raw().await;
    stalled.run(MARK).await.unwrap();
    stalled.run("BEGIN; SELECT pg_advisory_xact_lock(29815, 0)").await.unwrap();
    // Scores do not queue behind it.
    place.submit(score("w1", 1, "4+0", false)).await.unwrap();
    account(&place.store, "a@example.org", None).await;
    assert!(stalled.run("COMMIT").await.is_err(), "who stalled has lost the transaction");
}

#[tokio::test]
async fn who_takes_time_is_waited_for_as_long_as_its_process_goes_on() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let mut thinks = place.raw().await;
    thinks.run(MARK).await.unwrap();
    thinks.run(HOLD).await.unwrap();
    let pid = thinks.number("SELECT pg_backend_pid()::bigint").await;
    let mut says_so = place.raw().await;
    says_so.run(&format!("SELECT pg_advisory_lock_shared(29816, {pid})")).await.unwrap();
    let goes_on = tokio::spawn(async move {
        loop {
            says_so.run("SELECT 1").await.unwrap();
            tokio::time::sleep(Duration::from_millis(250)).await;
        }
    });
    let answer = place.submit(score("w1", 1, "4+0", false)).await;
    assert!(matches!(answer, Err(WriteError::Busy)), "{answer:?}");
    thinks.run("SELECT 1").await.expect("it is still there");
    // What only looks waits for nobody.
    let Change::Apply { raw, rescore, reason, .. } = apply(FILE).change else { unreachable!() };
    let looks = ask(Change::Apply { raw, dry_run: true, rescore, reason });
    assert!(place.store.try_out(&looks, noon()).await.unwrap().is_ok());
    // It is stopped: it says nothing more.
    goes_on.abort();
    place.in_a_moment(score("w1", 1, "4+0", false)).await;
    assert!(thinks.run("COMMIT").await.is_err(), "who stalled has lost the transaction");
}

#[tokio::test]
async fn nobody_waits_to_bring_tables_up_to_date_that_are() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    // The lock that is held for as long as somebody does it, by whom nothing more is heard.
    let mut stalled = PgConnection::connect(&place.database.url).await.unwrap();
    stalled.lock().await.unwrap();
    tokio::time::timeout(Duration::from_secs(20), Store::open(&place.database.url)).await.unwrap().unwrap();
}

#[tokio::test]
async fn every_connection_of_ours_has_the_settings_that_keep_others_from_waiting() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let mut raw = place.raw().await;
    let ours = "FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'tallywright'";
    assert!(raw.number(&format!("SELECT COUNT(*) {ours}")).await > 0);
    // A lock that is held is waited for no longer than 2 s.
    raw.run("BEGIN; SELECT * FROM competitions FOR UPDATE").await.unwrap();
    let started = Instant::now();
    let answer = place.submit(score("w1", 1, "4+0", false)).await;
    assert!(matches!(answer, Err(WriteError::Busy)), "{answer:?}");
    assert!((2_000..4_000).contains(&started.elapsed().as_millis()), "{:?}", started.elapsed());
}

/// What somebody else does with one competition keeps the scores of another one no longer than a moment.
#[tokio::test]
async fn a_competition_in_somebodys_hand_keeps_no_other_one_waiting() {
    let place = Place::with_entries(2).await;
    if !place.database.is_served() {
        return;
    }
    let elsewhere = |asked: Asked| Asked { competition: "fen".to_owned(), ..asked };
    place.submit(elsewhere(apply(&FILE.replace("saltmarsh", "fen")))).await.unwrap();
    place.submit(elsewhere(ask(Change::SetEntry(RawEntry { gym: String::new(), ..entry(1) })))).await.unwrap();
    let mut holds = place.raw().await;
    holds.run("BEGIN; SELECT * FROM competitions WHERE slug = 'saltmarsh' FOR UPDATE").await.unwrap();
    let goes_on = async {
        loop {
            holds.run("SELECT 1").await.unwrap();
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    };
    let writes = async {
        let mut waited = Vec::new();
        for n in 0..8 {
            let began = Instant::now();
            let here = place.submit(score("w1", 1, &format!("{n}+1"), false));
            let there = async {
                let entered = ask(Change::SetEntry(RawEntry { gym: String::new(), ..entry(2 + n) }));
                let done = place.submit(elsewhere(entered)).await;
                waited.push(began.elapsed());
                done
            };
            let (here, there) = tokio::join!(here, there);
            assert!(matches!(here, Err(WriteError::Busy)), "{here:?}");
            there.unwrap();
        }
        waited
    };
    let waited = tokio::select! {
        waited = writes => waited,
        () = goes_on => unreachable!("it holds on"),
    };
    // Once as long as anybody waits for a lock, and hardly at all afterwards.
    assert!(waited[1..].iter().sum::<Duration>() < Duration::from_secs(4), "{waited:?}");
    holds.run("ROLLBACK").await.unwrap();
    place.in_a_moment(score("w1", 1, "4+1", false)).await;
}

/// A process hears of what another one has written by the server's own word.
#[tokio::test(flavor = "multi_thread")]
async fn what_another_process_has_written_is_told() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let (told, heard) = (Arc::new(AtomicUsize::new(0)), place.open_again().await);
    let count = Arc::clone(&told);
    let listens = tokio::spawn(async move {
        let told = || {
            count.fetch_add(1, Ordering::SeqCst);
        };
        heard.listen(told).await
    });
    let reaches = async |n: usize| {
        let began = Instant::now();
        while told.load(Ordering::SeqCst) < n {
            assert!(began.elapsed() < Duration::from_secs(20), "{}", told.load(Ordering::SeqCst));
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    };
    // Once at the beginning: what was written before is not said.
    reaches(1).await;
    place.submit(score("w1", 1, "4+1", false)).await.unwrap();
    reaches(2).await;
    listens.abort();
}

/// Others hold what all writes outside the logs need: they are told that it is busy, not that something broke
/// or that nobody is there.
#[tokio::test]
async fn writes_outside_the_logs_that_wait_in_vain_are_told_that_it_is_busy() {
    let place = Place::with_entries(1).await;
    let id = account(&place.store, "a@example.org", None).await;
    let mut holds = place.raw().await;
    let hold = "BEGIN; SELECT pg_advisory_xact_lock(29815, 0)";
    holds.run(if place.database.is_served() { hold } else { "BEGIN IMMEDIATE" }).await.unwrap();
    let goes_on = async {
        // It does not stand still: nobody ends it.
        loop {
            holds.run("SELECT 1").await.unwrap();
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    };
    let limits = [Limit { key: [7; 32], burst: 1, period: SignedDuration::from_secs(1) }];
    let roles = [Grant { role: Role::Referee, competition: None, gym: None, bib: None, judge: None }];
    let store = &place.store;
    let writes = async {
        // The second waits for the connection that the first waits with.
        let both = tokio::join!(store.count_try(&limits, noon()), store.add_grants(id, &roles, noon()));
        (both.0.unwrap_err(), both.1.unwrap_err())
    };
    let told = tokio::select! {
        told = writes => told,
        () = goes_on => unreachable!("it holds on"),
    };
    assert_eq!((told.0.trouble(), told.1.trouble()), (Some(Trouble::Busy), Some(Trouble::Busy)), "{told:?}");
    holds.run("ROLLBACK").await.unwrap();
    assert_eq!(store.count_try(&limits, noon()).await.unwrap(), None, "it was not counted");
    store.add_grants(id, &roles, noon()).await.unwrap();
}

/// A server that takes a statement and does not answer keeps a write outside the logs no longer than a group
/// of changes.
#[tokio::test]
async fn no_write_outside_the_logs_waits_for_ever() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let mut raw = place.raw().await;
    raw.run(
        "CREATE FUNCTION slow() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN PERFORM pg_sleep(60); RETURN NEW; END $$;
         CREATE TRIGGER slow BEFORE INSERT ON accounts FOR EACH ROW EXECUTE FUNCTION slow()",
    )
    .await
    .unwrap();
    let new = NewAccount { email: "a@b", folded_email: "a@b", password_hash: None, grants: &[], link: None };
    let started = Instant::now();
    let told = place.store.add_account(new, noon(), |_| false).await.unwrap_err();
    assert_eq!(told.trouble(), Some(Trouble::Unreachable), "{told:?}");
    assert!((9..30).contains(&started.elapsed().as_secs()), "{:?}", started.elapsed());
    raw.number("SELECT COUNT(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE wait_event = 'PgSleep'").await;
    raw.run("DROP TRIGGER slow ON accounts").await.unwrap();
    place.store.add_account(new, noon(), |_| false).await.unwrap();
}

/// Who may not try again is told so, and keeps the connection that said it.
#[tokio::test]
async fn a_try_too_many_costs_no_connection() {
    let place = Place::with_entries(1).await;
    if !place.database.is_served() {
        return;
    }
    let limit = Limit { key: [7; 32], burst: 1, period: SignedDuration::from_secs(60) };
    assert_eq!(place.store.count_try(&[limit], noon()).await.unwrap(), None);
    let ours = "SELECT COALESCE(SUM(pid), 0)::bigint FROM pg_stat_activity
                WHERE datname = current_database() AND application_name = 'tallywright'";
    let mut raw = place.raw().await;
    let before = raw.number(ours).await;
    for _ in 0..3 {
        assert!(place.store.count_try(&[limit], noon()).await.unwrap().is_some());
    }
    assert_eq!(raw.number(ours).await, before);
}

#[tokio::test]
async fn connections_that_were_cut_are_made_again() {
    let place = Place::with_entries(2).await;
    if !place.database.is_served() {
        return;
    }
    let cut = "SELECT COUNT(pg_terminate_backend(pid)) FROM pg_stat_activity
               WHERE datname = current_database() AND pid <> pg_backend_pid()";
    for bib in [1, 2] {
        assert!(place.raw().await.number(cut).await > 0);
        assert_eq!(place.store.list_competitions().await.unwrap().len(), 1);
        place.submit(score("w1", bib, "4+0", false)).await.unwrap();
    }
    assert_eq!(place.difference().await, None);
}

#[tokio::test]
async fn a_server_that_cannot_be_reached_is_unavailable_and_nothing_is_done() {
    let place = Place::with_entries(2).await;
    if !place.database.is_served() {
        return;
    }
    let store = Store::open(&place.database.url).await.unwrap();
    let writer = Writer::start(store, Clock::fixed(noon()), |_| {});
    place.database.shut(true);
    let started = Instant::now();
    let answers = writer.submit_many(vec![score("w1", 1, "4+0", false), score("w1", 2, "4+0", false)]).await;
    assert!(answers.iter().all(|a| matches!(a, Err(WriteError::Unavailable))), "{answers:?}");
    assert!(started.elapsed() < Duration::from_secs(10), "{:?}", started.elapsed());
    place.database.shut(false);
    assert!(writer.submit_many(vec![score("w1", 1, "4+0", false)]).await[0].is_ok());
    assert_eq!(place.difference().await, None);
}
