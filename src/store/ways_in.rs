//! What is used once to get in, and what one gets for it: both or neither. A link or a code that is
//! used up for nothing, because the database went away in between, would be gone for good.

use super::db::Tx;
use super::{Store, StoreError, accounts, grants, micros, sessions};
use crate::rules::access::Grant;
use jiff::Timestamp;

/// A session that is to begin.
#[derive(Clone, Copy, Debug)]
pub struct NewSession<'a> {
    /// SHA-256 of its secret.
    pub hash: &'a [u8; 32],
    /// What it is started from.
    pub device: &'a str,
    /// When it ends.
    pub expires: Timestamp,
}

/// Whose an entry is to be.
#[derive(Clone, Copy, Debug)]
pub enum Owner<'a> {
    /// This account's.
    Known {
        /// Number.
        account: i64,
        /// The hash that a password was found right by, where it was: it has to be the account's still.
        verified: Option<&'a str>,
    },
    /// A new one's, whose address nobody has vouched for.
    New {
        /// As it is written.
        email: &'a str,
        /// As it is compared.
        folded_email: &'a str,
        /// Of its password.
        password_hash: &'a str,
    },
}

/// A code that was right when it was looked at.
#[derive(Clone, Copy, Debug)]
pub struct UsedClaim<'a> {
    /// Number.
    pub competition: i64,
    /// Of the entry.
    pub bib: u32,
    /// Of the code.
    pub hash: &'a str,
}

/// Whether an account's password has this hash.
async fn holds(tx: &mut Tx, account: i64, hash: &str) -> Result<bool, StoreError> {
    let now = db!(tx, optval Option<String>: "SELECT password_hash FROM accounts WHERE id = $1", account)?;
    Ok(now.flatten().as_deref() == Some(hash))
}

impl Store {
    /// Uses a link up and begins a session of its account; the account, once: afterwards, and after the
    /// link's end, `None`, unless the very session that it began since `again` is there still: then the
    /// answer was lost, and is given once more. From an account whose address nobody had vouched for, every
    /// other way in is taken away: who has the link is its owner.
    pub async fn sign_in_by_link(
        &self,
        link: &[u8; 32],
        session: NewSession<'_>,
        now: Timestamp,
        again: Timestamp,
    ) -> Result<Option<i64>, StoreError> {
        let mut tx = self.begin().await?;
        let account = db!(&mut tx, optval i64: "DELETE FROM links WHERE hash = $1 AND expires_at > $2 RETURNING account", link.as_slice(), micros(now))?;
        if let Some(account) = account {
            let confirmed = db!(&mut tx, val i64: "SELECT confirmed FROM accounts WHERE id = $1", account)?;
            if confirmed == 0 {
                accounts::take_over(&mut tx, account).await?;
            }
            sessions::add(&mut tx, session.hash, account, session.device, true, now, session.expires).await?;
            tx.commit().await?;
            return Ok(Some(account));
        }
        let begun = db!(&mut tx, optval i64: "SELECT account FROM sessions WHERE hash = $1 AND by_link = 1 AND created_at >= $2 AND expires_at > $3", session.hash.as_slice(), micros(again), micros(now))?;
        tx.commit().await?;
        Ok(begun)
    }

    /// Begins a session of an account whose password was found right by the hash `verified`; false: it is
    /// another one by now, for its owner has changed it, or came by a link. `anew`: the same password,
    /// hashed at today's cost.
    pub async fn sign_in_by_password(
        &self,
        account: i64,
        verified: &str,
        anew: Option<&str>,
        session: NewSession<'_>,
        now: Timestamp,
    ) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        if !holds(&mut tx, account, verified).await? {
            tx.rollback().await?;
            return Ok(false);
        }
        if let Some(anew) = anew {
            db!(&mut tx, exec: "UPDATE accounts SET password_hash = $1 WHERE id = $2", anew, account)?;
        }
        sessions::add(&mut tx, session.hash, account, session.device, false, now, session.expires).await?;
        tx.commit().await?;
        Ok(true)
    }

    /// Uses a code up, gives its entry to an account, there or new, and begins a session where one is
    /// wanted; the account. `None`: the code was used, or replaced, meanwhile. [`StoreError::Taken`]: the
    /// new account's address is known, or the one that is there has another password by now.
    pub async fn use_claim(
        &self,
        claim: UsedClaim<'_>,
        owner: Owner<'_>,
        grant: &Grant,
        session: Option<NewSession<'_>>,
        now: Timestamp,
    ) -> Result<Option<i64>, StoreError> {
        let mut tx = self.begin().await?;
        let used = db!(&mut tx, exec: "DELETE FROM claims WHERE competition = $1 AND bib = $2 AND hash = $3", claim.competition, i64::from(claim.bib), claim.hash)?;
        if used == 0 {
            tx.rollback().await?;
            return Ok(None);
        }
        let account = match owner {
            Owner::Known { account, verified } => {
                if let Some(verified) = verified
                    && !holds(&mut tx, account, verified).await?
                {
                    tx.rollback().await?;
                    return Err(StoreError::Taken);
                }
                account
            }
            Owner::New { email, folded_email, password_hash } => {
                accounts::add_unconfirmed(&mut tx, email, folded_email, password_hash, now).await?
            }
        };
        grants::add(&mut tx, account, grant, now).await?;
        if let Some(session) = session {
            sessions::add(&mut tx, session.hash, account, session.device, false, now, session.expires).await?;
        }
        tx.commit().await?;
        Ok(Some(account))
    }

    /// Sets or takes away a password, and ends what was open by the one before: links, and all sessions
    /// but `keep`, which is no longer one that was just begun by a link.
    pub async fn change_password(
        &self,
        account: i64,
        password_hash: Option<&str>,
        keep: Option<i64>,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "UPDATE accounts SET password_hash = $1 WHERE id = $2", password_hash, account)?;
        db!(&mut tx, exec: "DELETE FROM links WHERE account = $1", account)?;
        db!(&mut tx, exec: "DELETE FROM sessions WHERE account = $1 AND id <> $2", account, keep.unwrap_or(0))?;
        db!(&mut tx, exec: "UPDATE sessions SET by_link = 0 WHERE id = $1 AND account = $2", keep.unwrap_or(0), account)?;
        tx.commit().await
    }
}
