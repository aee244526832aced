//! `PostgreSQL`: how a server is reached, its transactions, what is locked for whom, and what its
//! errors mean.
//!
//! A competition's head row is locked by whoever writes to it: several processes take turns, a
//! group at a time. Other writes take turns by one advisory lock, as they do on the embedded engine
//! by its one writer; so texts that look before they insert mean the same on both. Who waits for a
//! turn cuts off who stands still with it in hand: [`turns`].

mod begun;
mod catalogue;
pub(super) mod statistics;
mod telling;
mod turns;

use super::Trouble;
use super::line::Line;
use crate::store::db::by;
use crate::store::{Footing, StoreError};
pub use begun::{Reading, Writing};
pub(super) use catalogue::{count_on, freeze, tables};
use sqlx::error::DatabaseError;
use sqlx::migrate::Migrator;
use sqlx::postgres::{PgConnectOptions, PgDatabaseError, PgPoolOptions, PgSeverity, PgSslMode};
use sqlx::{AssertSqlSafe, Connection, Executor, PgConnection, PgPool, Postgres};
use std::str::FromStr;
use std::time::Duration;
pub(super) use telling::listen;
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
/// How long a connection that was just in use is handed on without a question: a server may have gone without a word.
pub(super) const UNASKED: Duration = Duration::from_secs(1);
/// How long a connection of its own is waited for, and what is asked on it at the start: one that takes the connection
/// and says nothing would keep a command for ever.
const AT_THE_START: Duration = Duration::from_secs(10);
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
/// that is gone is noticed. What the operator has set for others' statements does not hold: a file for a large
/// competition takes its time, and each of ours is given up in its own.
const SESSION: &str = "SET synchronous_commit = on; \
     SET lock_timeout = '2s'; \
     SET statement_timeout = 0; \
     SELECT set_config(name, '0', false) FROM pg_settings WHERE name = 'transaction_timeout'; \
     SET idle_in_transaction_session_timeout = '1500ms'; \
     SET tcp_keepalives_idle = 10; \
     SET tcp_keepalives_interval = 5; \
     SET tcp_keepalives_count = 3";
/// The same, but nothing is written by accident, and nobody waits for who reads: working a log out
/// again takes its time between two questions.
const SESSION_THAT_READS: &str = "SET default_transaction_read_only = on; \
     SET idle_in_transaction_session_timeout = '5min'";

/// The same of who writes: all that a group asks for, it asks for by a key, and what it asks for was written a moment
/// ago. By what a server takes a page to cost otherwise, one that lies anywhere on a disk, looking through some ten
/// thousand rows is less than looking up fifty of them.
const SESSION_THAT_WRITES: &str = "SET enable_seqscan = off; SET random_page_cost = 0.1; SET seq_page_cost = 0.1";

/// Of several hosts one would have to find out which is in charge, again and again.
const ONE_HOST: &str = "name one host: an address that leads to the server in charge";

/// How long another process may take to bring the tables up to date before this one gives up.
const MIGRATING: &str = "SET client_min_messages = warning; SET lock_timeout = '60s'; SET statement_timeout = 0; \
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
    let mut first = connect(&options).await.map_err(refuse)?;
    let encoding: String = at_the_start(sqlx::query_scalar("SHOW server_encoding").fetch_one(&mut first)).await?;
    if encoding != "UTF8" {
        return Err(StoreError::Address { url: shown(url), why: other_encoding(&encoding) });
    }
    // That the list of migrations is there already is no news.
    at_the_start(first.execute(MIGRATING)).await?;
    let migrations = sqlx::migrate!("migrations/postgres");
    // Where nothing is to be done nobody is waited for, and nothing is tried: a server may only be read just now,
    // or be a standby, and is read all the same.
    if !at_the_start(is_up_to_date(&mut first, &migrations)).await? {
        migrations.run(&mut first).await?;
    }
    first.close().await?;
    let pool = |connections| PgPoolOptions::new().max_connections(connections).acquire_timeout(PATIENCE);
    let to_write = || {
        pool(1).after_connect(|connection, _| {
            Box::pin(async move {
                // In one go: from far away each question takes its time.
                let settings = format!("{SESSION}; {SESSION_THAT_WRITES}; {MARK}");
                connection.execute(AssertSqlSafe(settings)).await.map(drop)
            })
        })
    };
    let (writes, groups) =
        (to_write().connect_lazy_with(options.clone()), to_write().connect_lazy_with(options.clone()));
    let to_read = |connections| {
        pool(connections).after_connect(|connection, _| {
            Box::pin(async move {
                let settings = format!("{SESSION}; {SESSION_THAT_READS}");
                connection.execute(AssertSqlSafe(settings)).await.map(drop)
            })
        })
    };
    let (reads, follows) =
        (to_read(READERS).connect_lazy_with(options.clone()), to_read(FOLLOWERS).connect_lazy_with(options.clone()));
    let looks = pool(1).connect_lazy_with(options);
    Ok(Pools { reads, follows, looks, writes, groups })
}

/// A connection of its own.
async fn connect(options: &PgConnectOptions) -> sqlx::Result<PgConnection> {
    at_the_start(PgConnection::connect_with(options)).await
}

/// What is asked on it before anything else.
async fn at_the_start<T>(step: impl Future<Output = sqlx::Result<T>>) -> sqlx::Result<T> {
    by(Some(Instant::now() + AT_THE_START), step).await
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
    let mut connection = connect(&options(url)?).await?;
    let vacant = match at_the_start(applied(&mut connection)).await? {
        None => {
            let relations = "SELECT COUNT(*) FROM pg_class WHERE relnamespace = current_schema()::regnamespace";
            at_the_start(sqlx::query_scalar::<_, i64>(relations).fetch_one(&mut connection)).await? == 0
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
    if matches!(options.get_ssl_mode(), PgSslMode::VerifyCa | PgSslMode::VerifyFull) {
        root_is_readable(url)?;
    }
    let named = options.get_application_name().is_some();
    let options = if named { options } else { options.application_name("tallywright") };
    Ok(options.statement_cache_capacity(super::STATEMENTS))
}

/// That the file of an address that says who may have signed the server's certificate is there: later it would look as
/// if the server were not.
fn root_is_readable(url: &str) -> Result<(), sqlx::Error> {
    let query = url.split_once('?').map_or("", |(_, query)| query);
    let named = form_urlencoded::parse(query.as_bytes())
        .filter(|(key, _)| matches!(&**key, "sslrootcert" | "ssl-root-cert" | "ssl-ca"))
        .filter(|(_, value)| !value.trim_start().starts_with("-----BEGIN"));
    for (_, file) in named {
        std::fs::File::open(&*file).map_err(|e| {
            sqlx::Error::Configuration(format!("the root certificate {file} cannot be read ({e})").into())
        })?;
    }
    Ok(())
}

/// What keeps an address from being opened, for whoever wrote it.
pub(super) fn why(error: &sqlx::Error) -> String {
    match error {
        sqlx::Error::Database(e) if e.code().as_deref() == Some("3D000") => {
            format!("{}; make it first, as with createdb --encoding=UTF8 NAME", e.message())
        }
        sqlx::Error::Database(e) => e.message().to_owned(),
        sqlx::Error::Io(e) => {
            certificate(&e.to_string()).unwrap_or_else(|| format!("its server cannot be reached ({e})"))
        }
        sqlx::Error::Tls(e) if e.to_string() == NO_TLS => {
            "its server does not speak TLS; set ssl = on there, or ask for less than sslmode=verify-full where nobody \
             can listen in"
                .to_owned()
        }
        sqlx::Error::Configuration(e) => e.downcast_ref().map_or_else(|| e.to_string(), why),
        other => other.to_string(),
    }
}

/// What is said of a server on which nobody has switched TLS on.
const NO_TLS: &str = "server does not support TLS";

/// What is wrong with a server's certificate, and what to do; `None`: something else is.
fn certificate(said: &str) -> Option<String> {
    let said = said.strip_prefix("invalid peer certificate: ")?;
    Some(if said.contains("UnknownIssuer") {
        "nobody who is known here has signed its server's certificate; name the file with the root that has, as in \
         ?sslmode=verify-full&sslrootcert=/etc/ssl/db.pem"
            .to_owned()
    } else if said.contains("not valid for name") || said.contains("NotValidForName") {
        format!("its server has a certificate of another name ({said}); write that name in the address")
    } else {
        format!("its server's certificate is not taken ({said})")
    })
}

/// What to do about a database that keeps its texts otherwise: names in any script have to fit.
fn other_encoding(encoding: &str) -> String {
    format!(
        "it keeps its texts as {encoding}, in which not every name fits; make one that does, as with createdb --encoding=UTF8 --template=template0 NAME"
    )
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
    let mut connection = connect(&options(url)?).await?;
    let asked = sqlx::query_scalar("SELECT to_regclass('competitions') IS NOT NULL");
    let there = at_the_start(asked.fetch_one(&mut connection)).await?;
    connection.close().await?;
    Ok(there)
}

/// Whether the server is there, though no connection of a pool was to be had.
pub(super) async fn answers(looks: &PgPool) -> bool {
    let asked = async { Reading::acquire(looks).await?.ex().execute("SELECT 1").await.map(drop) };
    by(Some(Instant::now() + AN_ANSWER), asked).await.is_ok()
}

/// Durable on this server alone.
pub(super) async fn for_now(tx: &mut Writing) -> sqlx::Result<()> {
    tx.run("SET LOCAL synchronous_commit = local").await
}

/// Holds the row of a kept answer, and lets go of it. Who holds a row has written a lock: its commit
/// waits for the standby, and for all that stands before it.
pub(super) async fn vouch_for_answer(line: &Line<Postgres>, account: i64, key: &str) -> sqlx::Result<()> {
    let mut tx = Writing::begin(line).await?;
    let held = sqlx::query("SELECT 1 FROM idempotency WHERE account = $1 AND key = $2 FOR UPDATE");
    by(Some(tx.until()), held.bind(account).bind(key).execute(tx.ex())).await?;
    tx.commit().await
}

/// Lets this transaction wait for others' locks for a moment only.
pub(super) async fn wait_briefly(tx: &mut Writing) -> sqlx::Result<()> {
    tx.run("SET LOCAL lock_timeout = '100ms'").await
}

/// As long as [`SESSION`] says again.
pub(super) async fn wait_as_ever(tx: &mut Writing) -> sqlx::Result<()> {
    tx.run("SET LOCAL lock_timeout = '2s'").await
}

/// Lets this transaction think for longer than others may, as long as its process goes on.
pub(super) async fn take_time(looks: &PgPool, tx: &mut Writing) -> sqlx::Result<()> {
    tx.run("SET LOCAL idle_in_transaction_session_timeout = '30s'").await?;
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
mod tests;
