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

/// What is encoded twice is another name, and not the one it would be if it were decoded twice.
#[tokio::test]
async fn what_is_encoded_twice_is_decoded_once() {
    let app = TestApp::new().await;
    app.nobody().get("/c/%73altmarsh").await.expect(200);
    app.nobody().get("/c/%2573altmarsh").await.expect(404);
    let found = async |q: &str| {
        let page =
            app.organiser().await.get(&format!("/api/v1/competitions/saltmarsh/entries?q={q}")).await.expect(200);
        page.json().as_array().map(Vec::len)
    };
    assert_eq!(found("Du%61rte").await, Some(1));
    assert_eq!(found("Du%2561rte").await, Some(0));
}

#[tokio::test]
async fn no_name_that_is_sent_leads_to_a_file() {
    let app = TestApp::new().await;
    for name in ["..%2fCargo.toml", "%2e%2e%2fCargo.toml", "..%5cCargo.toml", "%2fetc%2fpasswd", "."] {
        app.nobody().get(&format!("/static/{name}")).await.expect(404);
    }
    app.nobody().get("/static/site.css%00.txt").await.expect(400);
    // What a browser calls a file that it sends is passed over.
    let organiser = app.in_browser(&app.organiser().await).await;
    let csrf = organiser.get("/account").await.csrf();
    let part = |head: &str, text: &str| format!("--xyz\r\nContent-Disposition: form-data; {head}\r\n\r\n{text}\r\n");
    let csv = "slug,name,country\nhilltop,Hilltop,PT\n";
    let body = part("name=\"csrf\"", &csrf)
        + &part("name=\"file\"; filename=\"../../../tmp/tallywright-out\"", csv)
        + "--xyz--\r\n";
    let sent = organiser.post("/organise/saltmarsh/lists/gyms").body("multipart/form-data; boundary=xyz", body).await;
    let page = sent.expect(200).text();
    assert!(!page.contains("tallywright-out") && !std::path::Path::new("/tmp/tallywright-out").exists());
}
