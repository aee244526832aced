//! Every route in German, as everybody: no English of our own tables is left on any page.
//!
//! Words that are the same in both languages, and what people or files have written, are not
//! looked at: only pieces of at least two words that the English tables alone have.

use crate::routes::{TABLE, people, stage};
use crate::support::TestApp;
use http::Method;
use serde_json::json;
use std::collections::BTreeSet;
use tallywright::words::Lang;

const C: &str = "/api/v1/competitions/saltmarsh";

/// Pieces of English texts between their placeholders, by which they are known.
fn pieces() -> BTreeSet<&'static str> {
    let texts = |lang: Lang| {
        let tables = lang.tables();
        let sentences = tables.areas.iter().flat_map(|area| area.iter().map(|(_, said)| *said));
        let cautions = tables.pages.cautions;
        let lines =
            cautions.groups.iter().flat_map(|(head, lines)| std::iter::once(*head).chain(lines.iter().copied()));
        let own = tables.texts().into_iter().map(|(.., text)| text);
        let all = sentences.chain(own).chain(lines).chain([cautions.title, cautions.intro, cautions.standing]);
        all.collect::<Vec<_>>()
    };
    let german: String = texts(Lang::De).join("\n");
    let between = |text: &'static str| text.split(['{', '}', '\n']).step_by(2).map(str::trim);
    let telling = |piece: &&str| piece.len() >= 8 && piece.contains(' ') && !german.contains(*piece);
    texts(Lang::En).into_iter().flat_map(between).filter(telling).collect()
}

/// What a reader sees of a page, its attributes too.
fn seen(page: &str) -> String {
    let plain = page.replace("&#34;", "\"").replace("&#39;", "'").replace("&#38;", "&").replace("&quot;", "\"");
    plain.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&").replace("\\\"", "\"")
}

/// The score of 1042 attested, that of 1043 doubted, that of 2001 ruled on and appealed, and one
/// that came late.
async fn eventful() -> (TestApp, i64, serde_json::Value) {
    let (app, victim, role) = stage().await;
    let score = |bib: u32| format!("{C}/workouts/w1/scores/{bib}");
    let attested =
        |judge: &str| json!({"performance": "5+3 tb 11:40", "attestation": {"judge": judge, "how": "paper_sheet"}});
    app.staff_of("quayside").await.put(&score(1043)).json(attested("J-1")).await.expect(201);
    app.staff_of("millpond").await.put(&score(2001)).json(attested("J-2")).await.expect(201);
    app.staff_of("quayside").await.put(&score(1044)).json(json!({"performance": "4+2"})).await.expect(201);
    let etag = async |bib: u32| {
        let told = app.referee().await.get(&score(bib)).await.expect(200);
        told.header("etag").trim_matches('"').to_owned()
    };
    let doubt = json!({"reason": "count", "note": "two short"});
    let flag = app.referee().await.post(&format!("{}/flags", score(1043))).if_match(etag(1043).await);
    flag.json(doubt.clone()).await.expect(200);
    let ruling = json!({"kind": "deduct", "reps": 1, "reason": "one rep was not locked out"});
    let ruled = app.referee().await.post(&format!("{}/ruling", score(2001))).if_match(etag(2001).await);
    ruled.json(ruling).await.expect(200);
    let appeal = app.athlete(2001).await.post(&format!("{}/appeal", score(2001))).if_match(etag(2001).await);
    appeal.json(json!({"reason": "it was locked out"})).await.expect(200);
    (app, victim, role)
}

#[tokio::test]
async fn no_english_is_left_on_any_page() {
    let pieces = pieces();
    assert!(pieces.len() > 700, "{}", pieces.len());
    let (app, victim, role) = eventful().await;
    let people = people(&app).await;
    let address_of = |address: &str| {
        address.replace("VICTIM", &victim.to_string()).replace("ROLE", &role.to_string()).replace("STYLE", "site.css")
    };
    let mut left = BTreeSet::new();
    let mut walked = 0;
    // Whole pages only: what the API answers is looked at elsewhere, files are none of ours.
    let shown = |line: &&crate::routes::Line| !line.1.starts_with("/api/") && !line.1.starts_with("/static/");
    for (method, address, body, _) in TABLE.iter().filter(shown).filter(|line| line.1 != "/signout") {
        for person in &people {
            let call =
                person.browser.call(Method::from_bytes(method.as_bytes()).expect("a method"), &address_of(address));
            let call = match body.strip_prefix("form:") {
                Some(form) => call.body("application/x-www-form-urlencoded", format!("{form}&csrf={}", person.csrf)),
                None => call,
            };
            let reply = call.accept("text/html").header("accept-language", "de-AT, en;q=0.5").await;
            let kind = reply.header("content-type");
            if !(kind.starts_with("text/html") || kind.starts_with("text/calendar")) || reply.text().is_empty() {
                continue;
            }
            walked += 1;
            assert_eq!(reply.header("content-language"), "de", "{method} {address}");
            let text = seen(&reply.text());
            // The API's description of itself is English, and marked so.
            let text = text.split("lang=\"en\">").map(|part| part.split_once('<').map_or(part, |(_, after)| after));
            let text = text.collect::<Vec<_>>().join("<");
            for piece in pieces.iter().filter(|piece| text.contains(**piece)) {
                left.insert(format!("{method} {address}: “{piece}”"));
            }
        }
    }
    assert!(walked > 300, "{walked}");
    assert!(left.is_empty(), "{} still in English: {left:#?}", left.len());
}

#[tokio::test]
async fn a_walk_in_english_would_be_noticed() {
    let pieces = pieces();
    let page = seen(&TestApp::new().await.nobody().get("/c/saltmarsh").await.expect(200).text());
    assert!(pieces.iter().filter(|piece| page.contains(**piece)).count() > 10);
}
