//! Copies a whole database into an empty one, of the same engine or the other, in one transaction,
//! and makes sure that what arrived is what was sent.
//!
//! It goes by the catalogue, so that a new table or column is copied without a word here: row by row
//! in the order of the keys, in bounded memory. The source is kept from being written to meanwhile.
//! What it does not do: change anything on the way.

use super::db::{A_STEP, AsEx, Ex, Tx, by};
use super::verify::{Verified, verify};
use super::{Store, StoreError, dialect};
use crate::words::Sentence;
use futures_util::stream::BoxStream;
use futures_util::{StreamExt, TryStreamExt};
use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, Postgres, Row, Sqlite};
use std::time::Duration;
use tokio::time::Instant;

/// Rows written by one statement at most.
const ROWS: usize = 256;
/// Bytes gathered at most before they are written.
const BYTES: usize = 4 << 20;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A whole number.
    Int,
    /// Yes or no; where there is no such type, 1 or 0.
    Bool,
    Text,
    Bytes,
}

/// A table as the catalogue has it.
#[derive(Clone, Debug)]
pub(crate) struct Table {
    pub(crate) name: String,
    /// By name.
    pub(crate) columns: Vec<(String, Kind)>,
    /// The columns of its key, in turn.
    pub(crate) key: Vec<String>,
}

/// What was copied of one table.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Copied {
    /// Its name.
    pub table: String,
    /// How many rows.
    pub rows: u64,
    /// SHA-256, in hex, of all its values in the order of its key, the same on both engines.
    pub digest: String,
}

/// What a copy came to.
#[derive(Clone, Debug)]
pub struct Transferred {
    /// Each table, in the order they were copied.
    pub tables: Vec<Copied>,
    /// Each competition, as it was worked out again in the copy.
    pub verified: Vec<Verified>,
}

/// Why there is no copy. Nothing of it is left in the target.
#[derive(Debug, thiserror::Error)]
pub enum TransferError {
    /// With a reason for people.
    #[error("not copied: {0:?}")]
    Refused(Sentence),
    /// A database refused, or could not be reached.
    #[error(transparent)]
    Store(StoreError),
}

impl<E: Into<StoreError>> From<E> for TransferError {
    fn from(error: E) -> Self {
        Self::Store(error.into())
    }
}

fn refused<T>(sentence: Sentence) -> Result<T, TransferError> {
    Err(TransferError::Refused(sentence))
}

/// A value on its way: the two kinds of yes and no are the same here.
enum Cell {
    Int(Option<i64>),
    Text(Option<String>),
    Bytes(Option<Vec<u8>>),
}

impl Cell {
    fn size(&self) -> usize {
        match self {
            Self::Int(_) => 8,
            Self::Text(text) => text.as_ref().map_or(0, String::len),
            Self::Bytes(bytes) => bytes.as_ref().map_or(0, Vec::len),
        }
    }

    fn digest(&self, sum: &mut Sha256) {
        let number = match self {
            Self::Int(number) => number.map(i64::to_be_bytes),
            _ => None,
        };
        let (kind, bytes) = match self {
            Self::Int(_) => (b'i', number.as_ref().map(<[u8; 8]>::as_slice)),
            Self::Text(text) => (b't', text.as_ref().map(String::as_bytes)),
            Self::Bytes(bytes) => (b'b', bytes.as_deref()),
        };
        sum.update([kind, u8::from(bytes.is_some())]);
        if let Some(bytes) = bytes {
            sum.update((bytes.len() as u64).to_be_bytes());
            sum.update(bytes);
        }
    }
}

/// Whether there is nothing at an address but what this version of the program makes: anything else is
/// neither brought up to date nor filled.
///
/// # Errors
/// When the database cannot be asked.
pub async fn is_vacant(url: &str) -> Result<bool, StoreError> {
    dialect::is_vacant(url).await
}

impl Store {
    /// Copies everything into `target`, which must be empty, and verifies it there before it is
    /// made durable. `progress` is told how many of how many rows are through.
    pub async fn transfer_to(
        &self,
        target: &Self,
        progress: impl FnMut(u64, u64),
    ) -> Result<Transferred, TransferError> {
        self.transfer_in_steps(target, A_STEP, progress).await
    }

    /// The same; on a server no step, and no row that is waited for, may take longer than that.
    async fn transfer_in_steps(
        &self,
        target: &Self,
        step: Duration,
        mut progress: impl FnMut(u64, u64),
    ) -> Result<Transferred, TransferError> {
        let tables = dialect::tables(&mut self.read().await?).await?;
        let theirs = dialect::tables(&mut target.read().await?).await?;
        let mut from = dialect::freeze(&self.inner.looks, &self.inner.writes, &tables, step).await?;
        let mut to = dialect::freeze(&target.inner.looks, &target.inner.writes, &theirs, step).await?;
        let mut all = 0;
        for table in &tables {
            all += count(&mut from, table).await?;
            let there = theirs.iter().find(|t| t.name == table.name);
            let there = there.ok_or_else(|| StoreError::unreadable("the catalogue", format!("no {}", table.name)))?;
            if count(&mut to, there).await? > 0 {
                return refused(Sentence::new("move_not_empty").with("table", &table.name));
            }
        }
        let (mut through, mut copied) = (0, Vec::new());
        for table in &tables {
            let Some(there) = theirs.iter().find(|t| t.name == table.name) else { continue };
            let sent = copy(&mut from, table, &mut to, there, |rows| progress(through + rows, all)).await?;
            through += sent.rows;
            let arrived = read(&mut to, there).await?;
            if sent != arrived {
                return refused(Sentence::new("move_differs").with("table", &table.name));
            }
            dialect::count_on(&mut to, &table.name).await?;
            copied.push(sent);
        }
        let verified = verify(&mut to, None).await?;
        if let Some((competition, difference)) =
            verified.iter().find_map(|v| v.difference.as_ref().map(|d| (&v.competition, d)))
        {
            let why = Sentence::new("move_log").with("competition", competition);
            return refused(why.with_said("difference", difference.clone()));
        }
        to.commit().await?;
        // It is done: what fails now undoes nothing.
        if let Err(error) = from.rollback().await {
            tracing::warn!(%error, "the database that was moved from was not let go in order");
        }
        if let Err(error) = dialect::look_over(&target.inner.writes).await {
            tracing::warn!(%error, "the new database was not looked over for its planner");
        }
        Ok(Transferred { tables: copied, verified })
    }
}

async fn count(tx: &mut Tx, table: &Table) -> Result<u64, StoreError> {
    let sql = AssertSqlSafe(format!("SELECT COUNT(*) FROM {}", table.name));
    let n: i64 = match tx.ex() {
        Ex::Sqlite(c) => sqlx::query_scalar::<Sqlite, _>(sql).fetch_one(c).await?,
        Ex::Postgres(c, until) => by(until, sqlx::query_scalar::<Postgres, _>(sql).fetch_one(c)).await?,
    };
    super::number("the catalogue", n)
}

/// All rows in the order of the key, as they come.
fn rows<'a>(tx: &'a mut Tx, table: &'a Table) -> BoxStream<'a, Result<Vec<Cell>, sqlx::Error>> {
    let columns: Vec<&str> = table.columns.iter().map(|(name, _)| name.as_str()).collect();
    let (columns, key) = (columns.join(", "), table.key.join(", "));
    let sql = AssertSqlSafe(format!("SELECT {columns} FROM {} ORDER BY {key}", table.name));
    match tx.ex() {
        Ex::Sqlite(c) => sqlx::query::<Sqlite>(sql).fetch(c).map(|row| cells(&row?, table)).boxed(),
        Ex::Postgres(c, _) => sqlx::query::<Postgres>(sql).fetch(c).map(|row| cells(&row?, table)).boxed(),
    }
}

/// The next of them; on a server it is waited for as long as a step may take.
async fn next(
    rows: &mut BoxStream<'_, Result<Vec<Cell>, sqlx::Error>>,
    step: Option<Duration>,
) -> Result<Option<Vec<Cell>>, sqlx::Error> {
    by(step.map(|step| Instant::now() + step), rows.try_next()).await
}

fn cells<R>(row: &R, table: &Table) -> Result<Vec<Cell>, sqlx::Error>
where
    R: Row,
    usize: sqlx::ColumnIndex<R>,
    Option<i64>: for<'r> sqlx::Decode<'r, R::Database> + sqlx::Type<R::Database>,
    Option<bool>: for<'r> sqlx::Decode<'r, R::Database> + sqlx::Type<R::Database>,
    Option<String>: for<'r> sqlx::Decode<'r, R::Database> + sqlx::Type<R::Database>,
    Option<Vec<u8>>: for<'r> sqlx::Decode<'r, R::Database> + sqlx::Type<R::Database>,
{
    let cell = |(n, (_, kind)): (usize, &(String, Kind))| {
        Ok(match kind {
            Kind::Int => Cell::Int(row.try_get(n)?),
            Kind::Bool => Cell::Int(row.try_get::<Option<bool>, _>(n)?.map(i64::from)),
            Kind::Text => Cell::Text(row.try_get(n)?),
            Kind::Bytes => Cell::Bytes(row.try_get(n)?),
        })
    };
    table.columns.iter().enumerate().map(cell).collect()
}

fn summed(table: &Table, rows: u64, sum: Sha256) -> Copied {
    Copied { table: table.name.clone(), rows, digest: hex::encode(sum.finalize()) }
}

/// What a table holds.
async fn read(tx: &mut Tx, table: &Table) -> Result<Copied, StoreError> {
    let (mut sum, mut n) = (Sha256::new(), 0);
    let step = tx.step();
    let mut rows = rows(tx, table);
    while let Some(row) = next(&mut rows, step).await? {
        for cell in &row {
            cell.digest(&mut sum);
        }
        n += 1;
    }
    Ok(summed(table, n, sum))
}

/// Copies one table; what was sent.
async fn copy(
    from: &mut Tx,
    table: &Table,
    to: &mut Tx,
    there: &Table,
    mut progress: impl FnMut(u64),
) -> Result<Copied, TransferError> {
    let (mut sum, mut n) = (Sha256::new(), 0);
    let (mut gathered, mut bytes) = (Vec::new(), 0);
    let takes_zero = dialect::takes_zero(to);
    let step = from.step();
    let mut rows = rows(from, table);
    while let Some(row) = next(&mut rows, step).await? {
        for (cell, (column, _)) in row.iter().zip(&table.columns) {
            cell.digest(&mut sum);
            bytes += cell.size();
            if !takes_zero && matches!(cell, Cell::Text(Some(text)) if text.contains('\0')) {
                return refused(Sentence::new("move_nul").with("table", &table.name).with("column", column));
            }
        }
        gathered.push(row);
        n += 1;
        if gathered.len() == ROWS || bytes > BYTES {
            write(to, there, std::mem::take(&mut gathered)).await?;
            bytes = 0;
            progress(n);
        }
    }
    write(to, there, gathered).await?;
    progress(n);
    Ok(summed(table, n, sum))
}

async fn write(to: &mut Tx, table: &Table, rows: Vec<Vec<Cell>>) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let width = table.columns.len();
    let row = |n: usize| (1..=width).map(|k| format!("${}", n * width + k)).collect::<Vec<_>>().join(", ");
    let values: Vec<String> = (0..rows.len()).map(|n| format!("({})", row(n))).collect();
    let columns: Vec<&str> = table.columns.iter().map(|(name, _)| name.as_str()).collect();
    let sql = format!("INSERT INTO {} ({}) VALUES {}", table.name, columns.join(", "), values.join(", "));
    let kinds = table.columns.iter().map(|(_, kind)| *kind).cycle();
    macro_rules! bound {
        ($engine:ty, $c:expr, $until:expr) => {{
            // Not kept: the last statement of a table is never the same again.
            let mut query = sqlx::query::<$engine>(AssertSqlSafe(sql)).persistent(rows.len() == ROWS);
            for (cell, kind) in rows.into_iter().flatten().zip(kinds) {
                query = match cell {
                    Cell::Int(number) if kind == Kind::Bool => query.bind(number.map(|n| n != 0)),
                    Cell::Int(number) => query.bind(number),
                    Cell::Text(text) => query.bind(text),
                    Cell::Bytes(bytes) => query.bind(bytes),
                };
            }
            by($until, query.execute($c)).await.map(drop)?
        }};
    }
    match to.ex() {
        Ex::Sqlite(c) => bound!(Sqlite, c, None),
        Ex::Postgres(c, until) => bound!(Postgres, c, until),
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::Trouble;
    use super::super::dialect::served::Served;
    use super::*;

    /// Long enough for any step here on a machine that is at work.
    const A_MOMENT: Duration = Duration::from_secs(2);

    /// Nobody waits so long for anything here, unless for ever.
    async fn ends<T>(what: impl Future<Output = T>) -> T {
        tokio::time::timeout(Duration::from_mins(1), what).await.expect("it ends")
    }

    async fn file(folder: &tempfile::TempDir, name: &str) -> Store {
        Store::open(&format!("sqlite://{}", folder.path().join(name).display())).await.expect("opens")
    }

    fn is_unreachable<T>(done: Result<T, TransferError>) -> bool {
        matches!(done, Err(TransferError::Store(error)) if error.trouble() == Some(Trouble::Unreachable))
    }

    #[tokio::test]
    async fn a_network_that_becomes_silent_is_not_waited_for_without_end() {
        let Some(served) = Served::new("no move over a network that becomes silent was tried").await else { return };
        let line = served.line().await;
        let there = ends(Box::pin(Store::open(&line.url))).await.expect("opens");
        served.run("INSERT INTO throttles SELECT sha256(n::text::bytea), n FROM generate_series(1, 20000) n").await;
        let folder = tempfile::tempdir().expect("a folder");
        let (whole, part) = (file(&folder, "whole.db").await, file(&folder, "part.db").await);
        ends(there.transfer_in_steps(&whole, A_MOMENT, |_, _| {})).await.expect("moved");

        // What is read stops in the middle, or between two tables.
        let silence = |done: u64, _| line.silence(done > 0);
        assert!(is_unreachable(ends(there.transfer_in_steps(&part, A_MOMENT, silence)).await));
        line.silence(false);
        // What is written does.
        served.run("DELETE FROM throttles").await;
        assert!(is_unreachable(ends(whole.transfer_in_steps(&there, A_MOMENT, silence)).await));
        line.silence(false);
        // And the end of something that was only read.
        let mut tx = there.snapshot().await.expect("begins");
        if let Tx::Postgres(tx) = &mut tx {
            tx.limit_steps(A_MOMENT);
        }
        assert!(verify(&mut tx, None).await.expect("worked out").is_empty());
        line.silence(true);
        ends(tx.rollback()).await.expect_err("no answer");
        line.silence(false);
        for store in [there, whole, part] {
            store.close().await;
        }
        served.end().await;
    }
}
