//! One state of a competition, and the questions it answers: pages of standings and of places.
//! What is asked about one entry is in the file beside.

use super::cache::Cache;
use super::entry::next_standing;
use super::field::{Field, Record};
use super::pool::{Overall, Pool};
use super::query::{
    Cut, DivisionCount, Mask, NextPlace, PlaceRow, PlacesPage, Query, Scope, ScoreView, StandingRow, StandingsPage,
    WorkoutCell,
};
use crate::rules::competition::Competition;
use crate::rules::place::Ranking;
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

    /// The competition file that this state was worked out by.
    #[must_use]
    pub fn definition(&self) -> &Arc<Competition> {
        &self.field.definition
    }

    /// The log position of the last change that can alter what is shown of a division: equal
    /// versions, equal pages. `None`: no such division.
    #[must_use]
    pub fn version(&self, division: &str) -> Option<u64> {
        Some(self.field.version(&self.field.parts(division)?))
    }

    /// Overall standings; `None`: no such division.
    #[must_use]
    pub fn standings(&self, query: &Query, cut: Cut) -> Option<StandingsPage> {
        let pool = self.pool(&query.division, &query.scope)?;
        let overall = pool.overall(query.mask);
        let (whole, unscoped) = if query.scope.whole() {
            (Arc::clone(&pool), Arc::clone(&overall))
        } else {
            let whole = self.pool(&query.division, &Scope::default())?;
            let unscoped = whole.overall(query.mask);
            (whole, unscoped)
        };
        let find = |bib| pool.row(bib).and_then(|row| overall.listed.position.get(row).copied());
        let (from, range) = rows_of(cut, overall.listed.order.len(), find);
        let rows = overall.listed.order.get(range).unwrap_or_default().iter();
        let row = |row: &usize| {
            let record = self.field.record(*pool.bibs.get(*row)?)?;
            let standing = overall.standings.get(*row).copied().unwrap_or_default();
            let unscoped = whole.ranked_row(record.bib).and_then(|row| unscoped.standings.get(row)?.standing);
            Some(StandingRow {
                standing: standing.standing,
                shared: standing.shared,
                athlete: self.field.athlete(record)?,
                points: standing.standing.map(|_| standing.points),
                unscoped_standing: unscoped,
                next: standing.standing.and_then(|standing| next_standing(&overall, &pool.bibs, standing)),
                workouts: self.cells(&overall, record, *row, query.mask),
            })
        };
        Some(StandingsPage {
            seq: self.seq(),
            of: overall.of,
            entries: overall.listed.order.len(),
            from,
            rows: rows.filter_map(row).collect(),
        })
    }

    /// Places in one workout (the query's mask is not looked at: the caller knows that the
    /// reader may see this workout); `None`: no such division or workout.
    #[must_use]
    pub fn places(&self, query: &Query, workout: usize, cut: Cut) -> Option<PlacesPage> {
        let pool = self.pool(&query.division, &query.scope)?;
        let whole = self.pool(&query.division, &Scope::default())?;
        let ranking = pool.ranking(workout)?;
        let listed = pool.listed(workout)?;
        let find = |bib| pool.row(bib).and_then(|row| listed.position.get(row).copied());
        let (from, range) = rows_of(cut, listed.order.len(), find);
        let rows = listed.order.get(range).unwrap_or_default().iter();
        let row = |row: &usize| {
            let record = self.field.record(*pool.bibs.get(*row)?)?;
            let place = ranking.places.get(*row).copied().flatten();
            Some(PlaceRow {
                place,
                shared: place.map_or(0, |place| shared(ranking, place)),
                athlete: self.field.athlete(record)?,
                unscoped_place: whole
                    .ranked_row(record.bib)
                    .and_then(|row| *whole.ranking(workout)?.places.get(row)?),
                score: self.score(record, workout).cloned(),
                next: place.and_then(|place| self.next_place(&pool, workout, place)),
            })
        };
        Some(PlacesPage {
            seq: self.seq(),
            of: ranking.order.len(),
            entries: listed.order.len(),
            from,
            rows: rows.filter_map(row).collect(),
        })
    }

    /// How much there is of each division, in file order.
    #[must_use]
    pub fn counts(&self) -> Vec<DivisionCount> {
        let workouts = 0..self.field.definition.workouts.len();
        let count = |slug: &str| {
            let pool = self.pool(slug, &Scope::default())?;
            let placed = |workout| pool.keys(workout).map_or(0, |keys| keys.iter().flatten().count());
            let scores = |workout| pool.scored.iter().filter(|scored| scored.has(workout)).count();
            Some(DivisionCount {
                division: slug.to_owned(),
                entries: pool.bibs.len(),
                guests: pool.bibs.len() - pool.ranked,
                placed: workouts.clone().map(placed).collect(),
                scores: workouts.clone().map(scores).collect(),
            })
        };
        self.field.definition.divisions.iter().filter_map(|division| count(&division.slug)).collect()
    }

    /// Those ranked against each other; `None`: no such division.
    pub(super) fn pool(&self, division: &str, scope: &Scope) -> Option<Arc<Pool>> {
        let parts = self.field.parts(division)?;
        let version = self.field.version(&parts);
        let gather = || Pool::gather(&self.field, &parts, scope);
        // Anybody can ask for a scope that nobody is in; it takes no room in the cache.
        if !self.field.knows(scope) {
            return Some(Arc::new(gather()));
        }
        Some(self.cache.pool(division, scope, version, gather))
    }

    /// The score of somebody in a workout.
    pub(super) fn score<'a>(&self, record: &'a Record, workout: usize) -> Option<&'a ScoreView> {
        let slug = &self.field.definition.workouts.get(workout)?.slug;
        record.score(self.field.find(slug)?)
    }

    /// What a row shows for each workout of the mask.
    pub(super) fn cells(&self, overall: &Overall, record: &Record, row: usize, mask: Mask) -> Vec<WorkoutCell> {
        let workouts = (0..self.field.definition.workouts.len()).filter(|workout| mask.has(*workout));
        let cell = |workout| {
            let worth = overall.cell(row, workout);
            WorkoutCell {
                workout,
                place: worth.map(|(cell, _)| cell.place),
                points: worth.map(|(cell, _)| cell.points),
                placed: worth.is_some_and(|(cell, _)| cell.placed),
                counted: worth.is_some_and(|(_, counted)| counted),
                score: self.score(record, workout).cloned(),
            }
        };
        workouts.map(cell).collect()
    }

    /// The next better place than this one.
    pub(super) fn next_place(&self, pool: &Pool, workout: usize, place: u32) -> Option<NextPlace> {
        let ranking = pool.ranking(workout)?;
        let row = next_better(&ranking.order, place, |row| ranking.places.get(row).copied().flatten())?;
        let bib = *pool.bibs.get(row)?;
        let score = self.score(self.field.record(bib)?, workout)?;
        Some(NextPlace {
            place: ranking.places.get(row).copied().flatten()?,
            bib,
            key: pool.keys(workout)?.get(row).copied().flatten()?,
            text: Arc::clone(&score.text),
            level: score.level,
        })
    }
}

/// How many share a place.
pub(super) fn shared(ranking: &Ranking, place: u32) -> u32 {
    let equals = ranking.order.get(index(place)..).unwrap_or_default();
    let end = equals.partition_point(|row| ranking.places.get(*row) == Some(&Some(place)));
    u32::try_from(end).unwrap_or(u32::MAX)
}

/// The first row of the next better position than `position`, where rows are in order and the
/// first of position p stands at index p − 1.
pub(super) fn next_better(order: &[usize], position: u32, of: impl Fn(usize) -> Option<u32>) -> Option<usize> {
    let better = *order.get(index(position).checked_sub(1)?)?;
    order.get(index(of(better)?)).copied()
}

/// The index of the first row of a position.
fn index(position: u32) -> usize {
    usize::try_from(position).unwrap_or(usize::MAX).saturating_sub(1)
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
