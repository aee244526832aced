//! `/organise/{c}/missing`: who has neither a score nor a statement.

use super::organiser;
use crate::support::{TestApp, grant};
use serde_json::json;
use tallywright::rules::access::Role;

#[tokio::test]
async fn who_is_missing_is_told_by_gym_and_as_a_text_to_send() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let scores = "/api/v1/competitions/saltmarsh/workouts/w1/scores";
    staff.put(&format!("{scores}/1042")).json(json!({ "performance": "6+15 tb 11:24" })).await.expect(201);
    let (browser, _) = organiser(&app).await;
    let page = browser.get("/organise/saltmarsh/missing").await.expect(200).plain();
    assert!(page.contains("3 of 4 who could take part have no score in Workout 1"), "{page}");
    assert!(page.contains("Quayside Gym</a></th><td class=\"n\">2</td><td class=\"n\">1</td><td class=\"n\">1</td>"));
    assert!(page.contains("Millpond Gym</a></th><td class=\"n\">1</td><td class=\"n\">1</td><td class=\"n\">0</td>"));
    let page = browser.get("/organise/saltmarsh/missing?workout=w1&gym=quayside").await.expect(200).plain();
    assert!(page.contains("Workout 1 closes Sunday 17 January 2027, 21:00 (Europe/Lisbon), in 3 days 9 h."), "{page}");
    assert!(page.contains("1043 Rita Alves, Women\n1044 Tomás Brito, Men\n"));
    assert!(page.contains("http://127.0.0.1:8080/desk/saltmarsh/quayside\n") && !page.contains("Ines Duarte"));
    // Said to take no part: nobody waits for them.
    staff.post(&format!("{scores}/1043/not-taking-part")).await.expect(200);
    let page = browser.get("/organise/saltmarsh/missing?workout=w1&gym=quayside").await.expect(200).plain();
    assert!(!page.contains("Rita Alves") && page.contains("Missing from Quayside Gym: 1"));
    browser.get("/organise/saltmarsh/missing?gym=nowhere").await.expect(404);
    browser.get("/organise/saltmarsh/missing?workout=w9").await.expect(404);
}

#[tokio::test]
async fn a_gym_is_told_until_when_first_scores_count() {
    let app = TestApp::new().await;
    for (hour, said) in [
        ("20:59", "Workout 1 closes Sunday 17 January 2027, 21:00 (Europe/Lisbon), in 1 min."),
        ("21:03", "First scores still count until Sunday 17 January 2027, 21:10 (Europe/Lisbon), for another 7 min;"),
        ("21:10", "Workout 1 closed Sunday 17 January 2027, 21:00 (Europe/Lisbon). What is sent now waits"),
    ] {
        app.set_clock(&format!("2027-01-17T{hour}:00Z"));
        let (browser, _) = organiser(&app).await;
        let page = browser.get("/organise/saltmarsh/missing?workout=w1&gym=quayside").await.expect(200).plain();
        assert!(page.contains(said), "{hour}: {page}");
    }
}

#[tokio::test]
async fn the_csv_is_safe_in_a_spreadsheet() {
    let app = TestApp::new().await;
    let row = json!({ "bib": 3001, "name": "=HYPERLINK(\"https://example.org\")", "born": "1990-01-01",
        "category": "women", "division": "women", "gym": "millpond" });
    app.organiser().await.post("/api/v1/competitions/saltmarsh/entries").json(row).await.expect(201);
    let (browser, _) = organiser(&app).await;
    let csv = browser.get("/organise/saltmarsh/missing.csv?workout=w1").await.expect(200);
    assert!(
        csv.header("content-type").starts_with("text/csv")
            && csv.header("content-disposition").contains("missing-w1.csv")
    );
    let text = csv.text();
    assert!(
        text.starts_with(
            "workout,gym,gym_name,division,bib,name\r\nw1,millpond,Millpond Gym,women,2001,Noor de Wit\r\n"
        ),
        "{text}"
    );
    assert!(text.contains(",3001,\"'=HYPERLINK(\"\"https://example.org\"\")\"\r\n"));
    assert_eq!(text.lines().count(), 6);
}

#[tokio::test]
async fn without_a_workout_nobody_is_missing_and_the_file_is_shown_the_way_to() {
    let app = TestApp::empty().await;
    app.db_file(include_str!("../../data/nothing_yet.toml")).await;
    let organiser = app.browser("all@example.org", &[grant(Role::Organiser, None)]).await;
    let overview = organiser.get("/organise/zz-nothing-yet").await.expect(200).text();
    assert!(overview.contains("href=\"/organise/zz-nothing-yet/missing\""), "{overview}");
    let page = organiser.get("/organise/zz-nothing-yet/missing").accept("text/html").await.expect(200).text();
    assert!(page.contains("No workout has been announced yet."), "{page}");
    assert!(page.contains("href=\"/organise/zz-nothing-yet/file\""), "{page}");
    let german = organiser.get("/organise/zz-nothing-yet/missing?lang=de").accept("text/html").await.expect(200).text();
    assert!(german.contains("Es ist noch kein Workout angekündigt."), "{german}");
    let csv = organiser.get("/organise/zz-nothing-yet/missing.csv").await.expect(200).text();
    assert_eq!(csv, "workout,gym,gym_name,division,bib,name\r\n");
    organiser.get("/organise/zz-nothing-yet/missing?workout=w1").accept("text/html").await.expect(404);
}
