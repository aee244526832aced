//! One SQL text on two engines: [`Db`] and the `db!` macro; for many rows or members [`super::bulk`].
//!
//! A test reads every text out of the sources (`db!` and `bulk!` are found by name) and prepares it
//! on a migrated database. Texts keep to the common subset: `$1`, `RETURNING`, `ON CONFLICT`; integers, text,
//! bytes, booleans. What cannot be said in it stands in [`super::dialect`].

use super::StoreError;
pub use super::bulk::{Bulk, LARGEST, Rows, Val, rows};
use super::dialect::line::Line;
use super::dialect::postgres::{Reading, Writing};
use super::dialect::sqlite::{self, Begun};
use sqlx::{PgConnection, Postgres, Sqlite, SqliteConnection};
use std::time::Duration;
use tokio::time::Instant;

/// A pool of one engine.
#[derive(Clone, Debug)]
pub enum Db {
    /// Embedded.
    Sqlite(Line<Sqlite>),
    /// A server.
    Postgres(Line<Postgres>),
}

/// A connection for reading.
#[derive(Debug)]
#[expect(missing_docs, reason = "the engines")]
pub enum Conn {
    Sqlite(sqlite::Reading),
    Postgres(Reading),
}

/// A transaction.
#[expect(missing_docs, reason = "the engines")]
pub enum Tx {
    Sqlite(Begun),
    Postgres(Writing),
}

/// What a statement runs on; on a server also when it is given up.
#[derive(Debug)]
#[expect(missing_docs, reason = "the engines")]
pub enum Ex<'c> {
    Sqlite(&'c mut SqliteConnection),
    Postgres(&'c mut PgConnection, Option<Instant>),
}

/// How long a statement that reads may take, by itself or one of a transaction that nobody gives up otherwise: nobody
/// who asks waits that long, and on a network that has become silent what is done aside would wait, and keep its
/// connection, for ever.
const A_READ: Duration = Duration::from_mins(2);
pub(super) const A_STEP: Duration = Duration::from_mins(10);

/// Gives a step up at this time: as if the server could not be reached.
pub(crate) async fn by<T>(until: Option<Instant>, step: impl Future<Output = sqlx::Result<T>>) -> sqlx::Result<T> {
    let Some(until) = until else { return step.await };
    let late = |_| sqlx::Error::Io(std::io::Error::new(std::io::ErrorKind::TimedOut, "it has not answered in time"));
    tokio::time::timeout_at(until, step).await.map_err(late)?
}

/// A connection or a transaction.
pub trait AsEx: Send {
    /// What a statement runs on.
    fn ex(&mut self) -> Ex<'_>;
}

impl AsEx for Conn {
    fn ex(&mut self) -> Ex<'_> {
        match self {
            Self::Sqlite(c) => Ex::Sqlite(c.ex()),
            Self::Postgres(c) => Ex::Postgres(c.ex(), Some(Instant::now() + A_READ)),
        }
    }
}

impl AsEx for Tx {
    fn ex(&mut self) -> Ex<'_> {
        match self {
            Self::Sqlite(t) => Ex::Sqlite(t.ex()),
            Self::Postgres(t) => {
                let until = t.until();
                Ex::Postgres(t.ex(), Some(until))
            }
        }
    }
}

impl Db {
    /// A connection, to read.
    pub async fn acquire(&self) -> sqlx::Result<Conn> {
        super::dialect::acquire(self).await
    }

    /// A transaction that writes.
    pub async fn begin(&self) -> sqlx::Result<Tx> {
        super::dialect::begin(self).await
    }

    /// Closes all connections.
    pub async fn close(&self) {
        match self {
            Self::Sqlite(line) => line.close().await,
            Self::Postgres(line) => line.close().await,
        }
    }

    /// Returns once somebody closes them, before they are closed.
    pub async fn closing(&self) {
        match self {
            Self::Sqlite(line) => line.closing().await,
            Self::Postgres(line) => line.closing().await,
        }
    }
}

impl Tx {
    /// How long a step of it may take, and a row of an answer may be waited for; `None`: as long as it takes.
    pub(super) fn step(&self) -> Option<Duration> {
        match self {
            Self::Sqlite(_) => None,
            Self::Postgres(t) => Some(t.step()),
        }
    }

    /// Makes it durable.
    ///
    /// # Errors
    /// [`StoreError::OutcomeUnknown`]: it may be done all the same.
    pub async fn commit(self) -> Result<(), StoreError> {
        let done = match self {
            Self::Sqlite(t) => t.commit().await,
            Self::Postgres(t) => t.commit().await,
        };
        done.map_err(
            |error| {
                if super::dialect::is_refused(&error) { error.into() } else { StoreError::OutcomeUnknown(error) }
            },
        )
    }

    /// Undoes it.
    pub async fn rollback(self) -> sqlx::Result<()> {
        match self {
            Self::Sqlite(t) => t.rollback().await,
            Self::Postgres(t) => t.rollback().await,
        }
    }
}

/// Runs one statement on a [`Conn`] or [`Tx`]. `opt T`, `all T`: rows as tuples or `FromRow`;
/// `val T`: one column of one row; `optval T`: of at most one; `vals T`: of all; `exec`: the
/// number of rows changed.
macro_rules! db {
    (@go $ex:expr, $f:ident, $m:ident, $t:ty, $sql:expr, $($a:expr),*) => {
        match $crate::store::db::AsEx::ex($ex) {
            $crate::store::db::Ex::Sqlite(c) => sqlx::$f::<sqlx::Sqlite, $t>($sql)$(.bind($a))*.$m(c).await,
            $crate::store::db::Ex::Postgres(c, until) => {
                $crate::store::db::by(until, sqlx::$f::<sqlx::Postgres, $t>($sql)$(.bind($a))*.$m(c)).await
            }
        }
    };
    ($ex:expr, opt $t:ty: $sql:expr $(, $a:expr)* $(,)?) => { db!(@go $ex, query_as, fetch_optional, $t, $sql, $($a),*) };
    ($ex:expr, all $t:ty: $sql:expr $(, $a:expr)* $(,)?) => { db!(@go $ex, query_as, fetch_all, $t, $sql, $($a),*) };
    ($ex:expr, val $t:ty: $sql:expr $(, $a:expr)* $(,)?) => { db!(@go $ex, query_scalar, fetch_one, $t, $sql, $($a),*) };
    ($ex:expr, optval $t:ty: $sql:expr $(, $a:expr)* $(,)?) => { db!(@go $ex, query_scalar, fetch_optional, $t, $sql, $($a),*) };
    ($ex:expr, vals $t:ty: $sql:expr $(, $a:expr)* $(,)?) => { db!(@go $ex, query_scalar, fetch_all, $t, $sql, $($a),*) };
    ($ex:expr, exec: $sql:expr $(, $a:expr)* $(,)?) => {
        match $crate::store::db::AsEx::ex($ex) {
            $crate::store::db::Ex::Sqlite(c) => sqlx::query::<sqlx::Sqlite>($sql)$(.bind($a))*.execute(c).await.map(|r| r.rows_affected()),
            $crate::store::db::Ex::Postgres(c, until) => {
                $crate::store::db::by(until, sqlx::query::<sqlx::Postgres>($sql)$(.bind($a))*.execute(c)).await.map(|r| r.rows_affected())
            }
        }
    };
}

#[cfg(test)]
impl Db {
    /// The same with one connection, for which nobody waits long.
    pub(crate) fn narrow(&self) -> Self {
        let moment = Duration::from_secs(1);
        match self {
            Self::Sqlite(line) => {
                let narrow = sqlx::sqlite::SqlitePoolOptions::new().max_connections(1).acquire_timeout(moment);
                let options = line.pool().connect_options();
                Self::Sqlite(Line::of(narrow.connect_lazy_with((*options).clone()), moment))
            }
            Self::Postgres(line) => {
                let narrow = sqlx::postgres::PgPoolOptions::new().max_connections(1).acquire_timeout(moment);
                let options = line.pool().connect_options();
                Self::Postgres(Line::of(narrow.connect_lazy_with((*options).clone()), moment))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::dialect;
    use super::super::dialect::served::Served;
    use super::*;

    /// On the server that the tests are run on, where there is one.
    #[tokio::test]
    async fn no_statement_is_waited_for_without_end() {
        let Some(served) = Served::new("no statement was asked how long it is waited for").await else { return };
        let pool = sqlx::PgPool::connect(&served.url).await.expect("the server of the tests");
        let db = Db::Postgres(Line::of(pool, Duration::ZERO));
        assert!(matches!(db.acquire().await.expect("a connection").ex(), Ex::Postgres(_, Some(_))));
        assert!(matches!(db.begin().await.expect("begins").ex(), Ex::Postgres(_, Some(_))));
        assert!(matches!(dialect::snapshot(&db).await.expect("begins").ex(), Ex::Postgres(_, Some(_))));
        db.close().await;
        served.end().await;
    }
}
