//! Others hold the database for longer than anybody waits: who wants to write outside the logs is told to come
//! again, and when, by the interface and by the pages.

use crate::support::TestApp;
use serde_json::json;
use std::time::{Duration, Instant};

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
async fn many_who_sign_in_leave_room_for_scores() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let sign_ins: Vec<_> = (0..300_u32)
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
