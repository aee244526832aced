//! Faults: load by real clients on the real binary, which is killed, stopped, paused, cut off and
//! left without disk meanwhile. After each: every acknowledged change is there once, none is half
//! there, the log verifies, the tables equal the log, and standings and places, whole and of a gym,
//! equal those worked out from the figures alone.
//!
//! On a file and on a `PostgreSQL` of their own; there its restarts, a failover, a network that is
//! slow, silent or cut, and several services beside each other too.
//!
//! `cargo test --test faults` takes about two minutes; `TALLYWRIGHT_FAULTS=long` kills a hundred
//! times.

mod aside;
mod board;
mod check;
mod copies;
mod database;
mod desk;
mod disk;
mod failover;
mod field;
mod imports;
mod load;
mod locks;
mod memory;
mod mixed;
mod proxy;
mod server;
mod service;
mod several;
mod stops;
mod tls;
mod wire;

use std::time::{Duration, Instant};

/// Whether to take the time for the long version.
fn long() -> bool {
    std::env::var("TALLYWRIGHT_FAULTS").is_ok_and(|value| value == "long")
}

/// A repeatable sequence of numbers (xorshift), for instants and sizes that differ.
struct Draw(u64);

impl Draw {
    fn between(&mut self, least: u64, most: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        least + self.0 % (most - least + 1)
    }
}

/// How often: in the short version, in the long one.
fn times(short: u64, long: u64) -> u64 {
    if self::long() { long } else { short }
}

async fn pause(millis: u64) {
    tokio::time::sleep(Duration::from_millis(millis)).await;
}

/// Waits until something holds that has to come, on a machine at its limits too.
async fn until(what: &str, holds: impl AsyncFn() -> bool) {
    let began = Instant::now();
    while !holds().await {
        assert!(began.elapsed() < Duration::from_mins(3), "it does not come: {what}");
        pause(20).await;
    }
}
