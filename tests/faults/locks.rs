//! Another process holds the database.

use crate::field::Field;
use crate::load::Load;
use crate::service::{Service, free};
use crate::{check, long};
use sqlx::{Connection, SqliteConnection};
use std::time::Duration;

/// Holds the database for so long, as a process would that writes or has gone astray.
async fn hold(field: &Field, time: Duration) {
    let mut connection = SqliteConnection::connect(&field.url()).await.expect("it opens");
    sqlx::query("PRAGMA busy_timeout = 60000").execute(&mut connection).await.expect("a setting");
    sqlx::query("BEGIN IMMEDIATE").execute(&mut connection).await.expect("held");
    tokio::time::sleep(time).await;
    sqlx::query("ROLLBACK").execute(&mut connection).await.expect("let go");
}

#[tokio::test(flavor = "multi_thread")]
async fn held_by_another_process_changes_wait_or_are_told_to_come_again_and_reads_go_on() {
    let field = Field::new();
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, 64);
    // Longer than a writer waits: changes are refused as busy meanwhile.
    let times: &[u64] = if long() { &[500, 2_000, 7_000, 500, 12_000] } else { &[500, 7_000] };
    for millis in times {
        tokio::time::sleep(Duration::from_millis(300)).await;
        let held = hold(&field, Duration::from_millis(*millis));
        tokio::pin!(held);
        assert!(tokio::time::timeout(Duration::from_millis(400), &mut held).await.is_err());
        let before = load.changes();
        let read = tokio::task::block_in_place(|| check::raw(service.at, "/c/harbour/divisions/women").0);
        assert!(check::is_ok(&read), "{read}");
        held.await;
        let began = std::time::Instant::now();
        while load.changes() == before {
            assert!(began.elapsed() < Duration::from_secs(20), "it goes on once the database is free");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
}
