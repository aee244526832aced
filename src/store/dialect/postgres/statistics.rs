//! What a server knows of the tables: how many rows there are, and in how many ways they differ.
//!
//! It looks for itself, about once a minute, where it is let. Until then it takes a new competition for one of two
//! hundred, and all of its rows for so few that it rather looks through them than asks for some by their keys. So it is
//! told to look as the tables grow. What it makes of that is its own; the embedded engine is told what there is
//! (`sqlite/statistics.rs`).

use crate::store::db::by;
use crate::store::dialect::line::Line;
use sqlx::{Executor, Postgres};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::time::Instant;

/// The tables that grow with everything, and those that grow with the entries.
const LOGS: &str = "ANALYZE competitions, records, scores, placements, idempotency";
const ROSTER: &str = "ANALYZE gyms, judges, entries, persons, name_starts";
/// How long that may take: a sample of some ten thousand rows of each.
const A_LOOK: Duration = Duration::from_mins(1);
/// After so many rows it is told for the first time.
const FIRST: u64 = 256;
/// How much more there is at the next time.
const TIMES: u64 = 8;

/// How many records, and how many rows about entries, were written here.
#[derive(Debug, Default)]
pub(crate) struct Grown {
    records: Steps,
    entries: Steps,
}

impl Grown {
    /// By so many more; what a server should look at because of that.
    pub(in crate::store::dialect) fn by(&self, records: u64, entries: u64) -> Vec<&'static str> {
        let logs = self.records.reach_one(records).then_some(LOGS);
        logs.into_iter().chain(self.entries.reach_one(entries).then_some(ROSTER)).collect()
    }
}

#[derive(Debug, Default)]
struct Steps(AtomicU64);

impl Steps {
    /// Goes on by so many; whether there is so much more than at the last step.
    fn reach_one(&self, more: u64) -> bool {
        let before = self.0.fetch_add(more, Ordering::Relaxed);
        let mut steps = std::iter::successors(Some(FIRST), |step| step.checked_mul(TIMES));
        steps.find(|step| *step > before).is_some_and(|step| before.saturating_add(more) >= step)
    }
}

/// Tells it to look. That it cannot just now changes nothing but how long it takes.
pub(in crate::store::dialect) async fn look(line: &Line<Postgres>, at: &'static str) -> sqlx::Result<()> {
    let mut on = super::Reading::acquire(line.pool()).await?;
    by(Some(Instant::now() + A_LOOK), on.ex().execute(at)).await.map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_told_each_time_that_there_is_eight_times_as_much() {
        let grown = Steps::default();
        let told = (1..=20_000_u64).filter(|_| grown.reach_one(1)).count();
        assert_eq!(told, 3, "at 256, 2,048 and 16,384");
        assert!(grown.reach_one(1_000_000) && !grown.reach_one(1), "in one step over several");
        assert!(!Steps::default().reach_one(FIRST - 1));
        let grown = Grown::default();
        assert_eq!([grown.by(300, 2), grown.by(2, 300), grown.by(0, 0)], [vec![LOGS], vec![ROSTER], vec![]]);
    }
}
