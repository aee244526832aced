//! Bearer tokens: the SHA-256 of each, whose it is, and until when.

use super::{Store, StoreError, instant, micros};
use jiff::Timestamp;

/// A token, without its secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// Number, to revoke it by.
    pub id: i64,
    /// Whose.
    pub account: i64,
    /// What its owner calls it.
    pub name: String,
    /// When it was issued.
    pub created_at: Timestamp,
    /// When it ends.
    pub expires_at: Timestamp,
    /// When it was revoked.
    pub revoked_at: Option<Timestamp>,
}

type Row = (i64, i64, String, i64, i64, Option<i64>);

fn token((id, account, name, created_at, expires_at, revoked_at): Row) -> Result<Token, StoreError> {
    Ok(Token {
        id,
        account,
        name,
        created_at: instant("tokens", created_at)?,
        expires_at: instant("tokens", expires_at)?,
        revoked_at: revoked_at.map(|at| instant("tokens", at)).transpose()?,
    })
}

impl Store {
    /// Keeps a token's hash; its number.
    pub async fn add_token(
        &self,
        hash: &[u8; 32],
        account: i64,
        name: &str,
        now: Timestamp,
        expires: Timestamp,
    ) -> Result<i64, StoreError> {
        let mut tx = self.begin().await?;
        let id = db!(&mut tx, val i64:
            "INSERT INTO tokens (hash, account, name, created_at, expires_at) VALUES ($1, $2, $3, $4, $5) RETURNING id",
            hash.as_slice(), account, name, micros(now), micros(expires))?;
        tx.commit().await?;
        Ok(id)
    }

    /// The token with this number, whatever its state.
    pub async fn find_token_by_id(&self, id: i64) -> Result<Option<Token>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row: "SELECT id, account, name, created_at, expires_at, revoked_at FROM tokens WHERE id = $1", id)?.map(token).transpose()
    }

    /// Revokes a token. False: there is none, or it was revoked before.
    pub async fn revoke_token(&self, id: i64, now: Timestamp) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        let n = db!(&mut tx, exec: "UPDATE tokens SET revoked_at = $1 WHERE id = $2 AND revoked_at IS NULL", micros(now), id)?;
        tx.commit().await?;
        Ok(n > 0)
    }

    /// The tokens of an account, newest first.
    pub async fn list_tokens(&self, account: i64) -> Result<Vec<Token>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row: "SELECT id, account, name, created_at, expires_at, revoked_at FROM tokens WHERE account = $1 ORDER BY id DESC", account)?
            .into_iter()
            .map(token)
            .collect()
    }
}
