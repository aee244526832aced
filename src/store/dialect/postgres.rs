//! `PostgreSQL`: how a server is reached, its transactions, what is locked for whom, and what its
//! errors mean.
//!
//! A competition's head row is locked by whoever writes to it: several processes take turns, a
//! group at a time. Other writes take turns by one advisory lock, as they do on the embedded engine
//! by its one writer; so texts that look before they insert mean the same on both. Who waits for a
//! turn cuts off who stands still with it in hand: [`turns`].

mod telling;
mod turns;

use super::Trouble;
use crate::store::db::by;
use crate::store::transfer::{Kind, Table};
use crate::store::{Footing, StoreError};
use sqlx::error::DatabaseError;
use sqlx::migrate::Migrator;
use sqlx::pool::PoolConnection;
use sqlx::postgres::{PgConnectOptions, PgDatabaseError, PgPoolOptions, PgSeverity};
use sqlx::{AssertSqlSafe, Connection, Executor, PgConnection, PgPool, Postgres};
use std::str::FromStr;
use std::time::Duration;
pub(super) use telling::{listen, tell};
use tokio::time::Instant;
use turns::{Alive, MARK};
pub(super) use turns::{hold, take_turn, until_free};

/// Readers at the same time.
const READERS: u32 = 8;
/// Those who follow the logs, read a state of the past or ask whether all is well, at the same time: one who reads
/// much reads two blocks ahead, and two read little; so two are left for who asks how far the logs are.
const FOLLOWERS: u32 = 6;
/// How long a connection is waited for before a request is told to come again.
const PATIENCE: Duration = Duration::from_secs(3);
/// How long a server is given to say that it is there.
const AN_ANSWER: Duration = Duration::from_secs(1);
/// How long a connection that was left in the middle of something may take to come to its senses;
/// then it is cut.
const RECOVERY: Duration = Duration::from_secs(2);

/// How long a group of changes may take in all. Far beyond what any takes: on a network that is gone
/// nothing would ever come.
pub(super) const GROUP: Duration = Duration::from_secs(10);
/// The same where the whole of a competition is taken in hand.
pub(super) const LONG_GROUP: Duration = Duration::from_mins(2);
/// How long connections are waited for that are to be closed: longer than any group may take.
pub(super) const CLOSING: Duration = Duration::from_secs(15);

/// What holds on every connection: a commit is on the disk (and at the synchronous standby, where
/// there is one) when it returns; nobody waits for a lock longer than people do; a process that stands
/// still with one in hand loses its transaction even where nobody who waits could see to it; a peer
/// that is gone is noticed.
const SESSION: &str = "SET synchronous_commit = on; \
     SET lock_timeout = '2s'; \
     SET idle_in_transaction_session_timeout = '1500ms'; \
     SET tcp_keepalives_idle = 10; \
     SET tcp_keepalives_interval = 5; \
     SET tcp_keepalives_count = 3";
/// The same, but nothing is written by accident, and nobody waits for who reads: working a log out
/// again takes its time between two questions.
const SESSION_THAT_READS: &str = "SET default_transaction_read_only = on; \
     SET idle_in_transaction_session_timeout = '5min'";

/// The same of who writes: all that a group asks for, it asks for by a key. A plan that was made while a table was
/// nearly empty is kept until the server has looked over what came since, and would read all of it for each group.
const SESSION_THAT_WRITES: &str = "SET enable_seqscan = off";

/// Of several hosts one would have to find out which is in charge, again and again.
const ONE_HOST: &str = "name one host: an address that leads to the server in charge";

/// How long another process may take to bring the tables up to date before this one gives up.
const MIGRATING: &str = "SET client_min_messages = warning; SET lock_timeout = '60s'; \
     SET tcp_keepalives_idle = 10; SET tcp_keepalives_interval = 5; SET tcp_keepalives_count = 3";

/// Connections of a server.
pub(super) struct Pools {
    /// To read.
    pub(super) reads: PgPool,
    /// To follow the logs: what is shown goes on however many read.
    pub(super) follows: PgPool,
    /// One to look who stands still: readers may have all of theirs.
    pub(super) looks: PgPool,
    /// One for what is written outside the logs: in a process that stands still no second one waits
    /// for the turn that the first has.
    pub(super) writes: PgPool,
    /// One for groups of changes: they do not queue behind sign-ins.
    pub(super) groups: PgPool,
}

/// Brings the tables up to date, and connects.
pub(super) async fn open(url: &str) -> Result<Pools, StoreError> {
    let refuse = |e: sqlx::Error| StoreError::Address { url: shown(url), why: why(&e) };
    let options = options(url).map_err(refuse)?;
    // On a connection of its own: another process that does it just now is waited for; and a server
    // that is not there is said at once.
    let mut first = PgConnection::connect_with(&options).await.map_err(refuse)?;
    // That the list of migrations is there already is no news.
    first.execute(MIGRATING).await?;
    let migrations = sqlx::migrate!("migrations/postgres");
    // Where nothing is to be done nobody is waited for, and nothing is tried: a server may only be read just now,
    // or be a standby, and is read all the same.
    if !is_up_to_date(&mut first, &migrations).await? {
        migrations.run(&mut first).await?;
    }
    first.close().await?;
    let pool = |connections| PgPoolOptions::new().max_connections(connections).acquire_timeout(PATIENCE);
    let to_write = || {
        pool(1).after_connect(|connection, _| {
            Box::pin(async move {
                connection.execute(SESSION).await?;
                connection.execute(SESSION_THAT_WRITES).await?;
                connection.execute(MARK).await.map(drop)
            })
        })
    };
    let (writes, groups) =
        (to_write().connect_lazy_with(options.clone()), to_write().connect_lazy_with(options.clone()));
    let to_read = |connections| {
        pool(connections).after_connect(|connection, _| {
            Box::pin(async move {
                connection.execute(SESSION).await?;
                connection.execute(SESSION_THAT_READS).await.map(drop)
            })
        })
    };
    let (reads, follows) =
        (to_read(READERS).connect_lazy_with(options.clone()), to_read(FOLLOWERS).connect_lazy_with(options.clone()));
    let looks = pool(1).connect_lazy_with(options);
    Ok(Pools { reads, follows, looks, writes, groups })
}

/// Whether all of ours were applied as they are, and no others.
async fn is_up_to_date(on: &mut PgConnection, ours: &Migrator) -> sqlx::Result<bool> {
    if applied(&mut *on).await?.is_none() {
        return Ok(false);
    }
    let there: Vec<(i64, Vec<u8>, bool)> =
        sqlx::query_as("SELECT version, checksum, success FROM _sqlx_migrations ORDER BY version")
            .fetch_all(on)
            .await?;
    let ours = ours.iter().map(|one| (one.version, one.checksum.to_vec(), true));
    Ok(there.into_iter().eq(ours))
}

/// The newest migration that was applied; `None`: none was.
async fn applied(on: &mut PgConnection) -> sqlx::Result<Option<i64>> {
    let there: bool =
        sqlx::query_scalar("SELECT to_regclass('_sqlx_migrations') IS NOT NULL").fetch_one(&mut *on).await?;
    if !there {
        return Ok(None);
    }
    sqlx::query_scalar("SELECT MAX(version) FROM _sqlx_migrations WHERE success").fetch_one(on).await
}

/// Whether there is nothing in a database but what this version of the program makes.
pub(super) async fn is_vacant(url: &str) -> sqlx::Result<bool> {
    let mut connection = PgConnection::connect_with(&options(url)?).await?;
    let vacant = match applied(&mut connection).await? {
        None => {
            let relations = "SELECT COUNT(*) FROM pg_class WHERE relnamespace = current_schema()::regnamespace";
            sqlx::query_scalar::<_, i64>(relations).fetch_one(&mut connection).await? == 0
        }
        newest => newest == sqlx::migrate!("migrations/postgres").iter().map(|migration| migration.version).max(),
    };
    connection.close().await?;
    Ok(vacant)
}

/// What an address says.
pub(super) fn options(url: &str) -> Result<PgConnectOptions, sqlx::Error> {
    let authority = url.split_once("://").map_or(url, |(_, rest)| rest).split(['/', '?']).next().unwrap_or_default();
    if authority.rsplit('@').next().is_some_and(|hosts| hosts.contains(',')) {
        return Err(sqlx::Error::Configuration(ONE_HOST.into()));
    }
    let options = PgConnectOptions::from_str(url)?;
    let named = options.get_application_name().is_some();
    let options = if named { options } else { options.application_name("tallywright") };
    Ok(options.statement_cache_capacity(super::STATEMENTS))
}

/// What keeps an address from being opened, for whoever wrote it.
pub(super) fn why(error: &sqlx::Error) -> String {
    match error {
        sqlx::Error::Database(e) if e.code().as_deref() == Some("3D000") => {
            format!("{}; make it first, as with createdb --encoding=UTF8 NAME", e.message())
        }
        sqlx::Error::Database(e) => e.message().to_owned(),
        sqlx::Error::Io(e) => format!("its server cannot be reached ({e})"),
        sqlx::Error::Configuration(e) => e.downcast_ref().map_or_else(|| e.to_string(), why),
        other => other.to_string(),
    }
}

/// Host, port and name of the database, without user, password or settings.
pub(super) fn shown(url: &str) -> String {
    let Ok(options) = PgConnectOptions::from_str(url) else { return "postgres://…".to_owned() };
    let host = options.get_socket().map_or_else(|| options.get_host().to_owned(), |s| s.display().to_string());
    let name = options.get_database().unwrap_or_else(|| options.get_username()).to_owned();
    format!("postgres://{host}:{}/{name}", options.get_port())
}

/// Whether our tables are there.
pub(super) async fn is_there(url: &str) -> Result<bool, sqlx::Error> {
    let mut connection = PgConnection::connect_with(&options(url)?).await?;
    let there = sqlx::query_scalar("SELECT to_regclass('competitions') IS NOT NULL").fetch_one(&mut connection).await?;
    connection.close().await?;
    Ok(there)
}

/// A connection for reading. Dropped in the middle of an answer it gets a moment to recover; on a
/// network that is gone it would keep its place in the pool for ever.
#[derive(Debug)]
pub struct Reading(Option<PoolConnection<Postgres>>);

/// Whether the server is there, though no connection of a pool was to be had.
pub(super) async fn answers(looks: &PgPool) -> bool {
    let asked = async { Reading::acquire(looks).await?.ex().execute("SELECT 1").await.map(drop) };
    by(Some(Instant::now() + AN_ANSWER), asked).await.is_ok()
}

/// A transaction. Dropped before its end it takes its connection with it, and the server undoes it.
pub struct Writing {
    connection: Option<PoolConnection<Postgres>>,
    /// When it is given up; `None`: whoever runs it sees to that.
    until: Option<Instant>,
    /// Says meanwhile that its process goes on, where it may take its time.
    alive: Option<Alive>,
}

const TAKEN: &str = "only taken when dropped or ended";

impl Reading {
    /// From the pool.
    pub(super) async fn acquire(pool: &PgPool) -> sqlx::Result<Self> {
        Ok(Self(Some(pool.acquire().await?)))
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut PgConnection {
        self.0.as_mut().expect(TAKEN)
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        let Some(mut connection) = self.0.take() else { return };
        match tokio::runtime::Handle::try_current() {
            Ok(runtime) => {
                let back = connection.return_to_pool();
                runtime.spawn(async move { tokio::time::timeout(RECOVERY, back).await });
            }
            Err(_) => drop(connection.detach()),
        }
    }
}

impl Writing {
    /// Begins one with this statement.
    pub(super) async fn begin(pool: &PgPool, statement: &'static str) -> sqlx::Result<Self> {
        let mut begun = Self { connection: Some(pool.acquire().await?), until: None, alive: None };
        by(Some(Instant::now() + PATIENCE), begun.ex().execute(statement)).await?;
        Ok(begun)
    }

    /// When it is given up.
    pub(in crate::store) fn until(&self) -> Option<Instant> {
        self.until
    }

    /// Gives it up where it is not ended in so much time.
    pub(super) fn limit(&mut self, span: Duration) {
        self.until = Some(Instant::now() + span);
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut PgConnection {
        self.connection.as_mut().expect(TAKEN)
    }

    /// Makes it durable.
    pub(in crate::store) async fn commit(self) -> sqlx::Result<()> {
        self.end("COMMIT").await
    }

    /// Undoes it.
    pub(in crate::store) async fn rollback(self) -> sqlx::Result<()> {
        self.end("ROLLBACK").await
    }

    async fn end(mut self, statement: &'static str) -> sqlx::Result<()> {
        by(self.until, self.ex().execute(statement)).await?;
        drop(Reading(self.connection.take()));
        Ok(())
    }
}

impl Drop for Writing {
    fn drop(&mut self) {
        if let Some(connection) = self.connection.take() {
            drop(connection.detach());
        }
    }
}

/// Durable on this server alone.
pub(super) async fn for_now(tx: &mut Writing) -> sqlx::Result<()> {
    sqlx::query("SET LOCAL synchronous_commit = local").execute(tx.ex()).await?;
    Ok(())
}

/// Holds the row of a kept answer, and lets go of it. Who holds a row has written a lock: its commit
/// waits for the standby, and for all that stands before it.
pub(super) async fn vouch_for_answer(pool: &PgPool, account: i64, key: &str) -> sqlx::Result<()> {
    let mut tx = Writing::begin(pool, "BEGIN").await?;
    let held = sqlx::query("SELECT 1 FROM idempotency WHERE account = $1 AND key = $2 FOR UPDATE");
    held.bind(account).bind(key).execute(tx.ex()).await?;
    tx.commit().await
}

/// Lets this transaction wait for others' locks for a moment only.
pub(super) async fn wait_briefly(tx: &mut Writing) -> sqlx::Result<()> {
    sqlx::query("SET LOCAL lock_timeout = '100ms'").execute(tx.ex()).await?;
    Ok(())
}

/// As long as [`SESSION`] says again.
pub(super) async fn wait_as_ever(tx: &mut Writing) -> sqlx::Result<()> {
    sqlx::query("SET LOCAL lock_timeout = '2s'").execute(tx.ex()).await?;
    Ok(())
}

/// Lets this transaction think for longer than others may, as long as its process goes on.
pub(super) async fn take_time(looks: &PgPool, tx: &mut Writing) -> sqlx::Result<()> {
    tx.ex().execute("SET LOCAL idle_in_transaction_session_timeout = '30s'").await?;
    tx.alive = Some(Alive::of(looks, tx.ex()).await?);
    Ok(())
}

/// What the server is good for just now: it is no standby, and has not been told to take no changes. Commits
/// of ours wait for a standby where the server names one: `synchronous_commit` is on.
pub(super) async fn footing(on: &mut PgConnection) -> sqlx::Result<Footing> {
    // What new sessions are told, not this one, which reads.
    let asked = "SELECT NOT pg_is_in_recovery()
                   AND COALESCE((SELECT reset_val FROM pg_settings WHERE name = 'default_transaction_read_only'), 'off') <> 'on',
                 current_setting('synchronous_standby_names') <> '',
                 EXTRACT(EPOCH FROM clock_timestamp())::float8";
    let (writable, waits, clock): (bool, bool, f64) = sqlx::query_as(asked).fetch_one(on).await?;
    Ok(Footing { writable, waits_for_standby: Some(waits), clock: Some(clock) })
}

/// The tables of ours, in the order they were made.
pub(super) async fn tables(on: &mut PgConnection) -> Result<Vec<Table>, StoreError> {
    let rows: Vec<(String, String, String, Option<i64>)> = sqlx::query_as(
        r#"SELECT t.relname::text, a.attname::text, format_type(a.atttypid, NULL),
                 array_position(i.indkey::int2[], a.attnum)::bigint
          FROM pg_class t
          JOIN pg_namespace n ON n.oid = t.relnamespace AND n.nspname = current_schema()
          JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum > 0 AND NOT a.attisdropped
          JOIN pg_index i ON i.indrelid = t.oid AND i.indisprimary
          WHERE t.relkind = 'r' AND t.relname NOT LIKE '\_sqlx%' ORDER BY t.oid, a.attname COLLATE "C""#,
    )
    .fetch_all(on)
    .await?;
    let mut tables: Vec<(Table, Vec<(i64, String)>)> = Vec::new();
    for (name, column, kind, place) in rows {
        if tables.last().is_none_or(|(table, _)| table.name != name) {
            tables.push((Table { name: name.clone(), columns: Vec::new(), key: Vec::new() }, Vec::new()));
        }
        let Some((table, key)) = tables.last_mut() else { continue };
        key.extend(place.map(|place| (place, column.clone())));
        let kind = match kind.as_str() {
            "bigint" => Kind::Int,
            "boolean" => Kind::Bool,
            "text" => Kind::Text,
            "bytea" => Kind::Bytes,
            _ => return Err(StoreError::unreadable("the catalogue", format!("{name}.{column} is {kind}"))),
        };
        table.columns.push((column, kind));
    }
    let in_turn = |(table, mut key): (Table, Vec<(i64, String)>)| {
        key.sort();
        Table { key: key.into_iter().map(|(_, column)| column).collect(), ..table }
    };
    Ok(tables.into_iter().map(in_turn).collect())
}

/// Begins a transaction that sees the state that holds once nobody writes any more.
pub(super) async fn freeze(looks: &PgPool, pool: &PgPool, tables: &[Table]) -> sqlx::Result<Writing> {
    let mut tx = Writing::begin(pool, "BEGIN ISOLATION LEVEL REPEATABLE READ").await?;
    tx.ex().execute("SET LOCAL idle_in_transaction_session_timeout = 0").await?;
    let names: Vec<&str> = tables.iter().map(|table| table.name.as_str()).collect();
    // Readers are let in; who would write waits for its turn. Locking comes before the state is chosen.
    let lock = format!("LOCK TABLE {} IN EXCLUSIVE MODE", names.join(", "));
    tx.ex().execute(AssertSqlSafe(lock)).await?;
    tx.alive = Some(Alive::of(looks, tx.ex()).await?);
    Ok(tx)
}

/// Lets the numbers of a table's rows go on after the highest that is there.
pub(super) async fn count_on(tx: &mut Writing, table: &str) -> sqlx::Result<()> {
    let columns: Vec<String> = sqlx::query_scalar(
        "SELECT column_name::text FROM information_schema.columns WHERE table_schema = current_schema() AND table_name = $1 AND is_identity = 'YES'",
    )
    .bind(table)
    .fetch_all(tx.ex())
    .await?;
    for column in columns {
        let sql = format!("SELECT setval(pg_get_serial_sequence('{table}', '{column}'), MAX({column})) FROM {table}");
        tx.ex().execute(AssertSqlSafe(sql)).await?;
    }
    Ok(())
}

/// Whether a server did not refuse but broke down, or sent us away: that says nothing of what was under way.
pub(super) fn is_breakdown(said: &dyn DatabaseError) -> bool {
    let severity = said.try_downcast_ref::<PgDatabaseError>().map(PgDatabaseError::severity);
    matches!(severity, Some(PgSeverity::Panic | PgSeverity::Fatal))
}

/// What trouble an SQLSTATE tells of, by the manual's appendix A: serialization, deadlock, locks,
/// cancelled, a transaction that was idle too long (25P03); a full disk; a standby that only reads;
/// connections (class 08), resources (class 53), shutting down or starting (57P), a disk that fails (class
/// 58), and a server that does not know us or has no such database (classes 28 and 3D), as another
/// one may that has taken over: it is not ours to mend while it serves.
pub(super) fn trouble(state: &str) -> Option<Trouble> {
    match state {
        "40001" | "40P01" | "55P03" | "57014" | "25P03" => Some(Trouble::Busy),
        "53100" => Some(Trouble::Full),
        "25006" => Some(Trouble::ReadOnly),
        // A database that takes nobody just now.
        "55000" => Some(Trouble::Unreachable),
        other => ["08", "28", "3D", "53", "57P", "58"]
            .iter()
            .any(|class| other.starts_with(class))
            .then_some(Trouble::Unreachable),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of each pool and each of its connections, also of one that is made anew. On the server that the tests
    /// are run on, where there is one.
    #[tokio::test]
    async fn every_connection_has_the_settings_of_its_pool() {
        let Some(server) = std::env::var("TALLYWRIGHT_TEST_DATABASE").ok().filter(|url| !url.is_empty()) else {
            return;
        };
        let (before, after) = server.split_once("/postgres?").expect("an address as tests/postgres prints it");
        let name = format!("tally_settings_{}", std::process::id());
        let mut around = PgConnection::connect(&server).await.expect("the server of the tests");
        around.execute(AssertSqlSafe(format!("CREATE DATABASE {name}"))).await.expect("made");
        // Of a socket that is no network's the server knows no keepalives.
        let by_tcp: String =
            sqlx::query_scalar("SHOW listen_addresses").fetch_one(&mut around).await.expect("its address");
        let is_by_tcp = by_tcp.starts_with("127.");
        let url = format!("{before}/{name}?{after}");
        let url = if is_by_tcp { format!("postgres://tally@{by_tcp}/{name}?sslmode=disable") } else { url };
        let Pools { reads, follows, looks, writes, groups } = open(&url).await.expect("opens");
        let ours = [
            ("synchronous_commit", "on"),
            ("lock_timeout", "2s"),
            ("tcp_keepalives_idle", "10"),
            ("tcp_keepalives_interval", "5"),
            ("tcp_keepalives_count", "3"),
        ];
        let idle = "idle_in_transaction_session_timeout";
        let write = [(idle, "1500ms"), ("default_transaction_read_only", "off")];
        let read = [(idle, "5min"), ("default_transaction_read_only", "on")];
        for (pool, own) in [(&reads, read), (&follows, read), (&writes, write), (&groups, write)] {
            for _ in 0..2 {
                let mut all = Vec::new();
                for _ in 0..pool.options().get_max_connections() {
                    all.push(pool.acquire().await.expect("a connection"));
                }
                for connection in &mut all {
                    for (name, value) in ours.into_iter().chain(own) {
                        let said: String = sqlx::query_scalar("SELECT current_setting($1)")
                            .bind(name)
                            .fetch_one(&mut **connection)
                            .await
                            .expect("a value");
                        assert!(said == value || (!is_by_tcp && name.starts_with("tcp")), "{name} is {said}");
                    }
                    let marks: i64 = sqlx::query_scalar(
                        "SELECT COUNT(*) FROM pg_locks WHERE pid = pg_backend_pid() AND locktype = 'advisory' AND classid = 29817",
                    )
                    .fetch_one(&mut **connection)
                    .await
                    .expect("a number");
                    assert_eq!(marks, i64::from(own == write), "those that write are marked as ours");
                }
                // The next ones are new.
                for connection in all {
                    connection.close().await.expect("closes");
                }
            }
        }
        for pool in [reads, follows, looks, writes, groups] {
            pool.close().await;
        }
        around.execute(AssertSqlSafe(format!("DROP DATABASE {name} WITH (FORCE)"))).await.expect("dropped");
    }
}
