//! A forgotten password: who comes by a one-time link sets a new one without the old one, once, and
//! only straight after the link.

use crate::support::{Client, TestApp};
use serde_json::json;
use tallywright::actions::accounts;
use tallywright::rules::access::Actor;

const EMAIL: &str = "ines@example.org";
const OLD: &str = "three old oars";
const NEW: &str = "four new paddles";

/// A service with an account that has a password.
async fn stage() -> (TestApp, i64) {
    let app = TestApp::empty().await;
    let (account, _) = app.db_account(EMAIL, Some(OLD), &[]).await;
    (app, account)
}

/// A browser that signed in by a link, and the link's code.
async fn by_link(app: &TestApp, account: i64) -> (Client, String) {
    let code = accounts::new_link(&app.app, &Actor::operator(), account).await.expect("a link");
    (signed_in(app, json!({ "code": code })).await, code)
}

async fn signed_in(app: &TestApp, credentials: serde_json::Value) -> Client {
    let begun = app.nobody().post("/api/v1/session").json(credentials).await.expect(201);
    let cookie = begun.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    app.nobody().with_cookie(cookie)
}

fn credentials(password: &str) -> serde_json::Value {
    json!({ "email": EMAIL, "password": password })
}

#[tokio::test]
async fn straight_from_a_link_a_new_password_needs_no_old_one_and_other_sessions_end() {
    let (app, account) = stage().await;
    let elsewhere = signed_in(&app, credentials(OLD)).await;
    let (browser, code) = by_link(&app, account).await;
    let page = browser.get("/account").await.expect(200);
    assert!(!page.text().contains("name=\"current\""), "the old one is not asked for");
    let sent = [("csrf", page.csrf()), ("new", NEW.to_owned())];
    let sent: Vec<(&str, &str)> = sent.iter().map(|(n, v)| (*n, v.as_str())).collect();
    browser.post("/account/password").form(&sent).await.expect(303);
    browser.get("/account").await.expect(200);
    elsewhere.get("/account").await.expect(401);
    app.nobody().post("/api/v1/session").json(credentials(OLD)).await.expect(401);
    app.nobody().post("/api/v1/session").json(credentials(NEW)).await.expect(201);
    app.nobody().post("/api/v1/session").json(json!({ "code": code })).await.expect(401);
    // Once: the same session needs the password that it has just set.
    let again = browser.put("/api/v1/me/password").json(json!({ "new": "five other boats" })).await.expect(422);
    assert_eq!(again.errors(), ["/current password_wrong"]);
    assert!(browser.get("/account").await.text().contains("name=\"current\""));
}

#[tokio::test]
async fn a_link_session_that_has_grown_old_needs_the_old_password() {
    let (app, account) = stage().await;
    let (browser, _) = by_link(&app, account).await;
    app.set_clock("2027-01-14T12:14:59Z");
    assert!(!browser.get("/account").await.text().contains("name=\"current\""));
    app.set_clock("2027-01-14T12:15:00Z");
    let set = |body| browser.put("/api/v1/me/password").json(body);
    assert_eq!(set(json!({ "new": NEW })).await.expect(422).errors(), ["/current password_wrong"]);
    set(json!({ "new": NEW, "current": OLD })).await.expect(204);
}

#[tokio::test]
async fn a_session_by_password_needs_it_whatever_links_were_used_elsewhere() {
    let (app, account) = stage().await;
    let ordinary = signed_in(&app, credentials(OLD)).await;
    let (_browser, _) = by_link(&app, account).await;
    let refused = ordinary.put("/api/v1/me/password").json(json!({ "new": NEW })).await.expect(422);
    assert_eq!(refused.errors(), ["/current password_wrong"]);
    let wrong = json!({ "new": NEW, "current": "not the password" });
    ordinary.put("/api/v1/me/password").json(wrong).await.expect(422);
    assert!(ordinary.get("/account").await.text().contains("name=\"current\""));
    app.nobody().post("/api/v1/session").json(credentials(OLD)).await.expect(201);
}

#[tokio::test]
async fn what_is_no_password_is_refused_and_the_link_still_counts() {
    let (app, account) = stage().await;
    let (browser, _) = by_link(&app, account).await;
    let short = browser.put("/api/v1/me/password").json(json!({ "new": "short" })).await.expect(422);
    assert_eq!(short.errors(), ["/new password_short"]);
    browser.put("/api/v1/me/password").json(json!({ "new": NEW })).await.expect(204);
}

#[tokio::test]
async fn the_page_says_the_lengths_that_are_taken_and_passwords_can_be_pasted_and_shown() {
    let (app, account) = stage().await;
    let (browser, _) = by_link(&app, account).await;
    let page = browser.get("/account").await.text();
    assert!(page.contains(&format!("At least {} characters", accounts::LEAST)), "{page}");
    assert!(page.contains(&format!("1 to {}", accounts::MOST_DAYS)));
    for page in [page, app.nobody().get("/signin").await.text(), app.nobody().get("/claim").await.text()] {
        assert!(page.contains("data-shows=") && page.contains("/static/password"), "{page}");
        assert!(
            !page.contains("onpaste")
                && !page.contains("maxlength")
                && !page.contains("autocomplete=\"off\" type=\"password\"")
        );
    }
    let composed = json!({ "new": "plain lower case words" });
    browser.put("/api/v1/me/password").json(composed).await.expect(204);
    browser.get("/account").await.expect(200);
}

#[tokio::test]
async fn signing_in_without_a_destination_leads_to_where_one_works() {
    use crate::support::{SALTMARSH, grant};
    use tallywright::rules::access::{Grant, Role};
    let app = TestApp::new().await;
    let staff = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) };
    let both = [staff.clone(), grant(Role::Referee, Some(SALTMARSH))];
    let (one, none) = ([staff], []);
    let cases: [(&str, &[Grant], &str, &str); 4] = [
        ("desk@example.org", &one, "", "/desk/saltmarsh/quayside"),
        ("desk@example.org", &one, "/c/saltmarsh", "/c/saltmarsh"),
        ("both@example.org", &both, "", "/account"),
        ("none@example.org", &none, "", "/account"),
    ];
    for (email, grants, next, place) in cases {
        app.db_account(email, Some("three old oars"), grants).await;
        let sent = [("email", email), ("password", "three old oars"), ("next", next)];
        let begun = app.nobody().post("/signin").form(&sent).await.expect(303);
        assert_eq!(begun.header("location"), place, "{email}");
    }
}
