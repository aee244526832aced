//! Telling others that something is in the logs, and being told. A word that is lost does no harm: whoever
//! follows the logs looks at them by itself too.

use super::{PATIENCE, RECOVERY};
use crate::store::db::by;
use sqlx::postgres::{PgConnectOptions, PgListener, PgPoolOptions};
use sqlx::{Executor, PgPool};
use std::sync::atomic::{AtomicI32, Ordering};
use std::time::Duration;
use tokio::time::Instant;

/// Where it is told.
const CHANNEL: &str = "tallywright_log";
/// How long nobody says anything before the server is asked whether it is still there.
const A_SILENCE: Duration = Duration::from_secs(30);

/// Makes a transaction durable and tells whoever listens, and who says so, in one go.
pub(super) fn commit_and_tell(who: i32) -> String {
    format!("SELECT pg_notify('{CHANNEL}', '{who}'); COMMIT")
}

/// Calls `told` for each word of others, and after a connection that was lost: what was said
/// meanwhile is not said again. `me` is kept at the number by which our own words are known.
/// Where the server is `looks` knows.
pub(in crate::store::dialect) async fn listen(
    looks: &PgPool,
    me: &AtomicI32,
    told: impl Fn(),
) -> sqlx::Result<std::convert::Infallible> {
    // Of its own: on a network that is silent it goes away for minutes, with nobody else's place.
    let options = PgConnectOptions::clone(&looks.connect_options());
    let own = PgPoolOptions::new().max_connections(1).acquire_timeout(PATIENCE).connect_lazy_with(options);
    let soon = || Some(Instant::now() + PATIENCE);
    let mut listener = PgListener::connect_with(&own).await?;
    listener.ignore_pool_close_event(true);
    by(soon(), listener.listen(CHANNEL)).await?;
    loop {
        // The number of the server's process behind this connection: nobody else has it.
        let number = sqlx::query_scalar("SELECT pg_backend_pid()").fetch_one(&mut listener);
        me.store(by(soon(), number).await?, Ordering::Relaxed);
        told();
        loop {
            match tokio::time::timeout(A_SILENCE, listener.try_recv()).await {
                Ok(Ok(Some(word))) if word.payload() == me.load(Ordering::Relaxed).to_string() => {}
                Ok(Ok(Some(_))) => told(),
                // Lost and made again.
                Ok(Ok(None)) => break,
                Ok(Err(error)) => return Err(error),
                // Nobody has said anything; or the server is gone, and nobody has said that either.
                Err(_) => {
                    let answers = tokio::time::timeout(RECOVERY, (&mut listener).execute("SELECT 1")).await;
                    answers.map_err(|_| sqlx::Error::Io(std::io::ErrorKind::TimedOut.into()))??;
                }
            }
        }
    }
}
