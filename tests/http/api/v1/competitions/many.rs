//! `POST …/workouts/{w}/scores`: many rows at once.

use super::{C, score};
use crate::support::TestApp;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// 500 women of quayside, bibs 5001 to 5500.
async fn five_hundred(app: &TestApp) {
    let mut csv = "bib,name,born,category,division,gym\n".to_owned();
    for n in 1..=500 {
        let _ = writeln!(csv, "{},Runner {n},1995-02-03,women,women,quayside", 5000 + n);
    }
    let outcome = app.organiser().await.post(&format!("{C}/entries")).csv(&csv).await.expect(200).json();
    assert_eq!(outcome["taken"], 500, "{outcome}");
}

/// 500 rows, every 25th of them faulty twice over: 40 faults of five kinds.
fn sheet() -> String {
    let mut csv = "bib,name,performance,tb,judge,sheet\n".to_owned();
    for n in 1..=500_u32 {
        let (bib, rounds, reps) = (5000 + n, 3 + n % 4, n % 44);
        let (mut name, mut performance) = (format!("Runner {n}"), format!("{rounds}+{reps}"));
        let (mut tb, mut judge, mut bib) = (format!("11:{:02}", n % 60), "J-1", bib.to_string());
        if n % 25 == 0 || n % 25 == 1 {
            match n % 5 + n / 250 {
                0 => performance = "5+44".into(),
                1 => judge = "J-99",
                2 => tb = "12:40".into(),
                3 => name = "Somebody Else".into(),
                _ => bib = "9".into(),
            }
        }
        let _ = writeln!(csv, "{bib},{name},{performance},{tb},{judge},S{n}");
    }
    csv
}

#[tokio::test]
async fn five_hundred_rows_with_forty_faulty_ones_store_four_hundred_and_sixty() {
    let app = TestApp::new().await;
    five_hundred(&app).await;
    let staff = app.staff_of("quayside").await;
    let (path, csv) = (format!("{C}/workouts/w1/scores"), sheet());
    let outcome = staff.post(&path).csv(&csv).await.expect(200).json();
    let counts = |o: &Value| ["taken", "unchanged", "refused"].map(|n| o[n].as_u64().unwrap());
    assert_eq!(counts(&outcome), [460, 0, 40], "{outcome}");
    let rows = outcome["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 40);
    for row in rows {
        let number = row["row"].as_u64().unwrap();
        assert!(number % 25 < 2, "row {number} is right");
        assert_eq!(row["line"].as_u64().unwrap(), number + 1);
        let errors = row["errors"].as_array().unwrap();
        assert!(!errors.is_empty());
        for error in errors {
            assert!(error["message"].as_str().is_some_and(|m| m.len() > 10), "{row}");
            assert!(error["column"].is_string());
        }
    }
    let first = &rows[0];
    assert_eq!((&first["row"], &first["errors"][0]["column"]), (&json!(1), &json!("judge")));
    assert_eq!(rows[1]["errors"][0]["column"], "performance");

    let places = app.nobody().get(&format!("{C}/divisions/women/workouts/w1/places?limit=1")).await.expect(200).json();
    assert_eq!(places["of"], 460);

    let again = staff.post(&path).csv(&csv).await.expect(200).json();
    assert_eq!(counts(&again), [0, 460, 40], "sending a file twice changes nothing");
    assert_eq!(again["log_seq"], outcome["log_seq"]);

    let mended = staff.post(&path).accept("text/csv").csv(&csv).await.expect(200);
    assert_eq!(mended.header("content-type"), "text/csv; charset=utf-8");
    let text = mended.text();
    assert_eq!(text.lines().count(), 41);
    assert!(text.starts_with("bib,name,performance,tb,judge,sheet,line,reason"), "{}", text.lines().next().unwrap());
    let whole = text.replace("5+44", "6+0").replace("J-99", "J-1");
    let resent = staff.post(&path).csv(&whole).await.expect(200).json();
    assert!(resent["taken"].as_u64().unwrap() > 0 && resent["refused"].as_u64().unwrap() < 40, "{resent}");
    assert_eq!(resent["remarks"], json!([]), "line and reason are passed over");
}

#[tokio::test]
async fn a_differing_figure_is_refused_unless_the_row_says_revise() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    let send = |csv: &'static str| staff.post(&path).csv(csv);
    assert_eq!(send("bib,performance\n1042,278\n").await.expect(200).json()["taken"], 1);
    let differs = send("bib,performance\n1042,279\n").await.expect(200).json();
    assert_eq!((&differs["refused"], &differs["rows"][0]["errors"][0]["column"]), (&json!(1), &json!("performance")));
    let revised = send("bib,performance,revise\n1042,279,yes\n").await.expect(200).json();
    assert_eq!(revised["taken"], 1, "{revised}");
    assert_eq!(staff.get(&score("w1", 1042)).await.json()["performance"]["total_reps"], 279);
}

#[tokio::test]
async fn a_row_is_found_by_name_and_a_judge_by_theirs() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    let csv =
        "Name,Performance,Judge,Sheet\n  ines   DUARTE ,278,Vera Lopes,B7\nNobody Known,200,,\nRita Alves,200,,S9\n";
    let outcome = staff.post(&path).csv(csv).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["refused"]), (&json!(1), &json!(2)), "{outcome}");
    assert_eq!(outcome["rows"][0]["errors"][0]["code"], "name_unknown");
    assert_eq!(outcome["rows"][1]["errors"][0]["code"], "sheet_needs_judge");
    let stored = staff.get(&score("w1", 1042)).await.expect(200).json();
    assert_eq!((&stored["attestation"]["judge"], &stored["sheet"]), (&json!("J-1"), &json!("B7")));
}

#[tokio::test]
async fn rows_that_slipped_by_one_are_told_once() {
    let app = TestApp::new().await;
    five_hundred(&app).await;
    let mut csv = "bib,name,performance\n".to_owned();
    for n in 1..=20 {
        let _ = writeln!(csv, "{},Runner {},200", 5000 + n, if n < 14 { n } else { n + 1 });
    }
    let outcome =
        app.staff_of("quayside").await.post(&format!("{C}/workouts/w1/scores")).csv(&csv).await.expect(200).json();
    assert_eq!(outcome["taken"], 13);
    let remarks: Vec<&Value> =
        outcome["remarks"].as_array().unwrap().iter().filter(|r| r["code"] == "rows_shifted").collect();
    assert_eq!(remarks.len(), 1, "{outcome}");
    assert!(remarks[0]["message"].as_str().unwrap().contains("from row 14 on"), "{remarks:?}");
}

#[tokio::test]
async fn rows_as_json_and_what_cannot_be_read() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    let rows = json!([
        { "bib": 1042, "performance": "278", "attestation": { "judge": "J-1", "how": "paper_sheet" } },
        { "bib": 1043, "performance": 278 },
        { "bib": 2001, "performance": "200" },
        { "performance": "200" },
        "nonsense"
    ]);
    let outcome = staff.post(&path).json(rows).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["refused"]), (&json!(1), &json!(4)), "{outcome}");
    let codes: Vec<&str> =
        outcome["rows"].as_array().unwrap().iter().map(|r| r["errors"][0]["code"].as_str().unwrap()).collect();
    assert_eq!(codes, ["performance_form", "not_allowed", "bib_or_name_needed", "not_an_object"]);
    staff.post(&path).json(json!({ "bib": 1042 })).await.expect(422);
    staff.post(&path).body("application/json", "[{").await.expect(400);
    staff.post(&path).csv("bib\n1042\n").await.expect(422);
    app.nobody().post(&path).csv("bib,performance\n").await.expect(401);
    app.stranger().await.post(&path).csv("bib,performance\n").await.expect(403);
    staff.post(&format!("{C}/workouts/w3/scores")).csv("bib,performance\n1042,10\n").await.expect(404);
    let many = format!("bib,performance\n{}", "1042,278\n".repeat(10_001));
    assert_eq!(staff.post(&path).csv(&many).await.expect(422).errors(), [" too_many_rows"]);
}

#[tokio::test]
async fn a_file_whose_answer_was_lost_is_answered_as_it_was_by_its_key() {
    let app = TestApp::new().await;
    five_hundred(&app).await;
    let staff = app.staff_of("quayside").await;
    let (path, csv) = (format!("{C}/workouts/w1/scores"), sheet());
    let first = staff.post(&path).header("idempotency-key", "file-1").csv(&csv).await.expect(200).json();
    assert_eq!(first["taken"], 460);
    let again = staff.post(&path).header("idempotency-key", "file-1").csv(&csv).await.expect(200);
    assert_eq!(again.json(), first);
    let mended = staff.post(&path).header("idempotency-key", "file-1").accept("text/csv").csv(&csv).await.expect(200);
    assert_eq!(mended.text().lines().count(), 41, "the refused rows, to be mended");
    let other = staff.post(&path).header("idempotency-key", "file-1").csv(&format!("{csv}\n")).await.expect(422).json();
    assert_eq!(other["code"], "idempotency_key_reused");
    // The key of a file is not the key of a score either, and the other way round.
    let score = staff.put(&format!("{path}/5001")).header("idempotency-key", "file-1");
    score.json(json!({ "performance": "6+14" })).await.expect(422);
}

#[tokio::test]
async fn where_answers_to_files_take_all_their_room_a_repeat_is_told_the_counts_and_what_to_do() {
    let app = TestApp::new().await;
    five_hundred(&app).await;
    let staff = app.staff_of("quayside").await;
    let (path, csv) = (format!("{C}/workouts/w1/scores"), sheet());
    let send = |key: &str| staff.post(&path).header("idempotency-key", key).csv(&csv);
    send("file-1").await.expect(200);
    let mut raw = app.database.raw().await;
    assert_eq!(raw.run("UPDATE idempotency SET bytes = 16777216 WHERE bytes > 0").await.unwrap(), 1);
    let first = send("file-2").await.expect(200).json();
    assert_eq!((&first["refused"], first["rows"].as_array().map(Vec::len)), (&json!(40), Some(40)));
    let again = send("file-2").await.expect(200).json();
    for count in ["taken", "unchanged", "refused", "late", "log_seq"] {
        assert_eq!(again[count], first[count], "{count}");
    }
    assert_eq!((&again["rows"], &again["remarks"][0]["code"]), (&json!([]), &json!("rows_not_kept")), "{again}");
    let mended = send("file-2").accept("text/csv").await.expect(200).text();
    assert!(mended.lines().count() == 2 && mended.contains("The 40 refused rows"), "{mended}");
    // As it says: under a new key they are listed again.
    let listed = send("file-3").await.expect(200).json();
    assert_eq!((&listed["rows"], &listed["unchanged"]), (&first["rows"], &json!(460)));
}

/// Row numbers with the columns and codes of everything that is wrong.
fn told(outcome: &Value) -> Vec<(u64, Vec<String>)> {
    let text = |v: &Value| v.as_str().expect("a text").to_owned();
    let of = |row: &Value| {
        let errors = row["errors"].as_array().expect("errors").iter();
        let mut said: Vec<String> = errors.map(|e| format!("{} {}", text(&e["column"]), text(&e["code"]))).collect();
        said.sort();
        (row["line"].as_u64().or(row["row"].as_u64()).expect("a place"), said)
    };
    outcome["rows"].as_array().expect("rows").iter().map(of).collect()
}

fn expected(rows: &[(u64, &[&str])]) -> Vec<(u64, Vec<String>)> {
    rows.iter().map(|(line, said)| (*line, said.iter().map(|s| (*s).to_owned()).collect())).collect()
}

#[tokio::test]
async fn everything_that_is_wrong_with_a_row_of_scores_is_said_at_once() {
    let app = TestApp::new().await;
    let path = format!("{C}/workouts/w1/scores");
    let staff = app.staff_of("quayside").await;
    let csv = "bib,name,performance,judge,no_reps,level,gym,revise,performed_at\n\
        10x2,,5+44,J-99,,,,,\n\
        1042,,6+xx,J-99,many,,,,\n\
        9999,,5+44,J-99,,,nowhere,,\n\
        1043,,5+12,,1.5,expert,,perhaps,\n\
        ,Nobody Known,5+44,,,,,,yesterday\n\
        1044,,,J-99,x,,,,\n";
    let outcome = staff.post(&path).csv(csv).await.expect(200).json();
    let rows: &[(u64, &[&str])] = &[
        (2, &["bib csv_number", "judge no_such_judge", "performance whole_round"]),
        (3, &["judge no_such_judge", "no_reps csv_number", "performance form_amrap"]),
        (4, &["bib no_such_bib", "gym no_such_gym", "judge no_such_judge", "performance whole_round"]),
        (5, &["level no_such_level", "no_reps csv_number_changed", "revise csv_yes_or_no"]),
        (6, &["name name_unknown", "performance whole_round", "performed_at date_unreadable"]),
        (7, &["judge no_such_judge", "no_reps csv_number", "performance csv_row_what"]),
    ];
    assert_eq!(told(&outcome), expected(rows), "{outcome:#}");
    assert_eq!(outcome["taken"], 0);
    for row in outcome["rows"].as_array().unwrap() {
        for error in row["errors"].as_array().unwrap() {
            assert!(error["message"].as_str().is_some_and(|m| m.ends_with(['.', '?', '"'])), "what to do: {error}");
        }
    }

    let rows = json!([
        { "bib": "1042", "performance": "5+44", "no_reps": -1, "attestation": { "judge": "J-99", "how": "paper_sheet" } },
        { "bib": 1043, "performance": true, "gym": "nowhere", "levl": "prescribed" },
    ]);
    let outcome = staff.post(&path).json(rows).await.expect(200).json();
    let rows: &[(u64, &[&str])] = &[
        (1, &["bib member_whole", "judge no_such_judge", "no_reps member_whole", "performance whole_round"]),
        (2, &["gym no_such_gym", "levl member_unknown", "performance performance_form"]),
    ];
    assert_eq!(told(&outcome), expected(rows), "{outcome:#}");
}

#[tokio::test]
async fn everything_that_is_wrong_with_a_row_of_a_list_is_said_at_once() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let send =
        async |list: &str, csv: &str| told(&organiser.post(&format!("{C}/{list}")).csv(csv).await.expect(200).json());
    let entries = "bib,name,born,category,division,gym,email,show_name\n\
        12x,,31/31/1990,women,women,,,\n\
        1042,Ines Duarte,1996-04-02,women,men,millpond,no address,perhaps\n\
        ,Ana Reis,1990-01-02,none,mwn,nowhere,,yes\n";
    let rows: &[(u64, &[&str])] = &[
        (2, &["bib csv_number", "born date_unreadable", "name name_missing"]),
        (
            3,
            &[
                "division entry_category_outside",
                "division entry_division_fits",
                "email email_wrong",
                "gym move_with_a_reason",
                "show_name csv_yes_or_no",
            ],
        ),
        (4, &["category category_unknown", "division division_unknown_near", "gym gym_unknown"]),
    ];
    assert_eq!(send("entries", entries).await, expected(rows));
    let gyms = "slug,name,country,email\nHill top,,XX,nobody\n";
    assert_eq!(send("gyms", gyms).await[0].1.len(), 4);
    let judges = "code,name,gym,valid_from,valid_to\nJ 1,,nowhere,2027-02-30,2026-01-01\n";
    assert_eq!(send("judges", judges).await[0].1.len(), 4);

    let object =
        json!({ "bib": "12", "name": "", "born": "1996-04-02", "category": "women", "division": "mwn", "nmae": 1 });
    let mut found = organiser.post(&format!("{C}/entries")).json(object).await.expect(422).errors();
    found.sort();
    assert_eq!(
        found,
        ["/bib member_whole", "/division division_unknown_near", "/name name_missing", "/nmae member_unknown"]
    );
    let score = json!({ "performance": "5+44", "no_reps": "two", "gym": "nowhere" });
    let refused = app.staff_of("quayside").await.put(&score_path()).json(score).await.expect(422);
    let mut found = refused.errors();
    found.sort();
    assert_eq!(found, ["/gym no_such_gym", "/no_reps member_whole", "/performance whole_round"]);
}

fn score_path() -> String {
    score("w1", 1042)
}

/// What programs read is what was sent: nothing is taken out of it.
#[tokio::test]
async fn what_somebody_wrote_stands_unchanged_in_what_is_said_of_a_row() {
    use tallywright::actions::Request;
    use tallywright::actions::import::{Options, Rows, What, import_once};
    use tallywright::rules::access::Actor;
    let app = TestApp::new().await;
    let sent = "\u{2068}\u{5e9}\u{2069} or so";
    let rows = Rows::Csv(format!("bib,name,performance\n1042,{sent},6+14 tb 11:24\n").into_bytes());
    let what = What::Scores { workout: Some("w1".to_owned()) };
    let (by, at) = (Actor::operator(), Request::at(app.app.clock.now()));
    let told = import_once(&app.app, &by, "saltmarsh", at, what, rows, Options::default()).await.expect("read");
    let told: Value = serde_json::from_str(&told.json).expect("JSON");
    let message = told["rows"][0]["errors"][0]["message"].as_str().expect("a message");
    assert!(message.contains(sent), "{message:?}");
}

#[tokio::test]
async fn a_question_is_listed_once_with_its_rows_and_a_yes_takes_them_all() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    let csv = "bib,performance\n1042,6+14 tb 11:24:00\n1043,6+13 tb 11:20:00\n1044,278+0\n";
    let outcome = staff.post(&path).header("idempotency-key", "asked").csv(csv).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["refused"]), (&json!(0), &json!(3)), "{outcome}");
    let asked = |outcome: &Value| {
        let all = outcome["questions"].as_array().expect("questions").iter();
        let said = all.map(|q| (q["code"].as_str().expect("a code").to_owned(), q["rows"].as_u64().expect("a number")));
        said.collect::<Vec<_>>()
    };
    let named = |all: &[(&str, u64)]| all.iter().map(|(code, n)| ((*code).to_owned(), *n)).collect::<Vec<_>>();
    assert_eq!(asked(&outcome), named(&[("spreadsheet_time", 2), ("total_as_rounds", 1)]));
    assert_eq!(outcome["questions"][0]["message"], outcome["rows"][0]["errors"][0]["message"], "as of the first");
    // Where the answer is kept in short, what is asked is told all the same.
    let mut raw = app.database.raw().await;
    raw.run("UPDATE idempotency SET bytes = 16777216 WHERE bytes > 0").await.expect("full");
    staff.post(&path).header("idempotency-key", "in-short").csv(csv).await.expect(200);
    let short = staff.post(&path).header("idempotency-key", "in-short").csv(csv).await.expect(200).json();
    assert_eq!((&short["rows"], &short["questions"]), (&json!([]), &outcome["questions"]));

    // What is no code answers nothing, and one code answers its own question alone.
    let none = staff.post(&format!("{path}?confirm=yes,,all")).csv(csv).await.expect(200).json();
    assert_eq!((&none["refused"], asked(&none)), (&json!(3), asked(&outcome)));
    let some = staff.post(&format!("{path}?confirm=spreadsheet_time")).csv(csv).await.expect(200).json();
    assert_eq!((&some["taken"], asked(&some)), (&json!(2), named(&[("total_as_rounds", 1)])), "{some}");
    let text = async |bib| staff.get(&score("w1", bib)).await.expect(200).json()["performance"]["text"].clone();
    assert_eq!((text(1042).await, text(1043).await), (json!("6+14 tb 11:24"), json!("6+13 tb 11:20")));
    let all = staff.post(&format!("{path}?confirm=spreadsheet_time,%20total_as_rounds")).csv(csv).await.expect(200);
    let all = all.json();
    assert_eq!((&all["taken"], &all["unchanged"], asked(&all)), (&json!(1), &json!(2), named(&[])), "{all}");
}

#[tokio::test]
async fn a_yes_is_for_all_rows_of_a_list_in_json_too_beside_what_each_row_says() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = format!("{C}/workouts/w1/scores");
    let rows = json!([
        { "bib": 1042, "performance": "278+0" },
        { "bib": 1043, "performance": "279+0 tb 11:20:00", "confirm": ["total_as_rounds"] },
        { "bib": 1044, "performance": "280+0", "confirm": ["total_as_rounds"] },
    ]);
    let outcome = staff.post(&path).json(rows.clone()).await.expect(200).json();
    let refused: &[(u64, &[&str])] = &[(1, &["performance total_as_rounds"]), (2, &["performance spreadsheet_time"])];
    assert_eq!((told(&outcome), &outcome["taken"]), (expected(refused), &json!(1)), "{outcome:#}");
    let codes = "total_as_rounds,spreadsheet_time,tiebreak_pace";
    let outcome = staff.post(&format!("{path}?confirm={codes}")).json(rows).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["unchanged"]), (&json!(2), &json!(1)), "{outcome}");
}
