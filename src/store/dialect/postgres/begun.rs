//! What is begun on a server: a connection that reads, a transaction.

use super::telling::commit_and_tell;
use super::turns::Alive;
use super::{PATIENCE, RECOVERY};
use crate::store::db::{A_STEP, by};
use crate::store::dialect::line::{Line, Turn};
use crate::store::dialect::{Trouble, trouble};
use sqlx::pool::PoolConnection;
use sqlx::{AssertSqlSafe, Executor, PgConnection, PgPool, Postgres, SqlSafeStr};
use std::time::Duration;
use tokio::time::Instant;

/// A connection for reading. Dropped in the middle of an answer it gets a moment to recover; on a
/// network that is gone it would keep its place in the pool for ever.
#[derive(Debug)]
pub struct Reading(Option<PoolConnection<Postgres>>);

/// A transaction. Dropped before its end it takes its connection with it, and the server undoes it.
pub struct Writing {
    connection: Option<Held>,
    /// When it is given up; `None`: when one of its steps takes longer than that.
    until: Option<Instant>,
    step: Duration,
    /// Says meanwhile that its process goes on, where it may take its time.
    pub(super) alive: Option<Alive>,
    /// Who tells others once it is durable.
    tells: Option<i32>,
}

/// Whose turn it is, or from a pool of several.
enum Held {
    InTurn(Turn<Postgres>),
    OfPool(PoolConnection<Postgres>),
}

const TAKEN: &str = "only taken when dropped or ended";

impl Reading {
    /// From the pool.
    pub(in crate::store::dialect) async fn acquire(pool: &PgPool) -> sqlx::Result<Self> {
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
    /// Begins one that writes.
    pub(in crate::store::dialect) async fn begin(line: &Line<Postgres>) -> sqlx::Result<Self> {
        Self::begin_with(line, "BEGIN").await
    }

    /// The same with this statement. A connection that has gone since somebody had it is known by that.
    pub(super) async fn begin_with(line: &Line<Postgres>, statement: &'static str) -> sqlx::Result<Self> {
        let turn = line.turn().await?;
        let unasked = turn.is_unasked();
        let mut begun = Self::on(Held::InTurn(turn));
        match begun.start(statement).await {
            Err(error) if unasked && is_gone(&error) => {
                if let Some(Held::InTurn(turn)) = begun.connection.take() {
                    begun.connection = Some(Held::InTurn(turn.anew().await?));
                }
                begun.start(statement).await?;
            }
            started => started?,
        }
        Ok(begun)
    }

    /// Begins one that reads one state.
    pub(in crate::store::dialect) async fn snapshot(pool: &PgPool) -> sqlx::Result<Self> {
        let mut begun = Self::on(Held::OfPool(pool.acquire().await?));
        begun.start("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?;
        Ok(begun)
    }

    fn on(connection: Held) -> Self {
        Self { connection: Some(connection), until: None, step: A_STEP, alive: None, tells: None }
    }

    async fn start(&mut self, statement: &'static str) -> sqlx::Result<()> {
        by(Some(Instant::now() + PATIENCE), self.ex().execute(statement)).await.map(drop)
    }

    /// When it is given up, or the step that it takes now.
    pub(in crate::store) fn until(&self) -> Instant {
        self.until.unwrap_or_else(|| Instant::now() + self.step)
    }

    /// Gives up what takes longer than that by itself.
    pub(in crate::store) fn limit_steps(&mut self, step: Duration) {
        self.step = step;
    }

    /// How long a step may take where the whole has its time.
    pub(in crate::store) fn step(&self) -> Duration {
        self.step
    }

    /// Gives it up where it is not ended in so much time.
    pub(in crate::store::dialect) fn limit(&mut self, span: Duration) {
        self.until = Some(Instant::now() + span);
    }

    /// Tells whoever listens, once it is durable.
    pub(in crate::store::dialect) fn tell(&mut self, who: i32) {
        self.tells = Some(who);
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut PgConnection {
        match self.connection.as_mut().expect(TAKEN) {
            Held::InTurn(turn) => turn,
            Held::OfPool(connection) => connection,
        }
    }

    /// Makes it durable.
    pub(in crate::store) async fn commit(self) -> sqlx::Result<()> {
        match self.tells {
            Some(who) => self.end(AssertSqlSafe(commit_and_tell(who))).await,
            None => self.end("COMMIT").await,
        }
    }

    /// Undoes it.
    pub(in crate::store) async fn rollback(self) -> sqlx::Result<()> {
        self.end("ROLLBACK").await
    }

    /// Runs a statement.
    pub(super) async fn run(&mut self, statement: impl SqlSafeStr + Send + 'static) -> sqlx::Result<()> {
        by(Some(self.until()), self.ex().execute(statement)).await.map(drop)
    }

    async fn end(mut self, statement: impl SqlSafeStr + Send + 'static) -> sqlx::Result<()> {
        self.run(statement).await?;
        match self.connection.take() {
            Some(Held::InTurn(turn)) => turn.end(),
            Some(Held::OfPool(connection)) => drop(Reading(Some(connection))),
            None => {}
        }
        Ok(())
    }
}

impl Drop for Writing {
    fn drop(&mut self) {
        match self.connection.take() {
            Some(Held::InTurn(turn)) => turn.give_up(),
            Some(Held::OfPool(connection)) => drop(connection.detach()),
            None => {}
        }
    }
}

/// Whether a connection turns out to have been closed: it is no use, and another one may be.
fn is_gone(error: &sqlx::Error) -> bool {
    let silent = matches!(error, sqlx::Error::Io(why) if why.kind() == std::io::ErrorKind::TimedOut);
    !silent && trouble(error) == Some(Trouble::Unreachable)
}
