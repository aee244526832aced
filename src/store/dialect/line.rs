//! Connections handed from one to the next as they are.
//!
//! A pool takes a connection back in a task of its own, with a question to it, and may ask it again before it gives it
//! out: longer than a group of changes needs to begin, and than many a question takes. Here those who wait come in
//! their order, and get a connection as it was left.

use sqlx::pool::PoolConnection;
use sqlx::{Connection, Database, Pool};
use std::collections::VecDeque;
use std::ops::{Deref, DerefMut};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Instant, timeout_at};

/// Connections of one kind.
#[derive(Debug)]
pub struct Line<DB: Database>(Arc<Inner<DB>>);

#[derive(Debug)]
struct Inner<DB: Database> {
    pool: Pool<DB>,
    /// As many as the pool has connections.
    places: Arc<Semaphore>,
    /// Those that nobody has just now; the pool takes them for lent. The one that was left first comes first: what was
    /// left in the middle of an answer has the time to come to its end.
    kept: Mutex<VecDeque<Kept<DB>>>,
    /// How long one is handed on before it is asked whether it is still there.
    unasked: Duration,
}

#[derive(Debug)]
struct Kept<DB: Database> {
    connection: PoolConnection<DB>,
    /// When the pool gave it out.
    since: Instant,
    /// When it was asked last.
    asked: Instant,
}

/// A connection in somebody's hands. Dropped it goes back to the pool.
#[derive(Debug)]
pub struct Turn<DB: Database> {
    connection: PoolConnection<DB>,
    line: Line<DB>,
    place: OwnedSemaphorePermit,
    since: Instant,
    asked: Instant,
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
        let patience = pool.options().get_acquire_timeout();
        let until = Instant::now() + patience;
        let late = |_| sqlx::Error::PoolTimedOut;
        let waited = timeout_at(until, Arc::clone(places).acquire_owned());
        let place = waited.await.map_err(late)?.map_err(|_| sqlx::Error::PoolClosed)?;
        let line = self.clone();
        let kept = self.kept().pop_front();
        if let Some(Kept { mut connection, since, asked }) = kept.filter(|_| !pool.is_closed()) {
            // A name may lead elsewhere by now: none is kept for longer than the pool keeps its own.
            let is_old = pool.options().get_max_lifetime().is_some_and(|life| since.elapsed() > life);
            if asked.elapsed() < *unasked && !is_old {
                return Ok(Turn { connection, line, place, since, asked, unasked: true });
            }
            // On a network that is gone nothing answers; then there is time left for another one.
            let asking = (Instant::now() + patience / 3).min(until);
            if !is_old && matches!(timeout_at(asking, connection.ping()).await, Ok(Ok(()))) {
                return Ok(Turn { connection, line, place, since, asked: Instant::now(), unasked: false });
            }
            drop(connection.detach());
        }
        let connection = timeout_at(until, pool.acquire()).await.map_err(late)??;
        Ok(Turn::fresh(connection, line, place))
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
    fn kept(&self) -> MutexGuard<'_, VecDeque<Kept<DB>>> {
        self.0.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<DB: Database> Drop for Inner<DB> {
    fn drop(&mut self) {
        // The pool would take them back in a task, and there may be nobody any more who does it.
        let kept = self.kept.get_mut().unwrap_or_else(PoisonError::into_inner);
        kept.drain(..).for_each(|kept| drop(kept.connection.detach()));
    }
}

impl<DB: Database> Clone for Line<DB> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<DB: Database> Turn<DB> {
    /// With a connection that the pool has asked or made just now.
    fn fresh(connection: PoolConnection<DB>, line: Line<DB>, place: OwnedSemaphorePermit) -> Self {
        let now = Instant::now();
        Self { connection, line, place, since: now, asked: now, unasked: false }
    }

    /// Whether nobody has asked the connection if it is still there.
    pub(super) fn is_unasked(&self) -> bool {
        self.unasked
    }

    /// The same turn with a connection that the pool has asked or made.
    pub(super) async fn anew(self) -> sqlx::Result<Self> {
        let Self { connection, line, place, .. } = self;
        drop(connection.detach());
        let connection = line.0.pool.acquire().await?;
        Ok(Self::fresh(connection, line, place))
    }

    /// Hands it on as it is.
    pub(super) fn end(self) {
        let Self { connection, line, place, since, asked, .. } = self;
        let mut kept = line.kept();
        // What is closed meanwhile is waited for in the pool.
        if !line.0.pool.is_closed() {
            kept.push_back(Kept { connection, since, asked });
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
