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
    /// The rows, in the order they were given.
    pub fn rows(&self) -> impl Iterator<Item = &[Cell]> {
        // A matrix without workouts has no cells, so any length of chunk will do.
        self.cells.chunks_exact(self.workouts.max(1))
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

/// The matrix of those workouts that count: that have a placed score among the rows. Also
/// says which of `sources` those are, in order.
#[must_use]
pub fn matrix(rules: &OverallRules, rows: usize, sources: &[Source<'_>]) -> (Matrix, Vec<usize>) {
    let _ = (rules, rows, sources, level_of as fn(Key) -> u8, Points::default());
    todo!()
}
