//! States of the past: made one at a time, beside whoever asks, and the last one kept.
//!
//! One may take longer than a request does. It is made to its end all the same, and waits a while for who has
//! to come again for it.

use super::{Failure, Reader, WAIT};
use crate::actions::pour::{Rows, pour};
use crate::app::App;
use crate::standings::{Board, InForce, Past, View};
use crate::store::{Store, StoreError};
use crate::words::Sentence;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// How long one may take to be made: it keeps all others who ask for a state of the past waiting.
const LONGEST: Duration = Duration::from_mins(10);
/// How long one that was made for somebody who is gone waits for them, before another takes its place.
const KEPT: Duration = Duration::from_secs(30);

/// The state at a log position; the reader's competition becomes the one of then.
pub(super) async fn state(app: &App, reader: &mut Reader, seq: u64) -> Result<Arc<View>, Failure> {
    let mut past = app.board.past(WAIT).await.ok_or(Failure::Behind)?;
    match past.as_mut() {
        Some(kept) if kept.competition == reader.id && kept.seq == seq => {
            kept.waits_since = None;
            reader.competition = reader.in_the_past(kept.view.definition());
            return Ok(Arc::clone(&kept.view));
        }
        Some(kept) if kept.waits_since.is_some_and(|since| since.elapsed() < KEPT) => return Err(Failure::Behind),
        _ => {}
    }
    // Whatever is read from here on is of the log that is there, or of one that is found to be gone.
    let forgotten = app.board.forgotten(reader.id);
    let known = app.store.find_head(reader.id).await?.map_or(0, |head| head.seq);
    let then = if seq <= known { app.store.definition_at(reader.id, seq).await? } else { None };
    let then = then
        .ok_or_else(|| Failure::fault("/as_of", Sentence::new("as_of_outside").with("seq", seq).with("last", known)))?;
    let competition = reader.in_the_past(&then.competition);
    let (store, of, slug) = (app.store.clone(), reader.id, reader.slug.clone());
    let (answer, made) = oneshot::channel();
    tokio::spawn(async move {
        let take = move |rows: Rows| {
            let mut loading = Board::loading(InForce { at: seq, leaf: then.leaf, competition: then.competition }, seq);
            rows.for_each(|row| loading.take(&row));
            Arc::new(loading.view())
        };
        let made = tokio::select! {
            made = tokio::time::timeout(LONGEST, pour(&store, of, &slug, seq, take)) => made,
            // The service ends: whoever asked has been answered, or is gone.
            () = store.closing() => return,
        };
        match made.unwrap_or(Err(StoreError::Late)) {
            Ok(view) => {
                note_leaves(&store, of, &view).await;
                let is_gone = answer.send(Ok(Arc::clone(&view))).is_err();
                let waits_since = is_gone.then(Instant::now);
                *past = Some(Past { competition: of, seq, view, forgotten, waits_since });
            }
            Err(error) => {
                if let Err(Err(error)) = answer.send(Err(error)) {
                    tracing::warn!(%error, competition = slug, seq, "a state of the past was not made");
                }
            }
        }
    });
    // Without an answer it broke, and has said so itself.
    let view = made.await.map_err(|broken| Failure::Broken(broken.into()))??;
    if app.board.forgotten(reader.id) != forgotten {
        return Err(Failure::Behind);
    }
    reader.competition = competition;
    Ok(view)
}

/// Its tags are those of the log that it was read from, whatever stands at these positions when it is shown.
async fn note_leaves(store: &Store, competition: i64, view: &View) {
    for division in &view.definition().divisions {
        let Some(version) = view.version(&division.slug).filter(|version| view.leaf(*version).is_none()) else {
            continue;
        };
        // Else it is asked for again by who is shown it.
        if let Ok(Some(leaf)) = store.find_leaf(competition, version).await {
            view.note_leaf(version, leaf);
        }
    }
}
