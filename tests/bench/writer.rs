//! Durable changes a second: 64 callers, each waiting for its answer, against a bare loop that
//! commits one row at a time with the same settings on the same disk in the same run.
//!
//! A change is the whole of it: a score with its attestation decided by the rules, two records
//! hashed into the log's tree, the score, its placement and the head written. Not a criterion bench:
//! what counts is the throughput of all callers together.

#[path = "../store/support.rs"]
#[expect(dead_code, reason = "shared with the tests, which use all of it")]
mod support;

use support::database::Database;

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, SqliteConnection};
use std::time::{Duration, Instant};
use support::{Place, score};

const CALLERS: u32 = 64;

#[tokio::main]
async fn main() {
    // `cargo test --benches` asks for a short run.
    let short = std::env::args().any(|a| a == "--test");
    let (rounds, each) = if short { (1, 2) } else { (5, 40) };
    let folder = || tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();

    let bare_folder = folder();
    let mut bare = bare_database(&bare_folder).await;
    let entries = CALLERS * each * rounds;
    let begun = Instant::now();
    let place = Place::on(Database::file_in(folder())).await.filled(entries + each * 10).await;
    println!("import: {:.0} entries/s", f64::from(entries + each * 10) / begun.elapsed().as_secs_f64());

    let (mut grouped, mut single) = (Vec::new(), Vec::new());
    for round in 0..rounds {
        single.push(bare_loop(&mut bare, each * 50).await);
        grouped.push(callers(&place, round * CALLERS * each, each).await);
    }
    let alone = one_caller(&place, entries, each * 10).await;
    assert_eq!(place.difference().await, None);

    grouped.sort_by(|a, b| a.rate.total_cmp(&b.rate));
    single.sort_by(f64::total_cmp);
    let (best, bare) = (&grouped[grouped.len() / 2], single[single.len() / 2]);
    println!("medians of {rounds} rounds, turn by turn:");
    println!(
        "  {CALLERS} callers: {:.0} durable changes/s ({:.0} records/s), {:.1} changes a commit, p50 {:.1} ms, p99 {:.1} ms",
        best.rate,
        best.rate * 2.0,
        best.size,
        best.p50,
        best.p99,
    );
    println!("  bare loop, one row a commit: {bare:.0} rows/s");
    println!("  the writer does {:.1} whole changes in the time of one bare commit", best.rate / bare);
    println!("  one caller alone: {alone:.0} changes/s");
}

struct Run {
    rate: f64,
    size: f64,
    p50: f64,
    p99: f64,
}

async fn callers(place: &Place, first: u32, each: u32) -> Run {
    let commits = place.told.lock().unwrap().len();
    let begun = Instant::now();
    let tasks: Vec<_> = (0..CALLERS)
        .map(|n| {
            let writer = place.writer.clone();
            tokio::spawn(async move {
                let mut waits = Vec::new();
                for k in 0..each {
                    let bib = first + n * each + k + 1;
                    let asked = score("w1", bib, &format!("{}+{}", bib % 9, bib % 30), true);
                    let sent = Instant::now();
                    writer.submit(asked, None).await.unwrap();
                    waits.push(sent.elapsed());
                }
                waits
            })
        })
        .collect();
    let mut waits: Vec<Duration> = Vec::new();
    for task in tasks {
        waits.extend(task.await.unwrap());
    }
    let elapsed = begun.elapsed().as_secs_f64();
    waits.sort();
    let at = |share: usize| waits[(waits.len() - 1) * share / 100].as_secs_f64() * 1e3;
    let commits = place.told.lock().unwrap().len() - commits;
    let changes = f64::from(CALLERS * each);
    Run {
        rate: changes / elapsed,
        size: changes / f64::from(u32::try_from(commits).unwrap()),
        p50: at(50),
        p99: at(99),
    }
}

async fn one_caller(place: &Place, first: u32, n: u32) -> f64 {
    let begun = Instant::now();
    for bib in first + 1..=first + n {
        place.submit(score("w1", bib, "5+5", true)).await.unwrap();
    }
    f64::from(n) / begun.elapsed().as_secs_f64()
}

async fn bare_database(folder: &tempfile::TempDir) -> SqliteConnection {
    let mut bare = SqliteConnectOptions::new()
        .filename(folder.path().join("bare.db"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .pragma("wal_autocheckpoint", "4000")
        .connect()
        .await
        .unwrap();
    sqlx::query("CREATE TABLE rows (id INTEGER PRIMARY KEY, body TEXT NOT NULL) STRICT")
        .execute(&mut bare)
        .await
        .unwrap();
    bare.ping().await.unwrap();
    bare
}

async fn bare_loop(bare: &mut SqliteConnection, n: u32) -> f64 {
    let body = "x".repeat(400);
    let begun = Instant::now();
    for _ in 0..n {
        sqlx::query("INSERT INTO rows (body) VALUES ($1)").bind(&body).execute(&mut *bare).await.unwrap();
    }
    f64::from(n) / begun.elapsed().as_secs_f64()
}
