//! What each result is worth: places → points, missing results and weights included.

use super::workout::level_of;
use super::{OverallRules, Points};
use crate::rules::order::Key;

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

/// Results of all ranked rows in all workouts that count, row by row, workouts in file order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Matrix {
    /// How many workouts count: the length of a row.
    pub workouts: usize,
    /// All rows, one after the other.
    pub cells: Vec<Cell>,
}

impl Matrix {
    /// The rows, in the order they were given; none where no workout counts.
    pub fn rows(&self) -> std::slice::ChunksExact<'_, Cell> {
        self.cells.chunks_exact(self.workouts.max(1))
    }

    /// One row; empty where there is none.
    #[must_use]
    pub fn row(&self, row: usize) -> &[Cell] {
        self.cells.get(row * self.workouts..(row + 1) * self.workouts).unwrap_or_default()
    }
}

/// One workout, before it is known whether it counts.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// Multiplies its points.
    pub weight: u32,
    /// One a row; `None`: no placed score.
    pub keys: &'a [Option<Key>],
    /// [`super::places`] of the keys.
    pub places: &'a [Option<u32>],
}

/// The matrix of those workouts that count, that is, have a placed score among the rows; and
/// which of `sources` those are, in order.
///
/// A missing result has the place after the last: placed scores in that workout + 1. It is
/// worth that place, or 0 of a table's points.
#[must_use]
pub fn matrix(rules: &OverallRules, rows: usize, sources: &[Source<'_>]) -> (Matrix, Vec<usize>) {
    let counting: Vec<usize> = (0..sources.len()).filter(|&n| sources[n].places.iter().any(Option::is_some)).collect();
    let workouts = counting.len();
    let missing = Cell { place: 0, points: 0, level: 0, placed: false };
    let mut cells = vec![missing; rows * workouts];
    for (column, &n) in counting.iter().enumerate() {
        let source = sources[n];
        let placed = source.places.iter().flatten().count();
        let after_last = u32::try_from(placed).unwrap_or(u32::MAX).saturating_add(1);
        let missing = Cell { place: after_last, points: points_of(rules, source.weight, after_last, false), ..missing };
        let column = cells.iter_mut().skip(column).step_by(workouts);
        for (cell, (place, key)) in column.zip(source.places.iter().zip(source.keys)) {
            *cell = match (place, key) {
                (Some(place), Some(key)) => Cell {
                    place: *place,
                    points: points_of(rules, source.weight, *place, true),
                    level: level_of(*key),
                    placed: true,
                },
                _ => missing,
            };
        }
    }
    (Matrix { workouts, cells }, counting)
}

/// What a place is worth in a workout of this weight. Tied places get the same points.
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
