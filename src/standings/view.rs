//! One state of a competition, and the questions it answers: pages of standings and of places.
//! What is asked about one entry is in the file beside.

use super::base::{Base, Who};
use super::block::Record;
use super::cache::Cache;
use super::field::Field;
use super::pool::{Pool, Standings};
use super::query::{
    Cut, DivisionCount, Mask, Memory, NextPlace, NextStanding, PlaceRow, PlacesPage, Query, Scope, ScoreView,
    StandingRow, StandingsPage, WorkoutCell,
};
use super::{Leaf, Mark};
use crate::rules::competition::Competition;
use std::ops::Range;
use std::sync::Arc;

/// One state of a competition: nothing in it changes. Workouts are named by their index in the
/// competition file.
pub struct View {
    pub(super) field: Field,
    pub(super) cache: Arc<Cache>,
}

impl View {
    /// The log position of this state.
    #[must_use]
    pub fn seq(&self) -> u64 {
        self.field.seq
    }

    /// How far, and of which log, this state goes.
    #[must_use]
    pub fn mark(&self) -> Mark {
        Mark { epoch: self.cache.epoch, seq: self.field.seq }
    }

    /// The competition file that this state was worked out by.
    #[must_use]
    pub fn definition(&self) -> &Arc<Competition> {
        &self.field.definition
    }

    /// The log position at which that competition file was applied.
    #[must_use]
    pub fn defined(&self) -> u64 {
        self.field.defined
    }

    /// The log position of the last change that can alter what is shown of a division: equal
    /// versions, equal pages. `None`: no such division.
    #[must_use]
    pub fn version(&self, division: &str) -> Option<u64> {
        Some(self.field.version(&self.field.parts(division)?))
    }

    /// The leaf of a record of this log, if it was told.
    #[must_use]
    pub fn leaf(&self, seq: u64) -> Option<Leaf> {
        self.cache.leaf(seq)
    }

    /// Remembers the leaf of a record, read from the log.
    pub fn note_leaf(&self, seq: u64, leaf: Leaf) {
        self.cache.note_leaf(seq, leaf);
    }

    /// Overall standings; `None`: no such division.
    #[must_use]
    pub fn standings(&self, query: &Query, cut: Cut) -> Option<StandingsPage> {
        let pool = self.pool(&query.division, &query.scope)?;
        let overall = pool.overall(query.mask);
        let whole = if query.scope.whole() { None } else { Some(self.pool(&query.division, &Scope::default())?) };
        let unscoped = whole.as_ref().map(|whole| (whole, whole.overall(query.mask)));
        let find = |bib| pool.base.row(bib).map(|row| pool.seat_of(&overall, row));
        let (from, range) = rows_of(cut, pool.len(), find);
        let row = |seat: crate::rules::place::Seat| {
            let record = self.field.record(pool.bib(seat.row))?;
            let ranked = (seat.row as usize) < pool.base.ranked;
            let unscoped = match &unscoped {
                None => seat.standing,
                Some((whole, overall)) => {
                    whole.base.ranked_row(record.bib).and_then(|row| overall.live().standing(row).standing)
                }
            };
            let cells = self.cells(ranked.then_some((&overall, seat.row)), record, query.mask);
            Some(StandingRow {
                standing: seat.standing,
                shared: seat.shared,
                athlete: self.field.athlete(record)?,
                points: seat
                    .standing
                    .map(|_| cells.iter().filter(|cell| cell.counted).filter_map(|cell| cell.points).sum()),
                unscoped_standing: unscoped,
                next: seat.next.map(|next| next_standing(&pool, next)),
                workouts: cells,
            })
        };
        Some(StandingsPage {
            seq: self.seq(),
            of: overall.live().of(),
            entries: pool.len(),
            from,
            rows: pool.seats(&overall, range).into_iter().filter_map(row).collect(),
        })
    }

    /// Places in one workout (the query's mask is not looked at: the caller knows that the
    /// reader may see this workout); `None`: no such division or workout.
    #[must_use]
    pub fn places(&self, query: &Query, workout: usize, cut: Cut) -> Option<PlacesPage> {
        let pool = self.pool(&query.division, &query.scope).filter(|pool| pool.has(workout))?;
        let whole = self.pool(&query.division, &Scope::default())?;
        let places = pool.places();
        let find = |bib| pool.base.row(bib).and_then(|row| pool.index(workout, row));
        let (from, range) = rows_of(cut, pool.len(), find);
        let row = |row: u32| {
            let record = self.field.record(pool.bib(row))?;
            let key = ((row as usize) < pool.base.ranked).then(|| places.key(workout, row)).flatten();
            let place = key.map(|key| places.place_of(workout, key));
            Some(PlaceRow {
                place,
                shared: key.map_or(0, |key| places.shared(workout, key)),
                athlete: self.field.athlete(record)?,
                unscoped_place: whole.base.ranked_row(record.bib).and_then(|row| whole.places().place(workout, row)),
                score: self.score(record, workout),
                next: place.and_then(|place| self.next_place(&pool, workout, place)),
            })
        };
        Some(PlacesPage {
            seq: self.seq(),
            of: places.placed(workout),
            entries: pool.len(),
            from,
            rows: pool.list(workout, range).into_iter().filter_map(row).collect(),
        })
    }

    /// How much there is of each division, in file order.
    #[must_use]
    pub fn counts(&self) -> Vec<DivisionCount> {
        let workouts = 0..self.field.definition.workouts.len();
        let count = |slug: &str| {
            let pool = self.pool(slug, &Scope::default())?;
            Some(DivisionCount {
                division: slug.to_owned(),
                entries: pool.len(),
                guests: pool.len() - pool.base.ranked,
                placed: workouts.clone().map(|workout| pool.places().placed(workout)).collect(),
                scores: workouts.clone().map(|workout| pool.scores(workout)).collect(),
            })
        };
        self.field.definition.divisions.iter().filter_map(|division| count(&division.slug)).collect()
    }

    /// The memory that it takes to know and rank all entries. Divisions that nobody has asked for are
    /// ranked for that.
    #[must_use]
    pub fn memory(&self) -> Memory {
        let plain = self.field.definition.divisions.iter().filter(|division| division.combines.is_empty());
        let pools = plain.filter_map(|division| self.pool(&division.slug, &Scope::default()));
        let ranked = pools.map(|pool| {
            drop(pool.overall(Mask::ALL));
            pool.base.bytes()
        });
        let ranked = ranked.sum();
        let (entries, known) = self.field.size();
        Memory { entries, known, ranked, names: self.cache.names.size().1 }
    }

    /// Those ranked against each other; `None`: no such division.
    pub(super) fn pool(&self, division: &str, scope: &Scope) -> Option<Arc<Pool>> {
        let parts = self.field.parts(division)?;
        // Anybody can ask for a scope that nobody is in; it takes no room in the cache.
        if !self.field.knows(scope) {
            let nobody = Base::gather(&self.field, &Who::new(&self.field, &parts, scope));
            return Some(Arc::new(Pool::of(Arc::new(nobody))));
        }
        Some(self.cache.pool(self, division, scope, &parts))
    }

    /// The score of somebody in a workout.
    pub(super) fn score(&self, record: Record<'_>, workout: usize) -> Option<ScoreView> {
        let slug = &self.field.definition.workouts.get(workout)?.slug;
        record.score(self.field.column(slug)?)
    }

    /// What a row shows for each workout of the mask; `row`: where it is ranked.
    pub(super) fn cells(&self, row: Option<(&Standings, u32)>, record: Record<'_>, mask: Mask) -> Vec<WorkoutCell> {
        let worth = row.map(|(overall, row)| overall.results(row)).unwrap_or_default();
        let workouts = (0..self.field.definition.workouts.len()).filter(|workout| mask.has(*workout));
        let cell = |workout| {
            let worth = worth.iter().find(|(n, ..)| *n == workout).map(|(_, cell, counted)| (cell, *counted));
            WorkoutCell {
                workout,
                place: worth.map(|(cell, _)| cell.place),
                points: worth.map(|(cell, _)| cell.points),
                placed: worth.is_some_and(|(cell, _)| cell.placed),
                counted: worth.is_some_and(|(_, counted)| counted),
                score: self.score(record, workout),
            }
        };
        workouts.map(cell).collect()
    }

    /// The next better place than this one.
    pub(super) fn next_place(&self, pool: &Pool, workout: usize, place: u32) -> Option<NextPlace> {
        let at = |index| pool.list(workout, index..index + 1).first().copied();
        let places = pool.places();
        let better = places.place(workout, at((place as usize).checked_sub(2)?)?)?;
        let row = at(better as usize - 1)?;
        let (bib, key) = (pool.bib(row), places.key(workout, row)?);
        let score = self.score(self.field.record(bib)?, workout)?;
        Some(NextPlace { place: better, bib, key, text: score.text, level: score.level })
    }
}

/// A better standing than another, the row that has it, and its points.
pub(super) fn next_standing(pool: &Pool, (standing, row, points): (u32, u32, u64)) -> NextStanding {
    NextStanding { standing, bib: pool.bib(row), points }
}

/// The row number (from 1) and the indices that a cut means among `len` rows; 0 and none for
/// the page of a bib that is not there.
fn rows_of(cut: Cut, len: usize, find: impl FnOnce(u32) -> Option<usize>) -> (usize, Range<usize>) {
    let (start, limit) = match cut {
        Cut::Rows { from, limit } => (from.saturating_sub(1), limit),
        Cut::Holding { bib, limit } => match find(bib) {
            Some(at) => (at - at % limit.max(1), limit.max(1)),
            None => return (0, 0..0),
        },
    };
    let from = start.saturating_add(1);
    let start = start.min(len);
    (from, start..start.saturating_add(limit).min(len))
}
