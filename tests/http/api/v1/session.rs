//! `/api/v1/session`: signing in and out.

use crate::support::TestApp;
use serde_json::json;
use std::time::{Duration, Instant};

const PASSWORD: &str = "three old oars";

#[tokio::test]
async fn a_right_password_begins_a_session_and_its_cookie_is_kept_from_scripts() {
    let app = TestApp::empty().await;
    app.db_account("Ines@Example.org", Some(PASSWORD), &[]).await;
    let reply = app
        .nobody()
        .post("/api/v1/session")
        .json(json!({"email": "ines@example.ORG", "password": PASSWORD}))
        .await
        .expect(201);
    let cookie = reply.header("set-cookie").to_owned();
    assert!(cookie.starts_with("sid="), "{cookie}");
    for part in ["HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=1209600"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert!(!cookie.contains("Secure"), "plain http: the browser would drop it");
    assert!(!reply.text().contains(&cookie[4..47]), "the secret is in the cookie alone");
    let me = app.nobody().with_cookie(&cookie[4..47]).get("/api/v1/me").await.expect(200);
    assert_eq!(me.json()["email"], "Ines@Example.org");
    assert_eq!(me.json()["signed_in_by"], "cookie");
}

#[tokio::test]
async fn over_https_the_cookie_is_bound_to_the_host() {
    let app = TestApp::at("https://scores.example.org").await;
    app.db_account("ines@example.org", Some(PASSWORD), &[]).await;
    let sent = json!({"email": "ines@example.org", "password": PASSWORD});
    let reply = app.nobody().post("/api/v1/session").json(sent).await.expect(201);
    assert!(reply.header("set-cookie").starts_with("__Host-sid="));
    assert!(reply.header("set-cookie").contains("Secure"));
    assert_eq!(reply.header("strict-transport-security"), "max-age=63072000; includeSubDomains");
}

#[tokio::test]
async fn wrong_credentials_are_answered_alike_whether_the_account_exists_or_not() {
    let app = TestApp::empty().await;
    app.db_account("ines@example.org", Some(PASSWORD), &[]).await;
    app.db_account("link-only@example.org", None, &[]).await;
    let mut answers = Vec::new();
    for email in ["ines@example.org", "nobody@example.org", "link-only@example.org"] {
        let sent = json!({"email": email, "password": "not the password"});
        let reply = app.nobody().post("/api/v1/session").json(sent).await.expect(401);
        assert!(reply.header("www-authenticate").starts_with("Bearer"));
        let mut body = reply.json();
        body["request_id"] = "".into();
        answers.push(body);
    }
    assert_eq!(answers[0], answers[1]);
    assert_eq!(answers[0], answers[2]);
    assert_eq!(answers[0]["code"], "wrong_sign_in");
}

#[tokio::test]
async fn after_ten_tries_at_an_account_one_has_to_wait() {
    let app = TestApp::empty().await;
    app.db_account("ines@example.org", Some(PASSWORD), &[]).await;
    let sent = |password: &str| json!({"email": "ines@example.org", "password": password});
    for _ in 0..10 {
        app.nobody().post("/api/v1/session").json(sent("not the password")).await.expect(401);
    }
    let reply = app.nobody().post("/api/v1/session").json(sent(PASSWORD)).await.expect(429);
    let wait: u64 = reply.header("retry-after").parse().expect("seconds");
    assert!((1..=60).contains(&wait));
    assert_eq!(reply.code(), "too_many_tries");
}

#[tokio::test]
async fn a_link_signs_in_once_and_ends_after_seven_days() {
    let app = TestApp::empty().await;
    let (_, link) = app.db_account("ines@example.org", None, &[]).await;
    let sent = json!({"code": link.unwrap()});
    app.nobody().post("/api/v1/session").json(sent.clone()).await.expect(201);
    app.nobody().post("/api/v1/session").json(sent).await.expect(401);
    let (_, link) = app.db_account("rita@example.org", None, &[]).await;
    app.set_clock("2027-01-21T12:00:01Z");
    app.nobody().post("/api/v1/session").json(json!({"code": link.unwrap()})).await.expect(401);
}

#[tokio::test]
async fn signing_in_again_ends_the_session_one_was_in() {
    let app = TestApp::empty().await;
    app.db_account("ines@example.org", Some(PASSWORD), &[]).await;
    let browser = app.browser("ines@example.org", &[]).await;
    browser.get("/api/v1/me").await.expect(200);
    let sent = json!({"email": "ines@example.org", "password": PASSWORD});
    browser.post("/api/v1/session").json(sent).await.expect(201);
    browser.get("/api/v1/me").await.expect(401);
}

#[tokio::test]
async fn signing_out_ends_the_session_at_the_server() {
    let app = TestApp::empty().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let reply = browser.delete("/api/v1/session").await.expect(204);
    assert!(reply.header("set-cookie").contains("Max-Age=0"));
    browser.get("/api/v1/me").await.expect(401);
    browser.delete("/api/v1/session").await.expect(401);
}

#[tokio::test]
async fn a_session_ends_a_day_after_its_last_use_and_two_weeks_after_its_start() {
    let app = TestApp::empty().await;
    let idle = app.browser("idle@example.org", &[]).await;
    let busy = app.browser("busy@example.org", &[]).await;
    for hour in 1..=16 {
        let at = jiff::Timestamp::from_second(support_noon() + hour * 21 * 3600).unwrap();
        app.app.clock.set(at);
        let expected = if hour < 16 { 200 } else { 401 };
        busy.get("/api/v1/me").await.expect(expected);
        // That it was used is written down aside.
        let written = format!("SELECT COUNT(*) FROM sessions WHERE seen_at = {}", at.as_microsecond());
        let began = Instant::now();
        while expected == 200 && app.database.raw().await.number(&written).await == 0 {
            assert!(began.elapsed() < Duration::from_secs(20), "it is not written down");
            tokio::time::sleep(Duration::from_millis(20)).await;
            // Where it could not be, the next use is.
            busy.get("/api/v1/me").await.expect(200);
        }
    }
    idle.get("/api/v1/me").await.expect(401);
}

fn support_noon() -> i64 {
    crate::support::noon().as_second()
}

#[tokio::test]
async fn half_of_the_credentials_is_refused_with_what_is_needed() {
    let app = TestApp::empty().await;
    for body in [json!({}), json!({"email": "a@example.org"}), json!({"email": "a@b.c", "password": "x", "code": "y"})]
    {
        let reply = app.nobody().post("/api/v1/session").json(body).await.expect(422);
        assert_eq!(reply.errors(), [" sign_in_needs"]);
    }
    let reply = app.nobody().post("/api/v1/session").json(json!({"e-mail": 1, "password": 5})).await.expect(422);
    let mut errors = reply.errors();
    errors.sort();
    assert_eq!(errors, ["/e-mail unknown_member", "/password wrong_kind"]);
}
