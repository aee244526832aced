//! Another process holds the database.

use crate::field::{Field, SLUG};
use crate::load::Load;
use crate::server::Server;
use crate::service::{Service, free};
use crate::{check, long, pause};
use sqlx::{Connection, Executor, PgConnection, SqliteConnection};
use std::time::Duration;
use tokio::sync::oneshot;

const CLIENTS: usize = 64;

/// Holds the database for so long from the moment `taken` tells, as a process would that writes or has
/// gone astray: a file whole, of a server the one competition.
async fn hold(field: &Field, time: Duration, taken: oneshot::Sender<()>) {
    if field.url.starts_with("sqlite:") {
        let mut connection = SqliteConnection::connect(&field.url).await.expect("it opens");
        connection.execute("PRAGMA busy_timeout = 60000").await.expect("a setting");
        connection.execute("BEGIN IMMEDIATE").await.expect("held");
        taken.send(()).expect("somebody waits for it");
        tokio::time::sleep(time).await;
        connection.execute("ROLLBACK").await.expect("let go");
    } else {
        let mut connection = PgConnection::connect(&field.url).await.expect("it opens");
        let mut tx = connection.begin().await.expect("begun");
        let head = sqlx::query("SELECT 1 FROM competitions WHERE slug = $1 FOR UPDATE").bind(SLUG);
        head.fetch_one(&mut *tx).await.expect("held");
        taken.send(()).expect("somebody waits for it");
        tokio::time::sleep(time).await;
        tx.rollback().await.expect("let go");
    }
}

/// `patience`: how long a writer waits for it, and a little.
async fn hold_it(field: Field, times: &[u64], patience: u64) {
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, u32::try_from(CLIENTS).expect("a few"));
    for millis in times {
        pause(300).await;
        let (taken, is_taken) = oneshot::channel();
        let held = hold(&field, Duration::from_millis(*millis), taken);
        tokio::pin!(held);
        // Beside a writer that is hardly ever done it takes a while to get in between.
        tokio::select! {
            () = &mut held => panic!("let go before it was taken"),
            told = is_taken => told.expect("taken"),
        }
        assert!(tokio::time::timeout(Duration::from_millis(400), &mut held).await.is_err());
        let read = tokio::task::block_in_place(|| check::raw(service.at, "/c/harbour/divisions/women").0);
        assert!(check::is_ok(&read), "{read}");
        let (before, _) = (load.changes(), load.refusals());
        if let Some(rest) = millis.checked_sub(1_000) {
            assert!(tokio::time::timeout(Duration::from_millis(rest), &mut held).await.is_err());
            // Answers of before may come late; in that time there would be thousands.
            assert!(load.changes() <= before + CLIENTS, "held, nothing is stored");
        }
        held.await;
        assert!(*millis < patience || load.is_refused(), "who has waited for so long is told to come again");
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
}

#[tokio::test(flavor = "multi_thread")]
async fn held_by_another_process_changes_wait_or_are_told_to_come_again_and_reads_go_on() {
    // Longer than a writer waits: changes are refused as busy meanwhile.
    hold_it(Field::new(), if long() { &[500, 2_000, 7_000, 500, 12_000] } else { &[500, 7_000] }, 6_500).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn held_by_another_process_on_a_server_changes_wait_or_are_told_to_come_again_and_reads_go_on() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    hold_it(field, if long() { &[500, 2_000, 7_000, 500, 12_000] } else { &[500, 3_000] }, 2_900).await;
}
