//! The only differences between the engines: opening, beginning, locking, copying, and
//! what their errors mean. [`sqlite`] and [`postgres`] hold what belongs to one alone.

pub mod line;
pub mod postgres;
#[cfg(test)]
pub(super) mod served;
pub mod sqlite;

use super::db::{A_STEP, Conn, Db, Tx, by};
use super::transfer::Table;
use super::{Footing, Hold, StoreError};
use line::Line;
pub(crate) use postgres::statistics::Grown;
use postgres::{Reading, Writing};
use sqlite::Begun;
use std::path::Path;
use std::sync::atomic::{AtomicI32, Ordering};
use std::time::Duration;

/// Prepared statements kept by a connection: there are some 900 texts, and a writer uses most.
const STATEMENTS: usize = 1_000;

/// How addresses are written, for those who write them otherwise.
const ADDRESSES: &str = "write sqlite://PATH or postgres://USER@HOST/DATABASE";

/// Whether this is the address of a server.
#[must_use]
pub fn is_served(url: &str) -> bool {
    url.starts_with("postgres:") || url.starts_with("postgresql:")
}

/// Connections of a database.
pub(crate) struct Pools {
    /// To read.
    pub(crate) reads: Db,
    /// To follow the logs: what is shown goes on however many read.
    pub(crate) follows: Db,
    /// To look who stands still; on the embedded engine nobody does.
    pub(crate) looks: Db,
    /// To write outside the logs.
    pub(crate) writes: Db,
    /// To write groups of changes; on the embedded engine the same.
    pub(crate) groups: Db,
}

/// Opens a database and brings its tables up to date.
pub(crate) async fn open(url: &str) -> Result<Pools, StoreError> {
    let refuse = |why: String| StoreError::Address { url: shown(url), why };
    if is_served(url) {
        let postgres::Pools { reads, follows, looks, writes, groups } = postgres::open(url).await?;
        let [reads, follows, looks, writes, groups] =
            [reads, follows, looks, writes, groups].map(|pool| Db::Postgres(Line::of(pool, postgres::UNASKED)));
        return Ok(Pools { reads, follows, looks, writes, groups });
    }
    let path = sqlite::path(url).ok_or_else(|| refuse(ADDRESSES.to_owned()))?;
    match sqlite::open(&path).await {
        Ok(sqlite::Pools { reads, follows, writes }) => {
            let [reads, follows, writes] = [reads, follows, writes].map(|pool| Line::of(pool, sqlite::UNASKED));
            let [looks, groups] = [reads.clone(), writes.clone()].map(Db::Sqlite);
            let [reads, follows, writes] = [reads, follows, writes].map(Db::Sqlite);
            Ok(Pools { reads, follows, looks, writes, groups })
        }
        Err(StoreError::Database(sqlx::Error::Io(why))) => Err(refuse(why.to_string())),
        Err(error) => Err(error),
    }
}

/// An address as it may be shown: without what signs in.
#[must_use]
pub fn shown(url: &str) -> String {
    if is_served(url) {
        return postgres::shown(url);
    }
    match (url.find("://"), url.rfind('@')) {
        (Some(scheme), Some(at)) if !url.starts_with("sqlite:") && scheme + 3 < at => {
            format!("{}…{}", &url[..scheme + 3], &url[at..])
        }
        _ => url.to_owned(),
    }
}

/// Whether there is a database of ours at this address already. An address that is none is taken to
/// be there: opening says what is wrong with it.
pub async fn is_there(url: &str) -> Result<bool, StoreError> {
    if is_served(url) {
        let refuse = |e: sqlx::Error| StoreError::Address { url: shown(url), why: postgres::why(&e) };
        return postgres::is_there(url).await.map_err(refuse);
    }
    Ok(sqlite::path(url).is_none_or(|path| path.exists()))
}

/// Whether there is nothing at an address but what this version of the program makes there: others' tables,
/// and our own of before, are left as they are.
pub(crate) async fn is_vacant(url: &str) -> Result<bool, StoreError> {
    if is_served(url) {
        let refuse = |e: sqlx::Error| StoreError::Address { url: shown(url), why: postgres::why(&e) };
        return postgres::is_vacant(url).await.map_err(refuse);
    }
    match sqlite::path(url) {
        Some(path) => sqlite::is_vacant(&path).await,
        None => Ok(true),
    }
}

/// Writes what stands beside the database into it and empties the file beside it, so that no older
/// state of a row is left there. When a reader is in the way it happens later, by itself. A server
/// does it by itself too, in its own time.
pub(crate) async fn settle(db: &Db) -> sqlx::Result<()> {
    if let Db::Sqlite(line) = db {
        let mut turn = line.turn().await?;
        sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut *turn).await?;
        turn.end();
    }
    Ok(())
}

/// A connection, to read.
pub(crate) async fn acquire(db: &Db) -> sqlx::Result<Conn> {
    Ok(match db {
        Db::Sqlite(line) => Conn::Sqlite(sqlite::Reading::acquire(line).await?),
        Db::Postgres(line) => Conn::Postgres(Reading::acquire(line.pool()).await?),
    })
}

/// Begins a transaction that writes: on `SQLite` at once, for a later upgrade of a read lock fails
/// without waiting. What it writes to in a log, it has to [`hold`].
pub(crate) async fn begin(db: &Db) -> sqlx::Result<Tx> {
    Ok(match db {
        Db::Sqlite(line) => Tx::Sqlite(Begun::writing(line).await?),
        Db::Postgres(line) => Tx::Postgres(Writing::begin(line).await?),
    })
}

/// Gives the transaction up where it is not ended in the time that any takes. A file on this machine answers.
pub(crate) fn limit(tx: &mut Tx) {
    if let Tx::Postgres(tx) = tx {
        tx.limit(postgres::GROUP);
    }
}

/// Whether the database is there, however busy it is. A file on this machine is.
pub(crate) async fn answers(looks: &Db) -> bool {
    match looks {
        Db::Sqlite(_) => true,
        Db::Postgres(looks) => postgres::answers(looks.pool()).await,
    }
}

/// Whether others may hold one competition and leave the rest: a file is held whole.
pub(crate) fn holds_one_by_one(db: &Db) -> bool {
    matches!(db, Db::Postgres(_))
}

/// Whether a text may have a zero character in it.
pub(crate) fn takes_zero(tx: &Tx) -> bool {
    matches!(tx, Tx::Sqlite(_))
}

/// How long connections are waited for that are to be closed: longer than any group may take; those of a file
/// always come to their end.
pub(crate) fn closing(db: &Db) -> Option<Duration> {
    matches!(db, Db::Postgres(_)).then_some(postgres::CLOSING)
}

/// What it means that this error came of waiting for a connection: others have them all, or there is
/// none to be had.
pub(crate) async fn crowded(looks: &Db, error: sqlx::Error) -> StoreError {
    let others_have_them = matches!(error, sqlx::Error::PoolTimedOut) && answers(looks).await;
    if others_have_them { StoreError::Crowded } else { error.into() }
}

/// Makes the transaction the only one of its kind: all that write outside the logs. `looks`: to see
/// who is waited for.
pub(crate) async fn take_turn(looks: &Db, tx: &mut Tx) -> sqlx::Result<()> {
    // On the embedded engine it is the only one that writes at all.
    let (Db::Postgres(looks), Tx::Postgres(tx)) = (looks, tx) else { return Ok(()) };
    postgres::take_turn(looks.pool(), tx).await
}

/// Makes the transaction the only one that writes to these competitions, given in order. `looks`: to see
/// who is waited for.
pub(crate) async fn hold(looks: &Db, tx: &mut Tx, slugs: &[&str], how: Hold) -> sqlx::Result<()> {
    let (Db::Postgres(looks), Tx::Postgres(tx)) = (looks, tx) else { return Ok(()) };
    if how.brief {
        postgres::wait_briefly(tx).await?;
    }
    if how.long {
        postgres::take_time(looks.pool(), tx).await?;
    }
    postgres::hold(looks.pool(), tx, slugs).await?;
    if how.brief { postgres::wait_as_ever(tx).await } else { Ok(()) }
}

/// Returns once nobody has this competition in hand. `looks`: to see who is waited for.
pub(crate) async fn until_free(looks: &Db, slug: &str) -> sqlx::Result<()> {
    match looks {
        Db::Sqlite(_) => Ok(()),
        Db::Postgres(looks) => postgres::until_free(looks.pool(), slug).await,
    }
}

/// Runs a step of a group of changes: on a server it may not take for ever. Given up, it is as
/// if the server could not be reached.
pub(crate) async fn in_time<T>(
    db: &Db,
    long: bool,
    step: impl Future<Output = Result<T, StoreError>>,
) -> Result<T, StoreError> {
    match db {
        Db::Sqlite(_) => step.await,
        Db::Postgres(_) => {
            let limit = if long { postgres::LONG_GROUP } else { postgres::GROUP };
            let late = |_| StoreError::Database(sqlx::Error::Io(std::io::ErrorKind::TimedOut.into()));
            tokio::time::timeout(limit, step).await.map_err(late)?
        }
    }
}

/// Makes a transaction wait for no standby: what it does holds for a moment, and may be lost with its
/// server.
pub(crate) async fn for_now(tx: &mut Tx) -> sqlx::Result<()> {
    match tx {
        Tx::Sqlite(_) => Ok(()),
        Tx::Postgres(tx) => postgres::for_now(tx).await,
    }
}

/// Returns once the answer kept under this key is as durable as a commit of ours.
pub(crate) async fn vouch_for_answer(db: &Db, account: i64, key: &str) -> sqlx::Result<()> {
    match db {
        // What can be read there is on the disk.
        Db::Sqlite(_) => Ok(()),
        Db::Postgres(line) => postgres::vouch_for_answer(line, account, key).await,
    }
}

/// Tells whoever listens that something is in the logs, once the transaction is durable.
pub(crate) fn tell(tx: &mut Tx, who: &AtomicI32) {
    match tx {
        // There is no such word: others look by themselves.
        Tx::Sqlite(_) => {}
        Tx::Postgres(tx) => tx.tell(who.load(Ordering::Relaxed)),
    }
}

/// After so many more records, and rows about entries: lets the database see how its tables have grown, where it has to
/// be told. The embedded engine is told once and for all (`sqlite/statistics.rs`).
pub(crate) fn grow(reads: &Db, grown: &Grown, records: u64, entries: u64) {
    let Db::Postgres(line) = reads else { return };
    for at in grown.by(records, entries) {
        let line = line.clone();
        tokio::spawn(async move {
            if let Err(error) = postgres::statistics::look(&line, at).await {
                tracing::debug!(%error, "the tables were not looked over");
            }
        });
    }
}

/// Calls `told` whenever somebody else has told, and whenever something may have been missed; ends only
/// with an error.
pub(crate) async fn listen(looks: &Db, me: &AtomicI32, told: impl Fn()) -> sqlx::Result<std::convert::Infallible> {
    match looks {
        Db::Sqlite(_) => std::future::pending().await,
        Db::Postgres(looks) => postgres::listen(looks.pool(), me, told).await,
    }
}

/// Begins a transaction that only reads, and reads one state throughout.
pub(crate) async fn snapshot(db: &Db) -> sqlx::Result<Tx> {
    Ok(match db {
        Db::Sqlite(line) => Tx::Sqlite(Begun::snapshot(line).await?),
        Db::Postgres(line) => Tx::Postgres(Writing::snapshot(line.pool()).await?),
    })
}

/// What the database is good for just now.
pub(crate) async fn footing(on: &mut Conn) -> sqlx::Result<Footing> {
    match on {
        Conn::Sqlite(c) => {
            Ok(Footing { writable: sqlite::may_be_written(c.ex()).await?, waits_for_standby: None, clock: None })
        }
        Conn::Postgres(c) => postgres::footing(c.ex()).await,
    }
}

/// The tables of ours, those first that others refer to.
pub(crate) async fn tables(on: &mut Conn) -> Result<Vec<Table>, StoreError> {
    match on {
        Conn::Sqlite(c) => sqlite::tables(c.ex()).await,
        Conn::Postgres(c) => postgres::tables(c.ex()).await,
    }
}

/// Begins a transaction that sees one state throughout and keeps everybody else from writing to
/// these tables, for as long as it takes; on a server each step of it may take so long.
pub(crate) async fn freeze(looks: &Db, writes: &Db, tables: &[Table], step: Duration) -> sqlx::Result<Tx> {
    match (looks, writes) {
        (Db::Postgres(looks), Db::Postgres(writes)) => {
            Ok(Tx::Postgres(postgres::freeze(looks.pool(), writes, tables, step).await?))
        }
        _ => begin(writes).await,
    }
}

/// Lets the numbers that a table gives to its rows go on after those that are there.
pub(crate) async fn count_on(tx: &mut Tx, table: &str) -> sqlx::Result<()> {
    match tx {
        // It looks for the highest each time.
        Tx::Sqlite(_) => Ok(()),
        Tx::Postgres(tx) => postgres::count_on(tx, table).await,
    }
}

/// Tells the engine to look over what was just written in bulk. The embedded one is told what there is, and would
/// write down names it came by.
pub(crate) async fn look_over(db: &Db) -> Result<(), StoreError> {
    match db {
        Db::Sqlite(line) => {
            let mut turn = line.turn().await?;
            sqlite::told(&mut turn).await?;
            turn.end();
        }
        Db::Postgres(line) => {
            let mut turn = line.turn().await?;
            let until = Some(tokio::time::Instant::now() + A_STEP);
            by(until, sqlx::query("ANALYZE").execute(&mut *turn)).await?;
            turn.end();
        }
    }
    Ok(())
}

/// Gives a database that nobody else knows of yet what makes large groups quick.
pub(crate) async fn make(db: &Db) -> Result<(), StoreError> {
    if let Db::Sqlite(line) = db {
        let mut turn = line.turn().await?;
        sqlite::make(&mut turn).await?;
        turn.end();
    }
    Ok(())
}

/// Why a database does not do what it is asked at the moment, though nothing is wrong with that:
/// later it may go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Others hold it longer than we wait.
    Busy,
    /// There is no room left on its disk.
    Full,
    /// It may only be read.
    ReadOnly,
    /// It cannot be reached, or its disk cannot.
    Unreachable,
}

/// What trouble an error tells of; `None`: another kind of error.
pub(crate) fn trouble(error: &sqlx::Error) -> Option<Trouble> {
    match error {
        // The codes of the one are numbers, those of the other five letters and digits.
        sqlx::Error::Database(e) => match e.code()? {
            code if code.len() == 5 => postgres::trouble(&code),
            code => sqlite::trouble(code.parse().ok()?),
        },
        sqlx::Error::Io(_)
        | sqlx::Error::Tls(_)
        | sqlx::Error::PoolTimedOut
        | sqlx::Error::PoolClosed
        | sqlx::Error::WorkerCrashed => Some(Trouble::Unreachable),
        _ => None,
    }
}

/// Whether a commit that ended with this error is certainly not done: the engine itself says no, and
/// is there to say it. A server that breaks down over its log does not.
pub(crate) fn is_refused(error: &sqlx::Error) -> bool {
    let sqlx::Error::Database(said) = error else { return false };
    !matches!(trouble(error), Some(Trouble::Unreachable)) && !postgres::is_breakdown(&**said)
}

/// Makes an empty file that only its owner reads, where there is none yet.
pub(crate) fn claim(file: &Path) -> std::io::Result<()> {
    sqlite::claim(file)
}

/// Writes a consistent copy of the whole database to `file`, which is [`claim`]ed.
pub(crate) async fn copy(db: &Db, file: &Path) -> Result<(), StoreError> {
    match db {
        Db::Sqlite(line) => sqlite::copy(line.pool(), file).await,
        Db::Postgres(_) => Err(StoreError::Backup("a server is copied with its own tools".to_owned())),
    }
}

/// Copies a file byte by byte to one that is [`claim`]ed.
pub(crate) fn copy_file(file: &Path, to: &Path) -> std::io::Result<()> {
    sqlite::copy_file(file, to)
}

/// Whether a file is a database of ours. It is only read.
pub(crate) async fn is_ours(file: &Path) -> Result<bool, StoreError> {
    sqlite::is_ours(file).await
}

/// The file of an address; `None`: there is none.
#[must_use]
pub fn file(url: &str) -> Option<std::path::PathBuf> {
    sqlite::path(url)
}

/// The engine's own check of its file; `None`: sound.
pub(crate) async fn check(db: &Db) -> Result<Option<String>, StoreError> {
    match db {
        Db::Sqlite(line) => sqlite::check(sqlite::Reading::acquire(line).await?.ex()).await,
        Db::Postgres(_) => Ok(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_commit_without_an_answer_may_be_done() {
        assert!(!is_refused(&sqlx::Error::Io(std::io::ErrorKind::ConnectionReset.into())));
        assert!(!is_refused(&sqlx::Error::WorkerCrashed));
    }

    #[test]
    fn codes_of_both_engines_name_the_same_troubles() {
        // SQLITE_BUSY_SNAPSHOT, _READONLY_DBMOVED, _IOERR_WRITE, _FULL, _CONSTRAINT_UNIQUE.
        let sqlite = [(517, Some(Trouble::Busy)), (1032, Some(Trouble::ReadOnly)), (778, Some(Trouble::Unreachable))];
        for (code, trouble) in sqlite.into_iter().chain([(13, Some(Trouble::Full)), (2067, None)]) {
            assert_eq!(sqlite::trouble(code), trouble, "{code}");
        }
        let server = [("55P03", Some(Trouble::Busy)), ("25006", Some(Trouble::ReadOnly)), ("23505", None)];
        let gone = ["53300", "08006", "58030", "28P01", "3D000"].map(|state| (state, Some(Trouble::Unreachable)));
        for (state, trouble) in server.into_iter().chain(gone).chain([("53100", Some(Trouble::Full))]) {
            assert_eq!(postgres::trouble(state), trouble, "{state}");
        }
    }
}
