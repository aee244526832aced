//! Codes with which athletes claim their entries: an argon2id hash a bib. Outside the log.

use super::db::{Bulk, Val, rows};
use super::{Store, StoreError, micros, number};
use crate::rules::access::Permit;
use jiff::Timestamp;
use std::collections::HashMap;

bulk!(
    KEEP = Bulk::rows(
        "INSERT INTO claims (competition, bib, hash, created_at) VALUES ",
        4,
        " ON CONFLICT (competition, bib) DO UPDATE SET hash = excluded.hash, created_at = excluded.created_at"
    )
);

impl Store {
    /// Keeps hashes of codes, in the place of older ones of the same bibs.
    pub async fn keep_claims(
        &self,
        _permit: &Permit,
        competition: i64,
        hashes: Vec<(u32, String)>,
        now: Timestamp,
    ) -> Result<(), StoreError> {
        let row = |(bib, hash): (u32, String)| {
            vec![Val::Int(competition), Val::Int(bib.into()), Val::Text(hash), Val::Int(micros(now))]
        };
        let mut tx = self.begin().await?;
        KEEP.write(&mut tx, rows(hashes.into_iter().map(row))).await?;
        tx.commit().await
    }

    /// When each code that is open was made, by bib.
    pub async fn list_claims(&self, _permit: &Permit, competition: i64) -> Result<HashMap<u32, Timestamp>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all (i64, i64): "SELECT bib, created_at FROM claims WHERE competition = $1", competition)?
            .into_iter()
            .map(|(bib, at)| Ok((number("claims", bib)?, super::instant("claims", at)?)))
            .collect()
    }

    /// The hash of the code of a bib.
    pub async fn find_claim(&self, competition: i64, bib: u32) -> Result<Option<String>, StoreError> {
        let mut conn = self.read().await?;
        Ok(
            db!(&mut conn, optval String: "SELECT hash FROM claims WHERE competition = $1 AND bib = $2", competition, i64::from(bib))?,
        )
    }

    /// Takes the code of a bib away.
    pub async fn end_claim(&self, competition: i64, bib: u32) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "DELETE FROM claims WHERE competition = $1 AND bib = $2", competition, i64::from(bib))?;
        tx.commit().await
    }
}
