//! The one writer: decides and commits changes in groups.
//!
//! Callers hand in typed changes; a task takes what has gathered, reads the competitions' heads
//! afresh in one transaction, loads all that the group touches, lets the rules decide one change
//! after another in memory, writes each table once, commits, and only then answers. A refusal never
//! reaches SQL. Nothing slow happens here: no hashing of passwords, no network.

use super::{Idempotency, Store, StoreError};
use crate::app::Clock;
use crate::rules::competition::Competition;
use crate::rules::fault::Warning;
use crate::rules::ledger::{Asked, Outcome, Refusal};
use crate::rules::life::Attempt;
use crate::rules::placement::Placement;
use std::sync::Arc;

/// What a group did to one competition, told after its commit.
#[derive(Clone, Debug)]
pub struct Committed {
    /// Number.
    pub competition: i64,
    /// Slug.
    pub slug: String,
    /// Log position before the group: another process may have written since the group before it.
    pub after: u64,
    /// Last log position.
    pub seq: u64,
    /// The file in force, when the group applied one.
    pub definition: Option<Arc<Competition>>,
    /// What happened to the places, in log order.
    pub placements: Vec<Placement>,
}

/// What was done.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Answered {
    /// For the caller.
    pub outcome: Outcome,
    /// Remarks.
    pub warnings: Vec<Warning>,
    /// Log position of the last record of this change; the head where nothing changed.
    pub seq: u64,
    /// For a change of a score: all attempts of that workout and bib after it.
    pub attempts: Vec<Attempt>,
    /// The answer of an earlier request with this key, given again.
    #[serde(skip)]
    pub replayed: bool,
}

/// Why a change was not done, or not known to be.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// By the rules.
    #[error("refused: {0:?}")]
    Refused(Refusal),
    /// The key was used for another request.
    #[error("the idempotency key was used for another request")]
    KeyReused,
    /// Too much is waiting, or another process holds the database; nothing was done.
    #[error("the writer is busy")]
    Busy,
    /// It may or may not be done: ask again with the same key.
    #[error("outcome unknown")]
    Unknown,
    /// The database refused; nothing was done.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Writes to competitions: a handle on the task that decides and commits in groups.
#[derive(Clone)]
pub struct Writer {}

impl Writer {
    /// Starts the task. `on_commit` is called after each commit, in log order, and must be quick.
    pub fn start(store: Store, clock: Clock, on_commit: impl Fn(&Committed) + Send + 'static) -> Self {
        let _ = (store, clock, on_commit);
        todo!()
    }

    /// Decides a change and makes it durable. Dropping the future does not take it back.
    pub async fn submit(&self, asked: Asked, key: Option<Idempotency>) -> Result<Answered, WriteError> {
        let _ = (asked, key);
        todo!()
    }

    /// Decides many changes in their order, each by itself; an answer for each. Waits for room
    /// rather than being [`WriteError::Busy`].
    pub async fn submit_many(&self, asked: Vec<Asked>) -> Vec<Result<Answered, WriteError>> {
        let _ = asked;
        todo!()
    }

    /// Takes nothing more, commits and answers what is in flight, and returns when that is done.
    pub async fn stop(&self) {}
}
