//! Taking turns on a server, and not waiting for who stands still.
//!
//! A process that is paused, or whose network is silent, keeps what it has locked: between two
//! statements until its transaction has been idle for too long, in the middle of a result for ever. So
//! who has waited for a second looks for a session of ours that keeps others waiting and has itself been
//! waiting for its process as long, and ends it. A process that needs time, to apply a file to
//! a large competition, says on a second connection that it goes on ([`Alive`]).

use super::{Reading, SESSION, Trouble, Writing, connect};
use crate::store::db::by;
use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, Connection, Executor, PgConnection, PgPool};
use std::pin::pin;
use std::time::Duration;
use tokio::sync::oneshot;
use tokio::time::Instant;
use tokio_util::sync::{CancellationToken, DropGuard};

/// The advisory locks that are taken in turn, first of their two numbers: `tw` in ASCII.
const OURS: i32 = 0x7477;
/// Second number: everything outside the logs.
const OUTSIDE_THE_LOGS: i32 = 0;
/// First number of the lock that says which session goes on, which is the second one.
const GOES_ON: i32 = 0x7478;

/// Marks a connection of this program that writes, for as long as it lasts: nobody else's is ended.
pub(super) const MARK: &str = "SELECT pg_advisory_lock_shared(29817, 0)";

/// How long a turn is waited for before anybody is looked for who stands still.
const BEFORE_LOOKING: Duration = Duration::from_secs(1);
/// How long until the next look.
const BETWEEN_LOOKS: Duration = Duration::from_millis(150);
/// How long a look may take.
const A_LOOK: Duration = Duration::from_millis(500);
/// How long a process may take to say for the first time that it goes on.
const FIRST_WORD: Duration = Duration::from_secs(3);
/// How often a process says that it goes on: well within the time after which it is taken to stand still.
const SAYS_SO: Duration = Duration::from_millis(250);

/// The sessions of ours that keep others waiting and stand still. Between two statements
/// (`idle in transaction`) or in one (`Client`: it sends a result, or reads) the session waits for
/// its process; a commit that waits for a standby does not, and is let be. Each as it is now: one that
/// has done anything since is another.
const WHO_STANDS_STILL: &str = "
    SELECT concat_ws(' ', b.pid, b.backend_start, b.state_change, b.query_start) FROM pg_stat_activity b
    WHERE b.datname = current_database() AND b.pid <> pg_backend_pid()
      AND ((b.state LIKE 'idle in transaction%' AND b.state_change < statement_timestamp() - INTERVAL '900 ms')
        OR (b.state = 'active' AND b.wait_event_type = 'Client' AND b.query_start < statement_timestamp() - INTERVAL '900 ms'))
      AND EXISTS (SELECT 1 FROM pg_locks m WHERE m.pid = b.pid AND m.locktype = 'advisory'
                    AND m.classid = 29817 AND m.objid = 0 AND m.objsubid = 2)
      AND NOT EXISTS (SELECT 1 FROM pg_locks a JOIN pg_stat_activity h ON h.pid = a.pid
                      WHERE a.locktype = 'advisory' AND a.classid = 29816 AND a.objid = b.pid::oid AND a.objsubid = 2
                        AND a.granted AND h.state_change > statement_timestamp() - INTERVAL '900 ms')
      AND b.pid IN (SELECT unnest(pg_blocking_pids(w.pid)) FROM pg_stat_activity w
                    WHERE w.datname = current_database() AND w.wait_event_type = 'Lock')";
/// Ends those that were found so, and are so still.
const END_THEM: &str = "
    SELECT COUNT(pg_terminate_backend(b.pid)) FROM pg_stat_activity b
    WHERE concat_ws(' ', b.pid, b.backend_start, b.state_change, b.query_start) = ANY($1)";

/// Waits for our turn among the writes outside the logs, and writes a word to the server's log: its commit
/// waits for the standby then, also where it finds that all is done already. What it found may have come by a
/// commit that was cut off from the standby. `looks`: to see who stands still.
pub(in crate::store::dialect) async fn take_turn(looks: &PgPool, tx: &mut Writing) -> sqlx::Result<()> {
    let turn = "SELECT pg_advisory_xact_lock($1, $2), txid_current(), pg_logical_emit_message(true, 'turn', '')";
    let lock = sqlx::query(turn).bind(OURS).bind(OUTSIDE_THE_LOGS);
    for_nobody_who_stands_still(looks, lock.execute(tx.ex())).await.map(drop)
}

/// Locks the heads of these competitions in the order of their slugs, and of those that are not
/// there yet the slug.
pub(in crate::store::dialect) async fn hold(looks: &PgPool, tx: &mut Writing, slugs: &[&str]) -> sqlx::Result<()> {
    for_nobody_who_stands_still(looks, hold_all(tx, slugs)).await
}

/// Waits for the head of a competition, on a connection of its own, for as long as its holder goes on.
pub(in crate::store::dialect) async fn until_free(looks: &PgPool, slug: &str) -> sqlx::Result<()> {
    let mut connection = connect(&looks.connect_options()).await?;
    connection.execute(SESSION).await?;
    loop {
        // It has been waited for already.
        match looking_after(BETWEEN_LOOKS, looks, head_or_slug(&mut connection, slug)).await {
            Err(error) if crate::store::dialect::trouble(&error) == Some(Trouble::Busy) => {}
            done => {
                let _ = connection.close().await;
                return done.map(drop);
            }
        }
    }
}

/// Waits for it, and for the slug of one that is not there yet.
async fn head_or_slug(connection: &mut PgConnection, slug: &str) -> sqlx::Result<()> {
    let head = sqlx::query("SELECT 1 FROM competitions WHERE slug = $1 FOR NO KEY UPDATE").bind(slug);
    if head.execute(&mut *connection).await?.rows_affected() == 0 {
        let lock = sqlx::query("SELECT pg_advisory_xact_lock($1, hashtext($2) | 1)").bind(OURS).bind(slug);
        lock.execute(connection).await?;
    }
    Ok(())
}

async fn hold_all(tx: &mut Writing, slugs: &[&str]) -> sqlx::Result<()> {
    let missing = missing(tx, slugs).await?;
    if missing.is_empty() {
        return Ok(());
    }
    for slug in &missing {
        // Zero is taken; two slugs that meet here only wait for each other.
        sqlx::query("SELECT pg_advisory_xact_lock($1, hashtext($2) | 1)")
            .bind(OURS)
            .bind(slug)
            .execute(tx.ex())
            .await?;
    }
    // Somebody may have made it while we waited.
    self::missing(tx, &missing.iter().map(String::as_str).collect::<Vec<_>>()).await.map(drop)
}

/// Locks what is there; gives what is not.
async fn missing(tx: &mut Writing, slugs: &[&str]) -> sqlx::Result<Vec<String>> {
    let held: Vec<String> =
        sqlx::query_scalar("SELECT slug FROM competitions WHERE slug = ANY($1) ORDER BY slug FOR NO KEY UPDATE")
            .bind(slugs)
            .fetch_all(tx.ex())
            .await?;
    Ok(slugs.iter().filter(|slug| !held.iter().any(|h| h == *slug)).map(|&slug| slug.to_owned()).collect())
}

/// Runs a step that may wait for others' locks.
async fn for_nobody_who_stands_still<T>(
    looks: &PgPool,
    step: impl Future<Output = sqlx::Result<T>>,
) -> sqlx::Result<T> {
    looking_after(BEFORE_LOOKING, looks, step).await
}

/// The same; the first look comes after so long.
async fn looking_after<T>(
    wait: Duration,
    looks: &PgPool,
    step: impl Future<Output = sqlx::Result<T>>,
) -> sqlx::Result<T> {
    let (mut step, mut wait, mut found) = (pin!(step), wait, Vec::new());
    loop {
        tokio::select! {
            biased;
            done = &mut step => return done,
            now = look(looks, wait, &found) => (wait, found) = (BETWEEN_LOOKS, now),
        }
    }
}

/// Looks once, after a while: who stands still. Who did at the look before too is ended. What comes in
/// between only makes the next look needed.
async fn look(looks: &PgPool, after: Duration, before: &[String]) -> Vec<String> {
    tokio::time::sleep(after).await;
    match tokio::time::timeout(A_LOOK, look_now(looks, before)).await {
        Ok(Ok(found)) => return found,
        Ok(Err(error)) => tracing::debug!(%error, "nobody could be looked for who stands still"),
        Err(_) => {}
    }
    Vec::new()
}

async fn look_now(looks: &PgPool, before: &[String]) -> sqlx::Result<Vec<String>> {
    let mut connection = Reading::acquire(looks).await?;
    let found: Vec<String> = sqlx::query_scalar(WHO_STANDS_STILL).fetch_all(connection.ex()).await?;
    let both: Vec<&String> = found.iter().filter(|one| before.contains(one)).collect();
    if !both.is_empty() {
        let ended: i64 = sqlx::query_scalar(END_THEM).bind(&both).fetch_one(connection.ex()).await?;
        tracing::warn!(ended, "a process that stood still with a turn in hand was cut off");
    }
    Ok(found)
}

/// Says, until it is dropped, that the process behind a session goes on. By a thread of its own: the
/// others may all be at work.
pub(super) struct Alive {
    _until: DropGuard,
}

impl Alive {
    /// Of this session's. `looks`: where its server is.
    pub(super) async fn of(looks: &PgPool, session: &mut PgConnection) -> sqlx::Result<Self> {
        let pid = sqlx::query_scalar("SELECT pg_backend_pid()").fetch_one(session);
        let pid: i32 = by(Some(Instant::now() + FIRST_WORD), pid).await?;
        let options = PgConnectOptions::clone(&looks.connect_options());
        let (stop, (said, heard)) = (CancellationToken::new(), oneshot::channel());
        let until = stop.clone().drop_guard();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        std::thread::Builder::new().name("goes-on".to_owned()).spawn(move || {
            runtime.block_on(async {
                let mut said = Some(said);
                while !stop.is_cancelled() {
                    tokio::select! {
                        // On a network that is silent nothing ever comes of it.
                        () = async { stop.cancelled().await; tokio::time::sleep(A_LOOK).await } => {}
                        Err(error) = go_on(&options, pid, &stop, &mut said) => {
                            tracing::debug!(%error, "that this process goes on could not be said");
                            tokio::time::sleep(SAYS_SO).await;
                        }
                        else => {}
                    }
                }
            });
        })?;
        let first = tokio::time::timeout(FIRST_WORD, heard).await;
        first.map_err(|_| sqlx::Error::PoolTimedOut)?.map_err(|_| sqlx::Error::WorkerCrashed)?;
        Ok(Self { _until: until })
    }
}

/// Says it on a connection of its own, until it is told to stop. The lock ends with the connection, however
/// that comes about.
async fn go_on(
    options: &PgConnectOptions,
    pid: i32,
    stop: &CancellationToken,
    said: &mut Option<oneshot::Sender<()>>,
) -> sqlx::Result<()> {
    let mut connection = connect(options).await?;
    connection.execute(AssertSqlSafe(format!("SELECT pg_advisory_lock_shared({GOES_ON}, {pid})"))).await?;
    if let Some(said) = said.take() {
        let _ = said.send(());
    }
    while tokio::time::timeout(SAYS_SO, stop.cancelled()).await.is_err() {
        let again = tokio::time::timeout(A_LOOK, connection.execute("SELECT 1")).await;
        again.map_err(|_| sqlx::Error::PoolTimedOut)??;
    }
    connection.close().await
}
