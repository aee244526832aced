//! The list of changes on a workout's page: what was changed after everybody could read it, and why.

use crate::support::{Reply, TestApp};
use serde_json::json;

const C: &str = "/api/v1/competitions/saltmarsh";
const BRIEF: &str = "/c/saltmarsh/workouts/w1";

fn file() -> String {
    include_str!("../data/small.toml").replace("slug = \"saltmarsh\"", "slug = \"saltmarsh\"\nprivate = false")
}

/// The same with other loads for the men.
fn lighter_men(file: &str) -> String {
    let both = "divisions = [\"women\", \"men\"]\nloads = [{ item = \"kettlebell\", kg = 16, lb = 35 }]";
    assert!(file.contains(both));
    let apart = "divisions = [\"women\"]\nloads = [{ item = \"kettlebell\", kg = 16, lb = 35 }]\n\n[[workout.prescription]]\ndivisions = [\"men\"]\nloads = [{ item = \"kettlebell\", kg = 12, lb = 26 }]";
    file.replacen(both, apart, 1)
}

async fn apply(app: &TestApp, query: &str, file: String) -> Reply {
    app.organiser().await.put(&format!("{C}{query}")).body("application/toml", file).await
}

async fn brief(app: &TestApp, workout: &str) -> String {
    app.nobody().get(&format!("/c/saltmarsh/workouts/{workout}")).accept("text/html").await.expect(200).plain()
}

#[tokio::test]
async fn what_changed_since_it_was_published_stands_on_the_brief_with_its_reason() {
    let app = TestApp::new().await;
    assert!(brief(&app, "w1").await.contains("Nothing has been changed since it was published."));
    app.set_clock("2027-01-14T15:30:00Z");
    let reason = "?reason=The%20men%27s%20bells%20were%20%3Cmistyped%3E.";
    let applied = apply(&app, reason, lighter_men(&file())).await.expect(200).json();
    assert!(applied["changes"].as_array().unwrap().iter().all(|d| d["published"] == true), "{applied}");
    let page = brief(&app, "w1").await;
    let line = "<li><strong>Load or height, kettlebell</strong> (Men): 16 kg (35 lb) → 12 kg (26 lb)</li>";
    assert!(page.contains(line), "{page}");
    assert!(page.contains("The men&#39;s bells were &#60;mistyped&#62;."), "{page}");
    assert!(page.contains("<a href=\"#changes\">Changed, last on") && page.contains("14 January 2027, 15:30"));
    assert!(brief(&app, "w2").await.contains("Nothing has been changed since it was published."));
    let german = app.nobody().get(&format!("{BRIEF}?lang=de")).accept("text/html").await.expect(200).plain();
    assert!(german.contains("Geändert seit der Veröffentlichung") && german.contains("16 kg (35 lb) →"), "{german}");
}

#[tokio::test]
async fn the_newest_change_comes_first_and_what_concerns_all_divisions_names_none() {
    let app = TestApp::new().await;
    let first = file().replace("kg = 16, lb = 35", "kg = 12, lb = 26");
    apply(&app, "?reason=One", first.clone()).await.expect(200);
    let second = first.replacen("cap = \"12:00\"", "cap = \"10:00\"", 1).replace("Hips straight", "Hips open");
    apply(&app, "?reason=Two", second).await.expect(200);
    let page = brief(&app, "w1").await;
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} in {page}"));
    assert!(at("Two") < at("One"));
    at("kettlebell</strong>: 16 kg (35 lb) → 12 kg (26 lb)");
    at("As many rounds and reps as possible in 12:00 → As many rounds and reps as possible in 10:00");
    at("Hips straight at the top of every swing. → Hips open at the top of every swing.");
}

#[tokio::test]
async fn who_looks_again_reads_what_has_come_since_and_programs_read_the_same() {
    let app = TestApp::new().await;
    let changes = async || app.nobody().get(&format!("{C}/workouts/w1/changes")).await.expect(200).json();
    assert_eq!(changes().await, json!({ "items": [] }));
    let first = file().replace("kg = 16, lb = 35", "kg = 12, lb = 26");
    apply(&app, "?reason=One", first.clone()).await.expect(200);
    let (page, one) = (brief(&app, "w1").await, changes().await);
    assert!(page.contains("One") && one["items"].as_array().unwrap().len() == 1, "{one}");
    // Of another workout: nothing that concerns this one.
    let cap = first.replacen("cap = \"8:00\"", "cap = \"9:00\"", 1);
    apply(&app, "?reason=Other", cap.clone()).await.expect(200);
    assert_eq!(changes().await, one);
    let second = cap.replacen("cap = \"12:00\"", "cap = \"10:00\"", 1);
    apply(&app, "?reason=Two", second).await.expect(200);
    let (page, both) = (brief(&app, "w1").await, changes().await);
    assert_eq!((page.matches("One").count(), page.matches("Two").count()), (1, 1));
    assert_eq!(both["items"][1], one["items"][0]);
    let two = &both["items"][0];
    assert_eq!((&two["reason"], &two["at"]), (&json!("Two"), &json!("2027-01-14T12:00:00Z")), "{two}");
    assert!(two["log_seq"].as_u64() > one["items"][0]["log_seq"].as_u64());
    let keys: Vec<&str> = two["changes"].as_array().unwrap().iter().filter_map(|d| d["key"].as_str()).collect();
    assert_eq!(keys, ["workout.w1.cap"]);
    assert_eq!((&two["changes"][0]["from"], &two["changes"][0]["to"]), (&json!("12:00"), &json!("10:00")));
    // As a process that has just begun reads it.
    let other = app.beside().await;
    assert_eq!(other.nobody().get(&format!("{C}/workouts/w1/changes")).await.expect(200).json(), both);
    app.nobody().get(&format!("{C}/workouts/w3/changes")).await.expect(404);
}

#[tokio::test]
async fn what_is_published_changes_only_with_a_reason() {
    let app = TestApp::new().await;
    for query in ["", "?reason=%20%20"] {
        let refused = apply(&app, query, lighter_men(&file())).await.expect(422);
        assert_eq!(refused.errors(), ["/reason reason_for_published"]);
    }
    let dry = apply(&app, "?dry_run=true", lighter_men(&file())).await.expect(200).json();
    assert_eq!(dry["changes"][0]["published"], true, "looking needs none");
    assert!(!brief(&app, "w1").await.contains("12 kg"), "nothing is stored");
    let long = format!("?reason={}", "x".repeat(2_001));
    assert_eq!(apply(&app, &long, lighter_men(&file())).await.expect(422).errors(), ["/reason text_too_long"]);
    // What nobody has read yet changes without one, and is not told of afterwards.
    let unseen = file().replace("cap = \"8:00\"", "cap = \"9:00\"");
    let applied = apply(&app, "", unseen).await.expect(200).json();
    assert_eq!(applied["changes"][0]["published"], false);
    app.set_clock("2027-01-19T19:00:00Z");
    let page = brief(&app, "w3").await;
    assert!(page.contains("Nothing has been changed since it was published.") && page.contains("9:00"), "{page}");
}

#[tokio::test]
async fn rules_of_the_competition_that_change_stand_on_every_published_workout() {
    let app = TestApp::new().await;
    let changed = file().replace("age_date", "overall = { drop_worst = 1, ties = \"shared\" }\nage_date");
    assert_eq!(apply(&app, "", changed.clone()).await.expect(422).errors(), ["/reason reason_for_published"]);
    apply(&app, "?reason=Asked%20for", changed).await.expect(200);
    for workout in ["w1", "w2"] {
        let page = brief(&app, workout).await;
        let list = page.split_once("id=\"changes\"").unwrap().1;
        assert!(list.contains("How places are worked out") && list.contains("Asked for"), "{list}");
    }
}

#[tokio::test]
async fn a_workout_that_is_not_announced_is_told_of_by_no_rule_and_no_list_of_changes() {
    let app = TestApp::new().await;
    let hidden = file().replace("title = \"Workout 3\"", "title = \"Secret Tide\"\nweight = 3");
    let changed = hidden.replace("age_date", "overall = { drop_worst = 1 }\nage_date");
    apply(&app, "?reason=Asked%20for", changed).await.expect(200);
    for path in ["/c/saltmarsh", BRIEF, "/c/saltmarsh/workouts/w2"] {
        let page = app.nobody().get(path).accept("text/html").await.expect(200).text();
        assert!(!page.contains("Secret Tide") && !page.contains("w3"), "{path}: {page}");
    }
    let own = app.in_browser(&app.organiser().await).await.get("/c/saltmarsh").accept("text/html").await.text();
    assert!(own.contains("Secret Tide"), "the organiser sees it");
}
