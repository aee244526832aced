//! Durable changes a second on each engine: 64 callers, each waiting for its answer, one alone, and a
//! file of many rows, against a bare loop that commits one row at a time with the same settings on the same disk in the
//! same run. A line of JSON for each: `cargo bench --bench writer`. The disk is that of the folder for
//! temporary files: `TMPDIR` names another.
//!
//! A change is the whole of it: a score with its attestation decided by the rules, two records
//! hashed into the log's tree, the score, its placement and the head written. Not a criterion bench:
//! what counts is the throughput of all callers together.

#[path = "../faults/server.rs"]
#[expect(dead_code, reason = "shared with the tests, which use all of it")]
mod server;
#[path = "../store/support.rs"]
#[expect(dead_code, reason = "shared with the tests, which use all of it")]
mod support;
#[path = "../faults/wire.rs"]
#[expect(dead_code, reason = "shared with the tests, which use all of it")]
mod wire;

use serde_json::{Value, json};
use server::Server;
use std::time::{Duration, Instant};
use support::database::{Database, Raw};
use support::{Place, score};
use wire::Wire;

const CALLERS: u32 = 64;

/// A database to write to, and another one for the bare loop.
struct Ground {
    engine: &'static str,
    /// Added to each way of the network; `None`: there is none.
    delay: Option<Duration>,
    place: Place,
    bare: Raw,
    runs: Vec<Run>,
    bare_runs: Vec<f64>,
}

/// What callers did at once.
struct Run {
    rate: f64,
    size: f64,
    p50: f64,
    p99: f64,
}

impl Run {
    /// So many changes in that time, some of which waited so long, in so many commits.
    fn of(changes: u32, elapsed: Duration, mut waits: Vec<Duration>, commits: usize) -> Self {
        waits.sort();
        let at = |share: usize| {
            let wait = waits.get(waits.len().saturating_sub(1) * share / 100);
            wait.map_or(f64::NAN, |wait| wait.as_secs_f64() * 1e3)
        };
        Self {
            rate: f64::from(changes) / elapsed.as_secs_f64(),
            size: f64::from(changes) / f64::from(u32::try_from(commits).unwrap()),
            p50: at(50),
            p99: at(99),
        }
    }
}

#[tokio::main]
async fn main() {
    // `cargo test --benches` asks for a short run.
    let short = std::env::args().any(|a| a == "--test");
    let (rounds, each) = if short { (1, 2) } else { (5, 20) };
    let (alone, rows) = (each * 10, each * 200);
    let entries = CALLERS * each * rounds + alone + rows + rows / 8;

    let mut grounds = vec![Ground::on_a_file(entries).await];
    let server = Server::start();
    let mut wires = Vec::new();
    if let Some(server) = &server {
        let direct = [server.database().await, server.database().await];
        grounds.push(Ground::on_a_server(direct, None, entries).await);
        for millis in [1, 5] {
            let (wire, delay) = (Wire::to(server).await, Duration::from_millis(millis));
            let far = [wire.url(&server.database().await), wire.url(&server.database().await)];
            grounds.push(Ground::on_a_server(far, Some(delay), entries).await);
            wire.delay(delay);
            wires.push(wire);
        }
    }
    for round in 0..rounds {
        for ground in &mut grounds {
            let bare = ground.bare_loop(each * 10).await;
            ground.bare_runs.push(bare);
            ground.runs.push(callers(&ground.place, round * CALLERS * each, each).await);
        }
    }
    for mut ground in grounds {
        let mut last = entries;
        let mut take = |n: u32| {
            last -= n;
            last
        };
        let one_by_one = ground.one_caller(take(alone), alone).await;
        let file = ground.a_file([take(rows), take(rows / 8)], rows).await;
        let round_trip = ground.round_trip().await;
        println!("{}", ground.figures(one_by_one, &file, round_trip));
        assert_eq!(ground.place.difference().await, None);
    }
}

impl Ground {
    async fn on_a_file(entries: u32) -> Self {
        let place = Place::on(Database::file()).await.filled(entries).await;
        let file = place.file("bare.db");
        let mut bare = Raw::create(&format!("sqlite://{}", file.display())).await;
        bare.run("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 4000")
            .await
            .expect("the settings of ours");
        Self::with("sqlite", None, place, bare).await
    }

    async fn on_a_server([url, bare]: [String; 2], delay: Option<Duration>, entries: u32) -> Self {
        let place = Place::on(Database::at(url)).await.filled(entries).await;
        Self::with("postgres", delay, place, Raw::open(&bare).await).await
    }

    async fn with(engine: &'static str, delay: Option<Duration>, place: Place, mut bare: Raw) -> Self {
        bare.run("CREATE TABLE rows (id BIGINT, body TEXT NOT NULL)").await.expect("a table");
        Self { engine, delay, place, bare, runs: Vec::new(), bare_runs: Vec::new() }
    }

    /// One row a commit: how many a second.
    async fn bare_loop(&mut self, n: u32) -> f64 {
        let insert = format!("INSERT INTO rows (id, body) VALUES (1, '{}')", "x".repeat(400));
        let begun = Instant::now();
        for _ in 0..n {
            self.bare.run(&insert).await.expect("a row");
        }
        f64::from(n) / begun.elapsed().as_secs_f64()
    }

    /// One change after the other: how many a second.
    async fn one_caller(&self, first: u32, n: u32) -> f64 {
        let begun = Instant::now();
        for bib in first + 1..=first + n {
            self.place.submit(score("w1", bib, "5+5", true)).await.unwrap();
        }
        f64::from(n) / begun.elapsed().as_secs_f64()
    }

    /// One hands in so many rows as fast as they are taken, and another one change after the other
    /// meanwhile, up to an eighth as many.
    async fn a_file(&self, [first, beside]: [u32; 2], n: u32) -> Run {
        let commits = self.place.told.lock().unwrap().len();
        let begun = Instant::now();
        let text = |bib| format!("{}+{}", bib % 9, bib % 30);
        let rows = (first + 1..=first + n).map(|bib| score("w1", bib, &text(bib), true));
        let file = async {
            assert!(self.place.writer.submit_many(rows).await.iter().all(Result::is_ok));
            begun.elapsed()
        };
        let mut waits = Vec::new();
        let other = async {
            for bib in beside + 1..=beside + n / 8 {
                let sent = Instant::now();
                self.place.writer.submit(score("w1", bib, &text(bib), true), None).await.unwrap();
                waits.push(sent.elapsed());
            }
            std::future::pending::<()>().await;
        };
        let elapsed = tokio::select! {
            elapsed = file => elapsed,
            () = other => unreachable!("it waits for the file"),
        };
        let commits = self.place.told.lock().unwrap().len() - commits;
        Run::of(n, elapsed, waits, commits)
    }

    /// Of a question that costs nothing, in milliseconds.
    async fn round_trip(&mut self) -> f64 {
        let mut times = Vec::new();
        for _ in 0..100 {
            let asked = Instant::now();
            self.bare.number("SELECT CAST(1 AS BIGINT)").await;
            times.push(asked.elapsed());
        }
        times.sort_unstable();
        times[50].as_secs_f64() * 1e3
    }

    /// The middle one of all rounds.
    fn figures(&mut self, alone: f64, file: &Run, round_trip: f64) -> Value {
        self.runs.sort_by(|a, b| a.rate.total_cmp(&b.rate));
        self.bare_runs.sort_by(f64::total_cmp);
        let (run, bare) = (&self.runs[self.runs.len() / 2], self.bare_runs[self.bare_runs.len() / 2]);
        let rounded = |value: f64| (value * 100.0).round() / 100.0;
        json!({
            "figure": "durable changes a second",
            "engine": self.engine,
            "added_delay_ms": self.delay.map(|delay| delay.as_secs_f64() * 1e3),
            "round_trip_ms": rounded(round_trip),
            "bare_commits_a_second": rounded(bare),
            "one_by_one_a_second": rounded(alone),
            "callers": CALLERS,
            "grouped_a_second": rounded(run.rate),
            "changes_a_commit": rounded(run.size),
            "p50_ms": rounded(run.p50),
            "p99_ms": rounded(run.p99),
            "changes_in_the_time_of_a_bare_commit": rounded(run.rate / bare),
            "rows_of_a_file_a_second": rounded(file.rate),
            "rows_a_commit": rounded(file.size),
            "beside_a_file_p50_ms": rounded(file.p50),
            "beside_a_file_p99_ms": rounded(file.p99),
        })
    }
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
    let elapsed = begun.elapsed();
    let commits = place.told.lock().unwrap().len() - commits;
    Run::of(CALLERS * each, elapsed, waits, commits)
}
