//! `GET /api/v1/competitions`, `GET` and `PUT …/{competition}`.

use super::{C, attested};
use crate::support::TestApp;
use serde_json::json;

const FILE: &str = include_str!("../../../../data/small.toml");

#[tokio::test]
async fn applying_the_same_file_again_changes_nothing() {
    let app = TestApp::empty().await;
    let organiser = app.administrator().await;
    let dry = organiser.put(&format!("{C}?dry_run=true")).body("application/toml", FILE).await.expect(200).json();
    assert_eq!((&dry["dry_run"], &dry["created"]), (&json!(true), &json!(true)));
    app.nobody().get(C).await.expect(404);
    organiser.put(C).body("application/toml", FILE).await.expect(201);
    let again = organiser.put(C).body("application/toml", FILE).await.expect(200).json();
    assert_eq!((&again["changes"], &again["created"]), (&json!([]), &json!(false)));
    let changed = FILE.replace("Saltmarsh Winter Series", "Saltmarsh Series");
    let changed =
        organiser.put(&format!("{C}?reason=renamed")).body("application/toml", changed).await.expect(200).json();
    assert_eq!(changed["changes"][0]["to"], "Saltmarsh Series");
    assert_eq!(app.nobody().get(C).await.expect(200).json()["title"], "Saltmarsh Series");
}

#[tokio::test]
async fn only_an_organiser_applies_a_file() {
    let app = TestApp::new().await;
    app.nobody().put(C).body("application/toml", FILE).await.expect(401);
    for client in [app.referee().await, app.staff_of("quayside").await, app.athlete(1042).await, app.stranger().await] {
        client.put(C).body("application/toml", FILE).await.expect(403);
        client.put(C).body("application/toml", "not toml").await.expect(403);
    }
    let organiser = app.organiser().await;
    organiser.put("/api/v1/competitions/other").body("application/toml", FILE).await.expect(403);
    let administrator = app.administrator().await;
    let other = administrator.put("/api/v1/competitions/other").body("application/toml", FILE).await.expect(422);
    assert_eq!(other.errors(), ["competition.slug other_slug"]);
}

#[tokio::test]
async fn every_fault_of_a_file_is_listed_with_its_line() {
    let app = TestApp::new().await;
    let file = FILE.replace("Europe/Lisbon", "Europe/Nowhere").replace("cap = \"12:00\"", "cap = \"twelve\"");
    let refused = app.organiser().await.put(C).body("application/toml", file).await.expect(422).json();
    let errors = refused["errors"].as_array().unwrap();
    assert!(errors.len() >= 2, "{errors:?}");
    assert!(errors.iter().all(|e| e["line"].is_u64()), "{errors:?}");
    let unread = app.organiser().await.put(C).body("application/toml", "[competition").await.expect(422).json();
    assert!(unread["errors"][0]["line"].is_u64(), "{unread}");
    app.organiser().await.put(C).csv("a,b").await.expect(415);
}

#[tokio::test]
async fn a_change_that_alters_stored_scores_needs_rescore() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    attested(&app.staff_of("quayside").await, 1042, "278", "J-1").await.expect(201);
    let file =
        FILE.replace("reps = 14", "reps = 15").replace("slug = \"saltmarsh\"", "slug = \"saltmarsh\"\nprivate = false");
    let refused = organiser.put(C).body("application/toml", file.clone()).await.expect(409).json();
    assert!(refused["differences"].as_array().is_some_and(|d| !d.is_empty()), "{refused}");
    let applied = organiser
        .put(&format!("{C}?rescore=true&reason=Miscounted"))
        .body("application/toml", file)
        .await
        .expect(200)
        .json();
    assert_eq!((&applied["reworked"][0]["bib"], &applied["reworked"][0]["void"]), (&json!(1042), &json!(true)));
    let score = app.nobody().get(&super::score("w1", 1042)).await.expect(200).json();
    assert_eq!(score["state"], "entered");
}

#[tokio::test]
async fn a_stale_file_is_not_applied_over_a_newer_one() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let read = organiser.get(C).await.expect(200);
    let tag = read.header("etag").to_owned();
    let file = |title: &str| FILE.replace("Saltmarsh Winter Series", title);
    organiser
        .put(&format!("{C}?reason=renamed"))
        .header("if-match", &tag)
        .body("application/toml", file("One"))
        .await
        .expect(200);
    organiser
        .put(&format!("{C}?reason=renamed"))
        .header("if-match", &tag)
        .body("application/toml", file("Two"))
        .await
        .expect(412);
    // The one that is in force, sent again as after a lost answer, is no other one.
    let again =
        organiser.put(C).header("if-match", &tag).body("application/toml", file("One")).await.expect(200).json();
    assert_eq!(again["changes"], json!([]), "{again}");
    assert_eq!(organiser.get(C).await.json()["title"], "One");
}

#[tokio::test]
async fn the_list_and_a_competition_show_what_their_reader_may_see() {
    let app = TestApp::new().await;
    let nobody = app.nobody();
    let list = nobody.get("/api/v1/competitions").await.expect(200);
    assert_eq!(list.header("access-control-allow-origin"), "*");
    let list = list.json();
    let slugs = |list: &serde_json::Value| -> Vec<String> {
        list.as_array().unwrap().iter().map(|c| c["slug"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(slugs(&list), ["saltmarsh"]);
    assert_eq!(slugs(&app.administrator().await.get("/api/v1/competitions").await.json()), ["hidden", "saltmarsh"]);
    nobody.get("/api/v1/competitions/hidden").await.expect(404);
    app.organiser().await.get("/api/v1/competitions/hidden").await.expect(404);
    let hidden = app.administrator().await.get("/api/v1/competitions/hidden").await.expect(200);
    assert!(hidden.header("cache-control").contains("private"));

    let workouts = |view: serde_json::Value| -> Vec<String> {
        view["workouts"].as_array().unwrap().iter().map(|w| w["slug"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(workouts(nobody.get(C).await.json()), ["w1", "w2"], "w3 is not announced");
    assert_eq!(workouts(app.staff_of("quayside").await.get(C).await.json()), ["w1", "w2"]);
    assert_eq!(workouts(app.organiser().await.get(C).await.json()), ["w1", "w2", "w3"]);
}
