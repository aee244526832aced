//! What a database is good for just now, as it says itself and as writing tells.

use super::{Store, StoreError, Trouble, dialect};
use std::sync::atomic::Ordering;

/// What a database is good for just now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Footing {
    /// It takes changes; a standby does not.
    pub writable: bool,
    /// Whether a commit waits for a second server to have it; `None`: the engine knows no such thing.
    pub waits_for_standby: Option<bool>,
    /// What the server's clock says, in seconds since 1970; `None`: there is one machine only.
    pub clock: Option<f64>,
}

impl Store {
    /// What the database says that it is good for just now.
    pub async fn footing(&self) -> Result<Footing, StoreError> {
        Ok(dialect::footing(&mut self.follow().await?).await?)
    }

    /// Whether it can be written, as far as writing tells: while it could when it was last, nothing is
    /// tried. Else a row is put and taken away.
    pub async fn takes_changes(&self) -> bool {
        if !self.inner.refused.load(Ordering::Relaxed) {
            return true;
        }
        // One tries; whoever asks meanwhile is told what was so a moment ago.
        let Ok(_turn) = self.inner.tries.try_lock() else { return false };
        let tried = self.touch().await;
        if let Err(error) = &tried {
            tracing::warn!(%error, "the database cannot be written");
        } else {
            self.inner.refused.store(false, Ordering::Relaxed);
        }
        tried.is_ok()
    }

    /// For those who ask whether it takes changes: some were just written, or why they could not be.
    pub(crate) fn note_written(&self, error: Option<&StoreError>) {
        match error.map(StoreError::trouble) {
            None => self.inner.refused.store(false, Ordering::Relaxed),
            Some(None | Some(Trouble::Busy)) => {}
            Some(_) => self.inner.refused.store(true, Ordering::Relaxed),
        }
    }

    async fn touch(&self) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "INSERT INTO throttles (key, recovers_at) VALUES ($1, 0) ON CONFLICT (key) DO UPDATE SET recovers_at = 0", [0_u8; 32].as_slice())?;
        db!(&mut tx, exec: "DELETE FROM throttles WHERE key = $1", [0_u8; 32].as_slice())?;
        tx.commit().await
    }
}
