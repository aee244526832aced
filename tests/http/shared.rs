//! Answers that are made once for all who ask the same: how long they hold, and for whom.

use crate::support::{Client, SALTMARSH, TestApp, noon};
use axum::Router;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use jiff::{SignedDuration, Timestamp};
use serde_json::json;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use tallywright::web::behind_layers;
use tallywright::web::shared::{Shared, Steady};

const PAGE: &str = "/c/saltmarsh/divisions/women";
const JSON: &str = "/api/v1/competitions/saltmarsh/divisions/women/standings";

/// The common layers around one page, that says how often it was made. It takes a while to make.
async fn counting(app: &TestApp, takes: Duration) -> (Client, Arc<AtomicUsize>) {
    steady(app, takes, None).await
}

/// The same of one that tells no time until then.
async fn steady(app: &TestApp, takes: Duration, until: Option<Timestamp>) -> (Client, Arc<AtomicUsize>) {
    let competition = app.app.store.find_competition(SALTMARSH).await.unwrap().unwrap().id;
    let (made, here) = (Arc::new(AtomicUsize::new(0)), app.app.clone());
    let counted = Arc::clone(&made);
    let page = move || {
        let (here, counted) = (here.clone(), Arc::clone(&counted));
        async move {
            let forgotten = here.board.names(competition).unwrap().forgotten();
            let steady = until.map(|until| Steady { until, forgotten });
            let shared = Shared { competition, mark: here.board.mark(competition).unwrap(), steady };
            let nth = counted.fetch_add(1, Ordering::SeqCst) + 1;
            tokio::time::sleep(takes).await;
            let mut response: Response =
                format!("made {nth} {}", "and long enough to be compressed ".repeat(40)).into_response();
            response.extensions_mut().insert(shared);
            response
        }
    };
    let routes = Router::new().route("/c/{c}/divisions/{d}", get(page));
    (Client::new(behind_layers(app.app.clone(), routes)), made)
}

/// Moves the clock this much past noon.
fn later(app: &TestApp, millis: i64) {
    app.app.clock.set(noon() + SignedDuration::from_millis(millis));
}

async fn score(app: &TestApp, text: &str) {
    let attested = json!({ "performance": text, "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let staff = app.staff_of("quayside").await;
    let path = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
    let known = staff.get(path).await;
    let call = staff.put(path).json(attested);
    match known.status.as_u16() {
        404 => call.await.expect(201),
        _ => call.if_match(known.json()["etag"].as_str().unwrap()).await.expect(200),
    };
}

async fn nth(client: &Client) -> String {
    let text = client.get(PAGE).await.expect(200).text();
    text.split(' ').nth(1).unwrap().to_owned()
}

#[tokio::test]
async fn an_answer_is_made_once_while_nothing_changes_and_for_a_second_at_most() {
    let app = TestApp::new().await;
    let (client, made) = counting(&app, Duration::ZERO).await;
    for _ in 0..3 {
        assert_eq!(nth(&client).await, "1");
    }
    later(&app, 999);
    assert_eq!(nth(&client).await, "1");
    later(&app, 1000);
    assert_eq!(nth(&client).await, "2");
    // A clock that was set back tells nothing.
    later(&app, -900);
    assert_eq!(nth(&client).await, "3");
    // Other addresses are other answers.
    client.get("/c/saltmarsh/divisions/women?from=51").await.expect(200);
    assert_eq!(made.load(Ordering::SeqCst), 4);
}

#[tokio::test]
async fn what_tells_no_time_is_kept_until_a_window_opens_or_closes_or_something_changes() {
    let app = TestApp::new().await;
    let (client, _) = steady(&app, Duration::ZERO, Some(noon() + SignedDuration::from_mins(10))).await;
    assert_eq!(nth(&client).await, "1");
    later(&app, 599_999);
    assert_eq!(nth(&client).await, "1");
    score(&app, "4+2 tb 2:10").await;
    assert_eq!(nth(&client).await, "2");
    assert_eq!(nth(&client).await, "2");
    // A name ends before the log tells of it.
    let competition = app.app.store.find_competition(SALTMARSH).await.unwrap().unwrap().id;
    app.app.board.names(competition).unwrap().forget([1042]);
    assert_eq!(nth(&client).await, "3");
    later(&app, 600_000);
    assert_eq!(nth(&client).await, "4");
}

#[tokio::test]
async fn standings_change_with_the_clock_where_a_window_closes() {
    let app = TestApp::new().await;
    app.db_competition(SALTMARSH, false).await;
    score(&app, "4+2 tb 2:10").await;
    let without = format!("{JSON}?running=without");
    let counted = async || {
        let page = app.nobody().get(&without).await.expect(200).json();
        page["rows"][0]["workouts"].as_array().unwrap().len()
    };
    let before = counted().await;
    let closes = app.app.board.view(app.app.store.find_competition(SALTMARSH).await.unwrap().unwrap().id).unwrap();
    let closes = closes.definition().workout("w1").unwrap().window.closes;
    app.app.clock.set(closes - SignedDuration::from_millis(1));
    assert_eq!(counted().await, before);
    app.app.clock.set(closes);
    assert_eq!(counted().await, before + 1);
}

#[tokio::test]
async fn a_change_makes_it_anew_at_once_where_no_lag_is_allowed() {
    let app = TestApp::new().await;
    let (client, _) = counting(&app, Duration::ZERO).await;
    assert_eq!(nth(&client).await, "1");
    score(&app, "4+2 tb 2:10").await;
    assert_eq!(nth(&client).await, "2");
    assert_eq!(nth(&client).await, "2");
}

#[tokio::test(flavor = "multi_thread")]
async fn with_a_lag_one_makes_it_anew_and_the_others_do_not_wait() {
    let app = TestApp::configured(|config| config.lag = SignedDuration::from_secs(1)).await;
    app.db_competition(SALTMARSH, false).await;
    let takes = Duration::from_millis(20);
    let (client, made) = counting(&app, takes).await;
    assert_eq!(nth(&client).await, "1");
    score(&app, "4+2 tb 2:10").await;
    // It took 20 ms, so it rests for 400.
    later(&app, 100);
    assert_eq!(nth(&client).await, "1");
    later(&app, 650);
    let answers = tokio::join!(nth(&client), nth(&client), nth(&client), nth(&client));
    let mut answers = [answers.0, answers.1, answers.2, answers.3];
    answers.sort();
    assert_eq!(answers, ["1", "1", "1", "2"]);
    assert_eq!(nth(&client).await, "2");
    assert_eq!(made.load(Ordering::SeqCst), 2);
    // Nothing is ever shown that is older than the lag.
    score(&app, "4+3 tb 2:10").await;
    later(&app, 1650);
    assert_eq!(nth(&client).await, "3");
}

#[tokio::test(flavor = "multi_thread")]
async fn of_many_who_come_at_once_the_first_makes_it() {
    let app = TestApp::new().await;
    let (client, made) = counting(&app, Duration::from_millis(50)).await;
    let all = (0..40).map(|_| {
        let client = client.clone();
        tokio::spawn(async move { nth(&client).await })
    });
    for one in all.collect::<Vec<_>>() {
        assert_eq!(one.await.unwrap(), "1");
    }
    assert_eq!(made.load(Ordering::SeqCst), 1);
}

#[tokio::test]
async fn who_asks_as_somebody_or_for_a_state_gets_an_answer_of_their_own() {
    let app = TestApp::new().await;
    let (client, made) = counting(&app, Duration::ZERO).await;
    assert_eq!(nth(&client).await, "1");
    for (name, value) in [("cookie", "sid=somebody"), ("authorization", "Bearer somebody")] {
        client.get(PAGE).header(name, value).await;
    }
    for query in ["at_least=1", "as_of=1", "q=Ines", "lang=de", "from=1&at%5Fleast=3"] {
        client.get(&format!("{PAGE}?{query}")).await.expect(200);
        client.get(&format!("{PAGE}?{query}")).await.expect(200);
    }
    assert_eq!(made.load(Ordering::SeqCst), 13);
    // A cookie that says nothing about who asks does not matter, but for the language.
    assert_eq!(client.get(PAGE).header("cookie", "other=1").await.expect(200).text().split(' ').nth(1), Some("1"));
    assert_eq!(client.get(PAGE).header("cookie", "lang=de").await.expect(200).text().split(' ').nth(1), Some("14"));
}

#[tokio::test]
async fn every_language_and_coding_has_its_own_and_what_one_has_already_is_not_sent_again() {
    let app = TestApp::new().await;
    let nobody = app.nobody();
    let ask = |language: &'static str, coding: &'static str| {
        nobody.get(PAGE).header("accept-language", language).header("accept-encoding", coding)
    };
    for _ in 0..2 {
        assert!(ask("en", "identity").await.expect(200).text().contains("lang=\"en\""));
        assert!(ask("de", "identity").await.expect(200).text().contains("lang=\"de\""));
        for coding in ["gzip", "br"] {
            assert_eq!(ask("en", coding).await.expect(200).header("content-encoding"), coding);
        }
        // What is wanted most, not what is named first.
        let picky = ask("en", "br;q=0.1, gzip;q=0.9").await.expect(200);
        assert_eq!(picky.header("content-encoding"), "gzip");
        assert_eq!(ask("en", "br").await.expect(200).header("content-encoding"), "br");
    }
    for _ in 0..2 {
        let first = nobody.get(JSON).await.expect(200);
        let again = nobody.get(JSON).header("if-none-match", first.header("etag")).await.expect(304);
        assert_eq!((again.header("etag"), again.text().as_str()), (first.header("etag"), ""));
        assert_eq!(again.header("content-type"), "");
        assert!(!again.header("x-request-id").is_empty() && !again.header("content-security-policy").is_empty());
        nobody.get(JSON).header("if-none-match", "\"other\"").await.expect(200);
    }
    assert_ne!(nobody.get(JSON).await.header("x-request-id"), nobody.get(JSON).await.header("x-request-id"));
}

#[tokio::test]
async fn what_is_the_readers_own_is_never_shown_to_others() {
    let app = TestApp::configured(|config| config.lag = SignedDuration::from_secs(1)).await;
    app.db_competition(SALTMARSH, false).await;
    let athlete = app.browser("ines@example.org", &[]).await;
    for path in [PAGE, "/c/saltmarsh", "/c/saltmarsh/workouts/w1", "/c/saltmarsh/athletes/1042"] {
        let first = athlete.get(path).await.expect(200);
        assert!(first.text().contains("/signout"), "{path}");
        let public = app.nobody().get(path).await.expect(200);
        assert!(!public.text().contains("/signout") && !public.text().contains("csrf"), "{path}");
        assert!(athlete.get(path).await.expect(200).text().contains("/signout"), "{path}");
        assert_eq!(app.nobody().get(path).await.expect(200).text(), public.text(), "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_may_not_be_kept_is_made_for_each_side_by_side() {
    let app = TestApp::new().await;
    let asked = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&asked);
    let page = move || {
        let counted = Arc::clone(&counted);
        async move {
            counted.fetch_add(1, Ordering::SeqCst);
            tokio::time::sleep(Duration::from_millis(500)).await;
            "of nobody else"
        }
    };
    let client = Client::new(behind_layers(app.app.clone(), Router::new().route("/c/{c}/divisions/{d}", get(page))));
    let begun = Instant::now();
    let all = (0..40).map(|_| {
        let client = client.clone();
        tokio::spawn(async move { client.get(PAGE).await.expect(200) })
    });
    for one in all.collect::<Vec<_>>() {
        one.await.unwrap();
    }
    assert_eq!(asked.load(Ordering::SeqCst), 40);
    // One after the other it would have been twenty seconds.
    assert!(begun.elapsed() < Duration::from_secs(15), "{:?}", begun.elapsed());
}

#[tokio::test]
async fn a_program_gets_the_form_that_it_asks_for() {
    let app = TestApp::new().await;
    let nobody = app.nobody();
    for _ in 0..2 {
        for (accept, kind) in [
            ("application/json", "application/json"),
            ("text/csv", "text/csv; charset=utf-8"),
            ("text/*", "text/csv; charset=utf-8"),
            ("application/json;q=0.1, text/csv", "text/csv; charset=utf-8"),
            ("*/*", "application/json"),
        ] {
            let reply = nobody.get(JSON).header("accept", accept).await.expect(200);
            assert_eq!(reply.header("content-type"), kind, "{accept}");
        }
        nobody.get(JSON).header("accept", "image/png").await.expect(406);
    }
}
