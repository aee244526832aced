//! Transactions of the embedded engine.

use crate::store::dialect::line::{Line, Turn};
use futures_util::TryStreamExt;
use sqlx::{Executor, Sqlite, SqliteConnection};
use tokio::runtime::Handle;

/// A connection, to read. Handed on when it is dropped.
#[derive(Debug)]
pub struct Reading(Option<Turn<Sqlite>>);

/// A transaction. Dropped before its end it is undone.
pub struct Begun(Option<Turn<Sqlite>>);

const TAKEN: &str = "only taken when dropped or ended";

impl Reading {
    pub(in crate::store::dialect) async fn acquire(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        Ok(Self(Some(line.turn().await?)))
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut SqliteConnection {
        self.0.as_mut().expect(TAKEN)
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        // Left in the middle of an answer the engine ends it before it begins with the next question.
        if let Some(turn) = self.0.take() {
            turn.end();
        }
    }
}

impl Begun {
    /// One that writes: it begins to at once, for a later upgrade of a read lock fails without waiting.
    pub(in crate::store::dialect) async fn writing(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        Self::begin(line, "BEGIN IMMEDIATE").await
    }

    /// One that reads one state.
    pub(in crate::store::dialect) async fn snapshot(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        Self::begin(line, "BEGIN").await
    }

    async fn begin(line: &Line<Sqlite>, statement: &'static str) -> sqlx::Result<Self> {
        let mut begun = Self(Some(line.turn().await?));
        let Err(error) = run(begun.ex(), statement).await else { return Ok(begun) };
        if let Some(turn) = begun.0.take() {
            match error {
                // Nothing has begun: somebody else has the file.
                sqlx::Error::Database(_) => turn.end(),
                _ => turn.give_up(),
            }
        }
        Err(error)
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut SqliteConnection {
        self.0.as_mut().expect(TAKEN)
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
        run(self.ex(), statement).await?;
        if let Some(turn) = self.0.take() {
            turn.end();
        }
        Ok(())
    }
}

impl Drop for Begun {
    fn drop(&mut self) {
        let Some(mut turn) = self.0.take() else { return };
        let Ok(runtime) = Handle::try_current() else { return turn.give_up() };
        runtime.spawn(async move {
            // A full disk ends a transaction behind our back; then there is nothing to undo, and that is an error too.
            match run(&mut turn, "ROLLBACK").await {
                Ok(()) => turn.end(),
                Err(_) => turn.give_up(),
            }
        });
    }
}

/// Runs a statement that begins or ends a transaction. A thread that is lost over it gives no answer, and that is not
/// a yes.
async fn run(on: &mut SqliteConnection, statement: &'static str) -> sqlx::Result<()> {
    let answers: Vec<_> = on.execute_many(sqlx::query(statement)).try_collect().await?;
    if answers.is_empty() { Err(sqlx::Error::WorkerCrashed) } else { Ok(()) }
}
