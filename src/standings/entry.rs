//! What is asked about one entry: its places everywhere it is ranked, the place that figures
//! would have, and what would move if a score were other.

use super::block::Record;
use super::query::{EntryRanking, EntryStanding, EntryWorkout, Mask, Moved, PlaceIn, Query, Scope, WorkoutCell};
use super::view::{View, next_standing};
use crate::rules::order::Key;

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

    /// The places of one entry in a workout, in its division and those combined of it, with how many have one there:
    /// no place for who is not ranked, or has no score that counts. `None`: no such entry, or removed.
    #[must_use]
    pub fn places_in(&self, workout: usize, bib: u32) -> Option<Vec<PlaceIn>> {
        let athlete = self.field.athlete(self.field.record(bib)?)?;
        let place = |division: String| {
            let pool = self.pool(&division, &Scope::default()).filter(|pool| pool.has(workout))?;
            pool.base.row(bib)?;
            let places = pool.places();
            let place = pool.base.ranked_row(bib).and_then(|row| places.place(workout, row));
            Some(PlaceIn { division, place, of: places.placed(workout) })
        };
        Some(self.whole_divisions(&athlete).filter_map(place).collect())
    }

    /// Whether somebody is listed among those of a query.
    #[must_use]
    pub fn lists(&self, query: &Query, bib: u32) -> bool {
        self.pool(&query.division, &query.scope).is_some_and(|pool| pool.base.row(bib).is_some())
    }

    fn entry_among(&self, record: Record<'_>, division: String, scope: Scope, mask: Mask) -> Option<EntryRanking> {
        let pool = self.pool(&division, &scope)?;
        let overall = pool.overall(mask);
        let row = pool.base.row(record.bib)?;
        let ranked = ((row as usize) < pool.base.ranked).then_some((&overall, row));
        let standing = ranked.map(|(overall, row)| overall.live().standing(row)).unwrap_or_default();
        let workout = |cell: WorkoutCell| {
            let places = pool.places();
            let key = ranked.and_then(|(_, row)| places.key(cell.workout, row));
            let place = key.map(|key| places.place_of(cell.workout, key));
            EntryWorkout {
                shared: key.map_or(0, |key| places.shared(cell.workout, key)),
                of: places.placed(cell.workout),
                next: place.and_then(|place| self.next_place(&pool, cell.workout, place)),
                cell,
            }
        };
        let next = standing.standing.and_then(|standing| overall.live().next(standing));
        Some(EntryRanking {
            standing: standing.standing,
            shared: standing.shared,
            of: overall.live().of(),
            entries: pool.len(),
            row: pool.seat_of(&overall, row) + 1,
            points: standing.standing.map(|_| standing.sum.points),
            next: next.map(|next| next_standing(&pool, next)),
            workouts: self.cells(ranked, record, mask).into_iter().map(workout).collect(),
            division,
            scope,
        })
    }

    /// The place that `key` would have in a workout of a division if it were the score of
    /// `bib` (whose present score is not counted); `None`: no such division or workout.
    #[must_use]
    pub fn would_be(&self, division: &str, workout: usize, key: Key, bib: u32) -> Option<u32> {
        let pool = self.pool(division, &Scope::default()).filter(|pool| pool.has(workout))?;
        let places = pool.places();
        let own = pool.base.ranked_row(bib).and_then(|row| places.key(workout, row));
        Some(places.place_of(workout, key) - u32::from(own.is_some_and(|own| own < key)))
    }

    /// What would move among those of the query if the score of `bib` in a workout had this
    /// key, or no place; `None`: no such division or workout, or `bib` is not ranked there.
    #[must_use]
    pub fn moved_by(&self, query: &Query, workout: usize, bib: u32, key: Option<Key>) -> Option<Moved> {
        let pool = self.pool(&query.division, &query.scope).filter(|pool| pool.has(workout))?;
        let row = pool.base.ranked_row(bib)?;
        let places = pool.places().shifted(workout, pool.places().key(workout, row), key);
        let then = pool.with_key(row, workout, key);
        let standings = if query.mask.has(workout) {
            let (before, after) = (pool.all_standings(query.mask), then.all_standings(query.mask));
            let others = before.iter().zip(&after).zip(0..).filter(|((before, after), n)| *n != row && before != after);
            u32::try_from(others.count()).unwrap_or(u32::MAX)
        } else {
            0
        };
        Some(Moved { place: then.places().place(workout, row), places, standings })
    }

    /// [`Moved::places`] alone, without ranking anybody anew: cheap enough to put a long list in
    /// order. `None` as in [`Self::moved_by`].
    #[must_use]
    pub fn places_moved_by(&self, query: &Query, workout: usize, bib: u32, key: Option<Key>) -> Option<u32> {
        let pool = self.pool(&query.division, &query.scope).filter(|pool| pool.has(workout))?;
        let row = pool.base.ranked_row(bib)?;
        Some(pool.places().shifted(workout, pool.places().key(workout, row), key))
    }

    /// The place of `bib` in a workout of the query's division and scope now, and how many have one;
    /// `None` as in [`Self::moved_by`].
    #[must_use]
    pub fn place_of(&self, query: &Query, workout: usize, bib: u32) -> Option<(Option<u32>, usize)> {
        let pool = self.pool(&query.division, &query.scope).filter(|pool| pool.has(workout))?;
        let places = pool.places();
        Some((places.place(workout, pool.base.ranked_row(bib)?), places.placed(workout)))
    }
}
