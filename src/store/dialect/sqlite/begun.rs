//! Transactions of the embedded engine.

use crate::store::dialect::line::{Line, Turn};
use sqlx::{Sqlite, SqliteConnection, Transaction};
use tokio::runtime::Handle;

/// A transaction.
pub enum Begun {
    /// That reads one state.
    Reading(Transaction<'static, Sqlite>),
    /// That writes.
    Writing(Writing),
}

/// One that writes. Dropped before its end it is undone.
pub struct Writing(Option<Turn<Sqlite>>);

const TAKEN: &str = "only taken when dropped or ended";

impl Begun {
    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut SqliteConnection {
        match self {
            Self::Reading(tx) => tx,
            Self::Writing(tx) => tx.ex(),
        }
    }

    /// Makes it durable.
    pub(in crate::store) async fn commit(self) -> sqlx::Result<()> {
        match self {
            Self::Reading(tx) => tx.commit().await,
            Self::Writing(tx) => tx.end("COMMIT").await,
        }
    }

    /// Undoes it.
    pub(in crate::store) async fn rollback(self) -> sqlx::Result<()> {
        match self {
            Self::Reading(tx) => tx.rollback().await,
            Self::Writing(tx) => tx.end("ROLLBACK").await,
        }
    }
}

impl Writing {
    /// Begins to write at once: a later upgrade of a read lock fails without waiting.
    pub(in crate::store::dialect) async fn begin(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        let mut begun = Self(Some(line.turn().await?));
        match sqlx::query("BEGIN IMMEDIATE").execute(begun.ex()).await {
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

    fn ex(&mut self) -> &mut SqliteConnection {
        self.0.as_mut().expect(TAKEN)
    }

    async fn end(mut self, statement: &'static str) -> sqlx::Result<()> {
        sqlx::query(statement).execute(self.ex()).await?;
        if let Some(turn) = self.0.take() {
            turn.end();
        }
        Ok(())
    }
}

impl Drop for Writing {
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
