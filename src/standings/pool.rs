//! A [`Base`] with what has changed since: the places and standings of a state, exact.

use super::base::Base;
use super::query::Mask;
use crate::rules::order::Key;
use crate::rules::place::{Changes, Live, Merged, Moved, Overall, Places, Seat};
use std::collections::HashMap;
use std::ops::Range;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// The entries of a division within a scope.
pub(super) struct Pool {
    /// Of the state that it is of.
    seq: u64,
    pub(super) base: Arc<Base>,
    pub(super) changes: Arc<Changes>,
    /// The workouts that those who were touched have a score in now, by row.
    pub(super) scored: Vec<(u32, Mask)>,
    moved: Mutex<HashMap<Mask, Standings>>,
    listed: Vec<OnceLock<Listed>>,
    settled: OnceLock<Arc<Base>>,
}

/// What a row is listed by in a workout.
type Item = (Class, u32);

/// In the order in which they are listed.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Class {
    Placed(Key),
    Scored,
    Nothing,
}

/// The rows that changed, as they were and as they are.
#[derive(Default)]
struct Listed {
    gone: Vec<Item>,
    come: Vec<Item>,
}

/// The overall result for a set of workouts.
#[derive(Clone)]
pub(super) struct Standings {
    base: Arc<Base>,
    overall: Arc<Overall>,
    changes: Arc<Changes>,
    moved: Arc<Moved>,
}

impl Standings {
    /// What can be asked.
    pub(super) fn live(&self) -> Live<'_> {
        let places = Places { columns: &self.base.columns, changes: &self.changes };
        Live::new(&self.base.definition.overall, &self.overall, places, &self.moved)
    }

    /// What a ranked row has in each workout that counts, and whether it is in the sum.
    pub(super) fn results(&self, row: u32) -> Vec<(usize, crate::rules::place::Cell, bool)> {
        let (cells, sum) = self.live().results(row);
        let counting = self.overall.counting().iter().zip(cells).enumerate();
        counting.map(|(n, (counting, cell))| (counting.column, cell, Mask(sum.counted).has(n))).collect()
    }
}

impl Pool {
    /// A base at a later state, with what has changed until then.
    pub(super) fn new(seq: u64, base: Arc<Base>, changes: Changes, scored: Vec<(u32, Mask)>) -> Self {
        let listed = base.columns.iter().map(|_| OnceLock::new()).collect();
        let (changes, moved, settled) = (Arc::new(changes), Mutex::default(), OnceLock::new());
        Self { seq, base, changes, scored, moved, listed, settled }
    }

    /// A base and nothing else.
    pub(super) fn of(base: Arc<Base>) -> Self {
        Self::new(base.seq, base, Changes::default(), Vec::new())
    }

    /// The same if the key of a ranked row were another one.
    pub(super) fn with_key(&self, row: u32, workout: usize, key: Option<Key>) -> Self {
        let mut rows = self.changes.rows().to_vec();
        if let Err(at) = rows.binary_search(&row) {
            rows.insert(at, row);
        }
        let places = self.places();
        let key_of =
            |column, other: u32| if column == workout && other == row { key } else { places.key(column, other) };
        let columns = 0..self.base.columns.len();
        let now = columns.map(|column| rows.iter().map(|row| key_of(column, *row)).collect()).collect();
        let changes = Changes::new(&self.base.columns, rows, now);
        Self::new(self.seq, Arc::clone(&self.base), changes, self.scored.clone())
    }

    /// The places of all workouts.
    pub(super) fn places(&self) -> Places<'_> {
        Places { columns: &self.base.columns, changes: &self.changes }
    }

    /// How many there are, guests among them.
    pub(super) fn len(&self) -> usize {
        self.base.bibs.len()
    }

    /// The bib of a row.
    pub(super) fn bib(&self, row: u32) -> u32 {
        self.base.bibs[row as usize]
    }

    /// Whether there is such a workout.
    pub(super) fn has(&self, workout: usize) -> bool {
        workout < self.base.columns.len()
    }

    /// The workouts that a row has a score in, whatever its state.
    pub(super) fn scored(&self, row: u32) -> Mask {
        match self.scored.binary_search_by_key(&row, |(row, _)| *row) {
            Ok(at) => self.scored[at].1,
            Err(_) => self.base.scored[row as usize],
        }
    }

    /// How many have a score in a workout, whatever its state.
    pub(super) fn scores(&self, workout: usize) -> usize {
        let before = self.base.scores()[workout];
        let come = self.scored.iter().filter(|(_, scored)| scored.has(workout)).count();
        let gone = self.scored.iter().filter(|(row, _)| self.base.scored[*row as usize].has(workout)).count();
        before + come - gone
    }

    /// Rows of a workout: by place; then those with a score that has no place, those without one,
    /// and guests; equals by bib. Those at these indices, as far as there are any.
    pub(super) fn list(&self, workout: usize, range: Range<usize>) -> Vec<u32> {
        let ranked = self.base.ranked;
        let mut rows: Vec<u32> = if range.start < ranked {
            let Some(listed) = self.base.listed(workout) else { return Vec::new() };
            self.merged(workout, listed, |merged| merged.list(range.clone())).into_iter().map(|(_, row)| row).collect()
        } else {
            Vec::new()
        };
        let guests = range.start.max(ranked)..range.end.min(self.len());
        rows.extend(guests.filter_map(|row| u32::try_from(row).ok()));
        rows
    }

    /// The index of a row in that list.
    pub(super) fn index(&self, workout: usize, row: u32) -> Option<usize> {
        if row as usize >= self.base.ranked {
            return Some(row as usize);
        }
        let listed = self.base.listed(workout)?;
        let item = (self.class(workout, row), row);
        Some(self.merged(workout, listed, |merged| merged.index(item)))
    }

    fn merged<T>(
        &self,
        workout: usize,
        listed: &[u32],
        ask: impl FnOnce(&Merged<'_, Item, &dyn Fn(usize) -> Item>) -> T,
    ) -> T {
        let column = &self.base.columns[workout];
        let class = |row: u32| match column.key(row) {
            Some(key) => Class::Placed(key),
            None if self.base.scored[row as usize].has(workout) => Class::Scored,
            None => Class::Nothing,
        };
        let changed = self.listed[workout].get_or_init(|| {
            let mut out = Listed::default();
            for &row in self.changes.rows() {
                out.gone.push((class(row), row));
                out.come.push((self.class(workout, row), row));
            }
            out.gone.sort_unstable();
            out.come.sort_unstable();
            out
        });
        let item = |at: usize| (class(listed[at]), listed[at]);
        ask(&Merged::new(listed.len(), &item, &changed.gone, &changed.come))
    }

    fn class(&self, workout: usize, row: u32) -> Class {
        match self.places().key(workout, row) {
            Some(key) => Class::Placed(key),
            None if self.scored(row).has(workout) => Class::Scored,
            None => Class::Nothing,
        }
    }

    /// The standings that count the workouts of a mask.
    pub(super) fn overall(&self, mask: Mask) -> Standings {
        let mut kept = self.moved.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = kept.get(&mask) {
            return known.clone();
        }
        let overall = self.base.overall(mask);
        let rules = &self.base.definition.overall;
        let standings = match Moved::new(rules, &overall, &self.base.asked(mask), self.places()) {
            Some(moved) => {
                let (base, changes) = (Arc::clone(&self.base), Arc::clone(&self.changes));
                Standings { base, overall, changes, moved: Arc::new(moved) }
            }
            None => self.settled_overall(mask),
        };
        kept.insert(mask, standings.clone());
        standings
    }

    /// The same, with everybody ranked anew if anything has changed.
    pub(super) fn settled_overall(&self, mask: Mask) -> Standings {
        let base = self.settled();
        let overall = base.overall(mask);
        let (rules, changes) = (&base.definition.overall, Arc::<Changes>::default());
        let places = Places { columns: &base.columns, changes: &changes };
        let moved = Moved::new(rules, &overall, &[], places).map(Arc::new).unwrap_or_default();
        Standings { base, overall, changes, moved }
    }

    /// The standing of every ranked row.
    pub(super) fn all_standings(&self, mask: Mask) -> Vec<Option<u32>> {
        self.settled_overall(mask).overall.standings(self.base.ranked)
    }

    /// The base of this state, where there already is one.
    pub(super) fn known_settled(&self) -> Option<&Arc<Base>> {
        self.settled.get()
    }

    /// A base of this state, for the same rows.
    pub(super) fn settled(&self) -> Arc<Base> {
        if self.changes.is_empty() && self.scored.is_empty() {
            return Arc::clone(&self.base);
        }
        let settle = || Arc::new(self.base.settled(self.seq, &self.changes, &self.scored));
        Arc::clone(self.settled.get_or_init(settle))
    }

    /// Those at these indices of the standings; guests last.
    pub(super) fn seats(&self, standings: &Standings, range: Range<usize>) -> Vec<Seat> {
        let ranked = self.base.ranked;
        let mut seats = standings.live().seats(range.start.min(ranked)..range.end.min(ranked));
        let guests = range.start.max(ranked)..range.end.min(self.len());
        let guest = |row| Some(Seat { row: u32::try_from(row).ok()?, standing: None, shared: 0, next: None });
        seats.extend(guests.filter_map(guest));
        seats
    }

    /// The index of a row in the standings.
    pub(super) fn seat_of(&self, standings: &Standings, row: u32) -> usize {
        if (row as usize) < self.base.ranked { standings.live().index(row) } else { row as usize }
    }
}
