//! Rankings at hand, read page by page: in one state, however long that takes and whatever is ranked
//! anew meanwhile.

use super::pool::{Pool, Standings};
use super::query::{Cut, PlaceRow, PlacesPage, Query, Scope, StandingRow, StandingsPage};
use super::view::{View, next_standing};
use crate::rules::place::Seat;
use std::ops::Range;
use std::sync::Arc;

/// The overall standings of a division within a scope.
pub struct Ranked {
    query: Query,
    pool: Arc<Pool>,
    overall: Standings,
    /// Of the whole division, for a scope.
    unscoped: Option<(Arc<Pool>, Standings)>,
}

impl Ranked {
    pub(super) fn of(view: &View, query: &Query) -> Option<Self> {
        let pool = view.pool(&query.division, &query.scope)?;
        let overall = pool.overall(query.mask);
        let unscoped = if query.scope.whole() {
            None
        } else {
            let whole = view.pool(&query.division, &Scope::default())?;
            let overall = whole.overall(query.mask);
            Some((whole, overall))
        };
        Some(Self { query: query.clone(), pool, overall, unscoped })
    }

    /// Some of its rows. `view`: of which it is.
    #[must_use]
    pub fn page(&self, view: &View, cut: Cut) -> StandingsPage {
        let Self { pool, overall, .. } = self;
        let find = |bib| pool.base.row(bib).map(|row| pool.seat_of(overall, row));
        let (from, range) = rows_of(cut, pool.len(), find);
        StandingsPage {
            seq: view.seq(),
            of: overall.live().of(),
            entries: pool.len(),
            from,
            rows: pool.seats(overall, range).into_iter().filter_map(|seat| self.row(view, seat)).collect(),
        }
    }

    fn row(&self, view: &View, seat: Seat) -> Option<StandingRow> {
        let Self { query, pool, overall, unscoped } = self;
        let record = view.field.record(pool.bib(seat.row))?;
        let ranked = (seat.row as usize) < pool.base.ranked;
        let unscoped = match unscoped {
            None => seat.standing,
            Some((whole, overall)) => {
                whole.base.ranked_row(record.bib).and_then(|row| overall.live().standing(row).standing)
            }
        };
        let cells = view.cells(ranked.then_some((overall, seat.row)), record, query.mask);
        let points = cells.iter().filter(|cell| cell.counted).filter_map(|cell| cell.points);
        Some(StandingRow {
            standing: seat.standing,
            shared: seat.shared,
            athlete: view.field.athlete(record)?,
            points: seat.standing.map(|_| points.sum()),
            unscoped_standing: unscoped,
            next: seat.next.map(|next| next_standing(pool, next)),
            workouts: cells,
        })
    }
}

/// The places of a workout in a division within a scope.
pub struct Placing {
    workout: usize,
    pool: Arc<Pool>,
    whole: Arc<Pool>,
}

impl Placing {
    pub(super) fn of(view: &View, query: &Query, workout: usize) -> Option<Self> {
        let pool = view.pool(&query.division, &query.scope).filter(|pool| pool.has(workout))?;
        let whole = view.pool(&query.division, &Scope::default())?;
        Some(Self { workout, pool, whole })
    }

    /// Some of its rows. `view`: of which it is.
    #[must_use]
    pub fn page(&self, view: &View, cut: Cut) -> PlacesPage {
        let Self { workout, pool, .. } = self;
        let find = |bib| pool.base.row(bib).and_then(|row| pool.index(*workout, row));
        let (from, range) = rows_of(cut, pool.len(), find);
        PlacesPage {
            seq: view.seq(),
            of: pool.places().placed(*workout),
            entries: pool.len(),
            from,
            rows: pool.list(*workout, range).into_iter().filter_map(|row| self.row(view, row)).collect(),
        }
    }

    fn row(&self, view: &View, row: u32) -> Option<PlaceRow> {
        let Self { workout, pool, whole } = self;
        let (workout, places) = (*workout, pool.places());
        let record = view.field.record(pool.bib(row))?;
        let key = ((row as usize) < pool.base.ranked).then(|| places.key(workout, row)).flatten();
        let place = key.map(|key| places.place_of(workout, key));
        Some(PlaceRow {
            place,
            shared: key.map_or(0, |key| places.shared(workout, key)),
            athlete: view.field.athlete(record)?,
            unscoped_place: whole.base.ranked_row(record.bib).and_then(|row| whole.places().place(workout, row)),
            score: view.score(record, workout),
            next: place.and_then(|place| view.next_place(pool, workout, place)),
        })
    }
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
