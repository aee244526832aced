//! What has changed since columns were made, and the places with it: exact, without counting anew.
//!
//! One other key moves the place of anybody else by one at most, and by how much is told by how many
//! of the keys that came and of those that went are better: two searches in short lists.

use super::column::Column;
use super::number;
use crate::rules::order::Key;

/// Rows whose keys are not those of the columns any more.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    /// Which, in ascending order.
    rows: Vec<u32>,
    /// Their keys now, one list a column.
    now: Vec<Vec<Option<Key>>>,
    shifts: Vec<Shift>,
}

/// The keys that went from a column, and those that came.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Shift {
    /// As [`Column::half`]s, in order.
    gone: Vec<u32>,
    come: Vec<u32>,
    /// The same as `come`.
    keys: Vec<Key>,
}

impl Changes {
    /// These rows, in ascending order, have these keys now: one list of them a column.
    #[must_use]
    pub fn new(columns: &[Column], rows: Vec<u32>, now: Vec<Vec<Option<Key>>>) -> Self {
        let shift = |(column, now): (&Column, &Vec<Option<Key>>)| {
            let mut shift = Shift::default();
            for (row, now) in rows.iter().zip(now) {
                let before = column.key(*row);
                if before != *now {
                    shift.gone.extend(before.map(|_| 2 * column.rank(*row) + 1));
                    shift.keys.extend(*now);
                }
            }
            shift.gone.sort_unstable();
            shift.keys.sort_unstable();
            shift.come = shift.keys.iter().map(|key| column.half(*key)).collect();
            shift
        };
        let shifts = columns.iter().zip(&now).map(shift).collect();
        Self { rows, now, shifts }
    }

    /// Which rows, in ascending order.
    #[must_use]
    pub fn rows(&self) -> &[u32] {
        &self.rows
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The number of a row among those that changed.
    #[must_use]
    pub fn find(&self, row: u32) -> Option<usize> {
        if self.rows.is_empty() { None } else { self.rows.binary_search(&row).ok() }
    }

    /// The cells of a column that are not what they were.
    #[must_use]
    pub fn cells(&self, column: usize) -> Vec<(u32, Option<Key>)> {
        self.now.get(column).map(|now| self.rows.iter().copied().zip(now.iter().copied()).collect()).unwrap_or_default()
    }

    /// The most that the place of a row which did not change can have moved in a column.
    pub(super) fn most(&self, column: usize) -> u64 {
        self.shifts.get(column).map_or(0, |shift| shift.gone.len().max(shift.come.len()) as u64)
    }
}

/// Columns with what has changed since.
#[derive(Clone, Copy, Debug)]
pub struct Places<'a> {
    /// As they were.
    pub columns: &'a [Column],
    /// Since.
    pub changes: &'a Changes,
}

impl Places<'_> {
    /// The key of a row; `None`: no placed score.
    #[must_use]
    pub fn key(&self, column: usize, row: u32) -> Option<Key> {
        match self.changes.find(row) {
            Some(n) => self.changes.now[column][n],
            None => self.columns[column].key(row),
        }
    }

    /// The place of a row; `None`: no placed score.
    #[must_use]
    pub fn place(&self, column: usize, row: u32) -> Option<u32> {
        match self.changes.find(row) {
            Some(n) => self.changes.now[column][n].map(|key| self.place_of(column, key)),
            None => self.place_unchanged(column, row),
        }
    }

    /// The same for a row that is known not to have changed.
    pub(super) fn place_unchanged(&self, column: usize, row: u32) -> Option<u32> {
        let ranked = &self.columns[column];
        let rank = ranked.rank(row);
        if rank == ranked.missing() {
            return None;
        }
        let place = ranked.place_at(rank);
        Some(self.changes.shifts.get(column).map_or(place, |shift| shift.moved(place, 2 * rank + 1)))
    }

    /// The place that a key has or would have: 1 + the number of better keys.
    #[must_use]
    pub fn place_of(&self, column: usize, key: Key) -> u32 {
        let ranked = &self.columns[column];
        let half = ranked.half(key);
        let place = ranked.place_at(half / 2);
        let Some(shift) = self.changes.shifts.get(column) else { return place };
        let gone = shift.gone.partition_point(|g| *g < half);
        let come = shift.keys.partition_point(|k| *k < key);
        place + number(come) - number(gone)
    }

    /// How many rows have a key.
    #[must_use]
    pub fn shared(&self, column: usize, key: Key) -> u32 {
        let ranked = &self.columns[column];
        let half = ranked.half(key);
        let before = if half % 2 == 1 { ranked.shared_at(half / 2) } else { 0 };
        let Some(shift) = self.changes.shifts.get(column) else { return before };
        let gone = shift.gone.iter().filter(|g| **g == half).count();
        let come = shift.keys.iter().filter(|k| **k == key).count();
        before + number(come) - number(if half % 2 == 1 { gone } else { 0 })
    }

    /// How many others' places change when one row's key goes from `from`, which it has, to `to`
    /// (`None`: no place): those with a key above the better and up to the worse of the two.
    ///
    /// ```
    /// use tallywright::rules::order::Key;
    /// use tallywright::rules::place::{Changes, Column, Places};
    /// let columns = [Column::of(&[Some(Key(70)), Some(Key(50)), None, Some(Key(70)), Some(Key(90))])];
    /// let places = Places { columns: &columns, changes: &Changes::default() };
    /// let shifted = |from: Option<i64>, to: Option<i64>| places.shifted(0, from.map(Key), to.map(Key));
    /// assert_eq!(shifted(Some(50), None), 3, "all behind the first move up");
    /// assert_eq!(shifted(Some(70), None), 1, "who shares it keeps the place");
    /// assert_eq!(shifted(None, Some(60)), 3);
    /// assert_eq!(shifted(Some(90), Some(60)), 2);
    /// assert_eq!(shifted(Some(50), Some(70)), 2);
    /// ```
    #[must_use]
    pub fn shifted(&self, column: usize, from: Option<Key>, to: Option<Key>) -> u32 {
        let up_to = |key: Option<Key>| match key {
            None => number(self.placed(column)),
            Some(key) => self.place_of(column, key) - 1 + self.shared(column, key),
        };
        let worse_than_own = |to: Key| from.is_none_or(|from| to < from);
        match (from, to) {
            // The own key is the last of those passed, where there is one.
            (_, Some(to)) if worse_than_own(to) => {
                (up_to(from) - up_to(Some(to))).saturating_sub(from.map_or(0, |_| 1))
            }
            (None, None) => 0,
            _ => up_to(to) - up_to(from),
        }
    }

    /// How many rows have a place.
    #[must_use]
    pub fn placed(&self, column: usize) -> usize {
        let before = self.columns[column].placed();
        self.changes.shifts.get(column).map_or(before, |shift| before + shift.come.len() - shift.gone.len())
    }

    /// The place after the last.
    #[must_use]
    pub fn after_last(&self, column: usize) -> u32 {
        number(self.placed(column)) + 1
    }
}

impl Shift {
    fn moved(&self, place: u32, half: u32) -> u32 {
        let gone = self.gone.partition_point(|g| *g < half);
        let come = self.come.partition_point(|c| *c < half);
        place + number(come) - number(gone)
    }
}
