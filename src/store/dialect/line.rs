//! The connection that writes, kept for who writes next.
//!
//! A pool takes a connection back in a task of its own, with a question to it, and asks it again before it gives it
//! out: longer than a group of changes needs to begin. Here those who wait come in their order, and get it as it
//! was left.

use sqlx::pool::PoolConnection;
use sqlx::{Database, Pool};
use std::ops::{Deref, DerefMut};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Mutex, OwnedMutexGuard};
use tokio::time::Instant;

/// How long it is handed on unasked. After that it goes through the pool: a server may have gone without a word.
const UNASKED: Duration = Duration::from_secs(1);

/// Connections of one kind; of the one that writes, whose turn it is.
#[derive(Debug)]
pub struct Line<DB: Database> {
    pool: Pool<DB>,
    kept: Arc<Mutex<Option<Kept<DB>>>>,
}

#[derive(Debug)]
struct Kept<DB: Database> {
    connection: PoolConnection<DB>,
    since: Instant,
}

/// The connection that writes, in somebody's hands. Dropped it goes back to the pool.
pub struct Turn<DB: Database> {
    connection: PoolConnection<DB>,
    place: OwnedMutexGuard<Option<Kept<DB>>>,
    unasked: bool,
}

impl<DB: Database> Line<DB> {
    pub(in crate::store) fn of(pool: Pool<DB>) -> Self {
        Self { pool, kept: Arc::default() }
    }

    /// Waits for the turn, about as long as the pool would.
    pub(super) async fn turn(&self) -> sqlx::Result<Turn<DB>> {
        let patience = self.pool.options().get_acquire_timeout();
        let waited = tokio::time::timeout(patience, Arc::clone(&self.kept).lock_owned());
        let mut place = waited.await.map_err(|_| sqlx::Error::PoolTimedOut)?;
        let fresh = place.take().filter(|kept| kept.since.elapsed() < UNASKED && !self.pool.is_closed());
        match fresh {
            Some(kept) => Ok(Turn { connection: kept.connection, place, unasked: true }),
            None => Ok(Turn { connection: self.pool.acquire().await?, place, unasked: false }),
        }
    }

    /// The pool, with nothing kept back from it.
    pub(in crate::store) async fn pool(&self) -> &Pool<DB> {
        drop(self.kept.lock().await.take());
        &self.pool
    }

    /// Closes all connections, after what runs on them.
    pub(in crate::store) async fn close(&self) {
        // Closed for who comes from now on; then what is kept goes there too.
        let closed = self.pool.close();
        self.pool().await;
        closed.await;
    }

    /// Returns once somebody closes them, before they are closed.
    pub(in crate::store) async fn closing(&self) {
        self.pool.close_event().await;
    }
}

impl<DB: Database> Clone for Line<DB> {
    fn clone(&self) -> Self {
        Self { pool: self.pool.clone(), kept: Arc::clone(&self.kept) }
    }
}

impl<DB: Database> Turn<DB> {
    /// Whether nobody has asked the connection if it is still there.
    pub(super) fn is_unasked(&self) -> bool {
        self.unasked
    }

    /// The same turn with a connection that the pool has asked or made.
    pub(super) async fn anew(self, line: &Line<DB>) -> sqlx::Result<Self> {
        drop(self.connection.detach());
        Ok(Self { connection: line.pool.acquire().await?, place: self.place, unasked: false })
    }

    /// Hands it on as it is.
    pub(super) fn end(mut self) {
        *self.place = Some(Kept { connection: self.connection, since: Instant::now() });
    }

    /// Gives the connection up: nobody knows what state it is in.
    pub(super) fn give_up(self) {
        drop(self.connection.detach());
    }
}

impl<DB: Database> Deref for Turn<DB> {
    type Target = DB::Connection;

    fn deref(&self) -> &Self::Target {
        &self.connection
    }
}

impl<DB: Database> DerefMut for Turn<DB> {
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.connection
    }
}
