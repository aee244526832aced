//! Samples that every page must survive: hostile, long and bidirectional text.

use super::shell::{Left, Link, Shell, When};
use crate::rules::access::Actor;
use crate::web::session::{Caller, Via};
use jiff::Timestamp;

/// HTML that must never come out as HTML.
pub const HOSTILE: &str = "<script>alert('x')</script>\"'&<img src=x onerror=1>";
/// A name in two directions, with an override character.
pub const BIDI: &str = "\u{5e9}\u{5dc}\u{5d5}\u{5dd} \u{202e}evil \u{627}\u{644}\u{633}\u{644}\u{627}\u{645}";
/// A name nobody's screen is wide enough for.
pub const LONG: &str = "Maximiliana-Theodora Wolkenstein-Hohenfeldern-Aurbacher de Vasconcelos e Sousa-Albuquerque";

/// Somebody signed in by cookie.
pub fn caller() -> Caller {
    Caller {
        actor: Actor { account: Some(7), email: "staff@example.org".to_owned(), ..Actor::default() },
        via: Via::Cookie,
        session: Some(1),
        csrf: "token-\"1\"".to_owned(),
        received: Timestamp::UNIX_EPOCH,
        request_id: "r-1".to_owned(),
        address: None,
        device: String::new(),
        notices: Vec::new(),
        foremost: Vec::new(),
    }
}

/// A frame with somebody in it.
pub fn shell(title: &str) -> Shell {
    Shell::new(&caller(), "/here", title).below([Link::new("/c/s", BIDI), Link::new("", HOSTILE)])
}

/// An instant.
pub fn when() -> When {
    When {
        iso: "2027-01-17T21:00:00Z".to_owned(),
        text: "Sunday 17 January 2027, 21:00".to_owned(),
        zone: "Europe/Lisbon".to_owned(),
    }
}

/// Some time left.
pub fn left(text: &str) -> Left {
    Left { text: text.to_owned(), until: when().iso, say: "closes in {left}" }
}

/// What holds for every page: nothing hostile came through, nothing inline, ids once, labels
/// and fields in pairs, tables with captions and headers.
pub fn assert_sound(page: &str) {
    // Scripts come from files alone.
    let page = &page.replace("<script type=\"module\" src=\"/static/", "");
    for forbidden in ["<script", "onerror=1>", " style=", "javascript:", "<style"] {
        assert!(!page.contains(forbidden), "{forbidden} in {page}");
    }
    let ids: Vec<&str> = values(page, " id=\"");
    let mut once = ids.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), ids.len(), "an id came twice: {ids:?}");
    for target in values(page, " for=\"").into_iter().chain(values(page, "aria-labelledby=\"")) {
        assert!(ids.contains(&target), "nothing has the id {target}");
    }
    for list in values(page, "aria-describedby=\"") {
        for target in list.split_whitespace() {
            assert!(ids.contains(&target), "nothing has the id {target}");
        }
    }
    assert_eq!(page.matches("<table").count(), page.matches("<caption><span>").count());
    assert_eq!(page.matches("<h1").count(), 1);
    assert_eq!(page.matches("<bdi>").count(), page.matches("</bdi>").count());
    for form in page.split("<form").skip(1) {
        let form = form.split("</form>").next().unwrap_or_default();
        assert!(!form.contains("method=\"post\"") || form.contains("name=\"csrf\""), "a form without csrf: {form}");
    }
}

fn values<'a>(page: &'a str, before: &str) -> Vec<&'a str> {
    page.split(before).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}
