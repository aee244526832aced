//! Connections handed from one to the next as they are.
//!
//! A pool takes a connection back in a task of its own, with a question to it, and may ask it again before it gives it
//! out: longer than a group of changes needs to begin, and than many a question takes. Here those who wait come in
//! their order, and get a connection as it was left.

use sqlx::pool::PoolConnection;
use sqlx::{Database, Pool};
use std::ops::{Deref, DerefMut};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::Instant;

/// Connections of one kind.
#[derive(Debug)]
pub struct Line<DB: Database>(Arc<Inner<DB>>);

#[derive(Debug)]
struct Inner<DB: Database> {
    pool: Pool<DB>,
    /// As many as the pool has connections.
    places: Arc<Semaphore>,
    /// Those that nobody has just now; the pool takes them for lent.
    kept: Mutex<Vec<Kept<DB>>>,
    /// How long one is handed on unasked; after that it goes through the pool.
    unasked: Duration,
}

#[derive(Debug)]
struct Kept<DB: Database> {
    connection: PoolConnection<DB>,
    since: Instant,
}

/// A connection in somebody's hands. Dropped it goes back to the pool.
#[derive(Debug)]
pub struct Turn<DB: Database> {
    connection: PoolConnection<DB>,
    line: Line<DB>,
    place: OwnedSemaphorePermit,
    unasked: bool,
}

impl<DB: Database> Line<DB> {
    /// Of the connections of a pool, handed on for so long without a question.
    pub(in crate::store) fn of(pool: Pool<DB>, unasked: Duration) -> Self {
        let places = Arc::new(Semaphore::new(pool.options().get_max_connections() as usize));
        Self(Arc::new(Inner { pool, places, kept: Mutex::default(), unasked }))
    }

    /// Waits for a connection, as long as the pool would.
    pub(super) async fn turn(&self) -> sqlx::Result<Turn<DB>> {
        let Inner { pool, places, unasked, .. } = &*self.0;
        let waited = tokio::time::timeout(pool.options().get_acquire_timeout(), Arc::clone(places).acquire_owned());
        let place = waited.await.map_err(|_| sqlx::Error::PoolTimedOut)?.map_err(|_| sqlx::Error::PoolClosed)?;
        let kept = self.kept().pop();
        let (connection, unasked) = match kept.filter(|kept| kept.since.elapsed() < *unasked && !pool.is_closed()) {
            Some(kept) => (kept.connection, true),
            None => (pool.acquire().await?, false),
        };
        Ok(Turn { connection, line: self.clone(), place, unasked })
    }

    /// The pool itself, where nobody takes turns: what is handed on here it takes for lent.
    pub(in crate::store) fn pool(&self) -> &Pool<DB> {
        &self.0.pool
    }

    /// Closes all connections, after what runs on them.
    pub(in crate::store) async fn close(&self) {
        // Closed for those who come from now on, and for what is handed back; then what is kept goes there too.
        let closed = self.0.pool.close();
        self.kept().clear();
        closed.await;
    }

    /// Returns once somebody closes them, before they are closed.
    pub(in crate::store) async fn closing(&self) {
        self.0.pool.close_event().await;
    }

    /// A panic elsewhere while this was held leaves it as it is.
    fn kept(&self) -> MutexGuard<'_, Vec<Kept<DB>>> {
        self.0.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<DB: Database> Clone for Line<DB> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<DB: Database> Turn<DB> {
    /// Whether nobody has asked the connection if it is still there.
    pub(super) fn is_unasked(&self) -> bool {
        self.unasked
    }

    /// The same turn with a connection that the pool has asked or made.
    pub(super) async fn anew(self) -> sqlx::Result<Self> {
        let Self { connection, line, place, .. } = self;
        drop(connection.detach());
        let connection = line.0.pool.acquire().await?;
        Ok(Self { connection, line, place, unasked: false })
    }

    /// Hands it on as it is.
    pub(super) fn end(self) {
        let Self { connection, line, place, .. } = self;
        let mut kept = line.kept();
        // What is closed meanwhile is waited for in the pool.
        if !line.0.pool.is_closed() {
            kept.push(Kept { connection, since: Instant::now() });
        }
        drop(kept);
        drop(place);
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
