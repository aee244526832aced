//! In which language an answer is: chosen in the address and kept in a cookie, asked for by the
//! browser, or English.

use crate::support::{Reply, TestApp};
use http::header;
use serde_json::json;

const C: &str = "/api/v1/competitions/saltmarsh";

fn is_german(reply: &Reply) -> bool {
    let german = reply.text().contains("<html lang=\"de\">");
    assert_eq!(reply.header("content-language"), if german { "de" } else { "en" });
    german
}

#[tokio::test]
async fn the_browsers_wishes_are_weighed() {
    let app = TestApp::empty().await;
    for (wanted, german) in [
        ("de", true),
        ("de-AT", true),
        ("DE-ch, en;q=0.9", true),
        ("en, de", false),
        ("de, en", true),
        ("en;q=0.4, de;q=0.5", true),
        ("de;q=0.4, en-GB;q=0.5", false),
        ("fr, de;q=0.3, en;q=0.2", true),
        ("fr, nl", false),
        ("*", false),
        ("fr, *;q=0.5", false),
        ("en;q=0, *", true),
        ("de;q=0, *", false),
        ("de;q=0", false),
        ("de;q=0, de-AT", false),
        ("de;q=nonsense, en;q=0.1", false),
        ("den, deutsch", false),
        ("", false),
        (" , ;q=1, de ; q=0.8 ", true),
        ("de-", true),
    ] {
        let page = app.nobody().get("/").header("accept-language", wanted).await.expect(200);
        assert_eq!(is_german(&page), german, "{wanted}");
    }
    assert!(!is_german(&app.nobody().get("/").await.expect(200)));
    let lines = app.nobody().get("/").header("accept-language", "fr").header("accept-language", "de;q=0.1");
    assert!(is_german(&lines.await.expect(200)), "two lines are one list");
}

#[tokio::test]
async fn what_is_chosen_is_kept_and_goes_before_what_the_browser_wants() {
    let app = TestApp::new().await;
    let page = app.nobody().get("/c/saltmarsh?lang=de").header("accept-language", "en").await.expect(200);
    assert!(is_german(&page));
    let cookie = page.header("set-cookie");
    assert!(cookie.starts_with("lang=de;") && cookie.contains("SameSite=Lax") && cookie.contains("HttpOnly"));
    let with = |value: &str| app.nobody().with(header::COOKIE, value).with(header::ACCEPT_LANGUAGE, "en");
    assert!(is_german(&with("lang=de").get("/").await));
    assert!(!is_german(&with("lang=tlh").get("/").await), "a language we do not have is no choice");
    let back = with("lang=de").get("/?lang=en").await;
    assert!(!is_german(&back) && back.header("set-cookie").starts_with("lang=en;"));
    // Nothing below sees the parameter, and what makes no sense is no fault.
    for odd in ["?lang=", "?lang", "?lang=xx&lang=de", "?lang=de&gym=quayside", "?lang=%00"] {
        app.nobody().get(&format!("/c/saltmarsh/divisions/women{odd}")).await.expect(200);
    }
    let found = app.nobody().get("/c/saltmarsh/divisions/women?q=Ines&lang=de").await.expect(303);
    assert!(found.header("set-cookie").starts_with("lang=de;"), "who is sent on reads German there");
    let secure = TestApp::at("https://scores.example").await.nobody().get("/?lang=de").await;
    assert!(secure.header("set-cookie").contains("Secure"));
}

#[tokio::test]
async fn a_page_leads_to_itself_in_the_other_language() {
    let app = TestApp::new().await;
    let page = app.nobody().get("/c/saltmarsh/divisions/women?gym=quayside").await.expect(200).text();
    let link = "href=\"/c/saltmarsh/divisions/women?gym=quayside&#38;lang=de\" hreflang=\"de\" lang=\"de\">Deutsch</a>";
    assert!(page.contains(link), "{page}");
    let page = app.nobody().get("/c/saltmarsh?lang=de").await.expect(200).text();
    assert!(page.contains("href=\"/c/saltmarsh?lang=en\" hreflang=\"en\" lang=\"en\">English</a>"), "{page}");
    assert!(page.contains("aria-label=\"Sprache\""));
    // What was posted cannot be asked for again by a link.
    let form = [("email", "who@example.org"), ("password", "not the password")];
    let posted = app.nobody().post("/signin").header("accept-language", "de").form(&form).await.expect(401);
    assert!(is_german(&posted) && !posted.text().contains("hreflang"));
    assert!(posted.text().contains("E-Mail und Passwort passen nicht zusammen"));
}

#[tokio::test]
async fn what_varies_with_the_language_says_so() {
    let app = TestApp::new().await;
    let vary = |reply: &Reply| {
        let lines: Vec<_> = reply.headers.get_all("vary").iter().map(|v| v.to_str().unwrap().to_lowercase()).collect();
        lines.join(", ")
    };
    for path in ["/", "/c/saltmarsh", "/c/saltmarsh/calendar.ics", "/problems/invalid"] {
        let reply = app.nobody().get(path).header("accept-language", "de").await.expect(200);
        assert!(vary(&reply).contains("accept-language") && vary(&reply).contains("cookie"), "{path}");
        assert_eq!(reply.header("content-language"), "de", "{path}");
    }
    for path in [&*format!("{C}/divisions/women/standings"), "/healthz", "/api/openapi.json"] {
        let reply = app.nobody().get(path).header("accept-language", "de").await.expect(200);
        assert!(!vary(&reply).contains("accept-language"), "{path}");
        assert_eq!(reply.header("content-language"), "", "{path}");
    }
}

/// What is read from the API is the same for everybody, so that its tags hold in every language.
#[tokio::test]
async fn data_is_the_same_in_every_language() {
    let app = TestApp::new().await;
    let hidden = json!({ "bib": 2001, "name": "Noor de Wit", "born": "1988-07-09", "category": "women",
        "division": "women", "gym": "millpond", "show_name": false });
    app.organiser().await.post(&format!("{C}/entries")).json(hidden).await.expect(200);
    let path = format!("{C}/divisions/women/standings");
    for form in ["application/json", "text/csv"] {
        let get = |lang| app.nobody().get(&path).accept(form).header("accept-language", lang);
        let (english, german) = (get("en").await.expect(200), get("de").await.expect(200));
        assert_eq!(english.text(), german.text());
        assert!(english.text().contains("Athlete 2001"), "{}", english.text());
        assert_eq!(english.header("etag"), german.header("etag"));
        get("de").header("if-none-match", english.header("etag")).await.expect(304);
    }
    let organiser = app.in_browser(&app.organiser().await).await;
    for path in
        ["/account/data.json", "/organise/saltmarsh/missing.csv?workout=w1", "/organise/saltmarsh/competition.toml"]
    {
        let get = |lang| organiser.get(path).header("accept-language", lang);
        assert_eq!(get("en").await.expect(200).text(), get("de").await.expect(200).text(), "{path}");
    }
    // On a page the name is said as the page is.
    let page = app.nobody().get("/c/saltmarsh/divisions/women").header("accept-language", "de").await.text();
    assert!(page.contains("Startnummer 2001") && !page.contains("Athlete 2001"), "{page}");
}

/// Problems and remarks are for people: they are said as asked for; codes and places never change.
#[tokio::test]
async fn problems_are_said_in_the_language_asked_for() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let url = format!("{C}/workouts/w1/scores/1042");
    let put = |lang| staff.put(&url).header("accept-language", lang).json(json!({ "performance": "7.14" }));
    let (english, german) = (put("en").await.expect(422), put("de").await.expect(422));
    assert_eq!(german.header("content-language"), "de");
    assert_eq!(english.errors(), german.errors());
    assert_eq!(german.json()["title"], "Erst zu berichtigen");
    assert_eq!(english.json()["title"], "To be mended first");
    assert_eq!(english.json()["type"], german.json()["type"]);
    assert!(german.text().contains("für 7 Runden und 14 Wiederholungen schreib 7+14"), "{}", german.text());
    // A read that is refused is refused in words too.
    let missing = staff.get(&format!("{C}/workouts/w9/scores/1042")).header("accept-language", "de").await;
    assert_eq!(missing.expect(404).json()["title"], "Nicht gefunden");
    // A question carries a part of its own.
    let asked = staff.post(&format!("{url}/check")).header("accept-language", "de");
    let asked = asked.json(json!({ "performance": "6+14 tb 0:00" })).await.expect(200).text();
    assert!(asked.contains("0:00 ist keine Tiebreak-Zeit: es ist die Uhr, als Runde 6 zu Ende war."), "{asked}");
    // As a page, for a browser.
    let page = app.nobody().get("/nowhere").accept("text/html").header("accept-language", "de").await.expect(404);
    assert!(is_german(&page) && page.text().contains("Unter dieser Adresse gibt es nichts."));
}

/// What somebody wrote stays as it was written, whoever reads it.
#[tokio::test]
async fn what_is_stored_keeps_its_language() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let url = format!("{C}/workouts/w1/scores/1042");
    let attestation = json!({"judge": "J-1", "how": "paper_sheet"});
    let sent = json!({"performance": "6+14 tb 11:24", "attestation": attestation});
    staff.put(&url).header("accept-language", "de").json(sent).await.expect(201);
    let ruling = json!({"kind": "stands", "reason": "clear on the sheet"});
    let seq = app.referee().await.get(&url).await.header("etag").trim_matches('"').to_owned();
    let ruled = app.referee().await.post(&format!("{url}/ruling")).if_match(seq).header("accept-language", "de");
    ruled.json(ruling).await.expect(200);
    let page = app.nobody().get("/c/saltmarsh/athletes/1042").header("accept-language", "de").await.expect(200).text();
    assert!(page.contains("clear on the sheet") && page.contains("Entscheidung: das Ergebnis bleibt"), "{page}");
    assert!(page.contains("6+14"), "written scores are the same everywhere");
    let log = app.organiser().await.get(&format!("{C}/log")).await.expect(200).text();
    assert!(!log.contains("Entscheidung"), "the log knows no language");
}

/// What a problem's `type` leads to is read without the values of any answer.
#[tokio::test]
async fn a_kind_of_problem_reads_well_without_the_values_of_an_answer() {
    let app = TestApp::empty().await;
    let mut gaps = 0;
    let areas = tallywright::words::Lang::En.tables().areas;
    let problems =
        areas.iter().find(|area| area.iter().any(|(code, _)| *code == "invalid")).expect("the area of problems");
    for (code, sentence) in *problems {
        let shown = !code.starts_with("title_") && !code.starts_with("about_");
        let page = app.nobody().get(&format!("/problems/{code}")).accept("text/html").await;
        let page = page.expect(if shown { 200 } else { 404 }).text();
        let lead = page.split_once("class=\"lead\">").map_or("", |(_, rest)| rest.split('<').next().unwrap_or(""));
        assert!(!lead.contains('{') && !lead.starts_with('…'), "{code}: {lead}");
        let explained = page.contains("Where … stands, the answer itself says what it is.");
        assert_eq!(lead.contains('…') && shown, explained, "{code}: {sentence}");
        gaps += usize::from(explained);
    }
    assert!(gaps > 5);
    let invalid = app.nobody().get("/problems/invalid").accept("text/html").await.expect(200).text();
    assert!(invalid.contains("More than one thing must be mended.") && !invalid.contains('…'), "{invalid}");
    let german = app.nobody().get("/problems/invalid?lang=de").accept("text/html").await.expect(200).text();
    assert!(german.contains("Mehr als eine Sache muss berichtigt werden."), "{german}");
}
