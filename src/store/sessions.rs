//! Sessions: the SHA-256 of a cookie's value, whose it is, and until when.

use super::db::Tx;
use super::{Store, StoreError, instant, micros};
use jiff::Timestamp;

/// A session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// Number, to end it by.
    pub id: i64,
    /// Whose.
    pub account: i64,
    /// What it was started from, for its owner to recognise.
    pub device: String,
    /// When it began.
    pub created_at: Timestamp,
    /// When it was last used, as far as that was written down.
    pub seen_at: Timestamp,
    /// When it ends at the latest.
    pub expires_at: Timestamp,
    /// Whether it was begun by a one-time link, and has set no password since.
    pub by_link: bool,
}

type Row = (i64, i64, String, i64, i64, i64, i64);

fn session((id, account, device, created_at, seen_at, expires_at, by_link): Row) -> Result<Session, StoreError> {
    Ok(Session {
        id,
        account,
        device,
        created_at: instant("sessions", created_at)?,
        seen_at: instant("sessions", seen_at)?,
        expires_at: instant("sessions", expires_at)?,
        by_link: by_link != 0,
    })
}

/// Begins a session; those that have ended are swept away.
pub(super) async fn add(
    tx: &mut Tx,
    hash: &[u8; 32],
    account: i64,
    device: &str,
    by_link: bool,
    now: Timestamp,
    expires: Timestamp,
) -> Result<i64, StoreError> {
    db!(&mut *tx, exec: "DELETE FROM sessions WHERE expires_at <= $1", micros(now))?;
    Ok(db!(&mut *tx, val i64:
        "INSERT INTO sessions (hash, account, device, created_at, seen_at, expires_at, by_link) VALUES ($1, $2, $3, $4, $4, $5, $6) RETURNING id",
        hash.as_slice(), account, device, micros(now), micros(expires), i64::from(by_link))?)
}

impl Store {
    /// Notes that it was used, and until when it goes now.
    pub async fn touch_session(&self, id: i64, now: Timestamp, expires: Timestamp) -> Result<(), StoreError> {
        // One at a time, whatever keeps it: the next request of a session that is passed over tries again.
        let Ok(_turn) = self.inner.touches.try_lock() else { return Ok(()) };
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "UPDATE sessions SET seen_at = $1, expires_at = $2 WHERE id = $3", micros(now), micros(expires), id)?;
        tx.commit().await?;
        Ok(())
    }

    /// The session with this number of an account.
    pub async fn find_own_session(&self, account: i64, id: i64) -> Result<Option<Session>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row:
            "SELECT id, account, device, created_at, seen_at, expires_at, by_link FROM sessions WHERE id = $1 AND account = $2",
            id, account)?
        .map(session)
        .transpose()
    }

    /// Ends a session of an account. False: there was none.
    pub async fn end_session(&self, account: i64, id: i64) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        let n = db!(&mut tx, exec: "DELETE FROM sessions WHERE id = $1 AND account = $2", id, account)?;
        tx.commit().await?;
        Ok(n > 0)
    }

    /// Ends all sessions of an account but `keep`.
    pub async fn end_sessions_of(&self, account: i64, keep: Option<i64>) -> Result<u64, StoreError> {
        let mut tx = self.begin().await?;
        let n = db!(&mut tx, exec: "DELETE FROM sessions WHERE account = $1 AND id <> $2", account, keep.unwrap_or(0))?;
        tx.commit().await?;
        Ok(n)
    }

    /// The sessions of an account that have not ended by `now`, last used first.
    pub async fn list_sessions(&self, account: i64, now: Timestamp) -> Result<Vec<Session>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT id, account, device, created_at, seen_at, expires_at, by_link FROM sessions WHERE account = $1 AND expires_at > $2 ORDER BY seen_at DESC, id DESC",
            account, micros(now))?
        .into_iter()
        .map(session)
        .collect()
    }
}
