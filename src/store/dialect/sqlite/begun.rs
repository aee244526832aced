//! Transactions of the embedded engine.

use crate::store::dialect::line::{Line, Turn};
use sqlx::{Sqlite, SqliteConnection};
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
        match sqlx::query(statement).execute(begun.ex()).await {
            Ok(_) => Ok(begun),
            Err(error) => {
                // Nothing has begun: somebody else has the file.
                if let Some(turn) = begun.0.take() {
                    turn.end();
                }
                Err(error)
            }
        }
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
        sqlx::query(statement).execute(self.ex()).await?;
        if let Some(turn) = self.0.take() {
            turn.end();
        }
        Ok(())
    }
}

impl Drop for Begun {
    fn drop(&mut self) {
        let Some(mut turn) = self.0.take() else { return };
        // A full disk ends a transaction behind our back; then there is nothing to undo, and that is an error too.
        let undo = async move {
            match sqlx::query("ROLLBACK").execute(&mut *turn).await {
                Ok(_) => turn.end(),
                Err(_) => turn.give_up(),
            }
        };
        match Handle::try_current() {
            Ok(runtime) => drop(runtime.spawn(undo)),
            Err(_) => drop(undo),
        }
    }
}
