//! Accounts: an e-mail address and, perhaps, a password hash. Outside the competitions' logs.
//!
//! Folding of addresses and hashing of passwords is the caller's.

use super::db::Tx;
use super::grants::{self, Alone};
use super::{Store, StoreError, instant, letters, links, micros};
use crate::rules::access::Grant;
use jiff::Timestamp;

/// An account.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Number.
    pub id: i64,
    /// As the person writes it.
    pub email: String,
    /// Compared by.
    pub folded_email: String,
    /// PHC string; `None`: signs in by a link only.
    pub password_hash: Option<String>,
    /// When.
    pub created_at: Timestamp,
    /// Whether the address is known to be its owner's.
    pub confirmed: bool,
}

/// An account that is to be added.
#[derive(Clone, Copy, Debug)]
pub struct NewAccount<'a> {
    /// As the person writes it.
    pub email: &'a str,
    /// Compared by.
    pub folded_email: &'a str,
    /// PHC string, where it gets a password.
    pub password_hash: Option<&'a str>,
    /// What it may be.
    pub grants: &'a [Grant],
    /// SHA-256 of a link's secret, and when the link ends.
    pub link: Option<(&'a [u8; 32], Timestamp)>,
}

/// What became of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Added {
    /// It is there and has the roles.
    Done {
        /// Number.
        account: i64,
        /// False: it was there already.
        created: bool,
        /// Whether the link holds.
        linked: bool,
    },
    /// It was there, and was not to be taken over.
    OutOfReach,
}

type Row = (i64, String, String, Option<String>, i64, i64);

fn account((id, email, folded_email, password_hash, created_at, confirmed): Row) -> Result<Account, StoreError> {
    let created_at = instant("accounts", created_at)?;
    Ok(Account { id, email, folded_email, password_hash, created_at, confirmed: confirmed != 0 })
}

/// Adds an account whose address nobody has vouched for. [`StoreError::Taken`] where it is known.
pub(super) async fn add_unconfirmed(
    tx: &mut Tx,
    email: &str,
    folded_email: &str,
    password_hash: &str,
    now: Timestamp,
) -> Result<i64, StoreError> {
    let id = db!(&mut *tx, optval i64:
        "INSERT INTO accounts (email, folded_email, password_hash, created_at, confirmed) VALUES ($1, $2, $3, $4, 0) ON CONFLICT (folded_email) DO NOTHING RETURNING id",
        email, folded_email, password_hash, micros(now))?;
    id.ok_or(StoreError::Taken)
}

/// Takes every way in away, and vouches for the address.
pub(super) async fn take_over(tx: &mut Tx, id: i64) -> Result<(), StoreError> {
    db!(&mut *tx, exec: "DELETE FROM sessions WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM tokens WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM links WHERE account = $1", id)?;
    db!(&mut *tx, exec: "UPDATE accounts SET password_hash = NULL, confirmed = 1 WHERE id = $1", id)?;
    Ok(())
}

/// Takes everything away but the number, and with the address what became of letters to it.
async fn erase(tx: &mut Tx, id: i64) -> Result<(), StoreError> {
    letters::forget_of(tx, id).await?;
    db!(&mut *tx, exec: "DELETE FROM sessions WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM tokens WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM links WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM grants WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM staff_ended WHERE account = $1", id)?;
    db!(&mut *tx, exec: "DELETE FROM idempotency WHERE account = $1", id)?;
    // No address is written so: nobody signs in by it, and nobody can be given it.
    let nobody = format!("erased {id}");
    db!(&mut *tx, exec: "UPDATE accounts SET email = $1, folded_email = $1, password_hash = NULL WHERE id = $2", nobody, id)?;
    Ok(())
}

/// The same, where it has no role; else false.
pub(super) async fn erase_without_grants(tx: &mut Tx, id: i64) -> Result<bool, StoreError> {
    let idle = db!(&mut *tx, val i64: "SELECT COUNT(*) FROM grants WHERE account = $1", id)? == 0;
    if idle {
        erase(tx, id).await?;
    }
    Ok(idle)
}

impl Store {
    /// Adds an account with its roles, or gives the one that has the address more of them; and keeps the
    /// link for who could not get in without it: all of it or nothing. `reach`: whether one that is
    /// there, whose address nobody has vouched for, may be taken over, which takes every way in away
    /// from whoever made it.
    pub async fn add_account(
        &self,
        new: NewAccount<'_>,
        now: Timestamp,
        reach: impl FnOnce(&[Grant]) -> bool + Send,
    ) -> Result<Added, StoreError> {
        let mut tx = self.begin().await?;
        let fresh = db!(&mut tx, optval i64:
            "INSERT INTO accounts (email, folded_email, password_hash, created_at) VALUES ($1, $2, $3, $4) ON CONFLICT (folded_email) DO NOTHING RETURNING id",
            new.email, new.folded_email, new.password_hash, micros(now))?;
        let (account, taken_over) = if let Some(account) = fresh {
            (account, false)
        } else {
            let (account, confirmed) = db!(&mut tx, opt (i64, i64): "SELECT id, confirmed FROM accounts WHERE folded_email = $1", new.folded_email)?
                .ok_or_else(|| StoreError::unreadable("accounts", "an address that is taken is nobody's"))?;
            if confirmed == 0 {
                let held = grants::of(&mut tx, account).await?;
                if !reach(&held.into_iter().map(|granted| granted.grant).collect::<Vec<_>>()) {
                    tx.rollback().await?;
                    return Ok(Added::OutOfReach);
                }
                take_over(&mut tx, account).await?;
            }
            (account, confirmed == 0)
        };
        for grant in new.grants {
            grants::add(&mut tx, account, grant, now).await?;
        }
        let link = new.link.filter(|_| taken_over || (fresh.is_some() && new.password_hash.is_none()));
        if let Some((hash, expires)) = link {
            links::add(&mut tx, hash, account, now, expires).await?;
        }
        tx.commit().await?;
        Ok(Added::Done { account, created: fresh.is_some(), linked: link.is_some() })
    }

    /// The account with this folded address.
    pub async fn find_account_by_email(&self, folded_email: &str) -> Result<Option<Account>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row: "SELECT id, email, folded_email, password_hash, created_at, confirmed FROM accounts WHERE folded_email = $1", folded_email)?
            .map(account)
            .transpose()
    }

    /// The account with this number.
    pub async fn find_account(&self, id: i64) -> Result<Option<Account>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row: "SELECT id, email, folded_email, password_hash, created_at, confirmed FROM accounts WHERE id = $1", id)?.map(account).transpose()
    }

    /// Keeps a link's hash for an account of which `may` says, of it and its roles as they are then, that
    /// it may be given one: the account, or what was said. `None`: there is no such account.
    pub async fn relink<E>(
        &self,
        id: i64,
        hash: &[u8; 32],
        now: Timestamp,
        expires: Timestamp,
        may: impl FnOnce(&Account, &[Grant]) -> Result<(), E> + Send,
    ) -> Result<Option<Result<Account, E>>, StoreError> {
        let mut tx = self.begin().await?;
        let found = db!(&mut tx, opt Row: "SELECT id, email, folded_email, password_hash, created_at, confirmed FROM accounts WHERE id = $1", id)?;
        let Some(found) = found.map(account).transpose()? else {
            tx.rollback().await?;
            return Ok(None);
        };
        let held: Vec<Grant> = grants::of(&mut tx, id).await?.into_iter().map(|granted| granted.grant).collect();
        if let Err(why) = may(&found, &held) {
            tx.rollback().await?;
            return Ok(Some(Err(why)));
        }
        links::add(&mut tx, hash, id, now, expires).await?;
        tx.commit().await?;
        Ok(Some(Ok(found)))
    }

    /// Takes everything of an account away but its number, which the logs name: its address, its
    /// password, its roles, sessions, tokens and links. Not where nobody else organises something: then
    /// what.
    pub async fn erase_account(&self, id: i64) -> Result<Result<(), Alone>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(alone) = grants::alone(&mut tx, id).await?.into_iter().next() {
            tx.rollback().await?;
            return Ok(Err(alone));
        }
        erase(&mut tx, id).await?;
        tx.commit().await?;
        Ok(Ok(()))
    }

    /// The same with an account that has no role; false: it has one.
    pub async fn erase_account_without_grants(&self, id: i64) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        let erased = erase_without_grants(&mut tx, id).await?;
        tx.commit().await?;
        Ok(erased)
    }

    /// Takes every way in and every role away from an account, and leaves its address. `keep_one`: not
    /// from the last one that administers the service; then false.
    pub async fn close_account(&self, id: i64, keep_one: bool, now: Timestamp) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        if keep_one && grants::alone(&mut tx, id).await?.contains(&Alone::Service) {
            tx.rollback().await?;
            return Ok(false);
        }
        db!(&mut tx, exec: "DELETE FROM sessions WHERE account = $1", id)?;
        db!(&mut tx, exec: "DELETE FROM links WHERE account = $1", id)?;
        grants::remember_staff(&mut tx, id, None).await?;
        db!(&mut tx, exec: "DELETE FROM grants WHERE account = $1", id)?;
        db!(&mut tx, exec: "UPDATE tokens SET revoked_at = $1 WHERE account = $2 AND revoked_at IS NULL", micros(now), id)?;
        db!(&mut tx, exec: "UPDATE accounts SET password_hash = NULL WHERE id = $1", id)?;
        tx.commit().await?;
        Ok(true)
    }

    /// Accounts in order of their numbers, after `after`.
    pub async fn list_accounts(&self, after: i64, limit: u32) -> Result<Vec<Account>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row: "SELECT id, email, folded_email, password_hash, created_at, confirmed FROM accounts WHERE id > $1 ORDER BY id LIMIT $2",
            after, i64::from(limit))?
        .into_iter()
        .map(account)
        .collect()
    }
}
