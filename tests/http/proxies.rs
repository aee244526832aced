//! Proxies in front: their word about where a request comes from is taken when the settings name
//! them, and nobody else's ever is.

use crate::support::{Client, TestApp};
use tallywright::config::{ForwardedBy, Proxies};

/// Tries that one address has in a row.
const TRIES: u32 = 40;

/// A service behind proxies in 10.0.0.0/8 that set this header.
async fn behind(header: ForwardedBy) -> TestApp {
    let trusted = vec!["10.0.0.0/8".parse().expect("a network")];
    TestApp::configured(|config| config.proxies = Proxies { trusted, header }).await
}

/// The status of a try to sign in by a link that is none.
async fn attempt(client: &Client, header: &str, value: &str) -> u16 {
    client.post("/signin/link").header(header, value).form(&[("code", "wrong")]).await.status.as_u16()
}

#[tokio::test]
async fn without_a_setting_nobody_is_believed() {
    let app = TestApp::empty().await;
    let asker = app.nobody().seen_from("198.51.100.7");
    for n in 0..TRIES {
        assert_eq!(attempt(&asker, "x-forwarded-for", &format!("203.0.113.{n}")).await, 401);
    }
    assert_eq!(attempt(&asker, "x-forwarded-for", "203.0.113.99").await, 429, "another name is not another address");
    assert_eq!(attempt(&asker, "forwarded", "for=203.0.113.99").await, 429);
    assert_eq!(attempt(&app.nobody().seen_from("198.51.100.8"), "x-forwarded-for", "198.51.100.7").await, 401);
}

#[tokio::test]
async fn behind_a_proxy_each_asker_has_tries_of_their_own() {
    let app = behind(ForwardedBy::XForwardedFor).await;
    let proxy = app.nobody().seen_from("10.0.0.2");
    for _ in 0..TRIES {
        assert_eq!(attempt(&proxy, "x-forwarded-for", "198.51.100.7").await, 401);
    }
    assert_eq!(attempt(&proxy, "x-forwarded-for", "198.51.100.7").await, 429);
    assert_eq!(attempt(&app.nobody().seen_from("10.0.0.3"), "x-forwarded-for", "198.51.100.7").await, 429);
    assert_eq!(attempt(&proxy, "x-forwarded-for", "198.51.100.8").await, 401, "the next one is not kept out");
}

#[tokio::test]
async fn what_an_asker_writes_before_the_proxys_own_word_changes_nothing() {
    let app = behind(ForwardedBy::XForwardedFor).await;
    let proxy = app.nobody().seen_from("10.0.0.2");
    for n in 0..TRIES {
        // As a proxy passes it on: what it was sent, and whom it was sent by.
        assert_eq!(attempt(&proxy, "x-forwarded-for", &format!("10.9.9.{n}, 203.0.113.{n}, 198.51.100.7")).await, 401);
    }
    assert_eq!(attempt(&proxy, "x-forwarded-for", "203.0.113.99, 198.51.100.7").await, 429);
    let both = proxy.post("/signin/link").header("x-forwarded-for", "198.51.100.7");
    both.header("forwarded", "for=203.0.113.99").form(&[("code", "wrong")]).await.expect(429);
    let around = app.nobody().seen_from("198.51.100.7");
    assert_eq!(attempt(&around, "x-forwarded-for", "203.0.113.99").await, 429, "past the proxy it is the same asker");
}

#[tokio::test]
async fn the_standard_header_is_read_where_the_proxies_set_that() {
    let app = behind(ForwardedBy::Forwarded).await;
    let proxy = app.nobody().seen_from("10.0.0.2");
    for n in 0..TRIES {
        let value = format!("for=203.0.113.{n};proto=http, for=\"[2001:db8::7]:4711\"");
        assert_eq!(attempt(&proxy, "forwarded", &value).await, 401);
    }
    assert_eq!(attempt(&proxy, "forwarded", "for=\"[2001:db8::8]\"").await, 429, "the same network");
    assert_eq!(attempt(&proxy, "forwarded", "for=198.51.100.7").await, 401);
}
