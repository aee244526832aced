//! What is asked about one entry: its places everywhere it is ranked, the place that figures
//! would have, and what would move if a score were other.

use super::field::Record;
use super::pool::Overall;
use super::query::{EntryRanking, EntryStanding, EntryWorkout, Mask, Moved, NextStanding, Query, Scope, WorkoutCell};
use super::view::{View, next_better, shared};
use crate::rules::order::Key;
use crate::rules::place;

impl View {
    /// One entry's places everywhere it is ranked, counting the workouts of the mask; `None`:
    /// no such entry, or removed.
    #[must_use]
    pub fn entry(&self, bib: u32, mask: Mask) -> Option<EntryStanding> {
        let record = self.field.record(bib)?;
        let athlete = self.field.athlete(record)?;
        let among = self.among(&athlete);
        let rankings =
            among.into_iter().filter_map(|(division, scope)| self.entry_among(record, division, scope, mask));
        Some(EntryStanding { seq: self.seq(), athlete, rankings: rankings.collect() })
    }

    fn entry_among(&self, record: &Record, division: String, scope: Scope, mask: Mask) -> Option<EntryRanking> {
        let pool = self.pool(&division, &scope)?;
        let overall = pool.overall(mask);
        let row = pool.row(record.bib)?;
        let standing = overall.standings.get(row).copied().unwrap_or_default();
        let workout = |cell: WorkoutCell| {
            let ranking = pool.ranking(cell.workout)?;
            let place = ranking.places.get(row).copied().flatten();
            Some(EntryWorkout {
                shared: place.map_or(0, |place| shared(ranking, place)),
                of: ranking.order.len(),
                next: place.and_then(|place| self.next_place(&pool, cell.workout, place)),
                cell,
            })
        };
        let next = standing.standing.and_then(|standing| next_standing(&overall, &pool.bibs, standing));
        Some(EntryRanking {
            standing: standing.standing,
            shared: standing.shared,
            of: overall.of,
            entries: overall.listed.order.len(),
            row: overall.listed.position.get(row)? + 1,
            points: standing.standing.map(|_| standing.points),
            next,
            workouts: self.cells(&overall, record, row, mask).into_iter().filter_map(workout).collect(),
            division,
            scope,
        })
    }

    /// The place that `key` would have in a workout of a division if it were the score of
    /// `bib` (whose present score is not counted); `None`: no such division or workout.
    #[must_use]
    pub fn would_be(&self, division: &str, workout: usize, key: Key, bib: u32) -> Option<u32> {
        let pool = self.pool(division, &Scope::default())?;
        let (keys, ranking) = (pool.keys(workout)?, pool.ranking(workout)?);
        let own = pool.ranked_row(bib).and_then(|row| keys.get(row).copied().flatten());
        let better = ranking.order.partition_point(|row| keys.get(*row).copied().flatten() < Some(key));
        let others = better - usize::from(own.is_some_and(|own| own < key));
        u32::try_from(others + 1).ok()
    }

    /// What would move among those of the query if the score of `bib` in a workout had this
    /// key, or no place; `None`: no such division or workout, or `bib` is not ranked there.
    #[must_use]
    pub fn moved_by(&self, query: &Query, workout: usize, bib: u32, key: Option<Key>) -> Option<Moved> {
        let pool = self.pool(&query.division, &query.scope)?;
        let row = pool.ranked_row(bib)?;
        let before = pool.ranking(workout)?;
        let mut keys = pool.keys(workout)?.to_vec();
        *keys.get_mut(row)? = key;
        let after = place::ranking(&keys);
        let places = others(row, &before.places, &after.places, |place| *place);
        let standings = if query.mask.has(workout) {
            let then = pool.overall_with(query.mask, workout, &keys, &after);
            others(row, &pool.overall(query.mask).standings, &then.standings, |s| s.standing)
        } else {
            0
        };
        Some(Moved { place: after.places.get(row).copied().flatten(), places, standings })
    }

    /// [`Moved::places`] alone, without ranking anybody anew: cheap enough to put a long list in
    /// order. `None` as in [`Self::moved_by`].
    #[must_use]
    pub fn places_moved_by(&self, query: &Query, workout: usize, bib: u32, key: Option<Key>) -> Option<u32> {
        let pool = self.pool(&query.division, &query.scope)?;
        let row = pool.ranked_row(bib)?;
        let keys = pool.keys(workout)?;
        Some(pool.ranking(workout)?.shifted(keys, *keys.get(row)?, key))
    }

    /// The place of `bib` in a workout of the query's division and scope now, and how many have one;
    /// `None` as in [`Self::moved_by`].
    #[must_use]
    pub fn place_of(&self, query: &Query, workout: usize, bib: u32) -> Option<(Option<u32>, usize)> {
        let pool = self.pool(&query.division, &query.scope)?;
        let ranking = pool.ranking(workout)?;
        Some((*ranking.places.get(pool.ranked_row(bib)?)?, ranking.order.len()))
    }
}

/// The next better standing than this one.
pub(super) fn next_standing(overall: &Overall, bibs: &[u32], standing: u32) -> Option<NextStanding> {
    let of = |row: usize| overall.standings.get(row)?.standing;
    let row = next_better(&overall.listed.order, standing, of)?;
    Some(NextStanding { standing: of(row)?, bib: *bibs.get(row)?, points: overall.standings.get(row)?.points })
}

/// How many rows but `row` differ in a position.
fn others<T>(row: usize, before: &[T], after: &[T], position: impl Fn(&T) -> Option<u32>) -> u32 {
    let pairs = before.iter().zip(after).enumerate();
    let moved = pairs.filter(|(other, (before, after))| *other != row && position(before) != position(after));
    u32::try_from(moved.count()).unwrap_or(u32::MAX)
}
