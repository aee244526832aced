//! Results from a spreadsheet and into one, and what is said of those that came late.

use crate::support::{Client, TestApp};
use serde_json::json;
use std::fmt::Write as _;
use tallywright::web::pages::typed::is_known;

const DESK: &str = "/desk/saltmarsh/quayside";
const SCORES: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores";

async fn at_desk(app: &TestApp) -> (Client, Client, String) {
    let program = app.staff_of("quayside").await;
    let browser = app.in_browser(&program).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    (program, browser, csrf)
}

#[tokio::test]
async fn the_file_that_goes_out_comes_back_filled_in() {
    let app = TestApp::new().await;
    let (program, browser, csrf) = at_desk(&app).await;
    let body = json!({ "performance": "6+14 tb 11:24", "no_reps": 3, "attestation": { "judge": "J-1", "how": "paper_sheet", "sheet": "B7" } });
    program.put(&format!("{SCORES}/1042")).json(body).await.expect(201);
    let page = browser.get(&format!("{DESK}/file")).await.expect(200).plain();
    assert!(page.contains("href=\"/desk/saltmarsh/quayside/scores.csv?workout=w1\""), "{page}");
    let out = browser.get(&format!("{DESK}/scores.csv?workout=w1")).await.expect(200);
    assert!(out.header("content-disposition").contains("quayside-w1.csv"));
    let text = out.text();
    let rows: Vec<&str> = text.lines().collect();
    assert_eq!(rows[0], "bib,name,performance,level,judge,sheet,no_reps,gym,attempt,revise,state,received_at,remark");
    assert_eq!(
        rows[1],
        "1042,Ines Duarte,6+14 tb 11:24,prescribed,J-1,B7,3,quayside,1,,Attested,2027-01-14T12:00:00Z,"
    );
    assert_eq!(rows[2], "1043,Rita Alves,,,,,,,,,Missing,,");
    let path = format!("{DESK}/file");
    let send = async |text: &str| {
        browser.post(&path).upload(&[("csrf", &csrf), ("workout", "w1"), ("do", "send")], text.as_bytes()).await
    };
    let done = send(&text).await.expect(303);
    let page = browser.follow(&done).await.expect(200).plain();
    assert!(
        page.contains("0 stored, 1 as they were, 0 refused.") && page.contains("2 without a result were passed over."),
        "{page}"
    );
    // Loading the page again sends nothing again, and says it once.
    let again = browser.get(done.header("location")).await.expect(200).plain();
    assert!(!again.contains("0 stored"), "{again}");
    let filled = text
        .replace("1043,Rita Alves,,", "1043,Rita Alves,5+44,")
        .replace("1044,Tomás Brito,,", "1044,Tomás Brito,6+3 tb 11:02,");
    let page = send(&filled).await.expect(200).plain();
    assert!(page.contains("1 stored, 1 as they were, 1 refused."), "{page}");
    assert!(
        page.contains("performance: ") && page.contains("1043,Rita Alves,5+44"),
        "refused rows stand in the field: {page}"
    );
    let state = program.get(&format!("{SCORES}/1044")).await.expect(200).json()["state"].clone();
    assert_eq!(state, "entered");
}

#[tokio::test]
async fn a_file_sent_after_the_close_says_what_is_late_and_what_happens_next() {
    let app = TestApp::new().await;
    app.set_clock("2027-01-17T23:30:00Z");
    let (program, browser, csrf) = at_desk(&app).await;
    let rows = b"bib,performance,judge,performed_at\n1042,6+14 tb 11:24,J-1,2027-01-17T20:00\n";
    let fields = [("csrf", csrf.as_str()), ("workout", "w1"), ("do", "send")];
    let done = browser.post(&format!("{DESK}/file")).upload(&fields, rows).await.expect(303);
    let page = browser.follow(&done).await.expect(200).plain();
    assert!(page.contains("1 stored, 0 as they were, 0 refused."), "{page}");
    assert!(
        page.contains("1 row came after the close: stored as late, without a place, until the organiser lets it in."),
        "{page}"
    );
    let csv = "bib,performance,performed_at\n1043,6+10 tb 11:24,2027-01-17T20:00\n";
    let answer = program.post(SCORES).csv(csv).await.expect(200).json();
    assert_eq!((&answer["taken"], &answer["late"]), (&json!(1), &json!(1)), "{answer}");
    let said =
        "Came 2 h 30 min after the close: stored, without a place. The organiser decides, and the decision shows here.";
    for (page, what) in
        [("", "desk"), ("/receipt", "receipt"), ("/w1/1042", "form"), ("?saved=w1/1042", "what was saved")]
    {
        let page = browser.get(&format!("{DESK}{page}")).await.expect(200).plain();
        assert!(page.contains(said), "{what}: {page}");
    }
    let csv = browser.get(&format!("{DESK}/scores.csv?workout=w1")).await.expect(200).plain();
    assert!(csv.contains("Late: waiting for the organiser") && csv.contains(said), "{csv}");
}

#[tokio::test]
async fn what_the_organiser_refused_and_what_came_in_the_time_of_grace_is_said_too() {
    let app = TestApp::new().await;
    app.set_clock("2027-01-17T21:03:00Z");
    let (program, browser, _) = at_desk(&app).await;
    let body = |text: &str| json!({ "performance": text, "performed_at": "2027-01-17T20:00:00Z" });
    program.put(&format!("{SCORES}/1042")).json(body("6+14 tb 11:24")).await.expect(201);
    app.set_clock("2027-01-17T21:30:00Z");
    let late = program.put(&format!("{SCORES}/1043")).json(body("6+10 tb 11:24")).await.expect(201).json();
    let refused = json!({ "admit": false, "reason": "No cause was given." });
    let etag = late["etag"].as_str().expect("an etag");
    app.organiser().await.post(&format!("{SCORES}/1043/admission")).if_match(etag).json(refused).await.expect(200);
    let page = browser.get(DESK).await.expect(200).plain();
    assert!(page.contains("Received 3 min after the close; it counts."), "{page}");
    assert!(page.contains("Came 30 min after the close, and the organiser has not let it in."), "{page}");
}

#[tokio::test]
async fn what_is_to_be_known_of_stored_rows_is_said_by_row_and_line() {
    let app = TestApp::new().await;
    let (program, browser, csrf) = at_desk(&app).await;
    program.post(&format!("{SCORES}/1044/not-taking-part")).await.expect(200);
    let path = format!("{DESK}/file");
    let send = async |rows: &str| {
        browser.post(&path).upload(&[("csrf", &csrf), ("workout", "w1"), ("do", "send")], rows.as_bytes()).await
    };
    // A row without a result is passed over: the line is that of the file.
    let done = send("bib,performance\n1042,6+14 tb 11:24\n1043,\n1044,6+2\n").await.expect(303);
    let page = browser.follow(&done).await.expect(200).plain();
    assert!(page.contains("2 stored, 0 as they were, 0 refused.") && page.contains("Stored all the same"), "{page}");
    let table = page.split_once("id=\"told\"").and_then(|(_, rest)| rest.split_once("</table>")).expect("a table").0;
    assert!(table.contains("<th scope=\"row\">2</th><td>4</td>"), "{table}");
    assert!(table.contains("Noted at 2027-01-14 12:00 (Europe/Lisbon): takes no part."), "{table}");
    assert!(table.contains("performance: ") && table.matches("<tr>").count() == 2, "{table}");
    let german = browser.clone().with(http::header::ACCEPT_LANGUAGE, "de").follow(&done).await.expect(200).plain();
    assert!(german.contains("Trotzdem gespeichert"), "{german}");
    // With a refused row beside it both are said.
    let page = send("bib,performance\n1042,5+44\n1044,6+2\n").await.expect(200).plain();
    assert!(page.contains("Refused rows") && page.contains("<th scope=\"row\">2</th><td>3</td>"), "{page}");
    // Nothing is said where there is nothing.
    let done = send("bib,performance\n1043,6+10 tb 11:24\n").await.expect(303);
    let page = browser.follow(&done).await.expect(200).plain();
    assert!(page.contains("1 stored") && !page.contains("Stored all the same"), "{page}");
}

/// So many women of quayside, from bib 5001 on, and a row with a result for each of them.
async fn rows_for(app: &TestApp, results: &[&str]) -> String {
    let mut entries = "bib,name,born,category,division,gym\n".to_owned();
    let mut rows = "bib,performance\n".to_owned();
    for (n, result) in (5001..).zip(results) {
        let _ = writeln!(entries, "{n},Runner {n},1995-02-03,women,women,quayside");
        let _ = writeln!(rows, "{n},{result}");
    }
    let told = app.organiser().await.post("/api/v1/competitions/saltmarsh/entries").csv(&entries).await.expect(200);
    assert_eq!(told.json()["refused"], 0);
    rows
}

/// The questions of a page: the name of each box, with what stands beside it.
fn asked(page: &str) -> Vec<(&str, &str)> {
    let boxes = page.split("<input type=\"checkbox\"").skip(1);
    let one = |rest: &str| -> Option<(usize, usize, usize)> {
        let name = rest.find(" name=\"")? + 7;
        Some((name, name + rest.get(name..)?.find('"')?, rest.find("</label>")?))
    };
    boxes.filter_map(|rest| one(rest).map(|(name, end, label)| (&rest[name..end], &rest[end..label]))).collect()
}

/// The names of the boxes of a page that are ticked already.
fn ticked(page: &str) -> Vec<&str> {
    asked(page)
        .into_iter()
        .filter(|(_, rest)| rest.starts_with("\" value=\"yes\" checked>"))
        .map(|(name, _)| name)
        .collect()
}

#[tokio::test]
async fn a_question_that_many_rows_have_is_asked_once_and_answered_for_all_of_them() {
    let app = TestApp::new().await;
    let (program, browser, csrf) = at_desk(&app).await;
    let mut results = vec!["6+14 tb 11:24:00"; 40];
    results.extend(["278+0", "6+13 tb 11:24"]);
    let rows = rows_for(&app, &results).await;
    let path = format!("{DESK}/file");
    let send = async |with: &[(&str, &str)]| {
        let fields = [("csrf", csrf.as_str()), ("workout", "w1"), ("text", rows.as_str()), ("do", "send")];
        browser.post(&path).form(&[&fields[..], with].concat()).await
    };
    let page = send(&[]).await.expect(200).plain();
    assert!(page.contains("1 stored, 0 as they were, 41 refused."), "{page}");
    let boxes = asked(&page);
    assert_eq!(boxes.len(), 2, "{page}");
    assert_eq!((boxes[0].0, boxes[1].0), ("confirm-spreadsheet_time", "confirm-total_as_rounds"));
    let said = |n: usize, text: &str| assert!(boxes[n].1.contains(text), "{text}: {}", boxes[n].1);
    said(0, "11:24:00 is eleven hours. Spreadsheets add :00; did you mean 11:24?");
    said(0, "Rows that have it: 40. <strong>Yes, it is right in all of them.</strong>");
    said(1, "Rows that have it: 1. <strong>Yes, it is right.</strong>");
    assert!(boxes.iter().all(|(name, _)| is_known(&path, name)), "whoever is signed out meanwhile");
    assert!(page.contains("Each question stands once below the field"), "{page}");

    // A yes to one of them is none to the other, and none to anything else.
    let page = send(&[("confirm-spreadsheet_time", "yes"), ("confirm-whole_round", "yes")]).await.expect(200).plain();
    assert!(page.contains("40 stored, 1 as they were, 1 refused."), "{page}");
    // What was answered stays answered, and can be taken back.
    let names: Vec<&str> = asked(&page).iter().map(|(name, _)| *name).collect();
    assert_eq!(names, ["confirm-total_as_rounds", "confirm-spreadsheet_time"]);
    assert_eq!(ticked(&page), ["confirm-spreadsheet_time"]);
    let stored = program.get(&format!("{SCORES}/5040")).await.expect(200).json();
    assert_eq!(stored["performance"]["text"], "6+14 tb 11:24");
    program.get(&format!("{SCORES}/5041")).await.expect(404);

    let done = send(&[("confirm-spreadsheet_time", "yes"), ("confirm-total_as_rounds", "yes")]).await.expect(303);
    let page = browser.follow(&done).await.expect(200).plain();
    assert!(page.contains("1 stored, 41 as they were, 0 refused.") && asked(&page).is_empty(), "{page}");
}

#[tokio::test]
async fn a_question_about_rows_is_asked_in_german_and_a_fault_is_no_question() {
    let app = TestApp::new().await;
    let (_, browser, csrf) = at_desk(&app).await;
    let rows = rows_for(&app, &["278+0", "279+0", "5+44"]).await;
    let fields = [("csrf", csrf.as_str()), ("workout", "w1"), ("text", rows.as_str()), ("do", "send")];
    let german = browser.clone().with(http::header::ACCEPT_LANGUAGE, "de");
    let page = german.post(&format!("{DESK}/file")).form(&fields).await.expect(200).plain();
    let boxes = asked(&page);
    assert_eq!(boxes.len(), 1, "{page}");
    assert!(boxes[0].1.contains("Zeilen damit: 2. <strong>Ja, es stimmt in allen.</strong>"), "{}", boxes[0].1);
    assert!(page.contains("Zu manchen Zeilen gibt es eine Rückfrage."), "{page}");
}

/// Whoever works through the questions one by one gets to the end too: what was ticked goes along.
#[tokio::test]
async fn two_questions_about_one_row_are_answered_one_after_the_other() {
    let app = TestApp::new().await;
    let (program, browser, csrf) = at_desk(&app).await;
    let path = format!("{DESK}/file");
    let rows = "bib,performance\n1042,6+14 tb 2:24:00\n1043,5+44\n";
    let send = async |rows: &str, ticks: &[String]| {
        let mut fields = vec![("csrf", csrf.as_str()), ("workout", "w1"), ("text", rows), ("do", "send")];
        fields.extend(ticks.iter().map(|name| (name.as_str(), "yes")));
        browser.post(&path).form(&fields).await
    };
    let page = send(rows, &[]).await.expect(200).plain();
    let names = |page: &str| asked(page).iter().map(|(name, _)| (*name).to_owned()).collect::<Vec<_>>();
    assert_eq!(names(&page), ["confirm-spreadsheet_time", "confirm-tiebreak_pace"], "{page}");
    assert!(ticked(&page).is_empty(), "nobody has said yes: {page}");
    // The first alone; then what the page has ticked, and what it asks.
    let page = send(rows, &names(&page)[..1]).await.expect(200).plain();
    assert!(page.contains("0 stored, 0 as they were, 2 refused."), "{page}");
    assert_eq!(names(&page), ["confirm-tiebreak_pace", "confirm-spreadsheet_time"], "{page}");
    assert_eq!(ticked(&page), ["confirm-spreadsheet_time"], "{page}");
    assert!(page.contains("the time without the :00 that a spreadsheet has added is meant"), "{page}");
    let page = send(rows, &names(&page)).await.expect(200).plain();
    assert!(page.contains("1 stored, 0 as they were, 1 refused."), "{page}");
    let stored = program.get(&format!("{SCORES}/1042")).await.expect(200).json();
    assert_eq!(stored["performance"]["text"], "6+14 tb 2:24");
    // The other row is at fault, and asked nothing: what was ticked stands there all the same, until it is taken away.
    assert_eq!(ticked(&page).len(), 2, "{page}");
    let page = send("bib,performance\n1043,5+44\n", &[]).await.expect(200).plain();
    assert!(asked(&page).is_empty(), "{page}");
    // Neither does a file lose it that cannot be read at all.
    let tick = ["confirm-spreadsheet_time".to_owned()];
    let page = send("bib,bib\n1043,1043\n", &tick).await.expect(422).plain();
    assert_eq!(ticked(&page), tick, "{page}");
}

/// A name that fills the form is no question: nothing of it goes along with the rows, and nothing of it is shown.
#[tokio::test]
async fn a_yes_to_what_nobody_asks_is_left_out() {
    let app = TestApp::new().await;
    let (program, browser, csrf) = at_desk(&app).await;
    let mut results = vec!["6+14 tb 11:24:00"; 300];
    results.push("5+44");
    let rows = rows_for(&app, &results).await;
    let long = format!("confirm-{}", "A".repeat(1 << 20));
    let fields = [
        ("csrf", csrf.as_str()),
        ("workout", "w1"),
        ("text", rows.as_str()),
        (long.as_str(), "yes"),
        ("confirm-spreadsheet_time", "yes"),
    ];
    let page = browser.post(&format!("{DESK}/file")).form(&fields).await.expect(200).plain();
    assert!(
        page.contains("300 stored, 0 as they were, 1 refused.") && !page.contains("AAAAAAAA"),
        "it has some length"
    );
    assert_eq!(ticked(&page), ["confirm-spreadsheet_time"]);
    // By a program the same.
    let csv = "bib,performance\n1042,6+14 tb 11:24:00\n";
    let long = "A".repeat(3_000);
    let told = program.post(&format!("{SCORES}?confirm={long},spreadsheet_time")).csv(csv).await.expect(200).json();
    assert_eq!((&told["taken"], &told["refused"]), (&json!(1), &json!(0)), "{told}");
}
