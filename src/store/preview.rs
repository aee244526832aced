//! What the rules would decide about a change in the state as it is, read in one snapshot. Nothing
//! is written, and the writer is not kept waiting.

use super::load::{Wanted, load};
use super::{Answered, Store, StoreError, aside};
use crate::rules::fault::Fault;
use crate::rules::ledger::{Asked, Decided, Ledger, Refusal};
use jiff::Timestamp;

impl Store {
    /// Decides a change as the writer would at `now`, and forgets the decision's effects.
    pub async fn preview(&self, asked: &Asked, now: Timestamp) -> Result<Result<Decided, Refusal>, StoreError> {
        let (ledger, now) = self.as_it_is(std::slice::from_ref(asked), &asked.competition, now).await?;
        Ok(ledger.decide(asked, now))
    }

    /// What the writer would answer to a change at `now`: looking keeps nobody from writing.
    pub async fn try_out(&self, asked: &Asked, now: Timestamp) -> Result<Result<Answered, Refusal>, StoreError> {
        let (ledger, now) = self.as_it_is(std::slice::from_ref(asked), &asked.competition, now).await?;
        Ok(aside(|| ledger.decide(asked, now)).map(|Decided { outcome, warnings, .. }| Answered {
            outcome,
            warnings,
            seq: ledger.head.seq,
            attempts: Vec::new(),
            entry: None,
            replayed: false,
        }))
    }

    /// Everything that is wrong with each of these changes of one competition, by itself.
    pub async fn list_faults(
        &self,
        competition: &str,
        asked: &[Asked],
        now: Timestamp,
    ) -> Result<Vec<Vec<Fault>>, StoreError> {
        let (ledger, now) = self.as_it_is(asked, competition, now).await?;
        Ok(aside(|| asked.iter().map(|asked| ledger.faults(asked, now)).collect()))
    }

    /// The part of a ledger that these changes touch, and the instant they would be decided at.
    async fn as_it_is(
        &self,
        asked: &[Asked],
        competition: &str,
        now: Timestamp,
    ) -> Result<(Ledger, Timestamp), StoreError> {
        let mut wanted = Wanted::default();
        for asked in asked {
            wanted.add(asked.touches());
        }
        let mut tx = self.snapshot().await?;
        let loaded = load(&mut tx, &self.inner, competition, &wanted).await;
        tx.rollback().await?;
        let ledger = loaded?.ledger;
        let head = Timestamp::from_microsecond(ledger.head.at).unwrap_or(now);
        Ok((ledger, now.max(head)))
    }
}
