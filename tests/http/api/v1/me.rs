//! `/api/v1/me`: the own account, password, sessions, tokens.

use crate::support::{TestApp, grant};
use serde_json::json;
use tallywright::rules::access::Role;

#[tokio::test]
async fn a_caller_sees_the_own_roles() {
    let app = TestApp::empty().await;
    let client = app.somebody("ref@example.org", &[grant(Role::Referee, None)]).await;
    let me = client.get("/api/v1/me").await.expect(200).json();
    assert_eq!(me["roles"], json!([{"role": "referee"}]));
    assert_eq!(me["signed_in_by"], "token");
    app.nobody().get("/api/v1/me").await.expect(401);
}

#[tokio::test]
async fn a_token_is_shown_once_and_works_until_it_is_revoked() {
    let app = TestApp::empty().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let issued = browser.post("/api/v1/me/tokens").json(json!({"name": "desk"})).await.expect(201).json();
    let token = issued["token"].as_str().unwrap();
    let program = app.nobody().with_token(token);
    program.get("/api/v1/me").await.expect(200);
    let listed = browser.get("/api/v1/me/tokens").await.expect(200);
    assert_eq!(listed.json()[0]["name"], "desk");
    assert!(!listed.text().contains(token));
    program.post("/api/v1/me/tokens").json(json!({"name": "more"})).await.expect(403);
    browser.delete(&format!("/api/v1/me/tokens/{}", issued["id"])).await.expect(204);
    let refused = program.get("/api/v1/me").await.expect(401);
    assert_eq!(refused.code(), "bad_token");
    assert!(refused.header("www-authenticate").contains("invalid_token"));
}

#[tokio::test]
async fn a_token_ends_by_itself() {
    let app = TestApp::empty().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let issued = browser.post("/api/v1/me/tokens").json(json!({"name": "desk", "days": 2})).await.expect(201).json();
    let program = app.nobody().with_token(issued["token"].as_str().unwrap());
    app.set_clock("2027-01-16T11:59:59Z");
    program.get("/api/v1/me").await.expect(200);
    app.set_clock("2027-01-16T12:00:00Z");
    program.get("/api/v1/me").await.expect(401);
    for days in [0, 401] {
        let reply = app.browser("rita@example.org", &[]).await;
        let reply = reply.post("/api/v1/me/tokens").json(json!({"name": "desk", "days": days})).await.expect(422);
        assert_eq!(reply.errors(), ["/days token_days"]);
    }
}

#[tokio::test]
async fn another_persons_token_is_unknown() {
    let app = TestApp::empty().await;
    let ines = app.browser("ines@example.org", &[]).await;
    let id = ines.post("/api/v1/me/tokens").json(json!({"name": "desk"})).await.expect(201).json()["id"].clone();
    let rita = app.browser("rita@example.org", &[]).await;
    rita.delete(&format!("/api/v1/me/tokens/{id}")).await.expect(404);
    app.administrator().await.delete(&format!("/api/v1/me/tokens/{id}")).await.expect(204);
}

#[tokio::test]
async fn a_new_password_ends_the_other_sessions_and_opens_the_door() {
    let app = TestApp::empty().await;
    let old = app.browser("ines@example.org", &[]).await;
    let new = app.browser("ines@example.org", &[]).await;
    new.put("/api/v1/me/password").json(json!({"new": "three old oars"})).await.expect(204);
    old.get("/api/v1/me").await.expect(401);
    new.get("/api/v1/me").await.expect(200);
    let wrong = new
        .put("/api/v1/me/password")
        .json(json!({"current": "two old oars", "new": "four old oars"}))
        .await
        .expect(422);
    assert_eq!(wrong.errors(), ["/current password_wrong"]);
    let short =
        new.put("/api/v1/me/password").json(json!({"current": "three old oars", "new": "oars"})).await.expect(422);
    assert_eq!(short.errors(), ["/new password_short"]);
    let sent = json!({"email": "ines@example.org", "password": "three old oars"});
    app.nobody().post("/api/v1/session").json(sent).await.expect(201);
}

#[tokio::test]
async fn own_sessions_are_listed_and_ended_and_nobody_elses() {
    let app = TestApp::empty().await;
    let one = app.browser("ines@example.org", &[]).await;
    let two = app.browser("ines@example.org", &[]).await;
    let rita = app.browser("rita@example.org", &[]).await;
    let listed = one.get("/api/v1/me/sessions").await.expect(200).json();
    assert_eq!(listed.as_array().unwrap().len(), 2);
    let other = listed.as_array().unwrap().iter().find(|s| s["current"] == false).unwrap()["id"].clone();
    rita.delete(&format!("/api/v1/me/sessions/{other}")).await.expect(404);
    two.get("/api/v1/me").await.expect(200);
    one.delete(&format!("/api/v1/me/sessions/{other}")).await.expect(204);
    two.get("/api/v1/me").await.expect(401);
    let three = app.browser("ines@example.org", &[]).await;
    one.delete("/api/v1/me/sessions").await.expect(204);
    three.get("/api/v1/me").await.expect(401);
    one.get("/api/v1/me").await.expect(200);
}
