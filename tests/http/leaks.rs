//! What must not be told: hidden names, scores before their publication, workouts before their
//! announcement, in whatever answer they might stand.

use crate::support::TestApp;
use serde_json::{Value, json};

const C: &str = "/api/v1/competitions/saltmarsh";

fn score(bib: u32) -> String {
    format!("{C}/workouts/w1/scores/{bib}")
}

/// Noor de Wit of millpond, who hides her name.
async fn hide_noor(app: &TestApp) {
    let entry = json!({ "bib": 2001, "name": "Noor de Wit", "born": "1988-07-09", "category": "women",
        "division": "women", "gym": "millpond", "show_name": false });
    app.organiser().await.post(&format!("{C}/entries")).json(entry).await.expect(200);
}

#[tokio::test]
async fn a_row_with_a_wrong_name_does_not_tell_another_gyms_hidden_name() {
    let app = TestApp::new().await;
    hide_noor(&app).await;
    let rows = "bib,name,performance,gym\n2001,Somebody Else,278,";
    let path = format!("{C}/workouts/w1/scores");
    let other = app.staff_of("quayside").await.post(&path).csv(&format!("{rows}quayside\n")).await.expect(200);
    assert_eq!(other.json()["rows"][0]["errors"][0]["code"], "bib_and_hidden_name_differ", "{}", other.text());
    assert!(!other.text().contains("Noor"), "{}", other.text());
    let own = app.staff_of("millpond").await.post(&path).csv(&format!("{rows}millpond\n")).await.expect(200);
    assert!(own.text().contains("Noor de Wit"), "{}", own.text());
}

#[tokio::test]
async fn a_name_that_is_hidden_makes_kept_pages_stale() {
    let app = TestApp::new().await;
    let path = format!("{C}/divisions/women/standings");
    let before = app.nobody().get(&path).await.expect(200);
    assert!(before.text().contains("Noor de Wit"));
    app.nobody().get(&path).header("if-none-match", before.header("etag")).await.expect(304);
    hide_noor(&app).await;
    let after = app.nobody().get(&path).header("if-none-match", before.header("etag")).await.expect(200);
    assert!(after.text().contains("Athlete 2001") && !after.text().contains("Noor"), "{}", after.text());
}

#[tokio::test]
async fn a_refused_precondition_does_not_show_what_is_not_published() {
    let app = TestApp::new().await;
    let file = include_str!("../data/small.toml");
    let file = file.replacen("format = \"amrap\"", "format = \"amrap\"\npublish = \"at_close\"", 1);
    app.organiser()
        .await
        .put(&format!("{C}?reason=put%20right"))
        .header("if-match", "*")
        .body("application/toml", file)
        .await
        .expect(200);
    let body = json!({ "performance": "278" });
    app.staff_of("millpond").await.put(&score(2001)).json(body).await.expect(201);

    // Staff of the gym where a second attempt is said to have been done.
    let second = json!({ "performance": "290", "attempt": 2, "gym": "quayside" });
    let refused = app.staff_of("quayside").await.put(&score(2001)).if_match(1).json(second).await.expect(412);
    assert_eq!(refused.json()["current"], Value::Null, "{}", refused.text());
    // A judge of another gym.
    let attestation = json!({ "judge": "J-1", "how": "signed_in" });
    let judge = app.judge("J-1").await;
    let refused = judge.post(&format!("{}/attestation", score(2001))).json(attestation).await.expect(428);
    assert_eq!(refused.json()["current"], Value::Null, "{}", refused.text());
    let own = app.staff_of("millpond").await.put(&score(2001)).json(json!({ "performance": "290" })).await;
    assert_eq!(own.expect(428).json()["current"]["performance"]["total_reps"], 278);
}

#[tokio::test]
async fn a_referee_reads_the_log_without_what_is_not_announced() {
    let app = TestApp::new().await;
    let path = format!("{C}/log");
    let told = app.referee().await.get(&path).await.expect(200);
    assert!(!told.text().contains("w3") && !told.text().contains("Workout 3"), "{}", told.text());
    let first = &told.json()["records"][0];
    assert_eq!((&first["subject"], &first["text"]), (&json!("competition"), &Value::Null));
    assert_eq!(first["leaf"].as_str().map(str::len), Some(64));
    assert!(told.json()["records"][1]["text"].is_string(), "other records are whole");
    assert!(app.organiser().await.get(&path).await.expect(200).text().contains("Workout 3"));
    app.set_clock("2027-01-19T19:00:00Z");
    assert!(app.referee().await.get(&path).await.expect(200).text().contains("Workout 3"));
}

#[tokio::test]
async fn what_is_wrong_with_a_body_is_told_only_to_those_who_may_send_one() {
    let app = TestApp::new().await;
    let nonsense = json!({ "nonsense": true });
    let stranger = app.stranger().await;
    let moves = ["attestation", "withdrawal", "not-taking-part", "flags", "withhold", "ruling", "appeal", "admission"];
    for last in moves {
        let path = format!("{}/{last}", score(1042));
        stranger.post(&path).json(nonsense.clone()).await.expect(403);
        app.nobody().post(&path).json(nonsense.clone()).await.expect(401);
        stranger.post(&path.replace("w1", "w3")).json(nonsense.clone()).await.expect(404);
        stranger.post(&path.replace("saltmarsh", "hidden")).json(nonsense.clone()).await.expect(404);
    }
    stranger.put(&score(1042)).json(nonsense.clone()).await.expect(403);
    app.staff_of("quayside").await.put(&score(1042)).json(nonsense.clone()).await.expect(422);
    for path in ["/api/v1/accounts", "/api/v1/accounts/1/roles"] {
        app.nobody().post(path).json(nonsense.clone()).await.expect(401);
        stranger.post(path).json(nonsense.clone()).await.expect(403);
    }
    app.nobody().put("/api/v1/me/password").json(nonsense.clone()).await.expect(401);
    app.nobody().post("/api/v1/me/tokens").json(nonsense).await.expect(401);
}

#[tokio::test]
async fn the_body_of_nobody_is_not_waited_for() {
    let app = TestApp::new().await;
    let endless =
        || axum::body::Body::from_stream(futures_util::stream::pending::<Result<bytes::Bytes, std::io::Error>>());
    let began = std::time::Instant::now();
    for (method, path, kind) in [
        (http::Method::PUT, C.to_owned(), "application/toml"),
        (http::Method::POST, format!("{C}/entries"), "text/csv"),
        (http::Method::PUT, score(1042), "application/json"),
    ] {
        app.nobody().call(method, &path).body(kind, endless()).await.expect(401);
    }
    assert!(began.elapsed() < std::time::Duration::from_secs(5), "{:?}", began.elapsed());
}

/// A first attempt in quayside and a second at home in millpond, with a video.
async fn visited(app: &TestApp) {
    let first = json!({ "performance": "278", "gym": "quayside" });
    app.staff_of("quayside").await.put(&score(2001)).json(first).await.expect(201);
    let second = json!({ "performance": "290", "attempt": 2, "video": "https://video.example/noor" });
    app.staff_of("millpond").await.put(&score(2001)).json(second).await.expect(201);
}

#[tokio::test]
async fn a_gym_that_was_visited_reads_what_is_about_that_visit_alone() {
    let app = TestApp::new().await;
    visited(&app).await;
    let read = |text: &str| text.contains("video.example");
    let seen = app.staff_of("quayside").await.get(&score(2001)).await.expect(200);
    assert_eq!(seen.json()["attempts"].as_array().map(Vec::len), Some(2));
    assert!(!read(&seen.text()), "{}", seen.text());
    assert!(read(&app.staff_of("millpond").await.get(&score(2001)).await.text()));
    assert!(!read(&app.nobody().get(&score(2001)).await.text()));
}

#[tokio::test]
async fn a_history_before_publication_is_of_the_attempts_that_its_reader_may_see() {
    let app = TestApp::new().await;
    let file = include_str!("../data/small.toml");
    let file = file.replacen("format = \"amrap\"", "format = \"amrap\"\npublish = \"at_close\"", 1);
    app.organiser()
        .await
        .put(&format!("{C}?reason=put%20right"))
        .header("if-match", "*")
        .body("application/toml", file)
        .await
        .expect(200);
    visited(&app).await;
    let path = format!("{}/history", score(2001));
    let attempts = |view: Value| -> Vec<u64> {
        view["items"].as_array().unwrap().iter().filter_map(|i| i["attempt"].as_u64()).collect()
    };
    let visit = app.staff_of("quayside").await.get(&path).await.expect(200).json();
    assert_eq!(attempts(visit), [1]);
    let home = app.staff_of("millpond").await.get(&path).await.expect(200).json();
    assert_eq!(attempts(home), [1, 2]);
    app.nobody().get(&path).await.expect(404);
}
