//! `/organise/{c}/file`: looking at a competition file before it is applied.

use super::organiser;
use crate::support::TestApp;
use serde_json::json;

const PATH: &str = "/organise/saltmarsh/file";

fn file() -> String {
    include_str!("../../data/small.toml").replace("slug = \"saltmarsh\"", "slug = \"saltmarsh\"\nprivate = false")
}

/// The value of a hidden field.
fn hidden(page: &str, name: &str) -> String {
    let before = format!("name=\"{name}\" value=\"");
    page.split_once(&before).and_then(|(_, rest)| rest.split_once('"')).map_or_else(String::new, |(v, _)| v.to_owned())
}

/// What is in force stands in the field and is given out; sent back as a browser does, it is the same,
/// and one word of it is one change.
#[tokio::test]
async fn the_file_in_force_is_there_to_be_changed() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let check = |text: String| {
        let (browser, csrf) = (browser.clone(), csrf.clone());
        async move {
            browser.post(PATH).form(&[("csrf", &*csrf), ("do", "check"), ("text", &text)]).await.expect(200).text()
        }
    };
    // A text of several lines, and what a page could take for its own.
    let lines = "First line.\n\n</textarea><b>Second</b> \"line\" & \\ more.\n";
    let change = file().replace("\"Hips straight at the top of every swing.\"", &format!("'''\n{lines}'''"));
    let etag = hidden(&check(change.clone()).await, "etag");
    let form = [("csrf", &*csrf), ("etag", &etag), ("do", "apply"), ("text", &change), ("reason", "for the test")];
    browser.post(PATH).form(&form).await.expect(200);
    let page = browser.get(PATH).await.expect(200).text();
    let text = page.split_once("</span><textarea").and_then(|(_, rest)| rest.split_once('>')).expect("a field").1;
    let text = text.split_once("</textarea>").expect("its end").0;
    let text = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&#34;", "\"");
    let text = text
        .replace("&#39;", "'")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#38;", "&")
        .replace("&amp;", "&");
    let own = browser.get("/organise/saltmarsh/competition.toml").await.expect(200);
    assert_eq!(own.header("content-type"), "application/toml; charset=utf-8");
    assert_eq!(own.header("content-disposition"), "attachment; filename=\"saltmarsh.toml\"");
    assert_eq!(own.text(), text);
    assert!(check(text.replace('\n', "\r\n")).await.contains("it is the file in force"));
    let page = check(text.replace("Arms straight", "Arms locked").replace('\n', "\r\n")).await;
    assert!(page.contains("workout.w3.standards") && page.matches("<code>").count() == 1, "{page}");
}

#[tokio::test]
async fn a_file_is_looked_at_first_and_then_applied_as_it_was_shown() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    browser.get(PATH).await.expect(200);
    let page =
        browser.post(PATH).upload(&[("csrf", &csrf), ("do", "check")], file().as_bytes()).await.expect(200).text();
    assert!(page.contains("it is the file in force") && !page.contains("value=\"apply\""), "{page}");
    let changed = file().replace("Hips straight at the top", "Hips open at the top");
    let page =
        browser.post(PATH).upload(&[("csrf", &csrf), ("do", "check")], changed.as_bytes()).await.expect(200).text();
    assert!(page.contains("workout.w1.standards") && page.contains("Hips open"), "{page}");
    let standards = || async {
        let now = app.nobody().get("/api/v1/competitions/saltmarsh").await.expect(200).json();
        now["workouts"][1]["standards"].as_str().unwrap_or_default().to_owned()
            + now["workouts"][0]["standards"].as_str().unwrap_or_default()
    };
    assert!(standards().await.contains("Hips straight"), "looking changes nothing");
    // As a browser sends the field back.
    let (text, etag) = (changed.replace('\n', "\r\n"), hidden(&page, "etag"));
    // It is published: the page asks why, and asks again.
    assert!(page.contains("name=\"reason\"") && page.contains("published already: needs a reason"), "{page}");
    let form = [("csrf", &*csrf), ("etag", &etag), ("do", "apply"), ("text", &text)];
    let asks = browser.post(PATH).form(&form).await.expect(422).text();
    assert!(asks.contains("href=\"#reason\"") && asks.contains("workout.w1.standards"), "{asks}");
    assert!(asks.contains("value=\"apply\"") && hidden(&asks, "etag") == etag, "{asks}");
    assert!(standards().await.contains("Hips straight"), "nothing is stored without it");
    let form =
        [("csrf", &*csrf), ("etag", &etag), ("do", "apply"), ("text", &text), ("reason", "Asked at the briefing")];
    let page = browser.post(PATH).form(&form).await.expect(200).text();
    assert!(page.contains("It is in force.") && !page.contains("name=\"reason\""), "{page}");
    assert!(standards().await.contains("Hips open"));
    let brief = app.nobody().get("/c/saltmarsh/workouts/w1").accept("text/html").await.expect(200).text();
    assert!(brief.contains("Asked at the briefing"), "{brief}");
    // A second tap on the button: the same file is in force already.
    let page = browser.post(PATH).form(&form).await.expect(200).text();
    assert!(page.contains("It is in force.") && !page.contains("Another file was applied meanwhile"), "{page}");
    // What was shown then is not what would happen now.
    let again = text.replace("Hips open", "Hips level");
    let form = [("csrf", &*csrf), ("etag", &etag), ("do", "apply"), ("text", &again)];
    let page = browser.post(PATH).form(&form).await.expect(412).text();
    assert!(page.contains("Another file was applied meanwhile"));
}

#[tokio::test]
async fn all_faults_of_a_file_are_shown_with_their_lines() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let send = |text: String| browser.post(PATH).form(&[("csrf", &*csrf), ("do", "check"), ("text", &text)]);
    let faulty = file()
        .replace("reps = 20", "reps = -20")
        .replace("cap = \"15:00\"", "cap = \"soon\"")
        .replace("age_date = 2027-01-15", "age_dat = 2027-01-15");
    let lines: Vec<usize> = ["reps = -20", "\"soon\"", "age_dat "]
        .iter()
        .map(|what| faulty.lines().position(|l| l.contains(what)).expect("is there") + 1)
        .collect();
    let page = send(faulty).await.expect(422).text();
    for line in lines {
        assert!(page.contains(&format!("Line {line}, ")), "line {line} in {page}");
    }
    let page = send(file().replace("\"saltmarsh\"", "\"elsewhere\"")).await.expect(422).text();
    assert!(page.contains("elsewhere"));
    send(String::new()).await.expect(422);
    let binary = browser.post(PATH).upload(&[("csrf", &csrf)], &[0xff, 0xfe, 0, 1]).await.expect(422).text();
    assert!(binary.contains("no text in UTF-8"));
}

#[tokio::test]
async fn what_changes_stored_scores_needs_the_tick() {
    let app = TestApp::new().await;
    let body = json!({ "performance": "6+15 tb 11:24", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let score = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
    app.staff_of("quayside").await.put(score).json(body).await.expect(201);
    let (browser, csrf) = organiser(&app).await;
    let changed = file().replace("reps = 20", "reps = 22");
    let fields = |rescore| [("csrf", csrf.as_str()), ("text", changed.as_str()), ("do", "check"), ("rescore", rescore)];
    let page = browser.post(PATH).form(&fields("")).await.expect(409).text();
    assert!(page.contains("href=\"#rescore\"") && page.contains("attestations void"), "{page}");
    // Both that are missing are said at once.
    let mut asked = fields("").to_vec();
    asked[2] = ("do", "apply");
    let etag = hidden(&page, "etag");
    asked.push(("etag", &etag));
    let both = browser.post(PATH).form(&asked).await.expect(409).text();
    assert!(both.contains("href=\"#rescore\"") && both.contains("href=\"#reason\""), "{both}");
    let page = browser.post(PATH).form(&fields("yes")).await.expect(200).text();
    assert!(page.contains("1 stored scores are worked out again, 1 of them need a judge again."), "{page}");
    let form = [
        ("csrf", &*csrf),
        ("etag", &hidden(&page, "etag")),
        ("do", "apply"),
        ("rescore", "yes"),
        ("text", &changed),
        ("reason", "Miscounted"),
    ];
    browser.post(PATH).form(&form).await.expect(200);
    let now = app.nobody().get(score).await.expect(200).json();
    assert_eq!(now["state"], "entered");
}
