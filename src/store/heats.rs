//! Heats: a gym's plan for a workout. Outside the log, as it is planning and no result; only bibs
//! and judges' codes stand in it.

use super::db::{Bulk, Tx, Val, rows};
use super::{Store, StoreError, column, micros, number, parse};
use crate::rules::access::Permit;
use crate::rules::heats::Plan;
use jiff::Timestamp;
use std::collections::BTreeSet;

bulk!(JUDGES = Bulk::rows("INSERT INTO heat_judges (competition, gym, workout, judge) VALUES ", 4, ""));

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

    /// The heats that give a judge a lane: gym, workout, and all of them, by both.
    pub async fn list_heats_of_judge(
        &self,
        _permit: &Permit,
        competition: i64,
        judge: &str,
    ) -> Result<Vec<(String, String, Plan)>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all (String, String, String):
            "SELECT h.gym, h.workout, h.body FROM heat_judges j JOIN heats h ON h.competition = j.competition AND h.gym = j.gym AND h.workout = j.workout
             WHERE j.competition = $1 AND j.judge = $2 ORDER BY h.gym, h.workout",
            competition, judge)?
        .into_iter()
        .map(|(gym, workout, body)| Ok((gym, workout, parse("heats", &body)?)))
        .collect()
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
        let begun: BTreeSet<u32> =
            plan.places.iter().map(|p| p.heat).filter(|heat| plan.starts(*heat) <= now).collect();
        plan.places.retain(|place| begun.contains(&place.heat));
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
        if n > 0 {
            let judges: BTreeSet<&str> = plan.places.iter().filter_map(|place| place.judge.as_deref()).collect();
            name_judges(&mut tx, (competition, gym, workout), judges).await?;
        }
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
        if n > 0 {
            name_judges(&mut tx, (competition, gym, workout), BTreeSet::new()).await?;
        }
        tx.commit().await?;
        Ok(n > 0)
    }
}

/// Whom heats give a lane to count in, in the place of those they did before.
async fn name_judges(
    tx: &mut Tx,
    (competition, gym, workout): (i64, &str, &str),
    judges: BTreeSet<&str>,
) -> Result<(), StoreError> {
    db!(&mut *tx, exec: "DELETE FROM heat_judges WHERE competition = $1 AND gym = $2 AND workout = $3", competition, gym, workout)?;
    let row = |judge: &str| {
        let texts = [gym, workout, judge].map(|text| Val::Text(text.to_owned()));
        std::iter::once(Val::Int(competition)).chain(texts).collect()
    };
    JUDGES.write(tx, rows(judges.into_iter().map(row))).await?;
    Ok(())
}
