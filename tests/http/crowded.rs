//! Others hold the database for longer than anybody waits: who wants to write outside the logs is told to come
//! again, and when, by the interface and by the pages.

use crate::support::TestApp;
use serde_json::json;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tallywright::actions::accounts::Gate;
use tallywright::actions::changes::Kept;
use tallywright::actions::directory::Directory;
use tallywright::actions::mail::Post;
use tallywright::app::{App, Parts, Wholes};
use tallywright::rules::access::Actor;
use tallywright::rules::ledger::{Asked, Change, Outcome, Precondition};
use tallywright::rules::roster::RawEntry;
use tallywright::store::{WriteError, Writer};

#[tokio::test(flavor = "multi_thread")]
async fn who_waits_in_vain_for_the_database_is_told_when_to_come_again() {
    let app = TestApp::new().await;
    let (organiser, nobody) = (app.administrator().await, app.nobody());
    let mut holds = app.database.raw().await;
    let hold = "BEGIN; SELECT pg_advisory_xact_lock(29815, 0)";
    holds.run(if app.database.is_served() { hold } else { "BEGIN IMMEDIATE" }).await.unwrap();
    let goes_on = async {
        // It does not stand still: nobody ends it.
        loop {
            holds.run("SELECT 1").await.unwrap();
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    };
    let account = json!({ "email": "bela@example.org", "roles": [{ "role": "referee", "competition": "saltmarsh" }] });
    let add = || organiser.post("/api/v1/accounts").json(account.clone());
    let sign_in = || {
        nobody
            .post("/signin")
            .accept("text/html")
            .form(&[("email", "ana@example.org"), ("password", "wrong enough today")])
    };
    let asked = async {
        // The others wait for the connection that the first waits with.
        let (added, again, signed_in) = tokio::join!(add(), add(), sign_in());
        [added, again, signed_in]
    };
    let told = tokio::select! {
        told = asked => told,
        () = goes_on => unreachable!("it holds on"),
    };
    for reply in &told {
        assert_eq!(reply.status, 503, "{}", reply.text());
        assert!(reply.header("retry-after").parse::<u32>().is_ok_and(|seconds| seconds > 0));
    }
    assert_eq!((told[0].code(), told[1].code()), ("busy".to_owned(), "busy".to_owned()));
    assert!(told[2].header("content-type").starts_with("text/html"), "a page says it");
    // Reads went on, and nothing of it is left over.
    holds.run("ROLLBACK").await.unwrap();
    nobody.get("/c/saltmarsh").await.expect(200);
    let added = add().await;
    assert_eq!(added.status, 201, "nothing was stored before: {}", added.text());
}

/// That a session is used is written down every few minutes; who reads by it does not wait for that.
#[tokio::test(flavor = "multi_thread")]
async fn who_is_signed_in_reads_while_nothing_can_be_written() {
    let app = TestApp::new().await;
    let browser = app.browser("ana@example.org", &[]).await;
    browser.get("/c/saltmarsh").await.expect(200);
    let mut holds = app.database.raw().await;
    let hold = "BEGIN; SELECT pg_advisory_xact_lock(29815, 0)";
    holds.run(if app.database.is_served() { hold } else { "BEGIN IMMEDIATE" }).await.unwrap();
    app.set_clock("2027-01-14T13:00:00Z");
    let began = Instant::now();
    for _ in 0..5 {
        browser.get("/c/saltmarsh").await.expect(200);
    }
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    let _ = holds.run("ROLLBACK").await;
    // And it is written down in the end.
    let seen = async || {
        app.database.raw().await.number("SELECT COUNT(*) FROM sessions WHERE seen_at > created_at + 3000000000").await
    };
    let began = Instant::now();
    while seen().await == 0 {
        assert!(began.elapsed() < Duration::from_secs(30), "it is not written down");
        browser.get("/c/saltmarsh").await.expect(200);
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn more_who_sign_in_than_there_is_room_for_changes_leave_room_for_scores() {
    let app = TestApp::new().await;
    // Twice the room that all changes have together (`CHANGES` of `web/limits.rs`); on a server fewer, whose
    // connections they take turns at too.
    let many = if app.database.is_served() { 300_u32 } else { 2 * 768 };
    let staff = app.staff_of("quayside").await;
    let sign_ins: Vec<_> = (0..many)
        .map(|n| {
            let from = app.nobody().seen_from(&format!("198.51.{}.{}", n / 200, n % 200));
            tokio::spawn(async move {
                let email = format!("gym-{n}@example.org");
                from.post("/signin").form(&[("email", &*email), ("password", "wrong enough today")]).await.status
            })
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(50)).await;
    let score = json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    staff.put("/api/v1/competitions/saltmarsh/workouts/w1/scores/1042").json(score).await.expect(201);
    let (mut told, mut away) = (0, 0);
    for sign_in in sign_ins {
        match sign_in.await.unwrap().as_u16() {
            401 => told += 1,
            503 => away += 1,
            other => panic!("{other}"),
        }
    }
    assert!(told > 0 && away > 0, "{told} were told, {away} were sent away at once");
}

/// As many scores at once may fill it: the writer stands still here.
#[tokio::test(flavor = "multi_thread")]
async fn a_full_queue_refuses_the_next_change_and_stores_once_what_waits_while_standings_are_read() {
    // Of `store/writer.rs`.
    const QUEUE: usize = 4_096;
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let parts = &app.app;
    let (goes_on, waits) = std::sync::mpsc::channel::<()>();
    let logs = parts.logs.clone();
    let writer = Writer::start(parts.store.clone(), parts.clock.clone(), move |committed| {
        logs.committed(committed);
        // Until whoever holds the other end is gone; what else this thread has to do is handed on.
        let _ = tokio::task::block_in_place(|| waits.recv());
    });
    let stalled = App::new(Parts {
        config: parts.config.clone(),
        store: parts.store.clone(),
        writer: writer.clone(),
        board: Arc::clone(&parts.board),
        logs: parts.logs.clone(),
        clock: parts.clock.clone(),
        keys: parts.keys.clone(),
        post: Post::default(),
        changes: Kept::default(),
        gyms: Directory::default(),
        gate: Gate::default(),
        wholes: Wholes::default(),
    });
    let router = tallywright::web::router(stalled);
    let (staff, nobody) = (staff.at(router.clone()), app.nobody().at(router));
    let head = async || parts.store.find_competition("saltmarsh").await.unwrap().unwrap().seq;
    let before = head().await;
    let enter = |n: usize| Asked {
        actor: Actor::operator(),
        competition: "saltmarsh".to_owned(),
        received: parts.clock.now(),
        precondition: Precondition::None,
        salt: [7; 32],
        change: Change::SetEntry(RawEntry {
            bib: u32::try_from(20_000 + n).ok(),
            name: format!("Runner {n}"),
            born: "1995-02-03".to_owned(),
            category: "women".to_owned(),
            division: "women".to_owned(),
            ..RawEntry::default()
        }),
    };
    let hand_in = |n: usize| {
        let (writer, asked) = (writer.clone(), enter(n));
        tokio::spawn(async move { writer.submit(asked, None).await })
    };
    // The first is stored, and not answered yet.
    let mut sent = vec![hand_in(0)];
    let began = Instant::now();
    while head().await == before {
        assert!(began.elapsed() < Duration::from_secs(30), "the first is not stored");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    for n in 1..=QUEUE {
        sent.push(hand_in(n));
    }
    while writer.waiting() < QUEUE {
        assert!(began.elapsed() < Duration::from_mins(1), "{} wait", writer.waiting());
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    // One more is one too many, however it comes.
    for n in 0..1_000 {
        assert!(matches!(writer.submit(enter(30_000 + n), None).await, Err(WriteError::Busy)));
    }
    let score = json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let put = || staff.put("/api/v1/competitions/saltmarsh/workouts/w1/scores/1042").json(score.clone());
    let told = put().await.expect(503);
    assert_eq!((told.code().as_str(), told.header("retry-after")), ("busy", "1"));
    assert_eq!(writer.waiting(), QUEUE);
    for path in ["/c/saltmarsh/divisions/women", "/api/v1/competitions/saltmarsh/divisions/women/standings"] {
        nobody.get(path).await.expect(200);
    }
    drop(goes_on);
    for sent in sent {
        let answer = sent.await.unwrap().unwrap();
        assert!(matches!(answer.outcome, Outcome::Roster { created: true, .. }), "{:?}", answer.outcome);
    }
    assert_eq!(head().await - before, QUEUE as u64 + 1, "each once, and nothing of what was refused");
    put().await.expect(201);
    let verified = parts.store.verify(None).await.unwrap();
    assert!(verified.iter().all(|log| log.difference.is_none()), "{verified:?}");
}
