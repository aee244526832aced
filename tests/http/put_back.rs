//! A database that was put back to an older state, or another one: what is shown is of the log that is there.

use crate::instances::{C, WOMEN, attested, comes_to_show, path, seq, shown};
use crate::support::TestApp;
use serde_json::{Value, json};
use std::time::{Duration, Instant};

/// Keeps the log of the database as it is now, to be put back.
pub(super) async fn keep(app: &TestApp, name: &str) {
    let mut raw = app.database.raw().await;
    for table in ["competitions", "records", "placements", "scores"] {
        raw.run(&format!("CREATE TABLE {name}_{table} AS SELECT * FROM {table}")).await.expect("kept");
    }
}

/// Puts it back at one stroke, as a failover to a standby that had less, or something else, does.
pub(super) async fn put_back(app: &TestApp, name: &str) {
    let tables = ["scores", "placements", "records"]
        .map(|table| format!("DELETE FROM {table}; INSERT INTO {table} SELECT * FROM {name}_{table};"));
    let columns = ["definition", "definition_seq", "seq", "at", "peaks", "root"]
        .map(|c| format!("{c} = (SELECT k.{c} FROM {name}_competitions k WHERE k.id = competitions.id)"));
    let sql = format!("BEGIN; {} UPDATE competitions SET {}; COMMIT", tables.concat(), columns.join(", "));
    app.database.raw().await.run(&sql).await.expect("put back");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_put_back_to_another_state_is_loaded_anew() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, 1042, "6+14 tb 11:24").await.expect(201);
    keep(&app, "early").await;
    attested(&staff, 1043, "3+1 tb 11:00").await.expect(201);
    keep(&app, "late").await;
    assert_eq!(shown(&app).await, ["6+14 tb 11:24", "3+1 tb 11:00"]);

    // Shorter than what was followed.
    put_back(&app, "early").await;
    comes_to_show(&app, &["6+14 tb 11:24"]).await;

    // Of the same length, with another last record: only the tree tells.
    attested(&staff, 1043, "7+2 tb 11:30").await.expect(201);
    comes_to_show(&app, &["7+2 tb 11:30", "6+14 tb 11:24"]).await;
    put_back(&app, "late").await;
    comes_to_show(&app, &["6+14 tb 11:24", "3+1 tb 11:00"]).await;

    // Put back and gone on at once, as far as it was: our own commit meets another log.
    put_back(&app, "early").await;
    attested(&staff, 1043, "2+2 tb 11:40").await.expect(201);
    comes_to_show(&app, &["6+14 tb 11:24", "2+2 tb 11:40"]).await;

    // Put back, and gone on to just where it was: what is asked for by its position is of the log that is
    // there, or not shown.
    keep(&app, "longer").await;
    put_back(&app, "early").await;
    let stored = attested(&staff, 1043, "4+4 tb 11:50").await.expect(201).json();
    let at_least = stored["etag"].as_str().and_then(|tag| tag.split('-').next()).expect("a position").to_owned();
    let shown = app.nobody().get(&format!("{WOMEN}?at_least={at_least}")).await;
    assert!(shown.status == 503 || shown.text().contains("4+4 tb 11:50"), "{}", shown.text());
    let own = stored["places"].as_array().map_or(0, Vec::len);
    assert!(own == 0 || stored["places"][0]["place"] == 2, "{stored}");
    comes_to_show(&app, &["6+14 tb 11:24", "4+4 tb 11:50"]).await;
    for verified in app.app.store.verify(Some("saltmarsh")).await.expect("verified") {
        assert_eq!(verified.difference, None);
    }
    app.nobody().get("/readyz").await.expect(200);
}

/// Longer than what was followed, and another one: only the leaves between tell. Nothing of the one is shown beside the
/// other.
#[tokio::test(flavor = "multi_thread")]
async fn a_longer_log_that_is_another_one_is_loaded_anew() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, 1042, "6+14 tb 11:24").await.expect(201);
    keep(&app, "early").await;
    attested(&staff, 1043, "3+1 tb 11:00").await.expect(201);
    attested(&app.staff_of("millpond").await, 2001, "3+3 tb 11:20").await.expect(201);
    let long = seq(&app.nobody().get(WOMEN).await.expect(200).json());
    keep(&app, "long").await;
    put_back(&app, "early").await;
    comes_to_show(&app, &["6+14 tb 11:24"]).await;
    attested(&staff, 1043, "7+2 tb 11:30").await.expect(201);
    comes_to_show(&app, &["7+2 tb 11:30", "6+14 tb 11:24"]).await;
    assert!(seq(&app.nobody().get(WOMEN).await.expect(200).json()) < long, "the other one is longer");
    put_back(&app, "long").await;
    comes_to_show(&app, &["6+14 tb 11:24", "3+3 tb 11:20", "3+1 tb 11:00"]).await;
    assert_eq!(seq(&app.nobody().get(WOMEN).await.expect(200).json()), long);
}

/// Nobody looks but who commits, and meets a log just as long: only its root tells.
#[tokio::test(flavor = "multi_thread")]
async fn a_commit_on_another_log_of_the_same_length_is_found_out() {
    let beside = TestApp::new().await;
    let app = beside.beside_configured(|config| config.look = Duration::from_hours(24)).await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, 1042, "6+14 tb 11:24").await.expect(201);
    keep(&app, "early").await;
    attested(&staff, 1043, "3+1 tb 11:00").await.expect(201);
    keep(&app, "other").await;
    put_back(&app, "early").await;
    attested(&staff, 1043, "7+2 tb 11:30").await.expect(201);
    comes_to_show(&app, &["7+2 tb 11:30", "6+14 tb 11:24"]).await;
    put_back(&app, "other").await;
    assert_eq!(shown(&app).await, ["7+2 tb 11:30", "6+14 tb 11:24"], "nobody has looked");
    attested(&staff, 1044, "3+3 tb 11:20").await.expect(201);
    comes_to_show(&app, &["6+14 tb 11:24", "3+1 tb 11:00"]).await;
}

/// Another file stands where the one that this service applied has stood, and nobody has looked: a score is judged by
/// the file that is there.
#[tokio::test(flavor = "multi_thread")]
async fn a_score_is_judged_by_the_file_that_is_there_though_another_one_stood_in_its_place() {
    let beside = TestApp::new().await;
    let app = beside.beside_configured(|config| config.look = Duration::from_hours(24)).await;
    let (staff, organiser) = (app.staff_of("quayside").await, app.organiser().await);
    // Of a workout that is not announced: nobody has to be told why.
    let rounds_of = |reps: &str| {
        let text = include_str!("../data/small.toml")
            .replace("\"push-up\", reps = 10", &format!("\"push-up\", reps = {reps}"));
        organiser.put(C).header("if-match", "*").body("application/toml", text)
    };
    keep(&app, "early").await;
    rounds_of("7").await.expect(200);
    keep(&app, "other").await;
    put_back(&app, "early").await;
    rounds_of("12").await.expect(200);
    let began = Instant::now();
    while !is_ready(&app).await {
        assert!(began.elapsed() < Duration::from_secs(5), "it follows the log that went on");
    }
    put_back(&app, "other").await;
    app.set_clock("2027-01-20T12:00:00Z");
    let put = |performance: &str| {
        let body = json!({ "performance": performance, "attestation": { "judge": "J-1", "how": "paper_sheet" } });
        staff.put(&format!("{C}/workouts/w3/scores/1042")).json(body)
    };
    put("6+9").await.expect(422);
    put("6+4").await.expect(201);
    for verified in app.app.store.verify(Some("saltmarsh")).await.expect("verified") {
        assert_eq!(verified.difference, None);
    }
}

/// Whether requests may be sent to it.
async fn is_ready(app: &TestApp) -> bool {
    app.nobody().get("/readyz").await.status == 200
}

/// What it is found to show is not there any more, and what is there cannot be read: it says so, and tells nothing of
/// the one as if it were of the other.
#[tokio::test(flavor = "multi_thread")]
async fn while_a_log_that_was_put_back_cannot_be_read_it_is_not_ready_and_says_nothing_of_the_one_that_is_gone() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, 1042, "6+14 tb 11:24").await.expect(201);
    let mut raw = app.database.raw().await;
    raw.run("UPDATE placements SET state = 'unread' WHERE state = 'attested'").await.unwrap();
    keep(&app, "broken").await;
    raw.run("UPDATE placements SET state = 'attested' WHERE state = 'unread'").await.unwrap();
    attested(&staff, 1043, "3+1 tb 11:00").await.expect(201);
    assert!(is_ready(&app).await);
    let last = seq(&app.nobody().get(WOMEN).await.expect(200).json());
    let past = format!("{WOMEN}?as_of={last}");
    let before = app.nobody().get(&past).await.expect(200);
    assert!(before.text().contains("3+1 tb 11:00"), "it is kept from now on");
    put_back(&app, "broken").await;
    let began = Instant::now();
    while is_ready(&app).await {
        assert!(began.elapsed() < Duration::from_secs(5), "it is found out");
    }
    for _ in 0..10 {
        tokio::time::sleep(Duration::from_millis(100)).await;
        assert!(!is_ready(&app).await, "what it shows is not there any more");
    }
    // Nothing stands at that position any more.
    app.nobody().get(&past).await.expect(422);
    // Of a score that is stored now it is not known what place it has.
    let stored = attested(&staff, 1043, "7+2 tb 11:30").await.expect(201).json();
    assert_eq!((&stored["performance"]["text"], &stored["places"]), (&json!("7+2 tb 11:30"), &Value::Null));
    let desk = app.in_browser(&staff).await.get("/desk/saltmarsh/quayside?saved=w1/1043").await.expect(200).plain();
    assert!(desk.contains("Rita Alves: 7+2 tb 11:30") && !desk.contains("Placed "), "{desk}");
    raw.run("UPDATE placements SET state = 'attested' WHERE state = 'unread'").await.unwrap();
    comes_to_show(&app, &["7+2 tb 11:30", "6+14 tb 11:24"]).await;
    assert!(is_ready(&app).await);
    let desk = app.in_browser(&staff).await.get("/desk/saltmarsh/quayside?saved=w1/1043").await.expect(200).plain();
    assert!(desk.contains("Placed 1st of 2 in Women"), "{desk}");
    // Something else stands there now.
    let now = app.nobody().get(&past).header("if-none-match", before.header("etag")).await.expect(200);
    assert!(now.text().contains("7+2 tb 11:30") && !now.text().contains("3+1 tb 11:00"), "{}", now.text());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tag_from_before_a_database_was_put_back_fits_nothing_of_the_log_that_went_on() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let organiser = app.organiser().await;
    let rename = |title: &str| {
        let text = include_str!("../data/small.toml").replace("Saltmarsh Winter Series", title);
        organiser.put(&format!("{C}?reason=Renamed")).header("if-match", "*").body("application/toml", text)
    };
    attested(&staff, 1042, "6+14 tb 11:24").await.expect(201);
    keep(&app, "early").await;
    rename("One").await.expect(200);
    attested(&staff, 1043, "3+1 tb 11:00").await.expect(201);
    let past = format!("{WOMEN}?as_of={}", seq(&app.nobody().get(WOMEN).await.expect(200).json()));
    let overall = format!("{C}/divisions/women/standings");
    let kept = [WOMEN, &past, &overall, &path(1043)].map(str::to_owned);
    let mut before = Vec::new();
    for address in &kept {
        let read = app.nobody().get(address).await.expect(200);
        app.nobody().get(address).header("if-none-match", read.header("etag")).await.expect(304);
        before.push(read);
    }
    let file = organiser.get(C).await.expect(200).header("etag").to_owned();

    put_back(&app, "early").await;
    comes_to_show(&app, &["6+14 tb 11:24"]).await;
    rename("Two").await.expect(200);
    attested(&staff, 1043, "7+2 tb 11:30").await.expect(201);
    comes_to_show(&app, &["7+2 tb 11:30", "6+14 tb 11:24"]).await;
    for (address, read) in kept.iter().zip(&before) {
        let now = app.nobody().get(address).header("if-none-match", read.header("etag")).await.expect(200);
        assert_eq!(now.json()["log_seq"], read.json()["log_seq"], "of equal length: {address}");
        assert_ne!(now.text(), read.text());
    }

    // Who has seen what stood at these positions changes nothing of what stands there now.
    let seen = before[3].header("etag");
    let other = json!({ "performance": "5+5 tb 11:10" });
    staff.put(&path(1043)).header("if-match", seen).json(other).await.expect(412);
    let flag = json!({ "reason": "count", "note": "two short" });
    app.referee().await.post(&format!("{}/flags", path(1043))).header("if-match", seen).json(flag).await.expect(412);
    let text = include_str!("../data/small.toml").replace("Saltmarsh Winter Series", "Three");
    organiser.put(C).header("if-match", &file).body("application/toml", text).await.expect(412);
    assert_eq!(organiser.get(C).await.expect(200).json()["title"], "Two");
}
