//! One competition as it is followed: the state that changes, and the last snapshot shown.

use super::cache::{Cache, Settling};
use super::field::Field;
use super::names::Names;
use super::view::View;
use super::{Gap, InForce, Mark};
use crate::rules::placement::{Change, Placement};
use arc_swap::ArcSwap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::watch;

/// One competition as it is followed.
pub(super) struct Track {
    /// What the followed rows add up to. Held for as long as a change is taken in, or the
    /// blocks' counters are copied for a snapshot: never while anything is ranked.
    live: Mutex<Field>,
    /// The last snapshot. Older than `live` until somebody reads.
    shown: ArcSwap<View>,
    /// The log position of `live`.
    position: watch::Sender<u64>,
    settling: Settling,
}

impl Track {
    /// Begins with a state.
    pub(super) fn new(field: Field, settling: Settling) -> Self {
        let position = watch::Sender::new(field.seq);
        let cache = Arc::new(Cache::new(&field, settling));
        let shown = ArcSwap::from_pointee(View { field: field.clone(), cache });
        Self { live: Mutex::new(field), shown, position, settling }
    }

    /// Another state instead, older or newer. Nothing kept of the one before is used again.
    pub(super) fn replace(&self, field: Field) {
        let mut live = self.lock();
        let cache = Arc::new(Cache::new(&field, self.settling));
        self.shown.store(Arc::new(View { field: field.clone(), cache }));
        self.position.send_replace(field.seq);
        *live = field;
    }

    /// Takes in rows up to `seq`; if rows before `after` are missing, nothing.
    pub(super) fn follow(
        &self,
        after: Option<u64>,
        seq: u64,
        definition: Option<InForce>,
        placements: &[Placement],
    ) -> Result<(), Gap> {
        let mut live = self.lock();
        if after.is_some_and(|after| live.seq < after) {
            return Err(Gap { position: Some(live.seq) });
        }
        let touched = live.follow(seq, definition, placements);
        let shown = self.shown.load();
        shown.cache.note(touched);
        // Before anybody is told of this position.
        let entries = placements.iter().filter(|row| matches!(row.change, Change::Entry { .. }));
        shown.cache.names.forget(entries.map(|row| row.bib));
        self.position.send_replace(live.seq);
        Ok(())
    }

    /// Whether it is the competition with this slug, which never changes.
    pub(super) fn is_of(&self, slug: &str) -> bool {
        self.shown.load().field.definition.slug == slug
    }

    /// The names that everybody may see, of the log that is followed.
    pub(super) fn names(&self) -> Arc<Names> {
        Arc::clone(&self.shown.load().cache.names)
    }

    /// The log position known.
    pub(super) fn position(&self) -> u64 {
        *self.position.borrow()
    }

    /// How far, and of which log.
    pub(super) fn mark(&self) -> Mark {
        Mark { epoch: self.shown.load().cache.epoch, seq: self.position() }
    }

    /// A snapshot at that position or later.
    pub(super) fn view(&self) -> Arc<View> {
        let shown = self.shown.load_full();
        if shown.field.seq == self.position() {
            return shown;
        }
        let live = self.lock();
        let shown = self.shown.load_full();
        if shown.field.seq == live.seq {
            return shown;
        }
        let cache = Arc::clone(&shown.cache);
        let view = Arc::new(View { field: live.clone(), cache });
        self.shown.store(Arc::clone(&view));
        view
    }

    /// Waits until `seq` is known, at most so long.
    pub(super) async fn at_least(&self, seq: u64, timeout: Duration) -> bool {
        let mut position = self.position.subscribe();
        let reached = position.wait_for(|position| *position >= seq);
        matches!(tokio::time::timeout(timeout, reached).await, Ok(Ok(_)))
    }

    /// A panic elsewhere while this was held leaves a state that is at worst short of rows.
    fn lock(&self) -> MutexGuard<'_, Field> {
        self.live.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
