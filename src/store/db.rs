//! One SQL text on two engines: [`Db`] and the `db!` macro.
//!
//! A test reads every text out of the sources (`db!` and `bulk!` are found by name) and prepares it
//! on a migrated database. Texts keep to the common subset: `$1`, `RETURNING`, `ON CONFLICT`; integers, text,
//! bytes, booleans. What cannot be said in it stands in [`super::dialect`].

use super::StoreError;
use super::dialect::line::Line;
use super::dialect::postgres::{Reading, Writing};
use super::dialect::sqlite::{self, Begun};
use sqlx::postgres::PgRow;
use sqlx::sqlite::SqliteRow;
use sqlx::{FromRow, PgConnection, Postgres, Sqlite, SqliteConnection};
use std::sync::OnceLock;
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

/// A value bound to a bulk text. Ordered as the databases order keys of one type.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "named by their types")]
pub enum Val {
    Int(i64),
    MaybeInt(Option<i64>),
    Text(String),
    MaybeText(Option<String>),
    Bytes(Vec<u8>),
    Bool(bool),
}

/// Binds [`Val`]s in turn.
macro_rules! bound {
    ($query:expr, $values:expr) => {{
        let mut query = $query;
        for value in $values {
            query = match value {
                Val::Int(v) => query.bind(v),
                Val::MaybeInt(v) => query.bind(v),
                Val::Text(v) => query.bind(v),
                Val::MaybeText(v) => query.bind(v),
                Val::Bytes(v) => query.bind(v),
                Val::Bool(v) => query.bind(v),
            };
        }
        query
    }};
}

/// Declares a [`Bulk`].
macro_rules! bulk {
    ($(#[$doc:meta])* $name:ident = $made:expr) => {
        $(#[$doc])*
        static $name: $crate::store::db::Bulk = $made;
    };
}

impl std::fmt::Display for Val {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Int(v) | Self::MaybeInt(Some(v)) => v.fmt(f),
            Self::Text(v) | Self::MaybeText(Some(v)) => v.fmt(f),
            Self::Bytes(v) => hex::encode(v).fmt(f),
            Self::Bool(v) => v.fmt(f),
            Self::MaybeInt(None) | Self::MaybeText(None) => f.write_str("-"),
        }
    }
}

/// Rows for a [`Bulk`], made as they are written.
pub type Rows<'r> = Box<dyn Iterator<Item = Vec<Val>> + Send + 'r>;

/// The same of anything that gives rows.
pub fn rows<'r>(of: impl IntoIterator<Item = Vec<Val>, IntoIter: Send + 'r>) -> Rows<'r> {
    Box::new(of.into_iter())
}

/// How many rows or list members a bulk text takes at most.
pub const LARGEST: usize = 256;

/// The numbers it comes in: any number of rows up to 64 takes at most three statements.
const SIZES: [usize; 16] = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, LARGEST];

/// A text whose middle repeats: the rows of an `INSERT` or of `VALUES`, or the members of an `IN`
/// list. Comes in some sizes only, so that every text is prepared once and kept.
#[derive(Debug)]
pub struct Bulk {
    head: &'static str,
    fixed: usize,
    columns: usize,
    tail: &'static str,
    texts: [OnceLock<[&'static str; SIZES.len()]>; 2],
}

impl Bulk {
    /// `INSERT … VALUES` + rows of `columns` + `tail`.
    #[must_use]
    pub const fn rows(head: &'static str, columns: usize, tail: &'static str) -> Self {
        Self { head, fixed: 0, columns, tail, texts: [const { OnceLock::new() }; 2] }
    }

    /// `SELECT … IN (` + members + `tail`, where `head` uses `$1` to `$fixed`.
    #[must_use]
    pub const fn list(head: &'static str, fixed: usize, tail: &'static str) -> Self {
        Self { head, fixed, columns: 0, tail, texts: [const { OnceLock::new() }; 2] }
    }

    /// `SELECT … FROM (VALUES ` + rows of `columns` + `tail`, where `tail` uses `$1` to `$fixed`.
    #[must_use]
    pub const fn matches(head: &'static str, fixed: usize, columns: usize, tail: &'static str) -> Self {
        Self { head, fixed, columns, tail, texts: [const { OnceLock::new() }; 2] }
    }

    /// All sizes, as a server takes them, or the embedded engine.
    pub fn texts(&self, served: bool) -> &[&'static str; SIZES.len()] {
        self.texts[usize::from(served)].get_or_init(|| SIZES.map(|n| &*self.build(n, served).leak()))
    }

    /// On a server everything has a number. The embedded engine looks a name (`$7` is one) up from
    /// the first on, which for a thousand of them takes longer than what they are bound for: members
    /// have none there, and the others come after them.
    fn build(&self, n: usize, served: bool) -> String {
        let values = n * self.columns.max(1);
        let mut text = if served { self.head.to_owned() } else { renumbered(self.head, values) };
        let mut next = self.fixed + 1;
        let mut value = || {
            next += 1;
            if served { format!("${}", next - 1) } else { "?".to_owned() }
        };
        for i in 0..n {
            if i > 0 {
                text.push_str(", ");
            }
            if self.columns > 0 {
                let row: Vec<String> = (0..self.columns).map(|_| value()).collect();
                text.push('(');
                text.push_str(&row.join(", "));
                text.push(')');
            } else {
                text.push_str(&value());
            }
        }
        text.push_str(&if served { self.tail.to_owned() } else { renumbered(self.tail, values) });
        text
    }

    fn text(&self, n: usize, served: bool) -> &'static str {
        self.texts(served)[SIZES.partition_point(|size| *size < n)]
    }

    /// Writes all rows, in as few statements as the sizes allow; how many were inserted or changed. While the
    /// engine is at work, the next rows are made.
    pub async fn write(&self, on: &mut impl AsEx, mut rows: Rows<'_>) -> sqlx::Result<u64> {
        let mut ready: Vec<Vec<Val>> = rows.by_ref().take(LARGEST).collect();
        let mut written = 0;
        while !ready.is_empty() {
            let n = SIZES[SIZES.partition_point(|size| *size <= ready.len()) - 1];
            let mut rest = ready.split_off(n);
            let values = ready.into_iter().flatten();
            let more = async { rest.extend(rows.by_ref().take(LARGEST - rest.len())) };
            let (done, ()): (sqlx::Result<u64>, ()) = match on.ex() {
                Ex::Sqlite(c) => {
                    let statement = bound!(sqlx::query::<Sqlite>(self.text(n, false)), values);
                    let done = async { Ok(statement.execute(c).await?.rows_affected()) };
                    tokio::join!(biased; done, more)
                }
                Ex::Postgres(c, until) => {
                    let statement = bound!(sqlx::query::<Postgres>(self.text(n, true)), values);
                    let done = async { Ok(by(until, statement.execute(c)).await?.rows_affected()) };
                    tokio::join!(biased; done, more)
                }
            };
            written += done?;
            ready = rest;
        }
        Ok(written)
    }

    /// Reads the rows of all members, given column by column where they are rows; lists are filled up
    /// by repeating the last member.
    pub async fn read<T>(&self, on: &mut impl AsEx, fixed: &[Val], members: Vec<Val>) -> sqlx::Result<Vec<T>>
    where
        T: Send + Unpin + for<'r> FromRow<'r, SqliteRow> + for<'r> FromRow<'r, PgRow>,
    {
        let mut out = Vec::new();
        let columns = self.columns.max(1);
        for chunk in members.chunks(LARGEST * columns) {
            let n = SIZES[SIZES.partition_point(|size| *size < chunk.len() / columns)];
            let last = &chunk[chunk.len() - columns..];
            let filled = chunk.iter().chain(last.iter().cycle()).take(n * columns);
            out.extend(match on.ex() {
                Ex::Sqlite(c) => {
                    let values = filled.chain(fixed).cloned();
                    bound!(sqlx::query_as::<Sqlite, T>(self.text(n, false)), values).fetch_all(c).await?
                }
                Ex::Postgres(c, until) => {
                    let values = fixed.iter().chain(filled).cloned();
                    let statement = bound!(sqlx::query_as::<Postgres, T>(self.text(n, true)), values);
                    by(until, statement.fetch_all(c)).await?
                }
            });
        }
        Ok(out)
    }
}

/// A text whose `$1` is another number: so many come before it.
fn renumbered(text: &str, before: usize) -> String {
    let mut parts = text.split('$');
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let number: usize = part[..digits].parse().unwrap_or_default();
        out.push('$');
        out.push_str(&(number + before).to_string());
        out.push_str(&part[digits..]);
    }
    out
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
