//! `POST …/workouts/{w}/scores/{bib}/check`: what storing would do, with nothing stored.

use super::{C, attested, score};
use crate::support::TestApp;
use serde_json::{Value, json};

fn checked(workout: &str, bib: u32) -> String {
    format!("{}/check", score(workout, bib))
}

fn codes(list: &Value) -> Vec<&str> {
    list.as_array().expect("a list").iter().filter_map(|r| r["code"].as_str()).collect()
}

#[tokio::test]
async fn a_check_says_what_it_reads_as_and_which_place_it_would_have_and_stores_nothing() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let first = attested(&staff, 1042, "6+14 tb 11:24", "J-1").await.expect(201).json();
    let path = checked("w1", 1043);
    let better = staff.post(&path).json(json!({ "performance": "6 rds + 15, TB 11.24" })).await.expect(200).json();
    assert_eq!(better["text"], "6+15 tb 11:24");
    assert_eq!((&better["fits"], &better["late"], &better["unchanged"]), (&json!(true), &json!(false), &json!(false)));
    let places = better["places"].as_array().expect("places");
    assert_eq!(places[0], json!({ "division": "women", "place": 1, "of": 2 }));
    let worse = staff.post(&path).json(json!({ "performance": "6+13 tb 11:24" })).await.expect(200).json();
    assert_eq!(worse["places"][0]["place"], 2);
    staff.get(&score("w1", 1043)).await.expect(404);
    assert_eq!(worse["log_seq"], first["log_seq"], "the log is as long as before");
    // The place that a correction would have does not count the score it replaces.
    let own = staff.post(&checked("w1", 1042)).json(json!({ "performance": "5+0 tb 9:00" })).await.expect(200).json();
    assert_eq!(own["places"][0], json!({ "division": "women", "place": 1, "of": 1 }));
}

#[tokio::test]
async fn faults_come_all_at_once_and_are_no_error_of_the_request() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let body =
        json!({ "performance": "lots", "gym": "nowhere", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let view = staff.post(&checked("w1", 1042)).json(body).await.expect(200).json();
    assert_eq!((&view["fits"], &view["text"]), (&json!(false), &Value::Null));
    let faults = view["faults"].as_array().expect("faults");
    let pointers: Vec<&str> = faults.iter().filter_map(|f| f["pointer"].as_str()).collect();
    assert!(pointers.contains(&"/performance") && pointers.contains(&"/gym"), "{faults:?}");
    assert!(faults.iter().all(|f| f["message"].as_str().is_some_and(|m| m.contains(' '))), "in words");
    // What cannot be read as a score at all is refused as everywhere.
    let unknown = staff.post(&checked("w1", 1042)).json(json!({ "performance": "6+14", "speed": 3 })).await.expect(422);
    assert_eq!(unknown.errors(), ["/speed member_unknown"]);
}

#[tokio::test]
async fn a_judge_who_is_none_is_told_before_anything_is_stored() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let body = json!({ "performance": "6+14", "attestation": { "judge": "J-none", "how": "signed_in" } });
    let view = staff.post(&checked("w1", 1042)).json(body).await.expect(200).json();
    assert_eq!(view["faults"][0]["pointer"], "/attestation/judge");
}

#[tokio::test]
async fn questions_are_asked_with_the_place_beside_them_until_they_are_answered() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = checked("w1", 1042);
    // More whole rounds than a round has reps: perhaps all reps were meant.
    let asked = staff.post(&path).json(json!({ "performance": "278+0" })).await.expect(200).json();
    let codes = codes(&asked["questions"]).join(",");
    assert!(!codes.is_empty(), "{asked}");
    assert_eq!(asked["fits"], false);
    assert!(asked["text"].is_string(), "what it reads as is told all the same");
    let codes: Vec<&str> = codes.split(',').collect();
    let answered = staff.post(&path).json(json!({ "performance": "278+0", "confirm": codes })).await.expect(200).json();
    assert_eq!((&answered["questions"], &answered["fits"]), (&json!([]), &json!(true)));
}

#[tokio::test]
async fn what_is_stored_already_is_unchanged_and_what_is_ruled_on_is_a_fault() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let stored = attested(&staff, 1042, "6+14 tb 11:24", "J-1").await.expect(201).json();
    let same =
        staff.post(&checked("w1", 1042)).json(json!({ "performance": "6+14 tb 11:24" })).await.expect(200).json();
    assert_eq!((&same["unchanged"], &same["text"]), (&json!(true), &json!("6+14 tb 11:24")));
    let etag = super::etag(&stored);
    let flag = json!({ "reason": "count", "note": "two short" });
    app.referee().await.post(&format!("{}/flags", score("w1", 1042))).if_match(etag).json(flag).await.expect(200);
    let held =
        staff.post(&checked("w1", 1042)).json(json!({ "performance": "6+13 tb 11:24" })).await.expect(200).json();
    assert_eq!(codes(&held["faults"]), ["being_checked"]);
}

#[tokio::test]
async fn what_comes_too_late_would_be_late_and_has_no_place() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    app.set_clock("2027-01-19T12:00:00Z");
    let view =
        staff.post(&checked("w1", 1042)).json(json!({ "performance": "6+14 tb 11:24" })).await.expect(200).json();
    assert_eq!((&view["late"], &view["places"]), (&json!(true), &json!([])));
    assert!(codes(&view["warnings"]).contains(&"stored_late"));
}

#[tokio::test]
async fn visitors_who_did_it_in_a_gym_are_on_its_list() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let body = json!({ "performance": "6+14 tb 11:24", "gym": "quayside" });
    staff.put(&score("w1", 2001)).json(body).await.expect(201);
    let list = staff.get(&format!("{C}/workouts/w1/scores?gym=quayside")).await.expect(200).json();
    let rows = list["rows"].as_array().expect("rows");
    let visitor = rows.iter().find(|r| r["bib"] == 2001).expect("the visitor");
    assert_eq!((&visitor["gym"], &visitor["state"]), (&json!("millpond"), &json!("entered")));
    assert_eq!((&list["entries"], &list["awaiting"], &list["missing"]), (&json!(4), &json!(1), &json!(3)));
    // The own gym has it too, and nobody twice.
    let home = app.staff_of("millpond").await.get(&format!("{C}/workouts/w1/scores?gym=millpond")).await.expect(200);
    assert_eq!(home.json()["rows"].as_array().expect("rows").len(), 1);
}
