//! What the log says of requests, and what it never says.

use crate::support::TestApp;
use serde_json::{Value, json};
use std::io::Write;
use std::sync::{Arc, Mutex};

/// The log of one test.
#[derive(Clone, Default)]
pub struct Log(Arc<Mutex<Vec<u8>>>);

impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("not poisoned").extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Log {
    pub fn text(&self) -> String {
        String::from_utf8(self.0.lock().expect("not poisoned").clone()).expect("text")
    }

    /// Hears everything of this thread until the guard goes.
    pub fn listen(&self) -> tracing::subscriber::DefaultGuard {
        let writer = self.clone();
        let lines =
            tracing_subscriber::fmt().json().with_max_level(tracing::Level::TRACE).with_writer(move || writer.clone());
        tracing::subscriber::set_default(lines.finish())
    }

    /// The lines about requests.
    fn requests(&self) -> Vec<Value> {
        let lines = self.text().lines().map(|l| serde_json::from_str(l).expect("JSON")).collect::<Vec<Value>>();
        lines.into_iter().filter(|l| l["target"] == "request").collect()
    }
}

#[tokio::test]
async fn a_request_is_one_line_that_names_no_person_and_no_secret() {
    let log = Log::default();
    // With one dispatcher alone, a place in the code that another test's thread comes to first is
    // off for ever (tracing-core asks that thread's); with two, all are asked.
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    app.db_account("ines@example.org", Some("three old oars"), &[]).await;
    log.0.lock().expect("not poisoned").clear();
    let sent = json!({"performance": "6+14 tb 11:24", "video": "https://videos.example.org/who-is-this"});
    let stored = staff.put("/api/v1/competitions/saltmarsh/workouts/w1/scores/1042").json(sent).await.expect(201);
    staff.get("/api/v1/competitions/saltmarsh/entries?q=Duarte").await.expect(200);
    let sign_in = |password: &str| json!({"email": "ines@example.org", "password": password});
    app.nobody().post("/api/v1/session").json(sign_in("an old mistake")).await.expect(401);
    let begun = app.nobody().post("/api/v1/session").json(sign_in("three old oars")).await.expect(201);
    app.nobody().get("/signin/link?code=abcdefgh").await;
    app.nobody().get("/no-such-page-of-ines").await.expect(404);

    let requests = log.requests();
    assert_eq!(requests.len(), 6);
    let fields = &requests[0]["fields"];
    assert_eq!(fields["request_id"], stored.header("x-request-id"));
    assert_eq!(fields["route"], "/api/v1/competitions/{competition}/workouts/{workout}/scores/{bib}");
    assert_eq!(fields["status"], 201);
    assert_eq!(fields["method"], "PUT");
    assert!(fields["account"].is_i64() && fields["elapsed_us"].is_u64(), "{fields}");
    assert_eq!(requests[5]["fields"]["route"], "none");

    let said = log.text();
    let cookie = begun.header("set-cookie")[4..47].to_owned();
    for secret in
        ["Duarte", "Ines", "ines", "example.org", "oars", "mistake", "abcdefgh", "twt_", &cookie, "who-is-this"]
    {
        let line = said.lines().filter(|l| !l.contains("sqlx")).find(|l| l.contains(secret));
        assert_eq!(line, None, "the log says {secret}");
    }
}

#[tokio::test]
async fn sign_ins_and_refusals_are_lines_and_nobody_writes_lines_of_their_own() {
    let log = Log::default();
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let app = TestApp::new().await;
    app.db_account("ines@example.org", Some("three old oars"), &[]).await;
    let stranger = app.stranger().await;
    log.0.lock().expect("not poisoned").clear();
    let sign_in = |password: &str| json!({"email": "ines@example.org", "password": password});
    let forged = "a\n{\"target\":\"request\"}";
    app.nobody().post("/api/v1/session").json(sign_in(forged)).await.expect(401);
    app.nobody().post("/api/v1/session").json(sign_in("three old oars")).await.expect(201);
    app.nobody().post("/api/v1/session").json(json!({"code": forged})).await.expect(401);
    stranger.get("/api/v1/accounts").await.expect(403);
    app.nobody().get("/api/v1/me%0A%7B%22target%22%3A%22request%22%7D").header("user-agent", "a{b}\"c\"").await;
    let elsewhere = app.nobody().with(http::header::ORIGIN, "https://elsewhere.example");
    elsewhere.post("/api/v1/session").json(sign_in("three old oars")).await.expect(403);

    assert_eq!(log.requests().len(), 6, "one line a request, each of them JSON");
    let lines: Vec<Value> = log.text().lines().map(|l| serde_json::from_str(l).expect("JSON")).collect();
    let outcomes: Vec<&Value> =
        lines.iter().filter(|l| l["target"] == "sign_in").map(|l| &l["fields"]["outcome"]).collect();
    assert_eq!(outcomes, ["wrong", "in", "wrong"]);
    let requests = log.requests();
    let refused = &requests[3]["fields"];
    assert_eq!((&refused["status"], refused["account"].is_i64()), (&json!(403), true), "who was refused what");
    assert!(lines.iter().any(|l| l["target"] == "problem" && l["level"] == "WARN"), "another site's try");
    let at = requests[0]["timestamp"].as_str().expect("an instant");
    assert!(at.ends_with('Z'), "in UTC: {at}");
}
