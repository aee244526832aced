//! Names on their way to the memory of those that everybody may see ([`Names`]): read from the database by
//! itself, beside everybody else, after a start and after changes.

use super::follow::patiently;
use crate::standings::{Board, Names};
use crate::store::{Store, StoreError};
use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Blocks of names that are read at a time.
const BLOCKS: usize = 32;
/// Between two of them: who reads and who writes goes first.
const PAUSE: Duration = Duration::from_millis(2);
/// Where nothing is missing, or nothing can be read.
const REST: Duration = Duration::from_secs(1);

/// Reads what is not known, until it is told to stop.
pub async fn keep(store: Store, board: Arc<Board>, stop: CancellationToken) {
    let mut said: HashMap<i64, Arc<Names>> = HashMap::new();
    loop {
        let mut pause = REST;
        for (competition, names) in board.all_names() {
            match next(&store, competition, &names).await {
                Ok(true) => pause = PAUSE,
                Ok(false) if said.get(&competition).is_none_or(|before| !Arc::ptr_eq(before, &names)) => {
                    say(&board, competition, &names);
                    said.insert(competition, names);
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

/// Reads some of those that are not known; false: there are none.
async fn next(store: &Store, competition: i64, names: &Names) -> Result<bool, StoreError> {
    let Some((bibs, moment)) = names.next_missing(BLOCKS) else { return Ok(false) };
    match patiently(store.shown_names(competition, bibs)).await {
        Ok(read) => {
            names.learn(moment, read.iter().map(|(bib, name)| (*bib, name.as_deref())));
            Ok(true)
        }
        Err(error) => {
            names.still_missing(bibs);
            Err(error)
        }
    }
}
