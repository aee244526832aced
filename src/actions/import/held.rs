//! The key of a file while its rows are taken in: nobody else takes in the same file under it.

use crate::app::App;
use crate::store::{HELD, HeldKey};
use std::future::Future;
use std::time::Duration;

/// A key in hand. Dropped with it, as when its sender has hung up, it is given back.
pub(super) struct Held {
    pub(super) app: App,
    /// `None` once the answer is kept.
    pub(super) key: Option<HeldKey>,
}

impl Held {
    /// Does `work`, and says meanwhile that it is still being done.
    pub(super) async fn during<T>(&self, mut work: impl Future<Output = T> + Unpin) -> T {
        let every = Duration::try_from(HELD).unwrap_or_default() / 4;
        loop {
            tokio::select! {
                done = &mut work => return done,
                () = tokio::time::sleep(every) => {}
            }
            if let Some(key) = &self.key
                && let Err(error) = self.app.store.go_on_holding(key, self.app.clock.now()).await
            {
                tracing::warn!(%error, "the key of a file could not be held on to");
            }
        }
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        let Some(key) = self.key.take() else { return };
        let Ok(runtime) = tokio::runtime::Handle::try_current() else { return };
        let store = self.app.store.clone();
        runtime.spawn(async move {
            if let Err(error) = store.let_go(&key).await {
                tracing::warn!(%error, "the key of a file was not given back");
            }
        });
    }
}
