//! Judges: code, gym and validity. Their names are persons, read apart.

use super::db::{Bulk, Val};
use super::{Store, StoreError, parse};
use crate::rules::access::Permit;
use crate::rules::people::Judge;
use std::collections::BTreeSet;

bulk!(BY_CODE = Bulk::list("SELECT code FROM judges WHERE competition = $1 AND code IN (", 1, ")"));
bulk!(
    BY_NAME = Bulk::list(
        "SELECT p.folded_name, j.code FROM persons p JOIN judges j ON j.competition = p.competition AND j.person = p.id WHERE p.competition = $1 AND p.folded_name IN (",
        1,
        ")"
    )
);

impl Store {
    /// The judge with this code.
    pub async fn find_judge(&self, competition: i64, code: &str) -> Result<Option<Judge>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, optval String: "SELECT body FROM judges WHERE competition = $1 AND code = $2", competition, code)?
            .map(|body| parse("judges", &body))
            .transpose()
    }

    /// Those of these codes that are judges'.
    pub async fn known_codes(&self, competition: i64, codes: &BTreeSet<&str>) -> Result<BTreeSet<String>, StoreError> {
        let mut conn = self.read().await?;
        let members = codes.iter().map(|code| Val::Text((*code).to_owned())).collect();
        let rows: Vec<(String,)> = BY_CODE.read(&mut conn, &[Val::Int(competition)], members).await?;
        Ok(rows.into_iter().map(|(code,)| code).collect())
    }

    /// Folded name and code of the judges who have one of these folded names.
    pub async fn judges_named(
        &self,
        _permit: &Permit,
        competition: i64,
        names: &BTreeSet<String>,
    ) -> Result<Vec<(String, String)>, StoreError> {
        let mut conn = self.read().await?;
        let members = names.iter().map(|name| Val::Text(name.clone())).collect();
        Ok(BY_NAME.read(&mut conn, &[Val::Int(competition)], members).await?)
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
