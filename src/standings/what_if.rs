//! What would be: one entry's places and standings if a score were another one, everywhere it is
//! ranked, worked out by the functions that rank what is stored. Nothing is kept.

use super::pool::Pool;
use super::query::{Athlete, Mask, Query, Scope};
use super::view::View;
use crate::rules::order::Key;

/// Where an entry stands, or would.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Spot {
    /// Place in the workout; `None`: no placed score.
    pub place: Option<u32>,
    /// How many are placed.
    pub placed: usize,
    /// Position overall; `None`: no standing.
    pub standing: Option<u32>,
    /// How many have a standing.
    pub standings: usize,
    /// Sum of the counted results; `None` without a standing.
    pub points: Option<u64>,
}

/// One ranking, as it is and as it would be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WhatIf {
    /// Division slug.
    pub division: String,
    /// Among whom.
    pub scope: Scope,
    /// As stored.
    pub now: Spot,
    /// With the other score.
    pub then: Spot,
}

impl View {
    /// The places and standings of `bib` if its score in a workout had this key, counting the
    /// workouts of the mask, in its division, the combined ones and its scopes; empty: it is not
    /// ranked anywhere. May cost one ranking of each: callers let few be worked out at a time.
    #[must_use]
    pub fn what_if(&self, bib: u32, workout: usize, key: Key, mask: Mask) -> Vec<WhatIf> {
        let Some(record) = self.field.record(bib) else { return Vec::new() };
        let Some(athlete) = self.field.athlete(record) else { return Vec::new() };
        let one = |(division, scope)| self.what_if_among(bib, workout, key, mask, division, scope);
        self.among(&athlete).into_iter().filter_map(one).collect()
    }

    fn what_if_among(
        &self,
        bib: u32,
        workout: usize,
        key: Key,
        mask: Mask,
        division: String,
        scope: Scope,
    ) -> Option<WhatIf> {
        let pool = self.pool(&division, &scope).filter(|pool| pool.has(workout))?;
        let row = pool.base.ranked_row(bib)?;
        let spot = |pool: &Pool| {
            let overall = pool.overall(mask);
            let standing = overall.live().standing(row);
            Spot {
                place: pool.places().place(workout, row),
                placed: pool.places().placed(workout),
                standing: standing.standing,
                standings: overall.live().of(),
                points: standing.standing.map(|_| standing.sum.points),
            }
        };
        Some(WhatIf { now: spot(&pool), then: spot(&pool.with_key(row, workout, Some(key))), division, scope })
    }

    /// Where an entry is ranked: its division, the combined ones it is in, then its division among
    /// its gym, region and country, as far as it has those.
    pub(super) fn among(&self, athlete: &Athlete) -> Vec<(String, Scope)> {
        let own = athlete.division.to_string();
        let mut among: Vec<_> = self.whole_divisions(athlete).map(|division| (division, Scope::default())).collect();
        if let Some(gym) = &athlete.gym {
            among.push((own.clone(), Scope { gym: Some(gym.to_string()), ..Scope::default() }));
        }
        if !athlete.region.is_empty() {
            among.push((own.clone(), Scope { region: Some(athlete.region.to_string()), ..Scope::default() }));
        }
        if !athlete.country.is_empty() {
            among.push((own, Scope { country: Some(athlete.country.to_string()), ..Scope::default() }));
        }
        among
    }

    /// The divisions an athlete is ranked in: the own one, then those combined of it.
    pub(super) fn whole_divisions(&self, athlete: &Athlete) -> impl Iterator<Item = String> {
        let own = athlete.division.to_string();
        let combined = self.field.definition.divisions.iter().filter(|d| d.combines.contains(&own));
        let combined: Vec<String> = combined.map(|division| division.slug.clone()).collect();
        std::iter::once(own).chain(combined)
    }

    /// The keys of all that are placed in a workout, best first; `None`: no such division or
    /// workout. The mask is not looked at.
    #[must_use]
    pub fn keys(&self, query: &Query, workout: usize) -> Option<Vec<Key>> {
        let pool = self.pool(&query.division, &query.scope).filter(|pool| pool.has(workout))?;
        let places = pool.places();
        let rows = pool.list(workout, 0..places.placed(workout));
        Some(rows.into_iter().filter_map(|row| places.key(workout, row)).collect())
    }
}
