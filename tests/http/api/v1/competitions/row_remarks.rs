//! What a single score would be answered as warnings, of a row that is stored.

use super::{C, score};
use crate::support::TestApp;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Place, code and message of each.
fn told(outcome: &Value) -> Vec<(String, String, String)> {
    let text = |v: &Value| v.as_str().expect("a text").to_owned();
    let all = outcome["remarks"].as_array().expect("remarks").iter();
    all.map(|r| (text(&r["pointer"]), text(&r["code"]), text(&r["message"]))).collect()
}

fn places(outcome: &Value) -> Vec<String> {
    told(outcome).into_iter().map(|(pointer, code, _)| format!("{pointer} {code}")).collect()
}

#[tokio::test]
async fn a_row_is_told_what_a_single_score_would_be() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    staff.post(&format!("{}/not-taking-part", score("w1", 1043))).await.expect(200);
    let single = json!({ "performance": "6+14" });
    let check = staff.post(&format!("{}/check", score("w1", 1043))).json(single).await.expect(200).json();
    let mut known: Vec<String> =
        check["warnings"].as_array().unwrap().iter().map(|w| w["message"].as_str().unwrap().to_owned()).collect();
    known.sort();
    assert_eq!(known.len(), 2, "{check}");
    // One of the rows is refused, and one has nothing to be told.
    let csv = "bib,performance,judge\n1042,5+44,J-1\n1043,6+14,J-1\n1044,6+2 tb 11:24,J-1\n";
    let outcome = staff.post(&path).csv(csv).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["refused"]), (&json!(2), &json!(1)), "{outcome}");
    let mut said: Vec<String> = told(&outcome).into_iter().map(|(.., message)| message).collect();
    said.sort();
    assert_eq!(said, known, "word for word");
    let mut found = places(&outcome);
    found.sort();
    assert_eq!(found, ["/1 was_not_taking_part", "/1/performance tiebreak_missing"]);
    // Sent again they are as they were, and what is still so is told again.
    let again = staff.post(&path).csv(csv).await.expect(200).json();
    assert_eq!((&again["unchanged"], places(&again)), (&json!(2), vec!["/1/performance tiebreak_missing".to_owned()]));
    // As JSON it is the place in what was sent.
    let rows = json!([{ "bib": 1042, "performance": "6+15 tb 11:20" }, { "bib": 1043, "performance": "6+14" }]);
    let outcome = staff.post(&path).json(rows).await.expect(200).json();
    assert_eq!(places(&outcome), ["/1/performance tiebreak_missing"], "{outcome}");
    let german = staff.post(&path).header("accept-language", "de").csv(csv).await.expect(200).json();
    let (_, code, message) = told(&german).remove(0);
    assert!(code == "tiebreak_missing" && message != known[0] && message != known[1], "{message}");
}

#[tokio::test]
async fn a_word_that_is_too_late_and_a_file_within_the_time_of_grace_are_told() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    // Within the grace: of the file once, as it holds for all of it.
    app.set_clock("2027-01-17T21:03:00Z");
    let rows = |judge: &str| {
        let row = |bib| format!("{bib},6+14 tb 11:24,{judge},2027-01-17T20:00:00Z\n");
        format!("bib,performance,judge,performed_at\n{}{}", row(1042), row(1043))
    };
    let outcome = staff.post(&path).csv(&rows("")).await.expect(200).json();
    assert_eq!((&outcome["taken"], places(&outcome)), (&json!(2), vec![" in_grace".to_owned()]), "{outcome}");
    // The judge's word comes after its time: of each.
    app.set_clock("2027-01-18T21:30:00Z");
    let outcome = staff.post(&path).csv(&rows("J-1")).await.expect(200).json();
    let found: Vec<String> = places(&outcome).into_iter().filter(|told| told.ends_with("attested_late")).collect();
    assert_eq!(found, ["/0/judge attested_late", "/1/judge attested_late"], "{outcome}");
    // What came after the close is counted, and not told of each besides.
    let late = "bib,performance,performed_at\n1044,6+14 tb 11:24,2027-01-17T20:00:00Z\n";
    let outcome = staff.post(&path).csv(late).await.expect(200).json();
    assert_eq!((&outcome["late"], places(&outcome)), (&json!(1), Vec::new()), "{outcome}");
}

#[tokio::test]
async fn of_a_thousand_and_more_the_first_are_told_and_the_others_counted() {
    let app = TestApp::new().await;
    let mut entries = "bib,name,born,category,division,gym\n".to_owned();
    let mut scores = "bib,performance\n".to_owned();
    for n in 0..1_012 {
        let _ = writeln!(entries, "{},Runner {n},1995-02-03,women,women,quayside", 5000 + n);
        let _ = writeln!(scores, "{},6+{}", 5000 + n, n % 40);
    }
    let told_of = app.organiser().await.post(&format!("{C}/entries")).csv(&entries).await.expect(200).json();
    assert_eq!((&told_of["taken"], &told_of["remarks"]), (&json!(1_012), &json!([])), "{told_of}");
    let staff = app.staff_of("quayside").await;
    let send = |key: &str| {
        let post = staff.post(&format!("{C}/workouts/w1/scores")).header("idempotency-key", key);
        post.csv(&scores)
    };
    let outcome = send("file-1").await.expect(200).json();
    let all = told(&outcome);
    assert_eq!((&outcome["taken"], all.len()), (&json!(1_012), 1_001));
    assert!(all[..1_000].iter().enumerate().all(|(n, told)| told.0 == format!("/{n}/performance")), "{:?}", all[0]);
    let (pointer, code, message) = &all[1_000];
    assert_eq!((pointer.as_str(), code.as_str()), ("", "more_remarks"));
    assert_eq!(message, "12 more remarks on stored rows are not listed.");
    // Under its key it is answered as it was; where there is no room for that, it is said what is missing.
    assert_eq!(send("file-1").await.expect(200).json(), outcome);
    let mut raw = app.database.raw().await;
    raw.run("UPDATE idempotency SET bytes = 16777216 WHERE bytes > 0").await.expect("full");
    send("file-2").await.expect(200);
    let short = send("file-2").await.expect(200).json();
    assert_eq!((&short["unchanged"], places(&short)), (&json!(1_012), vec![" remarks_not_kept".to_owned()]), "{short}");
    assert!(told(&short)[0].2.ends_with("1012 remarks."), "{short}");
}

/// Gyms, entries and judges are answered likewise.
#[tokio::test]
async fn a_row_of_a_list_is_told_what_a_single_entry_would_be() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let young = json!({ "bib": 7, "name": "Ana Cruz", "born": "2012-04-02", "category": "women", "division": "women" });
    let single = organiser.post(&format!("{C}/entries")).json(young).await.expect(201).json();
    let csv =
        "bib,name,born,category,division\n8,Ana Cruz,2012-04-02,women,women\n9,Old Enough,1990-04-02,women,women\n";
    let outcome = organiser.post(&format!("{C}/entries")).csv(csv).await.expect(200).json();
    assert_eq!(outcome["taken"], 2, "{outcome}");
    let found = told(&outcome);
    assert_eq!(found.len(), 1, "{single} {outcome}");
    assert_eq!((&*found[0].0, &single["warnings"][0]["message"]), ("/0/guardian_consent", &json!(found[0].2)));
}
