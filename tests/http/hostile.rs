//! Input that is meant to break something: answered with a 4xx, or taken as the text that it is.

use crate::support::TestApp;
use serde_json::json;

#[tokio::test]
async fn addresses_with_control_characters_break_no_redirect() {
    let app = TestApp::new().await;
    let organiser = app.in_browser(&app.organiser().await).await;
    let desk = organiser.get("/desk/saltmarsh/a%0Ab?bib=1&workout=w1").await;
    assert!(!desk.status.is_server_error(), "{} {}", desk.status, desk.text());
    app.db_account("ines@example.org", Some("three old oars"), &[]).await;
    for next in ["/a\u{1}b", "/a\u{7f}b", "//evil.example", "/a\r\nset-cookie: x=y"] {
        let form = [("email", "ines@example.org"), ("password", "three old oars"), ("next", next)];
        let reply = app.nobody().post("/signin").form(&form).await;
        assert_eq!(reply.status, 303, "{next:?}: {}", reply.text());
        assert!(reply.header("location").starts_with("/a"), "{next:?}: {}", reply.header("location"));
    }
}

#[tokio::test]
async fn somebody_elsewhere_does_not_use_up_the_owners_tries() {
    use std::net::SocketAddr;
    use tallywright::actions::accounts::{self, Origin};
    let app = TestApp::new().await;
    app.db_account("ines@example.org", Some("three old oars"), &[]).await;
    let from =
        |address: &str| Origin { address: Some(address.parse::<SocketAddr>().unwrap().ip()), ..Origin::default() };
    let attacker = from("192.0.2.66:1");
    for _ in 0..30 {
        let _ = accounts::sign_in(&app.app, "ines@example.org", "a wrong guess", &attacker).await;
    }
    let stopped = accounts::sign_in(&app.app, "ines@example.org", "three old oars", &attacker).await;
    assert!(matches!(stopped, Err(accounts::AccountError::Throttled(_))), "{stopped:?}");
    accounts::sign_in(&app.app, "ines@example.org", "three old oars", &from("198.51.100.7:1")).await.expect("in");
}

#[tokio::test]
async fn a_large_sign_in_is_refused_early() {
    let app = TestApp::new().await;
    let body = json!({ "email": "a".repeat(70_000), "password": "three old oars" });
    let reply = app.nobody().post("/api/v1/session").json(body).await.expect(413);
    assert!(reply.json()["detail"].as_str().unwrap().contains("64 KiB"), "{}", reply.text());
}
