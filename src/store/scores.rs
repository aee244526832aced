//! Scores: every attempt as it stands, statements of not taking part, extensions of windows.

use super::db::{Bulk, Val};
use super::{Store, StoreError, number, parse};
use crate::rules::access::Permit;
use crate::rules::event::Extension;
use crate::rules::life::{Attempt, State};
use crate::rules::people::Entry;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::collections::{BTreeSet, HashMap};

/// Which scores of a workout.
#[derive(Clone, Debug)]
pub struct ScoreFilter<'a> {
    /// Of entries of this gym.
    pub gym: Option<&'a str>,
    /// In this state.
    pub state: Option<State>,
    /// After this (bib, attempt).
    pub after: (u32, u32),
    /// At most so many.
    pub limit: u32,
}

impl Default for ScoreFilter<'_> {
    fn default() -> Self {
        Self { gym: None, state: None, after: (0, 0), limit: 100 }
    }
}

/// A score in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// The attempt.
    pub attempt: Attempt,
    /// Division of its entry.
    pub division: String,
    /// Gym of its entry.
    pub entry_gym: Option<String>,
}

bulk!(EXTENSIONS = Bulk::list("SELECT competition, n, body FROM extensions WHERE competition IN (", 0, ")"));
bulk!(
    ATTEMPTS = Bulk::list(
        "SELECT body FROM scores WHERE competition = $1 AND workout = $2 AND bib IN (",
        2,
        ") ORDER BY bib, attempt"
    )
);

impl Store {
    /// All attempts of an entry in a workout, in order.
    pub async fn list_attempts(&self, competition: i64, workout: &str, bib: u32) -> Result<Vec<Attempt>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String: "SELECT body FROM scores WHERE competition = $1 AND bib = $2 AND workout = $3 ORDER BY attempt",
            competition, i64::from(bib), workout)?
        .iter()
        .map(|body| parse("scores", body))
        .collect()
    }

    /// The attempts of these entries in a workout, by bib, in order.
    pub async fn list_attempts_of_many(
        &self,
        competition: i64,
        workout: &str,
        bibs: &[u32],
    ) -> Result<HashMap<u32, Vec<Attempt>>, StoreError> {
        let mut conn = self.read().await?;
        let fixed = [Val::Int(competition), Val::Text(workout.to_owned())];
        // Each once: they are asked for in parts.
        let members: BTreeSet<Val> = bibs.iter().map(|bib| Val::Int((*bib).into())).collect();
        let members = members.into_iter().collect();
        let rows: Vec<(String,)> = ATTEMPTS.read(&mut conn, &fixed, members).await?;
        let mut all: HashMap<u32, Vec<Attempt>> = HashMap::new();
        for (body,) in rows {
            let attempt: Attempt = parse("scores", &body)?;
            all.entry(attempt.score.bib).or_default().push(attempt);
        }
        Ok(all)
    }

    /// All attempts of an entry in all workouts.
    pub async fn list_attempts_of(&self, competition: i64, bib: u32) -> Result<Vec<Attempt>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String: "SELECT body FROM scores WHERE competition = $1 AND bib = $2 ORDER BY workout, attempt",
            competition, i64::from(bib))?
        .iter()
        .map(|body| parse("scores", body))
        .collect()
    }

    /// The scores whose figures a judge vouches for, by workout, bib and attempt.
    pub async fn list_vouched(
        &self,
        _permit: &Permit,
        competition: i64,
        judge: &str,
    ) -> Result<Vec<Listed>, StoreError> {
        let mut conn = self.read().await?;
        let rows = db!(&mut conn, all (String, String, Option<String>):
            "SELECT body, division, entry_gym FROM scores WHERE competition = $1 AND judge = $2", competition, judge)?;
        let listed = rows
            .into_iter()
            .map(|(body, division, entry_gym)| Ok(Listed { attempt: parse("scores", &body)?, division, entry_gym }));
        let mut listed = listed.collect::<Result<Vec<Listed>, StoreError>>()?;
        listed.sort_by(|a, b| {
            let by = |listed: &Listed| (listed.attempt.score.bib, listed.attempt.score.attempt);
            a.attempt.score.workout.cmp(&b.attempt.score.workout).then_with(|| by(a).cmp(&by(b)))
        });
        Ok(listed)
    }

    /// The scores of a workout that a judge vouched for too late, where that waits for the organiser: none of
    /// them has a place meanwhile.
    pub async fn list_late_words(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        judge: &str,
    ) -> Result<Vec<Listed>, StoreError> {
        let mut conn = self.read().await?;
        let word = format!("%\"waiting_attestation\":{{\"judge\":{}%", super::within(&super::json(&judge)));
        let rows = db!(&mut conn, all (String, String, Option<String>):
            "SELECT body, division, entry_gym FROM scores WHERE competition = $1 AND workout = $2 AND waits <> 0 AND waits IN (1, 3) AND body LIKE $3 ESCAPE '!'",
            competition, workout, word)?;
        let listed = rows
            .into_iter()
            .map(|(body, division, entry_gym)| Ok(Listed { attempt: parse("scores", &body)?, division, entry_gym }));
        let by_them = |l: &Listed| l.attempt.waiting_attestation.as_ref().is_some_and(|a| a.judge == judge);
        let mut theirs: Vec<Listed> =
            listed.filter(|l| l.as_ref().map_or(true, by_them)).collect::<Result<_, StoreError>>()?;
        // Here and not in the text: for the sake of its order all of the competition would be looked through.
        theirs.sort_by_key(|l| (l.attempt.score.bib, l.attempt.score.attempt));
        Ok(theirs)
    }

    /// Scores of a workout by bib and attempt: the desk's and the referees' lists.
    pub async fn list_scores(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        filter: &ScoreFilter<'_>,
    ) -> Result<Vec<Listed>, StoreError> {
        let mut conn = self.read().await?;
        let (state, limit) = (filter.state.map(State::as_str), i64::from(filter.limit));
        let (bib, attempt) = (i64::from(filter.after.0), i64::from(filter.after.1));
        let rows: Vec<(String, String, Option<String>)> = match (filter.gym, state) {
            (Some(gym), state) => db!(&mut conn, all (String, String, Option<String>):
                "SELECT body, division, entry_gym FROM scores WHERE competition = $1 AND workout = $2 AND entry_gym = $3
                   AND (CAST($4 AS TEXT) IS NULL OR state = $4) AND bib >= $5 AND (bib > $5 OR attempt > $6)
                 ORDER BY bib, attempt LIMIT $7",
                competition, workout, gym, state, bib, attempt, limit)?,
            (None, Some(state)) if filter.state != Some(State::Attested) => {
                db!(&mut conn, all (String, String, Option<String>):
                "SELECT body, division, entry_gym FROM scores WHERE competition = $1 AND workout = $2
                   AND state = $3 AND state <> 'attested' AND bib >= $4 AND (bib > $4 OR attempt > $5)
                 ORDER BY bib, attempt LIMIT $6",
                competition, workout, state, bib, attempt, limit)?
            }
            (None, state) => db!(&mut conn, all (String, String, Option<String>):
                "SELECT body, division, entry_gym FROM scores WHERE competition = $1 AND workout = $2
                   AND (CAST($3 AS TEXT) IS NULL OR state = $3) AND bib >= $4 AND (bib > $4 OR attempt > $5)
                 ORDER BY bib, attempt LIMIT $6",
                competition, workout, state, bib, attempt, limit)?,
        };
        rows.into_iter()
            .map(|(body, division, entry_gym)| Ok(Listed { attempt: parse("scores", &body)?, division, entry_gym }))
            .collect()
    }

    /// Scores of a workout of which something waits for the organiser (late, a late correction, a
    /// late attestation; refused ones too), by bib and attempt, after this one.
    pub async fn list_waiting(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        after: (u32, u32),
        limit: u32,
    ) -> Result<Vec<Attempt>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String:
            "SELECT body FROM scores WHERE competition = $1 AND workout = $2 AND waits <> 0 AND waits IN (1, 3)
               AND bib >= $3 AND (bib > $3 OR attempt > $4) ORDER BY bib, attempt LIMIT $5",
            competition, workout, i64::from(after.0), i64::from(after.1), i64::from(limit))?
        .iter()
        .map(|body| parse("scores", body))
        .collect()
    }

    /// Scores of a workout that may wait for a referee (flagged, withheld, appealed, raised after the
    /// close), by bib and attempt, after this one; `rules::queue` says which of them do.
    pub async fn list_doubted(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        after: (u32, u32),
        limit: u32,
    ) -> Result<Vec<Listed>, StoreError> {
        let mut conn = self.read().await?;
        let rows = db!(&mut conn, all (String, String, Option<String>):
            "SELECT body, division, entry_gym FROM scores WHERE competition = $1 AND workout = $2
               AND waits <> 0 AND waits IN (2, 3)
               AND bib >= $3 AND (bib > $3 OR attempt > $4) ORDER BY bib, attempt LIMIT $5",
            competition, workout, i64::from(after.0), i64::from(after.1), i64::from(limit))?;
        rows.into_iter()
            .map(|(body, division, entry_gym)| Ok(Listed { attempt: parse("scores", &body)?, division, entry_gym }))
            .collect()
    }

    /// Scores of a workout that visitors did in this gym, by bib and attempt.
    pub async fn list_visiting_scores(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        gym: &str,
    ) -> Result<Vec<Attempt>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String:
            "SELECT body FROM scores WHERE competition = $1 AND workout = $2 AND gym = $3
               AND gym IS NOT NULL AND (entry_gym IS NULL OR entry_gym <> gym) ORDER BY bib, attempt",
            competition, workout, gym)?
        .iter()
        .map(|body| parse("scores", body))
        .collect()
    }

    /// Entries that could still take part in a workout: active, without a score (a withdrawn one
    /// is none) and without a statement, by bib.
    pub async fn list_missing(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        gym: Option<&str>,
        after: u32,
        limit: u32,
    ) -> Result<Vec<Entry>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String:
            "SELECT e.body FROM entries e WHERE e.competition = $1 AND e.state = 'active' AND e.bib > $2
               AND (CAST($3 AS TEXT) IS NULL OR e.gym = $3)
               AND NOT EXISTS (SELECT 1 FROM scores s WHERE s.competition = $1 AND s.bib = e.bib AND s.workout = $4 AND s.state <> 'withdrawn')
               AND NOT EXISTS (SELECT 1 FROM not_taking_part n WHERE n.competition = $1 AND n.workout = $4 AND n.bib = e.bib)
             ORDER BY e.bib LIMIT $5",
            competition, i64::from(after), gym, workout, i64::from(limit))?
        .iter()
        .map(|body| parse("entries", body))
        .collect()
    }

    /// How many [`Store::list_missing`] would list of all gyms, and how many entries are active.
    pub async fn count_missing(&self, competition: i64, workout: &str) -> Result<(u64, u64), StoreError> {
        let mut conn = self.read().await?;
        let missing = db!(&mut conn, val i64:
            "SELECT COUNT(*) FROM entries e WHERE e.competition = $1 AND e.state = 'active'
               AND NOT EXISTS (SELECT 1 FROM scores s WHERE s.competition = $1 AND s.bib = e.bib AND s.workout = $2 AND s.state <> 'withdrawn')
               AND NOT EXISTS (SELECT 1 FROM not_taking_part n WHERE n.competition = $1 AND n.workout = $2 AND n.bib = e.bib)",
            competition, workout)?;
        let all = db!(&mut conn, val i64: "SELECT COUNT(*) FROM entries WHERE competition = $1 AND state = 'active'", competition)?;
        Ok((number("entries", missing)?, number("entries", all)?))
    }

    /// Bibs of those of whom it is stated that they take no part in a workout, and when it was last
    /// stated.
    pub async fn list_not_taking_part(
        &self,
        _permit: &Permit,
        competition: i64,
        workout: &str,
        gym: Option<&str>,
    ) -> Result<Vec<(u32, Option<Timestamp>)>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all (i64, Option<i64>):
            "SELECT n.bib, (SELECT MAX(r.at) FROM records r WHERE r.competition = n.competition
                AND r.subject = 'score/' || n.workout || '/' || CAST(n.bib AS TEXT) AND r.action = 'not_taking_part')
             FROM not_taking_part n JOIN entries e ON e.competition = n.competition AND e.bib = n.bib
             WHERE n.competition = $1 AND n.workout = $2 AND (CAST($3 AS TEXT) IS NULL OR e.gym = $3) ORDER BY n.bib",
            competition, workout, gym)?
        .into_iter()
        .map(|(bib, at)| Ok((number("not_taking_part", bib)?, at.map(|at| super::instant("records", at)).transpose()?)))
        .collect()
    }

    /// Whether it is stated that an entry takes no part in a workout.
    pub async fn is_not_taking_part(&self, competition: i64, workout: &str, bib: u32) -> Result<bool, StoreError> {
        let mut conn = self.read().await?;
        let n = db!(&mut conn, val i64: "SELECT COUNT(*) FROM not_taking_part WHERE competition = $1 AND workout = $2 AND bib = $3",
            competition, workout, i64::from(bib))?;
        Ok(n > 0)
    }

    /// Extensions in force, oldest first; the last that fits holds.
    pub async fn list_extensions(&self, competition: i64) -> Result<Vec<Extension>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String: "SELECT body FROM extensions WHERE competition = $1 ORDER BY n", competition)?
            .iter()
            .map(|body| parse("extensions", body))
            .collect()
    }

    /// The extensions of these competitions, oldest first.
    pub async fn list_extensions_of(&self, competitions: &[i64]) -> Result<HashMap<i64, Vec<Extension>>, StoreError> {
        let mut found: HashMap<i64, Vec<Extension>> = HashMap::new();
        if competitions.is_empty() {
            return Ok(found);
        }
        let mut conn = self.read().await?;
        let members = competitions.iter().map(|&id| Val::Int(id)).collect();
        let mut rows: Vec<(i64, i64, String)> = EXTENSIONS.read(&mut conn, &[], members).await?;
        rows.sort_unstable_by_key(|&(competition, n, _)| (competition, n));
        for (competition, _, body) in rows {
            found.entry(competition).or_default().push(parse("extensions", &body)?);
        }
        Ok(found)
    }

    /// Numbers of scores by workout and state, for those who watch over a competition.
    pub async fn count_scores(&self, competition: i64) -> Result<Vec<(String, String, u64)>, StoreError> {
        let mut conn = self.read().await?;
        let others = db!(&mut conn, all (String, String, i64):
            "SELECT workout, state, COUNT(*) FROM scores WHERE competition = $1 AND state <> 'attested' GROUP BY workout, state",
            competition)?;
        let all = db!(&mut conn, all (String, i64):
            "SELECT workout, COUNT(*) FROM scores WHERE competition = $1 GROUP BY workout", competition)?;
        let mut counts: BTreeMap<(String, String), u64> = BTreeMap::new();
        for (workout, n) in all {
            counts.insert((workout, State::Attested.as_str().to_owned()), number("scores", n)?);
        }
        for (workout, state, n) in others {
            let n = number("scores", n)?;
            if let Some(attested) = counts.get_mut(&(workout.clone(), State::Attested.as_str().to_owned())) {
                // Between the two questions somebody may have written.
                *attested = attested.saturating_sub(n);
            }
            counts.insert((workout, state), n);
        }
        Ok(counts.into_iter().filter(|(_, n)| *n > 0).map(|((workout, state), n)| (workout, state, n)).collect())
    }
}
