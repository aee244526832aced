//! Names on their way to the memory of those that everybody may see ([`Names`]): read from the database by
//! itself, beside everybody else, after a start and after changes.

use super::follow::patiently;
use crate::standings::{Board, Names};
use crate::store::{Store, StoreError};
use std::collections::HashMap;
use std::sync::{Arc, Weak};
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Blocks of names that are read at a time.
const BLOCKS: usize = 32;
/// Between two of them: who reads and who writes goes first.
const PAUSE: Duration = Duration::from_millis(2);
/// Where nothing is missing, or nothing can be read.
const REST: Duration = Duration::from_secs(1);
/// After so long it is tried again to read a block that could not be read.
const AGAIN: Duration = Duration::from_mins(1);

/// Reads what is not known, until it is told to stop.
pub async fn keep(store: Store, board: Arc<Board>, stop: CancellationToken) {
    let mut readings: HashMap<i64, Reading> = HashMap::new();
    loop {
        let mut pause = REST;
        let all: HashMap<i64, Arc<Names>> = board.all_names().into_iter().collect();
        readings.retain(|competition, _| all.contains_key(competition));
        for (competition, names) in all {
            let reading = readings.entry(competition).or_default();
            if !reading.is_of(&names) {
                *reading = Reading { of: Arc::downgrade(&names), ..Reading::default() };
            }
            match reading.next(&store, competition, &names).await {
                Ok(true) => pause = PAUSE,
                Ok(false) if !reading.said => {
                    say(&board, competition, &names);
                    reading.said = true;
                }
                Ok(false) => {}
                Err(error) => tracing::debug!(%error, competition, "names cannot be read just now"),
            }
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(pause) => {}
        }
    }
}

/// Says what the names of a competition take in memory, once for each time that it is loaded.
fn say(board: &Board, competition: i64, names: &Names) {
    let Some(view) = board.view(competition) else { return };
    let (known, bytes) = names.size();
    if let Some(each) = bytes.checked_div(known) {
        tracing::info!(
            competition = view.definition().slug,
            names = known,
            bytes = each,
            "names are known; bytes a name"
        );
    }
}

/// How far the names of one competition are read, as it was loaded last. Keeps none of them.
#[derive(Default)]
struct Reading {
    of: Weak<Names>,
    said: bool,
    /// Somebody could not be read: blocks are read one by one, so that the others are.
    one_by_one: bool,
    /// Blocks with somebody in them who cannot be read, and since when.
    aside: Vec<(Instant, (u32, u32))>,
}

impl Reading {
    fn is_of(&self, names: &Arc<Names>) -> bool {
        Weak::ptr_eq(&self.of, &Arc::downgrade(names))
    }

    /// Reads some of those that are not known; false: there are none.
    async fn next(&mut self, store: &Store, competition: i64, names: &Names) -> Result<bool, StoreError> {
        self.bring_back(names);
        let Some((bibs, moment)) = names.next_missing(if self.one_by_one { 1 } else { BLOCKS }) else {
            self.one_by_one = false;
            return Ok(false);
        };
        match patiently(store.shown_names(competition, bibs)).await {
            Ok(read) => names.learn(moment, read.iter().map(|(bib, name)| (*bib, name.as_deref()))),
            Err(StoreError::Unreadable { .. }) if !self.one_by_one => {
                self.one_by_one = true;
                names.still_missing(bibs);
            }
            Err(error @ StoreError::Unreadable { .. }) => {
                tracing::warn!(%error, competition, first = bibs.0, last = bibs.1, "somebody's name cannot be read");
                self.aside.push((Instant::now(), bibs));
            }
            Err(error) => {
                names.still_missing(bibs);
                return Err(error);
            }
        }
        Ok(true)
    }

    fn bring_back(&mut self, names: &Names) {
        self.aside.retain(|(since, bibs)| {
            let stays = since.elapsed() < AGAIN;
            if !stays {
                names.still_missing(*bibs);
            }
            stays
        });
    }
}
