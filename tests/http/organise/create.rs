//! `/new-competition`: a competition made from pages, looked at first.

use crate::support::{Client, TestApp};

const PATH: &str = "/new-competition";

/// Who organises all, in a browser, with the hidden field of the forms.
async fn administrator(app: &TestApp) -> (Client, String) {
    let browser = app.in_browser(&app.administrator().await).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    (browser, csrf)
}

#[tokio::test]
async fn the_example_is_taken_along_looked_at_and_made() {
    let app = TestApp::new().await;
    let (browser, csrf) = administrator(&app).await;
    assert!(browser.get("/organise").await.expect(200).text().contains("href=\"/new-competition\""));
    let page = browser.get(PATH).await.expect(200).text();
    assert!(page.contains("href=\"/new-competition/example.toml\""), "{page}");
    let example = browser.get("/new-competition/example.toml").await.expect(200);
    assert!(example.header("content-disposition").contains("competition.toml"));
    let text = example.text();
    let page = browser.post(PATH).upload(&[("csrf", &csrf), ("do", "check")], text.as_bytes()).await.expect(200).text();
    assert!(
        page.contains("A new competition.") && page.contains("workout.w1") && page.contains("value=\"apply\""),
        "{page}"
    );
    assert!(!page.contains("id=\"rescore\""), "there is nothing stored to be worked out again");
    browser.get("/c/lantern-street").await.expect(404);
    // As a browser sends the field back.
    let text = text.replace('\n', "\r\n");
    let form = [("csrf", &*csrf), ("do", "apply"), ("text", &text)];
    let done = browser.post(PATH).form(&form).await.expect(303);
    assert_eq!(done.header("location"), "/organise/lantern-street?done=created");
    let page = browser.get(done.header("location")).await.expect(200).text();
    assert!(
        page.contains("The competition is there.") && page.contains("/organise/lantern-street/lists/gyms"),
        "{page}"
    );
    // Nothing of its workouts is told before they are announced.
    let told = app.nobody().get("/c/lantern-street").accept("text/html").await.expect(200).text();
    assert!(told.contains("Lantern Street Autumn Series") && !told.contains("First Light"), "{told}");
}

#[tokio::test]
async fn one_that_is_there_is_not_overwritten_and_all_faults_are_told_with_their_lines() {
    let app = TestApp::new().await;
    let (browser, csrf) = administrator(&app).await;
    let send =
        async |text: &str, what: &str| browser.post(PATH).form(&[("csrf", &*csrf), ("do", what), ("text", text)]).await;
    let small = include_str!("../../data/small.toml").replace("Saltmarsh Winter Series", "Another");
    for what in ["check", "apply"] {
        let page = send(&small, what).await.expect(409).text();
        assert!(page.contains("is there already"), "{page}");
    }
    let title = app.nobody().get("/api/v1/competitions/saltmarsh").await.expect(200).json()["title"].clone();
    assert_eq!(title, "Saltmarsh Winter Series");
    let faulty = small.replace("reps = 20", "reps = -20").replace("cap = \"15:00\"", "cap = \"soon\"");
    let page = send(&faulty, "apply").await.expect(422).text();
    for what in ["reps = -20", "\"soon\""] {
        let line = faulty.lines().position(|l| l.contains(what)).expect("is there") + 1;
        assert!(page.contains(&format!("Line {line}, ")), "line {line} in {page}");
    }
    send("", "check").await.expect(422);
}

#[tokio::test]
async fn who_organises_one_competition_makes_no_other() {
    let app = TestApp::new().await;
    let browser = app.in_browser(&app.organiser().await).await;
    let page = browser.get("/organise").await.expect(200);
    assert!(!page.text().contains("/new-competition"));
    let csrf = browser.get("/account").await.expect(200).csrf();
    let text = include_str!("../../data/small.toml").replace("\"saltmarsh\"", "\"mine\"");
    browser.post(PATH).form(&[("csrf", &*csrf), ("do", "apply"), ("text", &text)]).await.expect(403);
    app.nobody().get("/api/v1/competitions/mine").await.expect(404);
}
