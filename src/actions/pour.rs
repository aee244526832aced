//! Rows of placements on their way from the database to where they are taken in: read ahead on one
//! side, taken in on a thread of its own on the other, so that nobody ever holds them all.

use crate::rules::placement::Placement;
use crate::store::{Store, StoreError};
use futures_util::StreamExt;
use std::panic::resume_unwind;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// Blocks that wait to be taken in.
const AHEAD: usize = 4;
/// How often it is said how far a long reading is.
const SAY: Duration = Duration::from_secs(2);

/// Hands all rows of a competition up to log position `upto` to `take`, in log order; `slug` is for
/// the log. Where they cannot all be read, `take` comes to nothing.
///
/// # Errors
/// When the database cannot be read.
pub async fn pour<T: Send + 'static>(
    store: &Store,
    competition: i64,
    slug: &str,
    upto: u64,
    take: impl FnOnce(Rows) -> T + Send + 'static,
) -> Result<T, StoreError> {
    let (send, blocks) = mpsc::channel(AHEAD);
    let taking = tokio::task::spawn_blocking(move || take(Rows { blocks, block: Vec::new().into_iter() }));
    let mut reading = std::pin::pin!(store.placements(competition, 0, upto));
    let (begun, mut said, mut rows) = (Instant::now(), Instant::now(), 0);
    while let Some(block) = reading.next().await {
        let block = block?;
        rows += block.placements.len();
        if said.elapsed() >= SAY {
            said = Instant::now();
            tracing::info!(
                competition = slug,
                percent = block.upto * 100 / upto.max(1),
                rows,
                "the standings are read"
            );
        }
        if send.send(Some(block.placements)).await.is_err() {
            break;
        }
    }
    // Whoever takes has gone only if it broke, which is said below.
    let _ = send.send(None).await;
    let taken = taking.await.unwrap_or_else(|broken| resume_unwind(broken.into_panic()));
    if begun.elapsed() >= SAY {
        let seconds = begun.elapsed().as_secs_f64();
        tracing::info!(competition = slug, rows, seconds, "the standings are there");
    }
    Ok(taken)
}

/// The rows as they come. Only their own end ends them: where the reading breaks off, so does
/// whoever takes them, for a part of the rows would pass for a state of the competition.
pub struct Rows {
    /// `None`: the end.
    blocks: mpsc::Receiver<Option<Vec<Placement>>>,
    block: std::vec::IntoIter<Placement>,
}

/// The reading ended before the rows did.
struct BrokenOff;

impl Iterator for Rows {
    type Item = Placement;

    fn next(&mut self) -> Option<Placement> {
        loop {
            if let Some(placement) = self.block.next() {
                return Some(placement);
            }
            match self.blocks.blocking_recv() {
                Some(block) => self.block = block?.into_iter(),
                None => resume_unwind(Box::new(BrokenOff)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::people::EntryState;
    use crate::rules::placement::Change;

    fn row(seq: u64) -> Placement {
        let (division, country, region) = ("women".to_owned(), "PT".to_owned(), String::new());
        Placement {
            seq,
            bib: 1,
            change: Change::Entry { division, gym: None, country, region, state: EntryState::Active },
        }
    }

    /// What is made of two blocks, with or without their end.
    async fn taken(whole: bool) -> Option<Vec<u64>> {
        let (send, blocks) = mpsc::channel(AHEAD);
        for block in [Some(vec![row(1), row(2)]), Some(Vec::new()), Some(vec![row(3)])] {
            send.send(block).await.unwrap();
        }
        if whole {
            send.send(None).await.unwrap();
        }
        drop(send);
        let rows = Rows { blocks, block: Vec::new().into_iter() };
        tokio::task::spawn_blocking(move || rows.map(|row| row.seq).collect()).await.ok()
    }

    #[tokio::test]
    async fn rows_that_break_off_come_to_nothing() {
        assert_eq!(taken(true).await, Some(vec![1, 2, 3]));
        assert_eq!(taken(false).await, None);
    }
}
