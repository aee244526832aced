//! SQL, one file per noun; the log; the one writer. Knows nothing of standings or HTTP.
//!
//! Reading order: [`db`] (one text, two engines; [`dialect`] holds what differs) → [`merkle`] and
//! [`log`] → [`load`] and [`save`] (the touched part of a ledger, in and out) → [`writer`].
//! [`verify`] works everything out again from the log. The other files are reads, and the tables
//! that have no log: [`accounts`], [`grants`], [`sessions`], [`tokens`], [`links`],
//! [`throttles`], [`letters`].
//!
//! What is private is read only with a [`Permit`](crate::rules::access::Permit) in hand.

#[macro_use]
pub mod bulk;
#[macro_use]
pub mod db;
pub mod accounts;
mod around;
mod aside;
pub mod backup;
pub mod callers;
pub mod claims;
pub mod competitions;
pub mod dialect;
pub mod entries;
mod footing;
pub mod grants;
mod group;
pub mod gyms;
pub mod heats;
mod heaviest;
mod idempotency;
pub mod judges;
pub mod letters;
pub mod links;
mod load;
pub mod log;
pub mod merkle;
pub mod names;
pub mod notes;
pub mod persons;
pub mod placements;
mod preview;
pub mod proposals;
mod save;
pub mod scores;
mod seldom;
pub mod sessions;
mod settle;
pub mod throttles;
mod together;
pub mod tokens;
pub mod transfer;
pub mod verify;
pub mod ways_in;
pub mod writer;

pub use aside::aside;
pub use dialect::Trouble;
pub use footing::Footing;
pub use idempotency::{HELD, HeldKey, Idempotency, KeptAnswer};
pub use writer::{Answered, Committed, Feed, WriteError, Writer};

use db::Db;
use sqlx::migrate::MigrateError;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering};
use together::Together;

/// What can go wrong below the rules. Never shown to a person: a handler says a fixed sentence.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The database refused, or could not be reached.
    #[error("database: {0}")]
    Database(#[from] sqlx::Error),
    /// The tables could not be brought up to date.
    #[error("migration: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// The address is not one this build can open.
    #[error("cannot open {url}: {why}")]
    Address {
        /// As given.
        url: String,
        /// What is wrong with it.
        why: String,
    },
    /// The answer to a commit was lost: it may or may not be done.
    #[error("commit: {0}")]
    OutcomeUnknown(sqlx::Error),
    /// It took longer than anybody waits.
    #[error("the database does not answer")]
    Late,
    /// Others have all connections for longer than we wait.
    #[error("the database is busy")]
    Crowded,
    /// The database is there, and cannot be written.
    #[error("the database may only be read")]
    MayOnlyBeRead,
    /// What became of a question that was put for several together.
    #[error("{0}")]
    Shared(Arc<StoreError>),
    /// A question that was put for several together came to no end.
    #[error("a question came to no end")]
    Unanswered,
    /// A row does not read back as what it should be.
    #[error("unreadable row in {table}: {why}")]
    Unreadable {
        /// Which table.
        table: &'static str,
        /// What is wrong with it.
        why: String,
    },
    /// The group that a change was in was rolled back, and the change alone too.
    #[error("rolled back: {0}")]
    RolledBack(String),
    /// An idempotency key was used by another process meanwhile.
    #[error("the idempotency key is in use")]
    KeyTaken,
    /// Something with this name is already there.
    #[error("already taken")]
    Taken,
    /// The file is no database of this program.
    #[error("not a database of this program")]
    Foreign,
    /// The file is a database that is in use: it is not whole by itself.
    #[error("a database in use")]
    InUse,
    /// A copy could not be made or does not hold together.
    #[error("backup: {0}")]
    Backup(String),
}

impl StoreError {
    /// A row of `table` that does not read back.
    pub(crate) fn unreadable(table: &'static str, why: impl std::fmt::Display) -> Self {
        Self::Unreadable { table, why: why.to_string() }
    }

    /// Whether what was asked for may be done all the same.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        matches!(self, Self::OutcomeUnknown(_))
    }

    /// Whether the engine itself said no: then a commit that ended so is certainly not done.
    #[must_use]
    pub fn is_refused(&self) -> bool {
        matches!(self, Self::Database(error) if dialect::is_refused(error))
    }

    /// What keeps the database from its work at the moment; `None`: another kind of error.
    #[must_use]
    pub fn trouble(&self) -> Option<Trouble> {
        match self {
            Self::Database(error)
            | Self::Migration(MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _)) => {
                dialect::trouble(error)
            }
            Self::Late | Self::OutcomeUnknown(_) => Some(Trouble::Unreachable),
            Self::Crowded => Some(Trouble::Busy),
            Self::Shared(error) => error.trouble(),
            Self::MayOnlyBeRead => Some(Trouble::ReadOnly),
            _ => None,
        }
    }
}

/// How a transaction takes competitions in hand.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Hold {
    /// The whole of one: it is given time to think.
    pub(crate) long: bool,
    /// It waits for others only for a moment.
    pub(crate) brief: bool,
}

/// Reads, over a pool of connections, and the one connection that writes. Cheap to clone.
#[derive(Clone)]
pub struct Store {
    pub(crate) inner: Arc<Inner>,
}

pub(crate) struct Inner {
    pub(crate) reads: Db,
    pub(crate) follows: Db,
    pub(crate) looks: Db,
    pub(crate) writes: Db,
    pub(crate) groups: Db,
    pub(crate) definitions: competitions::Definitions,
    pub(crate) seldom: seldom::Seldom,
    pub(crate) swept: idempotency::Swept,
    pub(crate) grown: dialect::Grown,
    pub(crate) callers: callers::Callers,
    pub(crate) heads: Arc<Together<String, competitions::Head>>,
    /// By what those who listen know our own words; 0: nobody here listens.
    pub(crate) me: AtomicI32,
    /// Nobody else knows of it yet: see [`Store::is_in_the_making`].
    pub(crate) in_the_making: AtomicBool,
    /// Changes were refused when they were written last, for want of room or of a disk that can be written.
    pub(crate) refused: AtomicBool,
    /// Held by who finds out whether that is so still.
    pub(crate) tries: tokio::sync::Mutex<()>,
    /// Held by who writes down that a session was used.
    pub(crate) touches: tokio::sync::Mutex<()>,
}

impl Store {
    /// Opens `sqlite://PATH` (created if need be) or `postgres://…` and brings its tables up to date.
    pub async fn open(url: &str) -> Result<Self, StoreError> {
        let dialect::Pools { reads, follows, looks, writes, groups } = dialect::open(url).await?;
        let store = Self {
            inner: Arc::new(Inner {
                reads,
                follows,
                looks,
                writes,
                groups,
                definitions: competitions::Definitions::default(),
                seldom: seldom::Seldom::default(),
                swept: idempotency::Swept::default(),
                grown: dialect::Grown::default(),
                callers: callers::Callers::default(),
                heads: Arc::default(),
                me: AtomicI32::new(0),
                in_the_making: AtomicBool::new(false),
                refused: AtomicBool::new(false),
                tries: tokio::sync::Mutex::default(),
                touches: tokio::sync::Mutex::default(),
            }),
        };
        match store.fill_names().await {
            // A standby waits until its primary has done it; nobody is found by name until then.
            Err(error) if error.trouble() == Some(Trouble::ReadOnly) => {}
            filled => filled?,
        }
        Ok(store)
    }

    /// Says that nobody else knows of this database until it is closed again: rows of files take it whole, for as
    /// long as they like.
    ///
    /// # Errors
    /// When the database cannot be asked.
    pub async fn make(&self) -> Result<(), StoreError> {
        dialect::make(&self.inner.writes).await?;
        self.inner.in_the_making.store(true, Ordering::SeqCst);
        Ok(())
    }

    /// Whether nobody else knows of it yet.
    pub(crate) fn is_in_the_making(&self) -> bool {
        self.inner.in_the_making.load(Ordering::SeqCst)
    }

    /// Whether the database answers.
    pub async fn ping(&self) -> Result<(), StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, val i64: "SELECT CAST(1 AS BIGINT)")?;
        Ok(())
    }

    /// Whether the database is there, though it may be too busy to be asked anything.
    pub async fn is_there(&self) -> bool {
        dialect::answers(&self.inner.looks).await
    }

    /// Calls `told` whenever another process may have committed something, as far as the database
    /// says so: the embedded engine never does. Ends only with an error.
    pub async fn listen(&self, told: impl Fn()) -> Result<std::convert::Infallible, StoreError> {
        Ok(dialect::listen(&self.inner.looks, &self.inner.me, told).await?)
    }

    /// Leaves no older state of a row in the files beside the database, as far as nobody reads it.
    pub async fn settle(&self) -> Result<(), StoreError> {
        self.got(dialect::settle(&self.inner.writes).await).await
    }

    /// Closes all connections, after what runs on them; on a network that is silent they are left.
    pub async fn close(&self) {
        let Inner { reads, follows, looks, writes, groups, .. } = &*self.inner;
        // Those that write last: of two that are closed at once each would leave to the other what stands beside a
        // file.
        let all = async {
            tokio::join!(reads.close(), follows.close(), looks.close());
            tokio::join!(writes.close(), groups.close());
        };
        match dialect::closing(groups) {
            None => all.await,
            Some(time) if tokio::time::timeout(time, all).await.is_ok() => {}
            Some(_) => tracing::warn!("the database does not answer; its connections are left to it"),
        }
    }

    /// Returns once it is being closed: what nobody waits for is given up then.
    pub async fn closing(&self) {
        self.inner.reads.closing().await;
    }

    pub(crate) async fn read(&self) -> Result<db::Conn, StoreError> {
        self.acquired(&self.inner.reads).await
    }

    /// For those who follow the logs, and who ask whether all is well: not behind everybody who reads.
    pub(crate) async fn follow(&self) -> Result<db::Conn, StoreError> {
        self.acquired(&self.inner.follows).await
    }

    async fn acquired(&self, from: &Db) -> Result<db::Conn, StoreError> {
        self.got(from.acquire().await).await
    }

    /// A transaction that only reads, and reads one state throughout.
    pub(crate) async fn snapshot(&self) -> Result<db::Tx, StoreError> {
        self.got(dialect::snapshot(&self.inner.reads).await).await
    }

    /// What came of waiting for a connection; where there was none, whether others have them all.
    pub(crate) async fn got<T>(&self, got: sqlx::Result<T>) -> Result<T, StoreError> {
        match got {
            Ok(got) => Ok(got),
            Err(error) => Err(Box::pin(dialect::crowded(&self.inner.looks, error)).await),
        }
    }

    /// A transaction that writes outside the logs: one at a time, and each only for so long, whatever
    /// keeps it.
    pub(crate) async fn begin(&self) -> Result<db::Tx, StoreError> {
        let mut tx = self.begin_for_long().await?;
        dialect::limit(&mut tx);
        Ok(tx)
    }

    /// The same, of one that may take its time: at the start, before anybody is served.
    pub(crate) async fn begin_for_long(&self) -> Result<db::Tx, StoreError> {
        let Inner { writes, looks, .. } = &*self.inner;
        let begin = Box::pin(async {
            let mut tx = self.begun(writes).await?;
            dialect::take_turn(looks, &mut tx).await?;
            Ok(tx)
        });
        dialect::in_time(writes, false, begin).await
    }

    async fn begun(&self, on: &Db) -> Result<db::Tx, StoreError> {
        self.got(on.begin().await).await
    }

    /// Whether competitions are taken in hand one by one; on the embedded engine all are.
    pub(crate) fn holds_one_by_one(&self) -> bool {
        dialect::holds_one_by_one(&self.inner.groups)
    }

    /// Returns once nobody has this competition in hand; who stands still with it is cut off.
    pub(crate) async fn until_free(&self, slug: &str) -> Result<(), StoreError> {
        Ok(dialect::until_free(&self.inner.looks, slug).await?)
    }

    /// A transaction that writes to these competitions, given in order: of each, one at a time.
    pub(crate) async fn begin_on(&self, slugs: &[&str], how: Hold) -> Result<db::Tx, StoreError> {
        let mut tx = self.begun(&self.inner.groups).await?;
        dialect::hold(&self.inner.looks, &mut tx, slugs, how).await?;
        Ok(tx)
    }
}

/// Whole microseconds since 1970: how all instants are kept.
pub(crate) fn micros(at: jiff::Timestamp) -> i64 {
    at.as_microsecond()
}

/// Back from [`micros`].
pub(crate) fn instant(table: &'static str, micros: i64) -> Result<jiff::Timestamp, StoreError> {
    jiff::Timestamp::from_microsecond(micros).map_err(|e| StoreError::unreadable(table, e))
}

/// An integer column as the unsigned type the rules use.
pub(crate) fn number<T: TryFrom<i64>>(table: &'static str, value: i64) -> Result<T, StoreError> {
    T::try_from(value).map_err(|_| StoreError::unreadable(table, format!("{value} is out of range")))
}

/// A sequence or counter as a column: beyond `i64` no database goes.
pub(crate) fn column(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

/// JSON of plain data.
pub(crate) fn json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string(value).expect("plain data always serializes")
}

/// A text as it stands in a pattern of `LIKE` with `ESCAPE '!'`.
pub(crate) fn within(text: &str) -> String {
    text.replace('!', "!!").replace('%', "!%").replace('_', "!_")
}

/// Back from [`json`].
pub(crate) fn parse<T: serde::de::DeserializeOwned>(table: &'static str, text: &str) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(|e| StoreError::unreadable(table, e))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::access::Actor;
    use crate::rules::ledger::{Asked, Change, Precondition};
    use crate::rules::roster::RawEntry;
    use dialect::served::Served;
    use jiff::Timestamp;

    /// Readers that have all of their connections keep nobody from following the logs.
    #[tokio::test]
    async fn who_follows_the_logs_does_not_wait_behind_readers() {
        let folder = tempfile::tempdir().expect("a folder");
        let store =
            Store::open(&format!("sqlite://{}", folder.path().join("tally.db").display())).await.expect("opens");
        let mut held = Vec::new();
        while let Ok(reader) = tokio::time::timeout(std::time::Duration::from_millis(300), store.read()).await {
            held.push(reader.expect("a connection"));
        }
        assert!(held.len() >= 4, "{} readers at once", held.len());
        assert!(store.list_heads().await.expect("the heads").is_empty());
        assert!(store.footing().await.expect("what it stands on").writable);
        drop(held);
        store.close().await;
    }

    /// Nor the other way round: tags of pages are asked for by everybody who reads.
    #[tokio::test]
    async fn who_reads_does_not_wait_behind_those_who_follow_the_logs() {
        let folder = tempfile::tempdir().expect("a folder");
        let store =
            Store::open(&format!("sqlite://{}", folder.path().join("tally.db").display())).await.expect("opens");
        let mut held = Vec::new();
        while let Ok(one) = tokio::time::timeout(std::time::Duration::from_millis(300), store.follow()).await {
            held.push(one.expect("a connection"));
        }
        assert!(!held.is_empty());
        assert_eq!(store.find_leaf(1, 1).await.expect("it is asked"), None);
        drop(held);
        store.close().await;
    }

    /// However the state is read that an answer is made of: that others have all readers is not that the database is
    /// gone.
    #[tokio::test]
    async fn who_waits_in_vain_for_a_reader_is_told_that_others_have_them_all() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = format!("sqlite://{}", folder.path().join("tally.db").display());
        let served = Served::new("nobody waited there in vain for a reader").await;
        for url in [Some(&file), served.as_ref().map(|served| &served.url)].into_iter().flatten() {
            let inner = Arc::into_inner(Store::open(url).await.expect("opens").inner).expect("nobody else has it");
            let store = Store { inner: Arc::new(Inner { reads: inner.reads.narrow(), ..inner }) };
            let held = store.read().await.expect("a reader");
            let now = Timestamp::UNIX_EPOCH;
            let asked = [Asked {
                actor: Actor::operator(),
                competition: "saltmarsh".to_owned(),
                received: now,
                precondition: Precondition::None,
                salt: [7; 32],
                change: Change::SetEntry(RawEntry::default()),
            }];
            let (looked, tried, checked, verified) = tokio::join!(
                store.preview(&asked[0], now),
                store.try_out(&asked[0], now),
                store.list_faults("saltmarsh", &asked, now),
                store.verify(None),
            );
            for error in [looked.err(), tried.err(), checked.err(), verified.err()] {
                let error = error.expect("there is no reader");
                assert_eq!(error.trouble(), Some(Trouble::Busy), "{error}");
            }
            drop(held);
            assert!(store.verify(None).await.expect("worked out").is_empty());
            store.close().await;
        }
        if let Some(served) = served {
            served.end().await;
        }
    }
}
