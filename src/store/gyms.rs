//! Gyms. Their contacts are persons, read apart.

use super::{Store, StoreError, column, number, parse};
use crate::rules::people::Gym;
use std::collections::BTreeSet;

/// Gyms read at a time.
const PAGE: u32 = 1_000;

impl Store {
    /// The gym called `slug`.
    pub async fn find_gym(&self, competition: i64, slug: &str) -> Result<Option<Gym>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, optval String: "SELECT body FROM gyms WHERE competition = $1 AND slug = $2", competition, slug)?
            .map(|body| parse("gyms", &body))
            .transpose()
    }

    /// Whether a gym came or changed after log position `after`.
    pub async fn has_gym_changed(&self, competition: i64, after: u64) -> Result<bool, StoreError> {
        let mut conn = self.read().await?;
        let changed = db!(&mut conn, optval i64:
            "SELECT seq FROM records WHERE competition = $1 AND action = 'gym_set' AND seq > $2 ORDER BY seq LIMIT 1",
            competition, column(after))?;
        Ok(changed.is_some())
    }

    /// Number and slug of every competition that somebody with this address is kept in.
    pub async fn list_competitions_with(&self, folded_email: &str) -> Result<Vec<(i64, String)>, StoreError> {
        let mut conn = self.read().await?;
        let found = db!(&mut conn, all (i64, String):
            "SELECT DISTINCT c.id, c.slug FROM persons p JOIN competitions c ON c.id = p.competition WHERE p.folded_email = $1 AND p.folded_email <> '' ORDER BY c.id",
            folded_email)?;
        Ok(found)
    }

    /// The gyms of a competition whose contact has this address.
    pub async fn list_contacts_under(&self, competition: i64, folded_email: &str) -> Result<Vec<String>, StoreError> {
        let mut conn = self.read().await?;
        let under = db!(&mut conn, vals i64:
            "SELECT id FROM persons WHERE competition = $1 AND folded_email = $2 AND folded_email <> ''",
            competition, folded_email)?;
        drop(conn);
        let ids = under.into_iter().map(|id| number("persons", id)).collect::<Result<BTreeSet<u64>, _>>()?;
        let (mut found, mut after) = (Vec::new(), String::new());
        while !ids.is_empty() {
            let gyms = self.list_gyms(competition, &after, PAGE).await?;
            let Some(last) = gyms.last() else { break };
            after.clone_from(&last.slug);
            let theirs = |gym: &Gym| gym.contact.as_ref().is_some_and(|contact| ids.contains(&contact.id));
            found.extend(gyms.into_iter().filter(theirs).map(|gym| gym.slug));
        }
        Ok(found)
    }

    /// Gyms by slug, after `after` (empty: from the start).
    pub async fn list_gyms(&self, competition: i64, after: &str, limit: u32) -> Result<Vec<Gym>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String: "SELECT body FROM gyms WHERE competition = $1 AND slug > $2 ORDER BY slug LIMIT $3",
            competition, after, i64::from(limit))?
        .iter()
        .map(|body| parse("gyms", body))
        .collect()
    }
}
