//! What another service wrote, in many competitions, or much of it.

use crate::instances::{C, WOMEN, attested, seq};
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

/// More than is read with one question, of the log and of the places.
#[tokio::test(flavor = "multi_thread")]
async fn much_that_was_written_at_another_service_is_caught_up_with() {
    let one = TestApp::new().await;
    let two = one.beside_configured(|config: &mut Config| config.look = Duration::from_hours(24)).await;
    let mut people = "bib,name,born,category,division,gym\n".to_owned();
    (0..4_500).for_each(|n| writeln!(people, "{},Runner {n},1995-02-03,women,women,quayside", 10_000 + n).unwrap());
    let taken = one.organiser().await.post(&format!("{C}/entries")).csv(&people).await.expect(200).json();
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
