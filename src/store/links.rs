//! One-time sign-in links: the SHA-256 of each, and whose it is. Using one takes it away.

use super::db::Tx;
use super::{Store, StoreError, micros};
use jiff::Timestamp;

/// Keeps a link's hash; those that have ended are swept away.
pub(super) async fn add(
    tx: &mut Tx,
    hash: &[u8; 32],
    account: i64,
    now: Timestamp,
    expires: Timestamp,
) -> Result<(), StoreError> {
    db!(&mut *tx, exec: "DELETE FROM links WHERE expires_at <= $1", micros(now))?;
    db!(&mut *tx, exec: "INSERT INTO links (hash, account, created_at, expires_at) VALUES ($1, $2, $3, $4)",
        hash.as_slice(), account, micros(now), micros(expires))?;
    Ok(())
}

impl Store {
    /// Keeps a link's hash; those that have ended are swept away.
    pub async fn add_link(
        &self,
        hash: &[u8; 32],
        account: i64,
        now: Timestamp,
        expires: Timestamp,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add(&mut tx, hash, account, now, expires).await?;
        tx.commit().await
    }
}
