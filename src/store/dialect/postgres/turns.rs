//! Taking turns on a server, and not waiting for who stands still.
//!
//! A process that is paused, or whose network is silent, keeps what it has locked: between two
//! statements until its transaction has been idle for too long, in the middle of a result for ever. So
//! who has waited for a second looks for a session of ours that keeps others waiting and has itself been
//! waiting for its process as long, and ends it. A process that needs time, to apply a file to
//! a large competition, says on a second connection that it goes on ([`Alive`]).

use super::Writing;
use sqlx::{AssertSqlSafe, Executor, PgConnection, PgPool};
use std::pin::pin;
use std::time::Duration;
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
/// How often a process says that it goes on: well within the time after which it is taken to stand still.
const SAYS_SO: Duration = Duration::from_millis(250);

/// Ends the sessions of ours that keep others waiting and stand still. Between two statements
/// (`idle in transaction`) or in one (`Client`: it sends a result, or reads) the session waits for
/// its process; a commit that waits for a standby does not, and is let be.
const END_WHO_STANDS_STILL: &str = "
    SELECT COUNT(pg_terminate_backend(b.pid)) FROM pg_stat_activity b
    WHERE b.datname = current_database() AND b.pid <> pg_backend_pid()
      AND ((b.state LIKE 'idle in transaction%' AND b.state_change < clock_timestamp() - INTERVAL '900 ms')
        OR (b.state = 'active' AND b.wait_event_type = 'Client' AND b.query_start < clock_timestamp() - INTERVAL '900 ms'))
      AND EXISTS (SELECT 1 FROM pg_locks m
                  WHERE m.pid = b.pid AND m.locktype = 'advisory' AND m.classid = 29817 AND m.objsubid = 2)
      AND NOT EXISTS (SELECT 1 FROM pg_locks a JOIN pg_stat_activity h ON h.pid = a.pid
                      WHERE a.locktype = 'advisory' AND a.classid = 29816 AND a.objid = b.pid::oid AND a.objsubid = 2
                        AND a.granted AND h.state_change > clock_timestamp() - INTERVAL '900 ms')
      AND b.pid IN (SELECT unnest(pg_blocking_pids(w.pid)) FROM pg_stat_activity w
                    WHERE w.datname = current_database() AND w.wait_event_type = 'Lock')";

/// Waits for our turn among the writes outside the logs. `reads`: to look who stands still.
pub(in crate::store::dialect) async fn take_turn(reads: &PgPool, tx: &mut Writing) -> sqlx::Result<()> {
    let lock = sqlx::query("SELECT pg_advisory_xact_lock($1, $2)").bind(OURS).bind(OUTSIDE_THE_LOGS);
    for_nobody_who_stands_still(reads, lock.execute(tx.ex())).await.map(drop)
}

/// Locks the heads of these competitions in the order of their slugs, and of those that are not
/// there yet the slug.
pub(in crate::store::dialect) async fn hold(reads: &PgPool, tx: &mut Writing, slugs: &[&str]) -> sqlx::Result<()> {
    for_nobody_who_stands_still(reads, hold_all(tx, slugs)).await
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
        sqlx::query_scalar("SELECT slug FROM competitions WHERE slug = ANY($1) ORDER BY slug FOR UPDATE")
            .bind(slugs)
            .fetch_all(tx.ex())
            .await?;
    Ok(slugs.iter().filter(|slug| !held.iter().any(|h| h == *slug)).map(|&slug| slug.to_owned()).collect())
}

/// Runs a step that may wait for others' locks.
async fn for_nobody_who_stands_still<T>(
    reads: &PgPool,
    step: impl Future<Output = sqlx::Result<T>>,
) -> sqlx::Result<T> {
    let (mut step, mut wait) = (pin!(step), BEFORE_LOOKING);
    loop {
        tokio::select! {
            biased;
            done = &mut step => return done,
            () = look(reads, wait) => wait = BETWEEN_LOOKS,
        }
    }
}

/// Looks once, after a while. What comes in between only makes the next look needed.
async fn look(reads: &PgPool, after: Duration) {
    tokio::time::sleep(after).await;
    let ended = tokio::time::timeout(A_LOOK, sqlx::query_scalar::<_, i64>(END_WHO_STANDS_STILL).fetch_one(reads));
    match ended.await {
        Ok(Ok(0)) | Err(_) => {}
        Ok(Ok(ended)) => tracing::warn!(ended, "a process that stood still with a turn in hand was cut off"),
        Ok(Err(error)) => tracing::debug!(%error, "nobody could be looked for who stands still"),
    }
}

/// Says, until it is dropped, that the process behind a session goes on.
pub(super) struct Alive {
    _until: DropGuard,
}

impl Alive {
    /// Of this session's.
    pub(super) async fn of(pool: &PgPool, session: &mut PgConnection) -> sqlx::Result<Self> {
        let pid: i32 = sqlx::query_scalar("SELECT pg_backend_pid()").fetch_one(session).await?;
        // Not of the pool: the lock ends with it, however that comes about.
        let mut said = pool.acquire().await?.detach();
        said.execute(AssertSqlSafe(format!("SELECT pg_advisory_lock_shared({GOES_ON}, {pid})"))).await?;
        let stop = CancellationToken::new();
        let until = stop.clone().drop_guard();
        tokio::spawn(async move {
            while tokio::time::timeout(SAYS_SO, stop.cancelled()).await.is_err()
                && said.execute("SELECT 1").await.is_ok()
            {}
        });
        Ok(Self { _until: until })
    }
}
