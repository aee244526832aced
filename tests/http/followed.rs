//! What another service wrote, in many competitions, or much of it.

use crate::instances::{C, WOMEN, attested, seq};
use crate::put_back::{keep, put_back};
use crate::support::TestApp;
use serde_json::json;
use std::fmt::Write as _;
use std::time::{Duration, Instant};
use tallywright::config::Config;

/// Long enough for anything on a loaded machine.
const LONG: Duration = Duration::from_mins(1);

/// Reads of its rows stand still for one competition, as on a disk that is slow for a large one: a server's tables can
/// be made to.
#[tokio::test(flavor = "multi_thread")]
async fn one_competition_that_is_read_for_long_keeps_no_other_from_being_followed() {
    let one = TestApp::new().await;
    if !one.database.is_served() {
        return;
    }
    let two = one.beside().await;
    let mut raw = one.database.raw().await;
    for sql in [
        "CREATE TABLE held_up (by_us INT)",
        "INSERT INTO held_up VALUES (1)",
        "CREATE FUNCTION go_on() RETURNS BOOLEAN VOLATILE LANGUAGE plpgsql AS \
         'BEGIN WHILE EXISTS (SELECT 1 FROM held_up) LOOP PERFORM pg_sleep(0.02); END LOOP; RETURN TRUE; END'",
        "BEGIN; ALTER TABLE placements RENAME TO placements_kept; CREATE VIEW placements AS \
         SELECT * FROM placements_kept WHERE competition <> 1 OR (SELECT go_on()); COMMIT",
    ] {
        raw.run(sql).await.expect("made");
    }
    attested(&one.staff_of("quayside").await, 1042, "6+14 tb 11:24").await.expect(201);
    let (first, began) = (one.app.board.position(1), Instant::now());
    // It is begun to be read.
    while raw
        .number("SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event = 'PgSleep'")
        .await
        == 0
    {
        assert!(began.elapsed() < LONG, "it is not read");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let entry =
        json!({ "bib": 6000, "name": "Runner", "born": "1995-02-03", "category": "women", "division": "women" });
    one.administrator().await.post("/api/v1/competitions/hidden/entries").json(entry).await.expect(201);
    let (second, began) = (one.app.board.position(2), Instant::now());
    while two.app.board.position(2) < second {
        assert!(two.app.board.position(1) < first && began.elapsed() < LONG, "it waits for the other one");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert!(two.app.board.position(1) < first, "that one is being read still");
    raw.run("DELETE FROM held_up").await.expect("let go");
    let began = Instant::now();
    while two.app.board.position(1) < first {
        assert!(began.elapsed() < LONG, "it comes as well");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// Rows of many entries, from this bib on.
fn runners(first: u32, many: u32) -> String {
    let mut people = "bib,name,born,category,division,gym\n".to_owned();
    (0..many).for_each(|n| writeln!(people, "{},Runner {n},1995-02-03,women,women,quayside", first + n).unwrap());
    people
}

/// One that reads much and two that read little have not got what they asked for, as on a disk that is slow: how far the
/// logs are is told all the same, and each of them goes on by itself.
#[tokio::test(flavor = "multi_thread")]
async fn who_asks_how_far_the_logs_are_does_not_wait_for_those_who_read_them() {
    let one = TestApp::new().await;
    if !one.database.is_served() {
        return;
    }
    one.db_competition("third", false).await;
    keep(&one, "early").await;
    one.organiser().await.post(&format!("{C}/entries")).csv(&runners(10_000, 4_500)).await.expect(200);
    keep(&one, "late").await;
    put_back(&one, "early").await;
    let two =
        one.beside_configured(|config: &mut Config| config.database.push_str("&application_name=who_follows")).await;
    let mut raw = one.database.raw().await;
    for sql in [
        "CREATE TABLE held_up (id BIGINT)",
        "INSERT INTO held_up VALUES (1), (2), (3)",
        "CREATE FUNCTION go_on(which BIGINT) RETURNS BOOLEAN VOLATILE LANGUAGE plpgsql AS \
         'BEGIN WHILE EXISTS (SELECT 1 FROM held_up WHERE id = which) LOOP PERFORM pg_sleep(0.02); END LOOP; RETURN TRUE; END'",
        "BEGIN; ALTER TABLE placements RENAME TO placements_kept; CREATE VIEW placements AS \
         SELECT * FROM placements_kept WHERE CASE competition WHEN 1 THEN (SELECT go_on(1)) \
         WHEN 2 THEN (SELECT go_on(2)) WHEN 3 THEN (SELECT go_on(3)) ELSE TRUE END; COMMIT",
        // At one stroke, so that much is missing at once.
        "BEGIN; INSERT INTO records SELECT l.* FROM late_records l JOIN competitions c ON c.id = l.competition WHERE l.seq > c.seq; \
         INSERT INTO placements_kept SELECT l.* FROM late_placements l JOIN competitions c ON c.id = l.competition WHERE l.seq > c.seq; \
         UPDATE competitions SET seq = k.seq, at = k.at, peaks = k.peaks, root = k.root FROM late_competitions k \
         WHERE k.id = competitions.id; COMMIT",
    ] {
        raw.run(sql).await.expect("made");
    }
    let entry =
        json!({ "bib": 6000, "name": "Runner", "born": "1995-02-03", "category": "women", "division": "women" });
    for slug in ["hidden", "third"] {
        let path = format!("/api/v1/competitions/{slug}/entries");
        one.administrator().await.post(&path).json(entry.clone()).await.expect(201);
    }
    let began = Instant::now();
    // Of the long one two blocks are on their way.
    let waiting =
        "SELECT COUNT(*) FROM pg_stat_activity WHERE application_name = 'who_follows' AND wait_event = 'PgSleep'";
    while raw.number(waiting).await < 4 {
        assert!(began.elapsed() < LONG, "they are not read");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let heads = two.app.store.list_heads().await.expect("it is told");
    let is_behind = |(id, seq, _): &(i64, u64, [u8; 32])| two.app.board.position(*id) < Some(*seq);
    assert!(heads.len() == 3 && heads.iter().all(is_behind), "none is taken in");
    raw.run("DELETE FROM held_up WHERE id > 1").await.expect("let go");
    while heads[1..].iter().any(is_behind) {
        assert!(began.elapsed() < LONG, "they wait for the long one");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert!(is_behind(&heads[0]), "that one is being read still");
    raw.run("DELETE FROM held_up").await.expect("let go");
    while is_behind(&heads[0]) {
        assert!(began.elapsed() < LONG, "it comes as well");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// More than is read with one question, of the log and of the places.
#[tokio::test(flavor = "multi_thread")]
async fn much_that_was_written_at_another_service_is_caught_up_with() {
    let one = TestApp::new().await;
    let two = one.beside_configured(|config: &mut Config| config.look = Duration::from_hours(24)).await;
    let rows = runners(10_000, 4_500);
    let taken = one.organiser().await.post(&format!("{C}/entries")).csv(&rows).await.expect(200).json();
    assert_eq!(taken["taken"], 4_500);
    attested(&one.staff_of("quayside").await, 14_499, "6+14 tb 11:24").await.expect(201);
    let here = one.nobody().get(WOMEN).await.expect(200).json();
    let (last, began) = (seq(&here), Instant::now());
    let there = loop {
        let page = two.nobody().get(&format!("{WOMEN}?at_least={last}")).await;
        if page.status == 200 {
            break page.json();
        }
        assert!(page.status == 503 && began.elapsed() < LONG, "{}", page.text());
    };
    assert_eq!(there, here);
}
