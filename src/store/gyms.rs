//! Gyms. Their contacts are persons, read apart.

use super::{Store, StoreError, column, parse};
use crate::rules::people::Gym;

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
