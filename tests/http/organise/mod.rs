//! `/organise`: the organiser's pages.

mod create;
mod entry;
mod erase;
mod file;
mod late;
mod lists;
mod missing;
mod people;

use crate::support::{Client, TestApp};

/// The organiser of saltmarsh in a browser, with the hidden field of the forms.
pub async fn organiser(app: &TestApp) -> (Client, String) {
    let browser = app.in_browser(&app.organiser().await).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    (browser, csrf)
}

#[tokio::test]
async fn an_organiser_is_led_to_their_competitions_and_to_nobody_elses() {
    let app = TestApp::new().await;
    let (browser, _) = organiser(&app).await;
    let page = browser.get("/organise").await.expect(200).text();
    assert!(page.contains("href=\"/organise/saltmarsh\"") && !page.contains("/organise/hidden"), "{page}");
    browser.get("/organise/hidden").await.expect(404);
    let all = app.in_browser(&app.administrator().await).await;
    let page = all.get("/organise").await.expect(200).text();
    assert!(page.contains("href=\"/organise/hidden\""));
    let nobodys = app.in_browser(&app.referee().await).await.get("/organise").await.expect(200).text();
    assert!(!nobodys.contains("href=\"/organise/saltmarsh\""));
}

#[tokio::test]
async fn a_form_of_another_session_is_not_taken() {
    let app = TestApp::new().await;
    let (browser, _) = organiser(&app).await;
    let path = "/organise/saltmarsh/lists/gyms";
    let csv = b"slug,name,country\nhilltop,Hilltop,PT\n";
    assert_eq!(browser.post(path).upload(&[("csrf", "x")], csv).await.expect(403).code(), "form_expired");
    assert_eq!(browser.post(path).upload(&[], csv).await.expect(403).code(), "form_expired");
    let twice = [("csrf", "x"), ("csrf", "x")];
    browser.post(path).upload(&twice, csv).await.expect(403);
    app.organiser().await.post(path).upload(&[], csv).await.expect(403);
    app.nobody().get("/api/v1/competitions/saltmarsh/gyms?q=hilltop").await.expect(200);
    let gyms = app.nobody().get("/api/v1/competitions/saltmarsh/gyms?q=hilltop").await.json();
    assert_eq!(gyms.as_array().map(Vec::len), Some(0));
}
