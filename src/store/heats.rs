//! Heats: a gym's plan for a workout. Outside the log, as it is planning and no result; only bibs
//! and judges' codes stand in it.

use super::{Store, StoreError, column, micros, number, parse};
use crate::rules::access::Permit;
use crate::rules::heats::Plan;
use jiff::Timestamp;

impl Store {
    /// A gym's heats in a workout, and how often they were changed.
    pub async fn find_heats(
        &self,
        _permit: &Permit,
        competition: i64,
        gym: &str,
        workout: &str,
    ) -> Result<Option<(u64, Plan)>, StoreError> {
        self.heats(competition, gym, workout).await
    }

    /// The gyms whose heats in a workout give a judge a lane.
    pub async fn list_heats_of_judge(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        judge: &str,
    ) -> Result<Vec<String>, StoreError> {
        let mut conn = self.read().await?;
        let lane = format!("%\"judge\":{}%", super::within(&super::json(&judge)));
        let gyms = db!(&mut conn, vals String:
            "SELECT gym FROM heats WHERE competition = $1 AND workout = $2 AND body LIKE $3 ESCAPE '!' ORDER BY gym",
            competition, workout, lane)?;
        Ok(gyms)
    }

    /// The places of the heats that have begun by `now`, for everybody: who starts later is for the
    /// gym's own people, as it says where somebody will be.
    pub async fn list_begun_heats(
        &self,
        competition: i64,
        gym: &str,
        workout: &str,
        now: Timestamp,
    ) -> Result<Option<Plan>, StoreError> {
        let Some((_, mut plan)) = self.heats(competition, gym, workout).await? else { return Ok(None) };
        let settings = plan.settings;
        plan.places.retain(|place| settings.starts(place.heat) <= now);
        Ok(Some(plan))
    }

    async fn heats(&self, competition: i64, gym: &str, workout: &str) -> Result<Option<(u64, Plan)>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt (i64, String):
            "SELECT version, body FROM heats WHERE competition = $1 AND gym = $2 AND workout = $3",
            competition, gym, workout)?
        .map(|(version, body)| Ok((number("heats", version)?, parse("heats", &body)?)))
        .transpose()
    }

    /// Stores heats in the place of those at `version` (0: none). False: they were changed meanwhile.
    #[expect(clippy::too_many_arguments, reason = "the key of the row has three parts")]
    pub async fn save_heats(
        &self,
        _permit: &Permit,
        competition: i64,
        gym: &str,
        workout: &str,
        version: u64,
        plan: &Plan,
        now: Timestamp,
    ) -> Result<bool, StoreError> {
        let body = super::json(plan);
        let mut tx = self.begin().await?;
        let n = if version == 0 {
            db!(&mut tx, exec:
                "INSERT INTO heats (competition, gym, workout, version, body, changed_at) VALUES ($1, $2, $3, 1, $4, $5) ON CONFLICT (competition, gym, workout) DO NOTHING",
                competition, gym, workout, body, micros(now))?
        } else {
            db!(&mut tx, exec:
                "UPDATE heats SET version = version + 1, body = $5, changed_at = $6 WHERE competition = $1 AND gym = $2 AND workout = $3 AND version = $4",
                competition, gym, workout, column(version), body, micros(now))?
        };
        tx.commit().await?;
        Ok(n > 0)
    }

    /// Takes a gym's heats of a workout away. False: there were none at this version.
    pub async fn remove_heats(
        &self,
        _permit: &Permit,
        competition: i64,
        gym: &str,
        workout: &str,
        version: u64,
    ) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        let n = db!(&mut tx, exec: "DELETE FROM heats WHERE competition = $1 AND gym = $2 AND workout = $3 AND version = $4",
            competition, gym, workout, column(version))?;
        tx.commit().await?;
        Ok(n > 0)
    }
}
