//! What the rules would decide about a change in the state as it is, read in one snapshot. Nothing
//! is written, and the writer is not kept waiting.

use super::load::{Wanted, load};
use super::{Store, StoreError, dialect};
use crate::rules::ledger::{Asked, Decided, Refusal};
use jiff::Timestamp;

impl Store {
    /// Decides a change as the writer would at `now`, and forgets the decision's effects.
    pub async fn preview(&self, asked: &Asked, now: Timestamp) -> Result<Result<Decided, Refusal>, StoreError> {
        let mut wanted = Wanted::default();
        wanted.add(asked.touches());
        let mut tx = dialect::snapshot(&self.inner.reads).await?;
        let loaded = load(&mut tx, &self.inner.definitions, &asked.competition, &wanted).await;
        tx.rollback().await?;
        let ledger = loaded?.ledger;
        let head = Timestamp::from_microsecond(ledger.head.at).unwrap_or(now);
        Ok(ledger.decide(asked, now.max(head)))
    }
}
