//! The only differences between the engines: opening, migrating, beginning, copying, and what
//! their errors mean.

use super::StoreError;
use super::db::{Db, Tx};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

/// Readers at the same time. `SQLite`'s readers do not wait for the writer (WAL).
const READERS: u32 = 8;
/// How long to wait for another process that writes.
const BUSY: Duration = Duration::from_secs(5);
/// Pages in the write-ahead log before it is folded back: 16 MB, so that a burst of scores is not
/// interrupted for it.
const CHECKPOINT_PAGES: &str = "4000";

/// A pool to read and one connection to write. A commit is on the disk when it returns
/// (`synchronous=FULL`).
pub(crate) async fn open(url: &str) -> Result<(Db, Db), StoreError> {
    let refuse = |why: &str| StoreError::Address { url: without_password(url), why: why.to_owned() };
    if url.starts_with("postgres:") || url.starts_with("postgresql:") {
        return Err(refuse("this build serves embedded databases only; write sqlite://PATH"));
    }
    let path = sqlite_path(url).ok_or_else(|| refuse("write sqlite://PATH"))?;
    create_private(&path).map_err(|e| refuse(&e.to_string()))?;
    let options = SqliteConnectOptions::new()
        .filename(&path)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(BUSY)
        .statement_cache_capacity(400)
        // What is deleted is overwritten: somebody who was erased is in no free page.
        .pragma("secure_delete", "ON")
        .pragma("wal_autocheckpoint", CHECKPOINT_PAGES);
    let writes = SqlitePoolOptions::new()
        .max_connections(1)
        .min_connections(1)
        .idle_timeout(None)
        .max_lifetime(None)
        .connect_with(options.clone().optimize_on_close(true, None))
        .await?;
    let reads = SqlitePoolOptions::new()
        .max_connections(READERS)
        .idle_timeout(None)
        .max_lifetime(None)
        .connect_lazy_with(options.pragma("query_only", "1"));
    Ok((Db::Sqlite(reads), Db::Sqlite(writes)))
}

/// The file of `sqlite://PATH` (`sqlite:PATH` too); `None`: another kind of address, or no file.
#[must_use]
pub fn sqlite_path(url: &str) -> Option<PathBuf> {
    let rest = url.strip_prefix("sqlite:")?;
    let path = rest.strip_prefix("//").unwrap_or(rest);
    if path.is_empty() || path.starts_with(':') || path.contains('?') {
        return None;
    }
    PathBuf::from_str(path).ok()
}

/// Makes an empty file that only its owner reads, unless it is there: it will hold personal facts.
/// The engine gives its side files the same mode.
fn create_private(path: &Path) -> std::io::Result<()> {
    match std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
        _ => Ok(()),
    }
}

fn without_password(url: &str) -> String {
    match (url.find("://"), url.rfind('@')) {
        (Some(scheme), Some(at)) if scheme + 3 < at => format!("{}…{}", &url[..scheme + 3], &url[at..]),
        _ => url.to_owned(),
    }
}

/// Brings the tables up to date; nothing to do is fine.
pub(crate) async fn migrate(db: &Db) -> Result<(), StoreError> {
    match db {
        Db::Sqlite(pool) => sqlx::migrate!("migrations/sqlite").run(pool).await?,
        Db::Postgres(_) => {
            return Err(StoreError::Address {
                url: "postgres".to_owned(),
                why: "no tables for it in this build".to_owned(),
            });
        }
    }
    Ok(())
}

/// Writes what stands beside the database into it and empties the file beside it, so that no older
/// state of a row is left there. When a reader is in the way it happens later, by itself.
pub(crate) async fn settle(db: &Db) -> Result<(), StoreError> {
    match db {
        Db::Sqlite(pool) => {
            sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(pool).await?;
        }
        Db::Postgres(_) => {}
    }
    Ok(())
}

/// Begins a transaction that writes: on `SQLite` at once, for a later upgrade of a read lock fails
/// without waiting.
pub(crate) async fn begin(db: &Db) -> sqlx::Result<Tx> {
    Ok(match db {
        Db::Sqlite(pool) => Tx::Sqlite(pool.begin_with("BEGIN IMMEDIATE").await?),
        Db::Postgres(pool) => Tx::Postgres(pool.begin().await?),
    })
}

/// Begins a transaction that only reads, and reads one state throughout.
pub(crate) async fn snapshot(db: &Db) -> sqlx::Result<Tx> {
    Ok(match db {
        Db::Sqlite(pool) => Tx::Sqlite(pool.begin().await?),
        Db::Postgres(pool) => Tx::Postgres(pool.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?),
    })
}

/// Whether another process holds the database longer than we wait.
pub(crate) fn is_busy(error: &sqlx::Error) -> bool {
    // SQLITE_BUSY is 5; the extended codes keep it in the low byte.
    match error {
        sqlx::Error::Database(e) => e.code().and_then(|c| c.parse::<u32>().ok()).is_some_and(|c| c & 0xff == 5),
        _ => false,
    }
}

/// Writes a consistent copy of the whole database to `file`, which must not exist.
pub(crate) async fn copy(db: &Db, file: &Path) -> Result<(), StoreError> {
    match db {
        Db::Sqlite(pool) => {
            let name = file.to_str().ok_or_else(|| StoreError::Backup("the file's name is not UTF-8".to_owned()))?;
            create_private(file).map_err(|e| StoreError::Backup(e.to_string()))?;
            // Copying only reads, but a connection that is kept from writing may not do it.
            let options = pool.connect_options().as_ref().clone().pragma("query_only", "0");
            let mut connection = options.connect().await?;
            sqlx::query("VACUUM INTO $1").bind(name).execute(&mut connection).await?;
            Ok(connection.close().await?)
        }
        Db::Postgres(_) => Err(StoreError::Backup("use pg_dump for this database".to_owned())),
    }
}

/// The engine's own check of its file; `None`: sound.
pub(crate) async fn check(db: &Db) -> Result<Option<String>, StoreError> {
    match db {
        Db::Sqlite(pool) => {
            let said: String = sqlx::query_scalar("PRAGMA integrity_check(1)").fetch_one(pool).await?;
            Ok((said != "ok").then_some(said))
        }
        Db::Postgres(_) => Ok(None),
    }
}
