//! How often something was tried of late, counted for all processes on one database. Outside the logs.
//!
//! Of each key one instant is kept: when its count has recovered (GCRA's theoretical arrival time).
//! What a key stands for, and how much is allowed, is the caller's.

use super::db::AsEx;
use super::{Store, StoreError, instant, micros};
use jiff::{SignedDuration, Timestamp};

/// Something that may be done so often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// What is counted: a SHA-256.
    pub key: [u8; 32],
    /// So many times in a row, at least once …
    pub burst: u32,
    /// … and then once in this time.
    pub period: SignedDuration,
}

impl Limit {
    /// When the count of this key has recovered once `tried` is counted in; or how long to wait for
    /// that, from `now`. `recovers`: as it is kept; beyond the whole burst only where a clock was put
    /// back, and then it counts as that.
    fn after(&self, recovers: Option<Timestamp>, now: Timestamp) -> Result<Timestamp, SignedDuration> {
        let full = now + self.period * i32::try_from(self.burst).unwrap_or(i32::MAX);
        let next = recovers.unwrap_or(now).clamp(now, full) + self.period;
        if next <= full { Ok(next) } else { Err(next.duration_since(full)) }
    }
}

impl Store {
    /// How long the next try has to wait, as far as one sees without counting it.
    pub async fn find_wait(&self, limits: &[Limit], now: Timestamp) -> Result<Option<SignedDuration>, StoreError> {
        Ok(look(&mut self.read().await?, limits, now).await?.err())
    }

    /// Counts a try against all of these limits, or, where one is used up, against none: then how
    /// long to wait.
    pub async fn count_try(&self, limits: &[Limit], now: Timestamp) -> Result<Option<SignedDuration>, StoreError> {
        let mut tx = self.begin().await?;
        let counted = match look(&mut tx, limits, now).await? {
            Ok(counted) => counted,
            Err(wait) => {
                tx.rollback().await?;
                return Ok(Some(wait));
            }
        };
        db!(&mut tx, exec: "DELETE FROM throttles WHERE recovers_at <= $1", micros(now))?;
        for (limit, recovers) in limits.iter().zip(counted) {
            db!(&mut tx, exec: "INSERT INTO throttles (key, recovers_at) VALUES ($1, $2) ON CONFLICT (key) DO UPDATE SET recovers_at = excluded.recovers_at",
                limit.key.as_slice(), micros(recovers))?;
        }
        tx.commit().await?;
        Ok(None)
    }
}

/// What each count would be after a try, or the wait for the first that is used up.
async fn look(
    on: &mut impl AsEx,
    limits: &[Limit],
    now: Timestamp,
) -> Result<Result<Vec<Timestamp>, SignedDuration>, StoreError> {
    let mut counted = Vec::with_capacity(limits.len());
    for limit in limits {
        let kept = db!(&mut *on, optval i64: "SELECT recovers_at FROM throttles WHERE key = $1", limit.key.as_slice())?;
        match limit.after(kept.map(|at| instant("throttles", at)).transpose()?, now) {
            Ok(recovers) => counted.push(recovers),
            Err(wait) => return Ok(Err(wait)),
        }
    }
    Ok(Ok(counted))
}
