//! Judges: code, gym and validity. Their names are persons, read apart.

use super::{Store, StoreError, parse};
use crate::rules::people::Judge;

impl Store {
    /// The judge with this code.
    pub async fn find_judge(&self, competition: i64, code: &str) -> Result<Option<Judge>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, optval String: "SELECT body FROM judges WHERE competition = $1 AND code = $2", competition, code)?
            .map(|body| parse("judges", &body))
            .transpose()
    }

    /// Judges by code, after `after` (empty: from the start), of one gym or of all.
    pub async fn list_judges(
        &self,
        competition: i64,
        gym: Option<&str>,
        after: &str,
        limit: u32,
    ) -> Result<Vec<Judge>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String:
            "SELECT body FROM judges WHERE competition = $1 AND code > $2 AND (CAST($3 AS TEXT) IS NULL OR gym = $3) ORDER BY code LIMIT $4",
            competition, after, gym, i64::from(limit))?
        .iter()
        .map(|body| parse("judges", body))
        .collect()
    }
}
