//! What every answer goes through: headers, problems, cross-site protection, limits, health.

use crate::support::{Client, Reply, TestApp, grant};
use axum::body::Body;
use axum::routing::{get, post};
use serde_json::{Value, json};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use tallywright::actions::accounts::Gate;
use tallywright::actions::changes::Kept;
use tallywright::actions::directory::Directory;
use tallywright::app::{App, Parts, Wholes};
use tallywright::rules::access::Role;
use tokio_util::sync::CancellationToken;

#[tokio::test]
async fn every_answer_carries_the_headers_that_protect_it() {
    let app = TestApp::empty().await;
    for path in ["/healthz", "/api/v1/me", "/nowhere", "/api/openapi.json"] {
        let reply = app.nobody().get(path).await;
        let policy = reply.header("content-security-policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        ] {
            assert!(policy.contains(part), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(reply.header("x-content-type-options"), "nosniff");
        assert_eq!(reply.header("referrer-policy"), "same-origin");
        assert!(!reply.header("cache-control").is_empty(), "{path}");
        assert_eq!(reply.header("x-request-id").len(), 32);
        assert_eq!(reply.header("strict-transport-security"), "", "not over plain http");
    }
}

#[tokio::test]
async fn a_request_id_from_outside_is_not_taken() {
    let app = TestApp::empty().await;
    let reply =
        app.nobody().get("/nowhere").header("x-request-id", "0123456789abcdef0123456789abcdef").await.expect(404);
    assert_ne!(reply.header("x-request-id"), "0123456789abcdef0123456789abcdef");
    assert_eq!(reply.json()["request_id"], reply.header("x-request-id"));
}

#[tokio::test]
async fn a_problem_is_json_for_programs_and_a_page_for_people() {
    let app = TestApp::empty().await;
    let json = app.nobody().get("/api/v1/nowhere").accept("text/html,*/*").await.expect(404);
    assert_eq!(json.header("content-type"), "application/problem+json");
    let body = json.json();
    assert_eq!(body["type"], "http://127.0.0.1:8080/problems/no_such_page");
    assert_eq!(body["status"], 404);
    assert_eq!(body["title"], "Not found");
    let page = app.nobody().get("/nowhere").accept("text/html,application/xhtml+xml,*/*;q=0.8").await.expect(404);
    assert!(page.header("content-type").starts_with("text/html"));
    assert!(page.text().contains("Not found"));
    assert!(page.text().contains(page.header("x-request-id")));
}

#[tokio::test]
async fn the_type_of_a_problem_leads_to_a_page() {
    let app = TestApp::empty().await;
    let page = app.nobody().get("/problems/precondition_failed").await.expect(200);
    assert!(page.text().contains("has changed since you saw it"));
    let page = app.nobody().get("/problems/text_too_long").await.expect(200);
    assert!(page.text().contains("At most … characters"), "values are left open");
    app.nobody().get("/problems/nothing_of_ours").await.expect(404);
    app.nobody().get("/problems/title_404").await.expect(404);
}

#[tokio::test]
async fn a_method_that_an_address_does_not_take_is_answered_with_those_it_takes() {
    let app = TestApp::empty().await;
    let reply = app.nobody().delete("/api/v1/me").await.expect(405);
    assert!(reply.header("allow").contains("GET"), "{:?}", reply.headers);
    assert_eq!(reply.code(), "no_such_method");
}

#[tokio::test]
async fn a_cookie_counts_for_nothing_on_a_change_from_another_site() {
    let app = TestApp::empty().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let own = |client: &Client| client.post("/api/v1/me/tokens").json(json!({"name": "desk"}));
    own(&browser).await.expect(201);
    let elsewhere = browser.clone().with(http::header::ORIGIN, "https://elsewhere.example");
    assert_eq!(own(&elsewhere).await.expect(403).code(), "cross_site");
    let silent = browser.clone().without(http::header::ORIGIN);
    assert_eq!(own(&silent).await.expect(403).code(), "cross_site");
    let fetched = silent.clone().with("sec-fetch-site".parse().unwrap(), "cross-site");
    assert_eq!(own(&fetched).await.expect(403).code(), "cross_site");
    let fetched = silent.with("sec-fetch-site".parse().unwrap(), "same-origin");
    own(&fetched).await.expect(201);
    elsewhere.get("/api/v1/me").await.expect(200);
    let login = app.nobody().with(http::header::ORIGIN, "https://elsewhere.example");
    let sent = json!({"email": "a@example.org", "password": "three old oars"});
    login.post("/api/v1/session").json(sent).await.expect(403);
}

#[tokio::test]
async fn other_sites_may_read_the_api_as_nobody_and_send_no_token() {
    let app = TestApp::empty().await;
    let reply = app.nobody().get("/api/v1/me").header("origin", "https://elsewhere.example").await;
    assert_eq!(reply.header("access-control-allow-origin"), "*");
    assert_eq!(reply.header("access-control-allow-credentials"), "");
    let asked = app.nobody().call(http::Method::OPTIONS, "/api/v1/me");
    let asked = asked.header("origin", "https://elsewhere.example").header("access-control-request-method", "PUT");
    let reply = asked.header("access-control-request-headers", "authorization").await;
    assert!(!reply.header("access-control-allow-methods").contains("PUT"));
    assert!(!reply.header("access-control-allow-headers").contains("authorization"));
}

#[tokio::test]
async fn bodies_are_refused_by_kind_size_and_text() {
    let app = TestApp::empty().await;
    let nobody = app.nobody();
    let to = || nobody.post("/api/v1/session");
    to().body("text/plain", "{}").await.expect(415);
    to().body("application/json; charset=latin1", "{}").await.expect(415);
    let large = to().body("application/json", vec![b' '; (1 << 20) + 1]).await.expect(413);
    assert_eq!(large.code(), "too_large");
    let broken = to().body("application/json", "{\"email\":").await.expect(400);
    assert_eq!(broken.code(), "unreadable_json");
    let nul = to().body("application/json", r#"{"email":"a\u0000b","password":"x"}"#).await.expect(422);
    assert_eq!(nul.errors(), ["/email nul_character"]);
    nobody.get("/nowhere?q=%00").await.expect(400);
    nobody.get(&format!("/{}", "a".repeat(5000))).await.expect(400);
}

#[tokio::test]
async fn health_is_public_and_metrics_are_for_who_administers() {
    let app = TestApp::empty().await;
    app.nobody().get("/healthz").await.expect(200);
    app.nobody().get("/readyz").await.expect(200);
    app.nobody().get("/metrics").await.expect(401);
    app.somebody("ref@example.org", &[grant(Role::Referee, None)]).await.get("/metrics").await.expect(403);
    let counts = app.administrator().await.get("/metrics").await.expect(200).text();
    assert!(counts.contains("http_requests_total"), "{counts}");
    assert!(counts.contains("route=\"/healthz\""), "{counts}");
}

#[tokio::test]
async fn whoever_opens_a_page_without_being_signed_in_is_sent_to_sign_in() {
    let app = TestApp::empty().await;
    let reply = app.nobody().get("/metrics").accept("text/html").await.expect(303);
    assert_eq!(reply.header("location"), "/signin?next=%2Fmetrics");
}

#[tokio::test]
async fn a_panic_is_a_problem_of_its_own_request_alone() {
    let app = TestApp::empty().await;
    let routes = axum::Router::new()
        .route("/api/panic", get(|| async { panic!("the secret cause") as &str }))
        .route("/api/fine", get(|| async { "fine" }));
    let client = Client::new(tallywright::web::behind_layers(app.app.clone(), routes));
    let reply = client.get("/api/panic").await.expect(500);
    assert_eq!(reply.code(), "internal");
    assert_eq!(reply.json()["request_id"], reply.header("x-request-id"));
    assert!(!reply.text().contains("secret cause"));
    assert!(!reply.header("content-security-policy").is_empty());
    client.get("/api/fine").await.expect(200);
}

#[tokio::test]
async fn long_answers_are_compressed_for_who_takes_it() {
    let app = TestApp::empty().await;
    let reply = app.nobody().get("/api/openapi.json").header("accept-encoding", "br, gzip").await.expect(200);
    assert_eq!(reply.header("content-encoding"), "br");
    let vary: Vec<_> = reply.headers.get_all("vary").iter().map(|v| v.to_str().unwrap().to_lowercase()).collect();
    assert!(vary.join(",").contains("accept-encoding"), "{vary:?}");
    let plain = app.nobody().get("/api/openapi.json").await.expect(200);
    assert_eq!(plain.header("content-encoding"), "");
    assert!(plain.body.len() > 2 * reply.body.len());
}

#[tokio::test]
async fn a_service_without_its_database_says_that_it_is_not_ready() {
    let app = TestApp::empty().await;
    app.app.store.close().await;
    app.nobody().get("/healthz").await.expect(200);
    let reply = app.nobody().get("/readyz").await.expect(503);
    assert_eq!(reply.code(), "not_ready");
    assert_eq!(reply.header("retry-after"), "1");
    let found = reply.json()["current"].clone();
    assert_eq!((&found["ready"], &found["database"]), (&json!(false), &json!(false)), "{found}");
}

/// Who somebody is, and what they may, is not guessed.
#[tokio::test]
async fn while_nobody_can_be_asked_who_it_is_nobody_gets_in() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let browser = app.in_browser(&staff).await;
    let proposals = "/api/v1/competitions/saltmarsh/gyms/quayside/proposals";
    staff.get(proposals).await.expect(200);
    browser.get("/desk/saltmarsh/quayside").await.expect(200);
    app.app.store.close().await;
    staff.get(proposals).await.expect(503);
    browser.get("/desk/saltmarsh/quayside").await.expect(503);
    let score = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
    staff.put(score).json(json!({ "performance": "278" })).await.expect(503);
    // Nor as nobody, who may read less than they.
    staff.get("/api/v1/competitions/saltmarsh").await.expect(503);
}

#[tokio::test]
async fn a_service_says_what_it_stands_on() {
    let app = TestApp::new().await;
    let found = app.nobody().get("/readyz").await.expect(200).json();
    let standby = if app.database.is_served() { json!(false) } else { Value::Null };
    let expected = json!({
        "ready": true, "database": true, "writable": true, "lag_records": 0, "lag_seconds": 0.0,
        "waits_for_standby": standby, "clock_ahead_seconds": found["clock_ahead_seconds"],
    });
    assert_eq!(found, expected);
    // The server is on this machine: the clocks are one.
    let ahead = found["clock_ahead_seconds"].as_f64();
    assert_eq!(ahead.is_some(), app.database.is_served());
    assert!(ahead.is_none_or(|seconds| seconds.abs() < 0.5), "{found}");
}

#[tokio::test]
async fn standings_that_are_behind_the_log_are_not_ready_and_say_by_how_much() {
    let app = TestApp::new().await;
    let parts = &app.app;
    // As a process whose follower has stopped: it knows nothing of what the database holds.
    let behind = App::new(Parts {
        config: parts.config.clone(),
        store: parts.store.clone(),
        writer: parts.writer.clone(),
        board: Arc::default(),
        logs: parts.logs.clone(),
        clock: parts.clock.clone(),
        keys: parts.keys.clone(),
        post: app.app.post.clone(),
        changes: Kept::default(),
        gyms: Directory::default(),
        gate: Gate::default(),
        wholes: Wholes::default(),
    });
    app.set_clock("2027-01-14T12:00:05Z");
    let client = Client::new(tallywright::web::router(behind));
    let found = client.get("/readyz").await.expect(503).json()["current"].clone();
    let records: u64 = parts.store.heads().await.unwrap().iter().map(|(_, seq)| seq).sum();
    assert!(records > 10, "{records}");
    let expected = json!({
        "ready": false, "database": true, "writable": true, "lag_records": records, "lag_seconds": 5.0,
        "waits_for_standby": found["waits_for_standby"], "clock_ahead_seconds": found["clock_ahead_seconds"],
    });
    assert_eq!(found, expected);
}

#[tokio::test]
async fn a_form_without_the_value_of_its_page_is_refused() {
    let app = TestApp::empty().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    assert_eq!(csrf.len(), 43);
    for bad in [vec![], vec![("csrf", "x")], vec![("csrf", csrf.as_str()), ("csrf", csrf.as_str())]] {
        let reply = browser.post("/signout").form(&bad).await.expect(403);
        assert_eq!(reply.code(), "form_expired");
    }
    browser.get("/account").await.expect(200);
    browser.post("/signout").form(&[("csrf", &csrf)]).await.expect(303);
    browser.get("/account").await.expect(401);
}

#[tokio::test]
async fn a_form_that_is_refused_leads_back_to_the_page_it_was_on() {
    let app = TestApp::empty().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let send = async |from: &str| {
        let call = browser.post("/account/tokens").form(&[("name", "a")]).header("referer", from);
        call.accept("text/html").await.expect(403).text()
    };
    let page = send("https://scores.example/account?done=token").await;
    assert!(page.contains("<a href=\"/account?done=token\">Back to the page before</a>"), "{page}");
    for other in ["https://scores.example//elsewhere.example/x", "javascript:alert(1)", "about:blank", ""] {
        // Then it is the page on which the form stands.
        assert!(send(other).await.contains("<a href=\"/account\">Back to the page before</a>"), "{other}");
    }
    let looked = browser.get("/c/nothing").header("referer", "https://scores.example/").accept("text/html").await;
    assert!(!looked.expect(404).text().contains("Back to the page before"));
}

#[tokio::test]
async fn who_takes_nothing_that_the_api_has_is_told_what_it_has() {
    let app = TestApp::empty().await;
    let reply = app.nobody().get("/api/v1/competitions").accept("image/png").await.expect(406);
    assert_eq!(reply.code(), "not_acceptable");
    assert_eq!(reply.header("content-type"), "application/problem+json");
    app.nobody().get("/api/v1/competitions").accept("application/*;q=0.5").await.expect(200);
}

#[tokio::test]
async fn changes_that_wait_leave_room_for_readers() {
    let app = TestApp::empty().await;
    let (inside, go) = (Arc::new(AtomicUsize::new(0)), CancellationToken::new());
    let (count, wait) = (Arc::clone(&inside), go.clone());
    let slow = move || async move {
        count.fetch_add(1, Ordering::SeqCst);
        wait.cancelled().await;
        "done"
    };
    let routes = axum::Router::new().route("/api/slow", post(slow)).route("/api/fine", get(|| async { "fine" }));
    let client = Client::new(tallywright::web::behind_layers(app.app.clone(), routes));
    let mut waiting = tokio::task::JoinSet::new();
    let mut full = None;
    for _ in 0..2_000 {
        let client = client.clone();
        waiting.spawn(async move { client.post("/api/slow").await });
        tokio::task::yield_now().await;
        if let Some(reply) = waiting.try_join_next() {
            full = Some(reply.unwrap());
            break;
        }
    }
    let full = full.expect("there is an end to what is let in").expect(503);
    assert_eq!((full.code().as_str(), full.header("retry-after")), ("busy", "1"));
    assert!(inside.load(Ordering::SeqCst) >= 500);
    client.get("/api/fine").await.expect(200);
    go.cancel();
    while let Some(reply) = waiting.join_next().await {
        reply.unwrap().expect(200);
    }
}

#[tokio::test]
async fn a_service_that_is_full_says_that_it_is_there() {
    let app = TestApp::empty().await;
    let go = CancellationToken::new();
    let held = go.clone();
    let slow = move || async move { held.cancelled().await };
    let routes = axum::Router::new().route("/api/slow", get(slow)).route("/healthz", get(|| async { "ok" }));
    let client = Client::new(tallywright::web::behind_layers(app.app.clone(), routes));
    let mut waiting = tokio::task::JoinSet::<Reply>::new();
    while waiting.try_join_next().is_none_or(|reply| reply.unwrap().status != 503) {
        let client = client.clone();
        waiting.spawn(async move { client.get("/api/slow").await });
        tokio::task::yield_now().await;
    }
    client.get("/api/slow").await.expect(503);
    client.get("/healthz").await.expect(200);
    go.cancel();
}

#[tokio::test]
async fn large_bodies_have_room_for_some_at_once_and_keep_no_small_one_out() {
    let app = TestApp::empty().await;
    let (inside, go) = (Arc::new(AtomicUsize::new(0)), CancellationToken::new());
    let (count, wait) = (Arc::clone(&inside), go.clone());
    let slow = move || async move {
        count.fetch_add(1, Ordering::SeqCst);
        wait.cancelled().await;
        "done"
    };
    let routes = axum::Router::new().route("/api/slow", post(slow)).route("/api/fine", post(|| async { "fine" }));
    let client = Client::new(tallywright::web::behind_layers(app.app.clone(), routes));
    let body = bytes::Bytes::from(vec![b'x'; 4 << 20]);
    let large = |path: &str| client.post(path).body("text/csv", body.clone());
    let mut waiting = tokio::task::JoinSet::new();
    for _ in 0..64 {
        let call = large("/api/slow");
        waiting.spawn(async move { call.await });
    }
    while inside.load(Ordering::SeqCst) < 64 {
        tokio::task::yield_now().await;
    }
    let full = large("/api/fine").await.expect(503);
    assert_eq!((full.code().as_str(), full.header("retry-after")), ("busy", "1"));
    // How much will come is not said: it may be much.
    let unknown = futures_util::stream::iter([Ok::<_, std::io::Error>("x")]);
    client.post("/api/fine").body("text/csv", Body::from_stream(unknown)).await.expect(503);
    client.post("/api/fine").body("text/csv", "x".repeat(60_000)).await.expect(200);
    go.cancel();
    while let Some(reply) = waiting.join_next().await {
        reply.unwrap().expect(200);
    }
    large("/api/fine").await.expect(200);
}

/// Who takes an answer slowly keeps all of it: so much is kept together, and more is told to come again. Whatever is
/// small goes out; of a change for whose answer there is no room it is not said that nothing was done.
#[tokio::test]
async fn answers_that_are_not_taken_have_room_for_some_at_once_and_keep_no_small_one_back() {
    let app = TestApp::empty().await;
    let large = || async { vec![b'x'; 8 << 20] };
    let refused = || async { (http::StatusCode::UNPROCESSABLE_ENTITY, vec![b'x'; 8 << 20]) };
    let routes = axum::Router::new()
        .route("/api/large", get(large).post(large))
        .route("/api/refused", post(refused))
        .route("/api/fine", get(|| async { "fine" }));
    let client = Client::new(tallywright::web::behind_layers(app.app.clone(), routes));
    let mut held = Vec::new();
    let full = loop {
        assert!(held.len() < 1_000, "there is an end to what is kept");
        let reply = client.get("/api/large").await;
        if reply.status != 200 {
            break reply.expect(503);
        }
        held.push(reply);
    };
    assert_eq!((full.code().as_str(), full.header("retry-after")), ("busy", "1"));
    assert!(held.len() >= 32 && held.iter().all(|reply| reply.body.len() == 8 << 20), "{}", held.len());
    client.get("/api/fine").await.expect(200);
    let done = client.post("/api/large").await.expect(503);
    assert_eq!((done.code().as_str(), done.header("retry-after")), ("outcome_unknown", "1"));
    assert_eq!(client.post("/api/refused").await.expect(503).code(), "busy");
    held.pop();
    assert_eq!(client.post("/api/large").await.expect(200).body.len(), 8 << 20);
    client.get("/api/large").await.expect(200);
}

#[tokio::test]
async fn pages_say_how_they_are_written_and_those_of_ones_own_are_not_kept() {
    let app = TestApp::new().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    for page in ["/account", "/desk/saltmarsh/quayside", "/desk/saltmarsh/quayside/codes", "/signin", "/claim"] {
        let reply = staff.get(page).await.expect(200);
        assert_eq!(reply.header("content-type"), "text/html; charset=utf-8", "{page}");
        assert_eq!(reply.header("cache-control"), "no-store", "{page}");
    }
    let own = staff.get("/account/data.json").await.expect(200);
    assert_eq!((own.header("content-type"), own.header("cache-control")), ("application/json", "no-store"));
    assert!(own.header("content-disposition").contains("filename=\"tallywright-data.json\""));
}

#[tokio::test]
async fn a_fresh_database_has_no_account() {
    let app = TestApp::empty().await;
    assert_eq!(app.app.store.list_accounts(0, 10).await.expect("read"), []);
}
