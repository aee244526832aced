//! Faults: load by real clients on the real binary, which is killed, stopped, paused, cut off and
//! left without disk meanwhile. After each: every acknowledged change is there once, none is half
//! there, the log verifies, the tables equal the log, and the standings equal those worked out from
//! the figures alone.
//!
//! `cargo test --test faults` takes about a minute; `TALLYWRIGHT_FAULTS=long` kills a hundred
//! times.

mod check;
mod disk;
mod field;
mod load;
mod locks;
mod proxy;
mod service;
mod stops;

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
