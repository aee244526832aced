//! Those ranked against each other at a log position, their keys by column, and what follows from
//! them: places and standings, worked out when first asked for and kept.

use super::block::{Facts, Name, Record};
use super::cache::lock;
use super::field::Field;
use super::homes::{Home, Homes};
use super::query::{Mask, Scope};
use crate::rules::competition::Competition;
use crate::rules::order::Key;
use crate::rules::people::EntryState;
use crate::rules::place::{Changes, Column, Counting, Overall};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock};

/// How many sets of workouts standings are kept for. Readers see few different ones.
const MASKS_KEPT: usize = 8;

/// The entries of a division within a scope, at a log position.
pub(super) struct Base {
    pub(super) definition: Arc<Competition>,
    /// Of the state it was gathered from.
    pub(super) seq: u64,
    /// Ranked ones by bib, then guests by bib. A *row* is an index here.
    pub(super) bibs: Arc<Vec<u32>>,
    /// How many are ranked.
    pub(super) ranked: usize,
    /// For each row, the workouts it has a score in, whatever its state.
    pub(super) scored: Vec<Mask>,
    /// For each row where it is at home, for scopes to be cut out; only of whole divisions.
    homes: Option<Arc<Homes>>,
    /// One for each workout of the definition, of the ranked rows.
    pub(super) columns: Vec<Column>,
    listed: Vec<OnceLock<Vec<u32>>>,
    scores: OnceLock<Vec<usize>>,
    overall: Mutex<HashMap<Mask, Arc<OnceLock<Arc<Overall>>>>>,
}

/// Who belongs to a ranking.
pub(super) struct Who<'a> {
    /// Plain divisions.
    pub(super) parts: &'a [Name],
    /// `None`: something is asked for that nobody has.
    within: Option<Within>,
    whole: bool,
}

/// A scope as numbers.
struct Within {
    gym: Option<Name>,
    region: Option<Name>,
    country: Option<Name>,
}

impl<'a> Who<'a> {
    /// Those of these plain divisions that fit the scope.
    pub(super) fn new(field: &Field, parts: &'a [Name], scope: &Scope) -> Self {
        let find = |text: &Option<String>| match text {
            None => Some(None),
            Some(text) => field.find(text).map(Some),
        };
        let within =
            || Some(Within { gym: find(&scope.gym)?, region: find(&scope.region)?, country: find(&scope.country)? });
        Self { parts, within: within(), whole: scope.whole() }
    }

    fn fits(&self, home: Home) -> bool {
        self.within.as_ref().is_some_and(|within| {
            within.gym.is_none_or(|g| home.gym == Some(g))
                && within.region.is_none_or(|r| home.region == r)
                && within.country.is_none_or(|c| home.country == c)
        })
    }

    /// The facts of somebody who belongs here.
    fn facts(&self, record: &Record<'_>) -> Option<Facts> {
        record.present().filter(|facts| self.parts.contains(&facts.division) && self.fits(Home::of(facts)))
    }
}

/// Rows that are put together, the ranked ones with their keys.
struct Rows {
    bibs: Vec<u32>,
    scored: Vec<Mask>,
    homes: Vec<Home>,
}

impl Rows {
    fn new() -> Self {
        Self { bibs: Vec::new(), scored: Vec::new(), homes: Vec::new() }
    }

    fn push(&mut self, bib: u32, scored: Mask, home: Option<Home>) {
        self.bibs.push(bib);
        self.scored.push(scored);
        self.homes.extend(home);
    }

    fn append(&mut self, mut others: Self) {
        self.bibs.append(&mut others.bibs);
        self.scored.append(&mut others.scored);
        self.homes.append(&mut others.homes);
    }
}

impl Base {
    /// Gathers all that belong.
    pub(super) fn gather(field: &Field, who: &Who<'_>) -> Self {
        let columns = field.columns();
        let mut keys: Vec<Vec<Option<Key>>> = vec![Vec::new(); columns.len()];
        let (mut ranked, mut guests) = (Rows::new(), Rows::new());
        let records = who.within.iter().flat_map(|_| field.records());
        for record in records {
            let Some(facts) = who.facts(&record) else { continue };
            let (scored, home) = (scored_of(&columns, &record), who.whole.then(|| Home::of(&facts)));
            if facts.state == EntryState::Guest {
                guests.push(record.bib, scored, home);
                continue;
            }
            ranked.push(record.bib, scored, home);
            for (keys, column) in keys.iter_mut().zip(&columns) {
                keys.push(column.and_then(|column| record.key(column)));
            }
        }
        let columns = keys.iter().map(|keys| Column::of(keys)).collect();
        Self::new(field, who.whole, ranked, guests, columns)
    }

    fn new(field: &Field, whole: bool, mut rows: Rows, guests: Rows, columns: Vec<Column>) -> Self {
        let ranked = rows.bibs.len();
        rows.append(guests);
        Self {
            definition: Arc::clone(&field.definition),
            seq: field.seq,
            bibs: Arc::new(rows.bibs),
            ranked,
            scored: rows.scored,
            homes: whole.then(|| Arc::new(Homes::new(rows.homes))),
            listed: columns.iter().map(|_| OnceLock::new()).collect(),
            columns,
            scores: OnceLock::new(),
            overall: Mutex::default(),
        }
    }

    /// Those of a scope, cut out of their whole division as it is with these changes; the field is
    /// that of the same state.
    pub(super) fn scoped(
        &self,
        field: &Field,
        who: &Who<'_>,
        changes: &Changes,
        scored: impl Fn(u32) -> Mask,
    ) -> Option<Self> {
        let homes = self.homes.as_ref()?;
        let fits: Vec<u32> = match who.within.as_ref().map(|within| within.gym) {
            Some(Some(gym)) => {
                homes.of_gym(gym).iter().copied().filter(|row| who.fits(homes.of(*row as usize))).collect()
            }
            _ => (0..).zip(homes.iter()).filter(|(_, home)| who.fits(*home)).map(|(row, _)| row).collect(),
        };
        let (inside, guests) = fits.split_at(fits.partition_point(|row| (*row as usize) < self.ranked));
        let rows = |list: &[u32]| {
            let mut rows = Rows::new();
            for row in list {
                rows.push(self.bibs[*row as usize], scored(*row), None);
            }
            rows
        };
        let column = |(n, column): (usize, &Column)| {
            let own = changes.cells(n).into_iter().filter_map(|(row, key)| {
                inside.binary_search(&row).ok().map(|at| (u32::try_from(at).unwrap_or(u32::MAX), key))
            });
            let cells: Vec<_> = own.collect();
            let column = column.subset(inside);
            if cells.is_empty() { column } else { column.changed(&cells) }
        };
        let columns = self.columns.iter().enumerate().map(column).collect();
        Some(Self::new(field, false, rows(inside), rows(guests), columns))
    }

    /// The same rows with what has changed since.
    pub(super) fn settled(&self, seq: u64, changes: &Changes, scored: &[(u32, Mask)]) -> Self {
        let columns = self.columns.iter().enumerate().map(|(n, column)| column.changed(&changes.cells(n))).collect();
        let mut out = Self {
            definition: Arc::clone(&self.definition),
            seq,
            bibs: Arc::clone(&self.bibs),
            ranked: self.ranked,
            scored: self.scored.clone(),
            homes: self.homes.clone(),
            columns,
            listed: self.listed.iter().map(|_| OnceLock::new()).collect(),
            scores: OnceLock::new(),
            overall: Mutex::default(),
        };
        for (row, mask) in scored {
            out.scored[*row as usize] = *mask;
        }
        out
    }

    /// The state of a later field, in which nobody but these bibs has changed.
    pub(super) fn next(&self, field: &Field, who: &Who<'_>, touched: &[u32]) -> Self {
        let columns = field.columns();
        let (mut ranked, mut guests) = (Rows::new(), Rows::new());
        let mut from: Vec<Option<u32>> = Vec::with_capacity(self.ranked + touched.len());
        let mut cells: Vec<Vec<(u32, Option<Key>)>> = vec![Vec::new(); columns.len()];
        let home = |row: usize| self.homes.as_ref().map(|homes| homes.of(row));
        let mut left = (0..self.ranked).peekable();
        let mut guests_left = (self.ranked..self.bibs.len()).peekable();
        let keep = |row: usize, rows: &mut Rows| rows.push(self.bibs[row], self.scored[row], home(row));
        for bib in touched {
            while let Some(row) = left.next_if(|row| self.bibs[*row] < *bib) {
                from.push(u32::try_from(row).ok());
                keep(row, &mut ranked);
            }
            while let Some(row) = guests_left.next_if(|row| self.bibs[*row] < *bib) {
                keep(row, &mut guests);
            }
            left.next_if(|row| self.bibs[*row] == *bib);
            guests_left.next_if(|row| self.bibs[*row] == *bib);
            let Some((record, facts)) = field.record(*bib).and_then(|r| Some((r, who.facts(&r)?))) else { continue };
            let (scored, home) = (scored_of(&columns, &record), who.whole.then(|| Home::of(&facts)));
            if facts.state == EntryState::Guest {
                guests.push(*bib, scored, home);
                continue;
            }
            let row = u32::try_from(from.len()).unwrap_or(u32::MAX);
            from.push(None);
            ranked.push(*bib, scored, home);
            for (cells, column) in cells.iter_mut().zip(&columns) {
                cells.push((row, column.and_then(|column| record.key(column))));
            }
        }
        for row in left {
            from.push(u32::try_from(row).ok());
            keep(row, &mut ranked);
        }
        guests_left.for_each(|row| keep(row, &mut guests));
        let columns = self.columns.iter().zip(&cells).map(|(column, cells)| column.rearranged(&from, cells)).collect();
        Self::new(field, who.whole, ranked, guests, columns)
    }

    /// What has changed of these bibs; `None`: somebody came or left, or is somewhere else.
    pub(super) fn changes(&self, field: &Field, who: &Who<'_>, touched: &[u32]) -> Option<(Changes, Vec<(u32, Mask)>)> {
        let columns = field.columns();
        let (mut rows, mut scored) = (Vec::new(), Vec::new());
        let mut now: Vec<Vec<Option<Key>>> = vec![Vec::new(); columns.len()];
        for bib in touched {
            let row = self.row(*bib);
            let record = field.record(*bib);
            let facts = record.as_ref().and_then(|record| who.facts(record));
            let (record, facts, row) = match (record, facts, row) {
                (_, None, None) => continue,
                (Some(record), Some(facts), Some(row)) => (record, facts, row),
                _ => return None,
            };
            let guest = row as usize >= self.ranked;
            let moved = self.homes.as_ref().is_some_and(|homes| homes.of(row as usize) != Home::of(&facts));
            if moved || guest != (facts.state == EntryState::Guest) {
                return None;
            }
            scored.push((row, scored_of(&columns, &record)));
            if !guest {
                rows.push(row);
                for (now, column) in now.iter_mut().zip(&columns) {
                    now.push(column.and_then(|column| record.key(column)));
                }
            }
        }
        scored.sort_unstable_by_key(|(row, _)| *row);
        Some((Changes::new(&self.columns, rows, now), scored))
    }

    /// The row of a bib, ranked or guest.
    pub(super) fn row(&self, bib: u32) -> Option<u32> {
        self.ranked_row(bib).or_else(|| {
            let guest = self.bibs.get(self.ranked..)?.binary_search(&bib).ok()?;
            u32::try_from(self.ranked + guest).ok()
        })
    }

    /// The row of a bib that is ranked.
    pub(super) fn ranked_row(&self, bib: u32) -> Option<u32> {
        self.bibs.get(..self.ranked)?.binary_search(&bib).ok().and_then(|row| u32::try_from(row).ok())
    }

    /// The ranked rows of a workout: by place; then those with a score that has no place, and those
    /// without one; equals by bib.
    pub(super) fn listed(&self, workout: usize) -> Option<&[u32]> {
        let column = self.columns.get(workout)?;
        Some(self.listed[workout].get_or_init(|| {
            let mut order = column.order();
            order.reserve_exact(self.ranked - order.len());
            let unplaced = || (0..).take(self.ranked).filter(|row| column.place(*row).is_none());
            order.extend(unplaced().filter(|row| self.scored[*row as usize].has(workout)));
            order.extend(unplaced().filter(|row| !self.scored[*row as usize].has(workout)));
            order
        }))
    }

    /// How many have a score in each workout, whatever its state.
    pub(super) fn scores(&self) -> &[usize] {
        self.scores.get_or_init(|| {
            let of = |workout| self.scored.iter().filter(|scored| scored.has(workout)).count();
            (0..self.columns.len()).map(of).collect()
        })
    }

    /// The standings that count the workouts of a mask.
    pub(super) fn overall(&self, mask: Mask) -> Arc<Overall> {
        let slot = {
            let mut kept = lock(&self.overall);
            if kept.len() >= MASKS_KEPT && !kept.contains_key(&mask) {
                kept.clear();
            }
            Arc::clone(kept.entry(mask).or_default())
        };
        Arc::clone(slot.get_or_init(|| Arc::new(self.ranked_anew(mask))))
    }

    fn ranked_anew(&self, mask: Mask) -> Overall {
        Overall::of(&self.definition.overall, &self.columns, &self.asked(mask))
    }

    /// The masks that standings have been worked out for.
    pub(super) fn masks(&self) -> Vec<Mask> {
        let kept = lock(&self.overall);
        kept.iter().filter(|(_, slot)| slot.get().is_some()).map(|(mask, _)| *mask).collect()
    }

    /// The workouts of a mask with their weights.
    pub(super) fn asked(&self, mask: Mask) -> Vec<Counting> {
        let workouts = self.definition.workouts.iter().enumerate().filter(|(n, _)| mask.has(*n));
        workouts.map(|(column, workout)| Counting { column, weight: workout.weight }).collect()
    }

    /// The bytes it takes with the standings that count these workouts. To be told that is not to have asked for
    /// them: what readers asked for is worked out again with every change of many.
    pub(super) fn bytes_with(&self, mask: Mask) -> usize {
        let known = lock(&self.overall).get(&mask).is_some_and(|slot| slot.get().is_some());
        self.bytes() + if known { 0 } else { self.ranked_anew(mask).bytes() }
    }

    /// The bytes it takes, what has been worked out of it so far with it.
    pub(super) fn bytes(&self) -> usize {
        let kept = lock(&self.overall);
        let overall: usize = kept.values().filter_map(|slot| slot.get()).map(|overall| overall.bytes()).sum();
        let listed: usize = self.listed.iter().filter_map(OnceLock::get).map(|list| list.capacity() * 4).sum();
        let columns: usize = self.columns.iter().map(Column::bytes).sum();
        let homes = self.homes.as_ref().map_or(0, |homes| homes.bytes());
        (self.bibs.capacity() + self.scored.capacity()) * 4 + homes + columns + listed + overall
    }
}

/// The workouts that somebody has a score in.
fn scored_of(columns: &[Option<usize>], record: &Record<'_>) -> Mask {
    let scored = |column: &Option<usize>| column.is_some_and(|column| record.scored(column));
    columns.iter().enumerate().filter(|(_, column)| scored(column)).map(|(n, _)| n).collect()
}
