//! Placements: what each change did to the places. The board loads and follows them.

use super::{Store, StoreError, column, number};
use crate::rules::life::State;
use crate::rules::order::Key;
use crate::rules::people::EntryState;
use crate::rules::placement::{Change, Placement};
use std::collections::HashMap;

#[derive(sqlx::FromRow)]
pub(crate) struct Row {
    seq: i64,
    bib: i64,
    workout: String,
    attempt: Option<i64>,
    key: Option<i64>,
    level: Option<i64>,
    state: String,
    text: Option<String>,
    division: Option<String>,
    gym: Option<String>,
    country: Option<String>,
    region: Option<String>,
}

fn word<T: serde::de::DeserializeOwned>(word: &str) -> Result<T, StoreError> {
    serde_json::from_value(serde_json::Value::from(word)).map_err(|e| StoreError::unreadable("placements", e))
}

impl Row {
    fn placement(self) -> Result<Placement, StoreError> {
        let missing = || StoreError::unreadable("placements", format!("record {}: a column is missing", self.seq));
        let change = if self.workout.is_empty() {
            Change::Entry {
                division: self.division.ok_or_else(missing)?,
                gym: self.gym,
                country: self.country.ok_or_else(missing)?,
                region: self.region.ok_or_else(missing)?,
                state: word::<EntryState>(&self.state)?,
            }
        } else {
            Change::Score {
                attempt: number("placements", self.attempt.ok_or_else(missing)?)?,
                key: self.key.map(Key),
                level: number("placements", self.level.ok_or_else(missing)?)?,
                state: word::<State>(&self.state)?,
                text: self.text.ok_or_else(missing)?,
                workout: self.workout,
            }
        };
        Ok(Placement { seq: number("placements", self.seq)?, bib: number("placements", self.bib)?, change })
    }
}

impl Store {
    /// What held at log position `upto`, in log order: of each score the newest row, and of each entry
    /// all, as it may have left a division.
    pub async fn placements_at(&self, competition: i64, upto: u64) -> Result<Vec<Placement>, StoreError> {
        let mut conn = self.read().await?;
        let rows = db!(&mut conn, all Row:
            "SELECT seq, bib, workout, attempt, key, level, state, text, division, gym, country, region FROM placements WHERE competition = $1 AND seq <= $2 ORDER BY seq, bib, workout",
            competition, column(upto))?;
        drop(conn);
        let mut newest = HashMap::with_capacity(rows.len());
        for (n, row) in rows.iter().enumerate() {
            newest.insert((row.bib, row.workout.clone()), n);
        }
        let kept: std::collections::HashSet<usize> = newest.into_values().collect();
        let rows = rows.into_iter().enumerate().filter(|(n, row)| row.workout.is_empty() || kept.contains(n));
        rows.map(|(_, row)| row.placement()).collect()
    }

    /// All rows after log position `after`, in log order.
    pub async fn placements_after(&self, competition: i64, after: u64) -> Result<Vec<Placement>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT seq, bib, workout, attempt, key, level, state, text, division, gym, country, region FROM placements WHERE competition = $1 AND seq > $2 ORDER BY seq, bib, workout",
            competition, column(after))?
        .into_iter()
        .map(Row::placement)
        .collect()
    }
}
