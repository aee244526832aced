//! One row's results added up by the rules of the competition: what decides first, as one integer,
//! and what decides where that is equal.

use super::column::Column;
use super::{LevelRule, Missing, OverallRules, Points, Ties, level_of};
use crate::rules::order::Key;
use smallvec::SmallVec;

/// One result in a workout that counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cell {
    /// The place; for a missing result one after the last.
    pub place: u32,
    /// What it is worth, weight included.
    pub points: u64,
    /// The level it was done at; of no meaning where missing.
    pub level: u8,
    /// Whether there is a placed score.
    pub placed: bool,
}

/// The results of one row in the workouts that count, in file order.
pub type Cells = SmallVec<[Cell; 6]>;

/// A row's results added up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sum {
    /// Points of the counted results.
    pub points: u64,
    /// Points of the placed results, left-out ones too.
    pub placed_points: u64,
    /// How many placed results.
    pub placed: u32,
    /// Bit n: the nth result counts (is not left out).
    pub counted: u32,
}

/// Where a row stands: by `first`, by `ties` where that is equal; rows with both equal share a
/// standing, and are listed as they are numbered.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Line {
    /// What decides before any tie is broken, less is better.
    pub first: u64,
    /// Counted places, best to worst (A8.1); then places from the last workout to the first (A8.2).
    pub ties: SmallVec<[u32; 8]>,
    /// Which row.
    pub row: u32,
}

/// Nothing placed: no standing, listed last.
pub(super) const NOTHING: u64 = u64::MAX;
/// This bit and above: no standing.
const NO_STANDING: u64 = 1 << 62;
const LEVEL_AT: u32 = 54;
const LACKING_AT: u32 = 48;
/// Points of 32 workouts of weight 1,000 and places of 32 bits are less than this.
const MOST_POINTS: u64 = (1 << LACKING_AT) - 1;

/// Whether a `first` is that of a row with a standing.
pub(super) const fn stands(first: u64) -> bool {
    first < NO_STANDING
}

/// A workout that counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counting {
    /// Its column.
    pub column: usize,
    /// Multiplies its points.
    pub weight: u32,
}

/// The rules, for a number of workouts that count.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tally<'a> {
    rules: &'a OverallRules,
    pub(super) counting: &'a [Counting],
    /// `drop_worst`, once more workouts than that count.
    left_out: usize,
}

impl<'a> Tally<'a> {
    pub(super) fn new(rules: &'a OverallRules, counting: &'a [Counting]) -> Self {
        let left_out = usize::try_from(rules.drop_worst).ok().filter(|k| counting.len() > *k).unwrap_or(0);
        Self { rules, counting, left_out }
    }

    /// How many results can count.
    fn needed(&self) -> usize {
        self.counting.len() - self.left_out
    }

    /// Whether places that move by little move `first` by little, and nothing else of it.
    pub(super) fn steady(&self) -> bool {
        self.rules.points == Points::Places && (self.rules.level_rule == LevelRule::PerWorkout || self.left_out == 0)
    }

    /// Whether `first` is the sum of all places, but for results that lack.
    pub(super) fn plain(&self) -> bool {
        self.rules.points == Points::Places && self.rules.level_rule == LevelRule::PerWorkout && self.left_out == 0
    }

    /// Whether `first` is the sum of all places, whatever lacks.
    pub(super) fn only_adds(&self) -> bool {
        self.plain() && self.rules.missing == Missing::AfterLast
    }

    /// `first` of a row whose points are a sum over all results: see [`Self::plain`].
    pub(super) fn plain_first(&self, points: u64, placed: usize, placed_points: impl FnOnce() -> u64) -> u64 {
        match self.rules.missing {
            _ if placed == 0 => NOTHING,
            Missing::AfterLast => points,
            Missing::BelowComplete => lacking(self.needed() - placed) | points,
            Missing::Unplaced if placed == self.needed() => points,
            Missing::Unplaced => unplaced(placed) | placed_points(),
        }
    }

    /// Whether places break ties.
    pub(super) fn countback(&self) -> bool {
        self.rules.ties == Ties::Countback
    }

    /// A result of the nth workout that counts.
    pub(super) fn cell(
        &self,
        n: usize,
        place: Option<u32>,
        after_last: u32,
        key: impl FnOnce() -> Option<Key>,
    ) -> Cell {
        let weight = self.counting[n].weight;
        Cell {
            place: place.unwrap_or(after_last),
            points: points_of(self.rules, weight, place.unwrap_or(after_last), place.is_some()),
            level: match self.rules.level_rule {
                LevelRule::Lowest => key().map_or(0, level_of),
                LevelRule::PerWorkout => 0,
            },
            placed: place.is_some(),
        }
    }

    /// A row without its worst results: worst by points, among equals the earliest workout (World
    /// Sailing's Racing Rules, App. A2.1).
    pub(super) fn sum(&self, cells: &[Cell]) -> Sum {
        let mut out = Sum { counted: (0..cells.len()).fold(0, |all, n| all | bit(n)), ..Sum::default() };
        for _ in 0..self.left_out {
            let mut worst: Option<(u64, usize)> = None;
            for (n, cell) in counted(cells, out.counted) {
                let bad = self.badness(cell.points);
                if worst.is_none_or(|(most, _)| bad > most) {
                    worst = Some((bad, n));
                }
            }
            out.counted &= !worst.map_or(0, |(_, n)| bit(n));
        }
        out.points = counted(cells, out.counted).map(|(_, cell)| cell.points).sum();
        for cell in cells.iter().filter(|cell| cell.placed) {
            out.placed += 1;
            out.placed_points += cell.points;
        }
        out
    }

    /// What decides before any tie is broken, less is better: without a standing after with; then
    /// the lowest level of the counted results, results that lack, points. Without a standing: by
    /// number of placed results, then by their points.
    pub(super) fn first(&self, cells: &[Cell], sum: &Sum) -> u64 {
        let placed = sum.placed as usize;
        let lack = self.needed().saturating_sub(placed);
        if placed == 0 {
            return NOTHING;
        }
        if self.rules.missing == Missing::Unplaced && lack > 0 {
            return unplaced(placed) | self.badness(sum.placed_points);
        }
        let level = match self.rules.level_rule {
            LevelRule::PerWorkout => 0,
            // Nothing placed among what counts: no level has been shown, so below all of them.
            LevelRule::Lowest => {
                let placed = counted(cells, sum.counted).filter(|(_, cell)| cell.placed);
                placed.map(|(_, cell)| u64::from(cell.level)).max().unwrap_or(8)
            }
        };
        let lack = if self.rules.missing == Missing::BelowComplete { lacking(lack) } else { 0 };
        level << LEVEL_AT | lack | self.badness(sum.points)
    }

    /// What decides between rows that stand equal so far.
    pub(super) fn ties(&self, cells: &[Cell], sum: &Sum, first: u64) -> SmallVec<[u32; 8]> {
        let mut ties = SmallVec::new();
        if self.countback() && stands(first) {
            ties.extend(counted(cells, sum.counted).map(|(_, cell)| cell.place));
            ties.sort_unstable();
            if self.rules.last_workout {
                ties.extend(cells.iter().rev().map(|cell| cell.place));
            }
        }
        ties
    }

    /// The line of a row with these results.
    pub(super) fn line(&self, row: u32, cells: &[Cell]) -> Line {
        let sum = self.sum(cells);
        let first = self.first(cells, &sum);
        Line { first, ties: self.ties(cells, &sum, first), row }
    }

    /// The results of a row of columns as they were made.
    pub(super) fn cells(&self, columns: &[Column], row: u32) -> Cells {
        let cell = |(n, counting): (usize, &Counting)| {
            let column = &columns[counting.column];
            self.cell(n, column.place(row), column.after_last(), || column.key(row))
        };
        self.counting.iter().enumerate().map(cell).collect()
    }

    /// The points that a `first` with a standing says.
    pub(super) fn points(&self, first: u64) -> u64 {
        self.badness(first & MOST_POINTS)
    }

    /// Points turned so that less is better, and back.
    fn badness(&self, points: u64) -> u64 {
        match self.rules.points {
            Points::Places => points,
            Points::Table { .. } => MOST_POINTS - points,
        }
    }
}

fn lacking(results: usize) -> u64 {
    (results as u64) << LACKING_AT
}

/// More placed results before fewer.
fn unplaced(placed: usize) -> u64 {
    NO_STANDING | lacking(32_usize.saturating_sub(placed))
}

/// What a place is worth in a workout of this weight. Tied places get the same points; a missing
/// result is worth the place after the last, or 0 of a table's points.
///
/// A competition file has at most 32 workouts of weight at most 1,000, so that no sum of these
/// comes near the end of a `u64`.
fn points_of(rules: &OverallRules, weight: u32, place: u32, placed: bool) -> u64 {
    let points = match &rules.points {
        Points::Places => place,
        Points::Table { .. } if !placed => 0,
        Points::Table { table, past_end_last } => {
            let past_end = if *past_end_last { table.last().copied().unwrap_or(0) } else { 0 };
            let row = usize::try_from(place).unwrap_or(usize::MAX).saturating_sub(1);
            table.get(row).copied().unwrap_or(past_end)
        }
    };
    u64::from(points) * u64::from(weight)
}

/// The results of a row that count, with their number.
fn counted(cells: &[Cell], mask: u32) -> impl Iterator<Item = (usize, &Cell)> {
    cells.iter().enumerate().filter(move |(n, _)| mask & bit(*n) != 0)
}

/// The bit of a result. A competition has at most 32 workouts.
fn bit(n: usize) -> u32 {
    u32::try_from(n).ok().and_then(|n| 1u32.checked_shl(n)).unwrap_or(0)
}
