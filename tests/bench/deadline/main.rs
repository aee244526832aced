//! The last evening, over HTTP, against the real program: `cargo bench --bench deadline`. Lines of JSON.
//!
//! 1. Durable scores a second: 64 clients, each sending an attested score with a key of its own and
//!    waiting for the answer, beside a bare loop that commits one plain row at a time to a file (Python's
//!    `sqlite3`, with the service's settings) on the same disk in the same run; of both engines.
//! 2. The same at 70 % of that rate, while 64 readers page through the standings.
//! 3. A surge: as many scores as a fifth of the field, four of five of them in two hours and one of five in
//!    the last five minutes, 288 times as fast as that. What is refused with 503 comes again when it was told to. At the
//!    end every score is there once.
//!
//! All of it on a file, and where there is a `PostgreSQL` on a server of its own. Clients and service share
//! the machine. The disk is that of the folder for temporary files: `TMPDIR` names another.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "figures for people, and counts that a run can reach"
)]

#[path = "../../faults/server.rs"]
#[expect(dead_code, reason = "shared with the tests, which use all of it")]
mod server;

mod client;
mod ground;

use client::{Client, Outcome, percentile};
use ground::Ground;
use serde_json::{Value, json};
use server::Server;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Clients that write, and readers.
const CLIENTS: u32 = 64;
/// How much faster than the clock the surge comes.
const FASTER: u32 = 288;
/// Rows of a page.
const ROWS: u32 = 50;

#[tokio::main]
async fn main() {
    // `cargo test --benches` asks for a short run.
    let short = std::env::args().any(|a| a == "--test");
    let athletes: u32 = if short { 2_000 } else { 300_000 };
    let seconds = Duration::from_secs(if short { 1 } else { 10 });
    // `cargo bench --bench deadline -- sqlite` (or `postgres`): of that engine alone.
    let wants =
        |engine: &str, other: &str| std::env::args().any(|a| a == engine) || std::env::args().all(|a| a != other);
    if wants("sqlite", "postgres") {
        measure("sqlite", Ground::on_a_file(athletes), seconds).await;
    }
    if !wants("postgres", "sqlite") {
        return;
    }
    if let Some(server) = Server::start() {
        measure("postgres", Ground::on_a_server(&server, athletes).await, seconds).await;
    }
}

async fn measure(engine: &str, ground: Ground, seconds: Duration) {
    let say = |what: &str, mut figures: Value| {
        figures["what"] = what.into();
        figures["engine"] = engine.into();
        figures["athletes"] = ground.athletes.into();
        println!("{figures}");
    };
    let bare = ground.bare_loop(seconds);
    let service = ground.serve().await;
    let client = Client::new(service.at, &ground.token);
    let next = Arc::new(AtomicU32::new(1));

    // 1. As fast as it goes.
    let (took, mut waits) = closed(&client, &next, seconds).await;
    let rate = waits.len() as f64 / took.as_secs_f64();
    say(
        "64 clients, one score after the other",
        json!({
            "scores_per_second": rate.round(),
            "bare_rows_per_second_to_a_file": bare.round(),
            "ratio": (rate / bare * 100.0).round() / 100.0,
            "p50_ms": percentile(&mut waits, 50), "p99_ms": percentile(&mut waits, 99),
        }),
    );

    // 2. At 70 %, with readers.
    let stop = Arc::new(AtomicBool::new(false));
    let readers: Vec<_> =
        (0..CLIENTS).map(|n| tokio::spawn(read(client.clone(), n, ground.athletes, Arc::clone(&stop)))).collect();
    let begun = Instant::now();
    let (written, _) = paced(&client, &next, rate * 0.7, seconds).await;
    let took = begun.elapsed().as_secs_f64();
    stop.store(true, Ordering::SeqCst);
    let mut reads = Vec::new();
    for reader in readers {
        reads.extend(reader.await.expect("a reader"));
    }
    let mut waits: Vec<f64> = written.iter().map(|w| w.as_secs_f64() * 1e3).collect();
    say(
        "at 70 %, 64 readers that read a page ten times a second",
        json!({
            "scores_per_second": (written.len() as f64 / took).round(), "meant": (rate * 0.7).round(),
            "p50_ms": percentile(&mut waits, 50), "p99_ms": percentile(&mut waits, 99),
            "pages_per_second": (reads.len() as f64 / took).round(),
            "pages_p50_ms": percentile(&mut reads, 50), "pages_p99_ms": percentile(&mut reads, 99),
        }),
    );

    // 3. The surge. What has been sent so far stands for what came before.
    let left = ground.athletes.saturating_sub(next.load(Ordering::SeqCst) - 1).min(ground.athletes / 5);
    let hours = Duration::from_mins(115) / FASTER;
    let minutes = Duration::from_mins(5) / FASTER;
    let begun = Instant::now();
    let (early, again_early) = paced(&client, &next, f64::from(left) * 0.8 / hours.as_secs_f64(), hours).await;
    let (late, again_late) = paced(&client, &next, f64::from(left) * 0.2 / minutes.as_secs_f64(), minutes).await;
    let mut waits: Vec<f64> = early.iter().chain(&late).map(|w| w.as_secs_f64() * 1e3).collect();
    let sent = next.load(Ordering::SeqCst) - 1;
    say(
        "a surge",
        json!({
            "scores": early.len() + late.len(),
            "per_second_at_the_end": (f64::from(left) * 0.2 / minutes.as_secs_f64()).round(),
            "took_s": begun.elapsed().as_secs_f64().round(),
            "told_to_come_again": again_early + again_late,
            "p50_ms": percentile(&mut waits, 50), "p99_ms": percentile(&mut waits, 99),
        }),
    );
    let there = client.stored().await;
    assert_eq!(there, sent, "every score that was sent is there once");
    drop(service);
    ground.verify();
    say("stored", json!({ "scores": there, "log": "verifies" }));
}

/// Every client sends one score after the other. How long it took, and every wait in ms.
async fn closed(client: &Client, next: &Arc<AtomicU32>, seconds: Duration) -> (Duration, Vec<f64>) {
    let begun = Instant::now();
    let work = (0..CLIENTS).map(|_| {
        let (client, next) = (client.clone(), Arc::clone(next));
        tokio::spawn(async move {
            let mut waits = Vec::new();
            while begun.elapsed() < seconds {
                let sent = Instant::now();
                let outcome = client.put(next.fetch_add(1, Ordering::SeqCst)).await;
                assert_eq!(outcome, Outcome { again: 0 }, "there is room for {CLIENTS}");
                waits.push(sent.elapsed().as_secs_f64() * 1e3);
            }
            waits
        })
    });
    let mut waits = Vec::new();
    for one in work.collect::<Vec<_>>() {
        waits.extend(one.await.expect("a client"));
    }
    (begun.elapsed(), waits)
}

/// Scores come at a rate, whether or not those before them are answered: how long each took from when
/// it was due to its answer, and how often one was told to come again.
async fn paced(client: &Client, next: &Arc<AtomicU32>, rate: f64, seconds: Duration) -> (Vec<Duration>, u64) {
    let (begun, again) = (Instant::now(), Arc::new(AtomicU64::new(0)));
    let all = (rate * seconds.as_secs_f64()) as u32;
    let mut work = Vec::new();
    for n in 0..all {
        let due = begun + Duration::from_secs_f64(f64::from(n) / rate);
        if due > Instant::now() {
            tokio::time::sleep_until(due.into()).await;
        }
        let (client, again, bib) = (client.clone(), Arc::clone(&again), next.fetch_add(1, Ordering::SeqCst));
        work.push(tokio::spawn(async move {
            let outcome = client.put(bib).await;
            again.fetch_add(outcome.again, Ordering::SeqCst);
            due.elapsed()
        }));
    }
    let mut waits = Vec::new();
    for one in work {
        waits.push(one.await.expect("a client"));
    }
    (waits, again.load(Ordering::SeqCst))
}

/// Pages from anywhere, ten a second; every wait in ms.
async fn read(client: Client, seed: u32, athletes: u32, stop: Arc<AtomicBool>) -> Vec<f64> {
    let (mut waits, mut draw) = (Vec::new(), u64::from(seed) + 1);
    let pages = u64::from(athletes / 2 / ROWS).max(1);
    while !stop.load(Ordering::SeqCst) {
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let from = (draw >> 33) % pages * u64::from(ROWS) + 1;
        let asked = Instant::now();
        client.page(from).await;
        waits.push(asked.elapsed().as_secs_f64() * 1e3);
        tokio::time::sleep(Duration::from_millis(100).saturating_sub(asked.elapsed())).await;
    }
    waits
}
