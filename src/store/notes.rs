//! Free text that stands apart from the log: reasons, notes, links to videos.

use super::db::{Bulk, Val};
use super::{Store, StoreError, column, number};
use crate::rules::access::Permit;
use std::collections::HashMap;

bulk!(NOTES = Bulk::list("SELECT id, text, public FROM notes WHERE competition = $1 AND id IN (", 1, ")"));

impl Store {
    /// Those of these notes that everybody may read (the reasons of rulings and of changed
    /// files). Erased ones are left out.
    pub async fn list_public_notes(&self, competition: i64, ids: &[u64]) -> Result<HashMap<u64, String>, StoreError> {
        self.notes(competition, ids, false).await
    }

    /// All of these notes. Erased ones are left out.
    pub async fn list_notes(
        &self,
        _permit: &Permit,
        competition: i64,
        ids: &[u64],
    ) -> Result<HashMap<u64, String>, StoreError> {
        self.notes(competition, ids, true).await
    }

    async fn notes(&self, competition: i64, ids: &[u64], all: bool) -> Result<HashMap<u64, String>, StoreError> {
        let mut conn = self.read().await?;
        let members = ids.iter().map(|&id| Val::Int(column(id))).collect();
        let rows: Vec<(i64, String, bool)> = NOTES.read(&mut conn, &[Val::Int(competition)], members).await?;
        rows.into_iter()
            .filter(|(_, _, public)| all || *public)
            .map(|(id, text, _)| Ok((number("notes", id)?, text)))
            .collect()
    }
}
