//! `PATCH …/entries/{bib}`.

use super::{C, attested, score};
use crate::support::TestApp;
use serde_json::json;

#[tokio::test]
async fn a_removed_entry_leaves_all_places_and_comes_back_as_it_was() {
    let app = TestApp::new().await;
    let (organiser, staff) = (app.organiser().await, app.staff_of("quayside").await);
    attested(&staff, 1042, "278", "J-1").await.expect(201);
    let second = attested(&staff, 1043, "270", "J-1").await.expect(201).json();
    assert_eq!(second["places"][0]["place"], 2);
    let path = format!("{C}/entries/1042");
    let change = json!({ "state": "removed", "reason": "Entered twice." });
    let dry = organiser.patch(&format!("{path}?dry_run=true")).json(change.clone()).await.expect(200).json();
    assert_eq!((&dry["dry_run"], &dry["entry"]["state"]), (&json!(true), &json!("active")));
    let moved = organiser.patch(&path).json(change.clone()).await.expect(200).json();
    assert_eq!(moved["entry"]["state"], "removed");
    let again = organiser.patch(&path).json(change).await.expect(200).json();
    assert_eq!(again["changed"], false);
    let page = app.nobody().get(&format!("{C}/divisions/women/standings")).await.expect(200).json();
    assert_eq!(page["rows"][0]["bib"], 1043);
    let back = json!({ "state": "active", "reason": "It was another." });
    organiser.patch(&path).json(back).await.expect(200);
    let standing = app.nobody().get(&format!("{path}/standing")).await.expect(200).json();
    assert_eq!(standing["overall"][0]["place"], 1);
}

#[tokio::test]
async fn only_an_organiser_moves_an_entry_and_says_why() {
    let app = TestApp::new().await;
    let path = format!("{C}/entries/1042");
    let change = json!({ "gym": "millpond", "reason": "Moved house." });
    app.nobody().patch(&path).json(change.clone()).await.expect(401);
    for client in [app.staff_of("quayside").await, app.referee().await, app.athlete(1042).await] {
        client.patch(&path).json(change.clone()).await.expect(403);
    }
    let organiser = app.organiser().await;
    let wrong = json!({ "state": "gone", "division": 7, "x": 1 });
    let errors = organiser.patch(&path).json(wrong).await.expect(422).errors();
    assert_eq!(errors, ["/division member_text", "/state member_word", "/reason member_needed", "/x member_unknown"]);
    let unknown = json!({ "gym": "nowhere", "division": "juniors", "reason": "?" });
    assert_eq!(organiser.patch(&path).json(unknown).await.expect(422).errors().len(), 2);
    organiser.patch(&format!("{C}/entries/77")).json(change.clone()).await.expect(404);
    let moved = organiser.patch(&path).json(change).await.expect(200).json();
    assert_eq!(moved["entry"]["gym"], "millpond");
    let none = json!({ "gym": null, "reason": "Trains alone now." });
    assert_eq!(organiser.patch(&path).json(none).await.expect(200).json()["entry"]["gym"], json!(null));
}

#[tokio::test]
async fn a_guest_is_shown_without_a_place() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, 1042, "278", "J-1").await.expect(201);
    let change = json!({ "state": "guest", "reason": "Out of competition." });
    app.organiser().await.patch(&format!("{C}/entries/1042")).json(change).await.expect(200);
    let page = app.nobody().get(&format!("{C}/divisions/women/workouts/w1/places?bib=1042")).await.expect(200).json();
    let row = page["rows"].as_array().unwrap().iter().find(|r| r["bib"] == 1042).expect("listed").clone();
    assert_eq!(row["place"], json!(null));
    let score = app.nobody().get(&score("w1", 1042)).await.expect(200).json();
    assert_eq!(score["state"], "attested");
}

#[tokio::test]
async fn a_change_of_an_entry_that_another_one_has_changed_is_refused() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let path = format!("{C}/entries/1042");
    let seen = organiser.get(&path).await.expect(200).json()["etag"].as_str().expect("a tag").to_owned();
    // Somebody else takes it out of the ranking meanwhile.
    organiser.patch(&path).json(json!({ "state": "withdrawn", "reason": "hurt a knee" })).await.expect(200);
    let change = || organiser.patch(&path).json(json!({ "state": "guest", "reason": "from abroad" }));
    let refused = change().if_match(&seen).await.expect(412);
    assert_eq!(refused.code(), "precondition_failed");
    let now = organiser.get(&path).await.expect(200).json();
    assert_eq!(now["state"], "withdrawn");
    let done = change().if_match(now["etag"].as_str().expect("a tag")).await.expect(200).json();
    let after = organiser.get(&path).await.expect(200).json()["etag"].clone();
    assert_eq!((&done["entry"]["state"], &done["entry"]["etag"]), (&json!("guest"), &after));
}
