//! The embedded engine: how its file is opened, copied and checked, and what its errors mean.

mod begun;
mod statistics;

pub use begun::{Begun, Reading};
pub(super) use statistics::tell as told;

use super::Trouble;
use crate::store::StoreError;
use crate::store::transfer::{Kind, Table};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, SqliteConnection, SqlitePool};
use std::io::ErrorKind;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

/// Readers at the same time. They do not wait for the writer (WAL).
const READERS: u32 = 8;
/// Those who follow the logs, read a state of the past or ask whether all is well, at the same time: one who reads
/// much reads two blocks ahead, and two read little; so two are left for who asks how far the logs are.
const FOLLOWERS: u32 = 6;
/// How long to wait for another process that writes.
const BUSY: Duration = Duration::from_secs(5);
/// How long a connection is waited for before a request is told to come again: another of ours may have
/// waited for its turn and be at work.
const PATIENCE: Duration = Duration::from_secs(10);
/// How long a connection is handed on without a question: a file does not go, but the thread behind it may.
pub(super) const UNASKED: Duration = Duration::from_mins(1);
/// Pages in the write-ahead log before it is folded back: 16 MB, so that a burst of scores is not
/// interrupted for it.
const CHECKPOINT_PAGES: &str = "4000";

/// What the connection that writes keeps of the file, in KB as it is written here: in a large one a
/// group of changes touches thousands of pages. Each commit looks through all of it once, so not more than that.
const WRITER_CACHE: &str = "-16384";

/// The same while a file is made: what a large group touches is folded back once for several of them.
const MAKER_CHECKPOINT_PAGES: &str = "32000";
const MAKER_CACHE: &str = "-262144";

/// Connections of a file.
pub(super) struct Pools {
    /// To read.
    pub(super) reads: SqlitePool,
    /// To follow the logs.
    pub(super) follows: SqlitePool,
    /// The one that writes.
    pub(super) writes: SqlitePool,
}

/// Gives the connection that writes room for large groups.
pub(super) async fn make(writes: &mut SqliteConnection) -> Result<(), StoreError> {
    for (name, value) in [("wal_autocheckpoint", MAKER_CHECKPOINT_PAGES), ("cache_size", MAKER_CACHE)] {
        sqlx::query(sqlx::AssertSqlSafe(format!("PRAGMA {name} = {value}"))).execute(&mut *writes).await?;
    }
    Ok(())
}

/// Makes the file if need be and brings its tables up to date. A commit is on the disk when it returns
/// (`synchronous=FULL`).
pub(super) async fn open(path: &Path) -> Result<Pools, StoreError> {
    create_private(path).map_err(sqlx::Error::Io)?;
    if let Err(error) = std::fs::OpenOptions::new().write(true).open(path) {
        let denied = matches!(error.kind(), ErrorKind::ReadOnlyFilesystem | ErrorKind::PermissionDenied);
        return Err(if denied { StoreError::MayOnlyBeRead } else { sqlx::Error::Io(error).into() });
    }
    let options = SqliteConnectOptions::new()
        .filename(path)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(BUSY)
        .statement_cache_capacity(super::STATEMENTS)
        // A statement over many rows notes what it changes, to take it back if it fails: not in a file.
        .pragma("temp_store", "MEMORY")
        // What is deleted is overwritten: somebody who was erased is in no free page.
        .pragma("secure_delete", "ON")
        .pragma("wal_autocheckpoint", CHECKPOINT_PAGES);
    let writes = SqlitePoolOptions::new()
        .max_connections(1)
        .acquire_timeout(PATIENCE)
        .idle_timeout(None)
        .max_lifetime(None)
        .connect_with(options.clone().pragma("cache_size", WRITER_CACHE))
        .await?;
    // What a process that was killed had written and had not waited for the disk to have can be read now, and
    // nobody has been told of it: from here on it is on the disk.
    match sqlx::query("PRAGMA wal_checkpoint(PASSIVE)").execute(&writes).await {
        // The file beside it is on the disk; only it could not be folded back.
        Err(error) if super::trouble(&error) == Some(Trouble::Full) => {}
        done => {
            done?;
        }
    }
    sqlx::migrate!("migrations/sqlite").run(&writes).await?;
    statistics::tell(&mut *writes.acquire().await?).await?;
    let options = options.pragma("query_only", "1");
    let to_read = |connections| {
        SqlitePoolOptions::new()
            .max_connections(connections)
            .acquire_timeout(PATIENCE)
            // There is no server that could have gone, and to ask takes as long as a question does.
            .test_before_acquire(false)
            .idle_timeout(None)
            .max_lifetime(None)
            .connect_lazy_with(options.clone())
    };
    Ok(Pools { reads: to_read(READERS), follows: to_read(FOLLOWERS), writes })
}

/// The file of `sqlite://PATH` (`sqlite:PATH` too); `None`: another kind of address, or no file.
pub(super) fn path(url: &str) -> Option<PathBuf> {
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
    match claim(path) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
        _ => Ok(()),
    }
}

/// The same, where there is none yet.
pub(super) fn claim(path: &Path) -> std::io::Result<()> {
    std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path).map(drop)
}

/// What trouble a result code tells of; the extended ones keep it in the low byte
/// (<https://sqlite.org/rescode.html>).
pub(super) fn trouble(code: u32) -> Option<Trouble> {
    match code & 0xff {
        5 | 6 => Some(Trouble::Busy),
        8 => Some(Trouble::ReadOnly),
        10 | 14 => Some(Trouble::Unreachable),
        13 => Some(Trouble::Full),
        _ => None,
    }
}

/// Whether the file may be written just now, as far as can be told without doing it: its disk may have become
/// read-only since it was opened. It is the file beside it that is opened for that. Whoever closes one on which the
/// engine holds locks lets go of them; on that one it holds none.
pub(super) async fn may_be_written(on: &mut SqliteConnection) -> sqlx::Result<bool> {
    let file: String =
        sqlx::query_scalar("SELECT file FROM pragma_database_list WHERE name = 'main'").fetch_one(on).await?;
    Ok(match std::fs::OpenOptions::new().append(true).open(format!("{file}-wal")) {
        Err(error) => !matches!(error.kind(), ErrorKind::ReadOnlyFilesystem | ErrorKind::PermissionDenied),
        Ok(_) => true,
    })
}

/// Writes a consistent copy of the whole database to `file`, which is there and empty.
pub(super) async fn copy(pool: &SqlitePool, file: &Path) -> Result<(), StoreError> {
    let name = file.to_str().ok_or_else(|| StoreError::Backup("the file's name is not UTF-8".to_owned()))?;
    // Copying only reads, but a connection that is kept from writing may not do it.
    let options = pool.connect_options().as_ref().clone().pragma("query_only", "0");
    let mut connection = options.connect().await?;
    sqlx::query("VACUUM INTO $1").bind(name).execute(&mut connection).await?;
    Ok(connection.close().await?)
}

/// Copies a file byte by byte to one that is there and empty.
pub(super) fn copy_file(file: &Path, to: &Path) -> std::io::Result<()> {
    let mut from = std::fs::File::open(file)?;
    let mut to = std::fs::OpenOptions::new().write(true).open(to)?;
    std::io::copy(&mut from, &mut to)?;
    to.sync_all()
}

/// Whether a file is a database of ours.
pub(super) async fn is_ours(file: &Path) -> Result<bool, StoreError> {
    // Immutable: not even a lock is written beside it.
    let options = SqliteConnectOptions::new().filename(file).read_only(true).immutable(true);
    let tables = "SELECT COUNT(*) FROM sqlite_master WHERE name IN ('competitions', 'records', '_sqlx_migrations')";
    let mut connection = match options.connect().await {
        Ok(connection) => connection,
        Err(error) if is_no_database(&error) => return Ok(false),
        Err(error) => return Err(error.into()),
    };
    let found: Result<i64, _> = sqlx::query_scalar(tables).fetch_one(&mut connection).await;
    connection.close().await?;
    match found {
        Ok(found) => Ok(found == 3),
        Err(error) if is_no_database(&error) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

/// Whether there is nothing at a place, or a database that this version of the program has made.
pub(super) async fn is_vacant(file: &Path) -> Result<bool, StoreError> {
    if !file.exists() {
        return Ok(true);
    }
    // What stands beside it is part of it: somebody has it in hand, or was killed over it.
    let beside = |end: &str| {
        let mut name = file.as_os_str().to_owned();
        name.push(end);
        std::fs::metadata(name).is_ok_and(|there| there.len() > 0)
    };
    if beside("-wal") || beside("-journal") {
        return Ok(false);
    }
    let mut connection = SqliteConnectOptions::new().filename(file).read_only(true).immutable(true).connect().await?;
    let found: Result<i64, _> =
        sqlx::query_scalar("SELECT COUNT(*) FROM sqlite_master").fetch_one(&mut connection).await;
    let newest: Result<Option<i64>, _> =
        sqlx::query_scalar("SELECT MAX(version) FROM _sqlx_migrations").fetch_one(&mut connection).await;
    connection.close().await?;
    match found {
        Ok(0) => Ok(true),
        Ok(_) => {
            let ours = sqlx::migrate!("migrations/sqlite").iter().map(|migration| migration.version).max();
            Ok(is_ours(file).await? && newest? == ours)
        }
        Err(error) if is_no_database(&error) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

/// `SQLITE_NOTADB` is 26.
fn is_no_database(error: &sqlx::Error) -> bool {
    error.as_database_error().and_then(|e| e.code().map(|code| code == "26")) == Some(true)
}

/// The engine's own check of its file; `None`: sound.
pub(super) async fn check(on: &mut SqliteConnection) -> Result<Option<String>, StoreError> {
    let said: String = sqlx::query_scalar("PRAGMA integrity_check(1)").fetch_one(on).await?;
    Ok((said != "ok").then_some(said))
}

/// The tables of ours, in the order they were made. Yes and no are numbers here.
pub(super) async fn tables(on: &mut SqliteConnection) -> Result<Vec<Table>, StoreError> {
    let names: Vec<String> = sqlx::query_scalar(
        r"SELECT name FROM sqlite_master
          WHERE type = 'table' AND name NOT LIKE 'sqlite\_%' ESCAPE '\' AND name NOT LIKE '\_sqlx%' ESCAPE '\' ORDER BY rowid",
    )
    .fetch_all(&mut *on)
    .await?;
    let mut tables = Vec::with_capacity(names.len());
    for name in names {
        let columns: Vec<(String, String, i64)> =
            sqlx::query_as("SELECT name, type, pk FROM pragma_table_info($1) ORDER BY name")
                .bind(&name)
                .fetch_all(&mut *on)
                .await?;
        let mut key: Vec<(i64, String)> =
            columns.iter().filter(|(.., pk)| *pk > 0).map(|(c, _, pk)| (*pk, c.clone())).collect();
        key.sort();
        let columns = columns.into_iter().map(|(column, kind, _)| {
            let kind = match kind.as_str() {
                "INTEGER" => Kind::Int,
                "TEXT" => Kind::Text,
                "BLOB" => Kind::Bytes,
                _ => return Err(StoreError::unreadable("the catalogue", format!("{name}.{column} is {kind}"))),
            };
            Ok((column, kind))
        });
        let columns = columns.collect::<Result<_, _>>()?;
        tables.push(Table { name, columns, key: key.into_iter().map(|(_, column)| column).collect() });
    }
    Ok(tables)
}

#[cfg(test)]
mod tests {
    use super::*;
    use sqlx::Row;

    /// Of each pool and each of its connections, also of one that is made anew.
    #[tokio::test]
    async fn every_connection_has_the_settings_of_its_pool() {
        let folder = tempfile::tempdir().expect("a folder");
        let Pools { reads, follows, writes } = open(&folder.path().join("tally.db")).await.expect("opens");
        let ours = [
            ("foreign_keys", "1"),
            ("synchronous", "2"),
            ("journal_mode", "wal"),
            ("busy_timeout", "5000"),
            ("secure_delete", "1"),
            ("wal_autocheckpoint", CHECKPOINT_PAGES),
        ];
        for (pool, own) in
            [(&reads, ("query_only", "1")), (&follows, ("query_only", "1")), (&writes, ("query_only", "0"))]
        {
            for _ in 0..2 {
                let mut all = Vec::new();
                for _ in 0..pool.options().get_max_connections() {
                    all.push(pool.acquire().await.expect("a connection"));
                }
                for connection in &mut all {
                    for (name, value) in ours.into_iter().chain([own]) {
                        let asked = sqlx::AssertSqlSafe(format!("PRAGMA {name}"));
                        let row = sqlx::query(asked).fetch_one(&mut **connection).await.expect("a row");
                        let said =
                            row.try_get::<String, _>(0).or_else(|_| row.try_get::<i64, _>(0).map(|n| n.to_string()));
                        assert_eq!(said.expect("a value"), value, "{name}");
                    }
                }
                // The next ones are new.
                for connection in all {
                    connection.close().await.expect("closes");
                }
            }
        }
        let cache: i64 = sqlx::query_scalar("PRAGMA cache_size").fetch_one(&writes).await.expect("a value");
        assert_eq!(cache.to_string(), WRITER_CACHE);
        let denied = sqlx::query("DELETE FROM accounts").execute(&reads).await.expect_err("nothing is written there");
        assert_eq!(crate::store::dialect::trouble(&denied), Some(Trouble::ReadOnly));
    }
}
