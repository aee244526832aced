//! The overall result: points added, worst left out, ties broken, rows listed.
//!
//! What decides first (level, number of results, points) is one integer a row; only where that
//! is equal are places compared. Rows that are equal in all of it share a standing.

use super::matrix::{Cell, Matrix};
use super::{LevelRule, Missing, OverallRules, Points, Ties};
use std::cmp::Ordering;

/// The overall result of one row.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// Position; rows that tie share it. `None`: no standing.
    pub standing: Option<u32>,
    /// How many share it, this row among them; 0 without a standing.
    pub shared: u32,
    /// Points of the counted results.
    pub points: u64,
    /// Points of the placed results, left-out ones too.
    pub placed_points: u64,
    /// How many placed results.
    pub placed: u32,
    /// Bit n: the result in the nth workout of the matrix counts (is not left out).
    pub counted: u32,
}

/// The standing of every row of a matrix, in its order. No workout that counts: no rows, so
/// no standings; the caller lists its entries by bib.
#[must_use]
pub fn overall(rules: &OverallRules, matrix: &Matrix) -> Vec<Standing> {
    let left_out = left_out_of(rules, matrix.workouts);
    let needed = matrix.workouts - left_out;
    let mut standings: Vec<Standing> = matrix.rows().map(|row| add_up(rules, row, left_out)).collect();
    let tied = Tied::new(rules, matrix, &standings, needed);
    let mut ranks: Vec<(u128, usize)> = matrix
        .rows()
        .zip(&standings)
        .enumerate()
        .filter(|(_, (_, standing))| has_standing(rules, standing, needed))
        .map(|(n, (row, standing))| (first(rules, row, standing, needed), n))
        .collect();
    ranks.sort_unstable_by(|a, b| a.0.cmp(&b.0).then_with(|| tied.compare(a.1, b.1)));
    let mut position = 1;
    for equals in ranks.chunk_by(|a, b| a.0 == b.0 && tied.compare(a.1, b.1).is_eq()) {
        let shared = u32::try_from(equals.len()).unwrap_or(u32::MAX);
        for (_, row) in equals {
            standings[*row].standing = Some(position);
            standings[*row].shared = shared;
        }
        position += shared;
    }
    standings
}

/// Row numbers in the order in which they are listed: by standing, equals in the order they
/// were given (callers give rows by bib); then those without a standing by number of placed
/// scores, by the sum over those, and as given.
#[must_use]
pub fn listing(rules: &OverallRules, standings: &[Standing]) -> Vec<usize> {
    let mut order: Vec<(u32, u32, u64, usize)> = standings
        .iter()
        .enumerate()
        .map(|(row, s)| match s.standing {
            Some(standing) => (standing, 0, 0, row),
            None => (u32::MAX, u32::MAX - s.placed, badness(rules, s.placed_points), row),
        })
        .collect();
    order.sort_unstable();
    order.into_iter().map(|(.., row)| row).collect()
}

/// How many results of each row are left out: `drop_worst`, once more workouts than that count.
fn left_out_of(rules: &OverallRules, workouts: usize) -> usize {
    usize::try_from(rules.drop_worst).ok().filter(|k| workouts > *k).unwrap_or(0)
}

/// Points turned so that less is better.
fn badness(rules: &OverallRules, points: u64) -> u64 {
    match rules.points {
        Points::Places => points,
        Points::Table { .. } => u64::MAX - points,
    }
}

/// Adds up one row without its worst results: worst by points, among equals the earliest
/// workout (World Sailing's Racing Rules, App. A2.1).
fn add_up(rules: &OverallRules, row: &[Cell], left_out: usize) -> Standing {
    let mut out = Standing { counted: (0..row.len()).fold(0, |all, n| all | bit(n)), ..Standing::default() };
    for _ in 0..left_out {
        let mut worst: Option<(u64, usize)> = None;
        for (n, cell) in counted(row, out.counted) {
            let bad = badness(rules, cell.points);
            if worst.is_none_or(|(most, _)| bad > most) {
                worst = Some((bad, n));
            }
        }
        out.counted &= !worst.map_or(0, |(_, n)| bit(n));
    }
    out.points = counted(row, out.counted).map(|(_, cell)| cell.points).sum();
    for cell in row.iter().filter(|cell| cell.placed) {
        out.placed += 1;
        out.placed_points += cell.points;
    }
    out
}

/// The results of a row that count, with their column.
fn counted(row: &[Cell], mask: u32) -> impl Iterator<Item = (usize, &Cell)> {
    row.iter().enumerate().filter(move |(n, _)| mask & bit(*n) != 0)
}

/// The bit of a column. A competition has at most 32 workouts.
fn bit(column: usize) -> u32 {
    u32::try_from(column).ok().and_then(|n| 1u32.checked_shl(n)).unwrap_or(0)
}

/// m: as many placed results as can count.
fn complete(standing: &Standing, needed: usize) -> usize {
    usize::try_from(standing.placed).unwrap_or(usize::MAX).min(needed)
}

/// Whether a row has a standing at all.
fn has_standing(rules: &OverallRules, standing: &Standing, needed: usize) -> bool {
    standing.placed > 0 && (rules.missing != Missing::Unplaced || complete(standing, needed) == needed)
}

/// What decides before any tie is broken, less is better: lowest level of the counted results
/// (8 bits), results that lack (8 bits), points (64 bits).
fn first(rules: &OverallRules, row: &[Cell], standing: &Standing, needed: usize) -> u128 {
    let level = match rules.level_rule {
        LevelRule::PerWorkout => 0,
        // Nothing placed among what counts: no level has been shown, so below all of them.
        LevelRule::Lowest => {
            let placed = counted(row, standing.counted).filter(|(_, cell)| cell.placed);
            placed.map(|(_, cell)| cell.level).max().unwrap_or(u8::MAX)
        }
    };
    let lacking = match rules.missing {
        Missing::BelowComplete => needed - complete(standing, needed),
        Missing::AfterLast | Missing::Unplaced => 0,
    };
    let lacking = u8::try_from(lacking).unwrap_or(u8::MAX);
    u128::from(level) << 72 | u128::from(lacking) << 64 | u128::from(badness(rules, standing.points))
}

/// How rows with equal points are told apart.
struct Tied<'a> {
    matrix: &'a Matrix,
    /// Counted places of each row, best to worst (A8.1); empty where there is no countback.
    best_to_worst: Vec<u32>,
    /// How many of those a row has.
    needed: usize,
    /// Whether the last workout, the one before it, … decide then (A8.2).
    last_workout: bool,
}

impl<'a> Tied<'a> {
    fn new(rules: &OverallRules, matrix: &'a Matrix, standings: &[Standing], needed: usize) -> Self {
        let countback = rules.ties == Ties::Countback;
        let mut best_to_worst = Vec::with_capacity(if countback { needed * standings.len() } else { 0 });
        if countback {
            for (row, standing) in matrix.rows().zip(standings) {
                let start = best_to_worst.len();
                best_to_worst.extend(counted(row, standing.counted).map(|(_, cell)| cell.place));
                best_to_worst[start..].sort_unstable();
            }
        }
        Self { matrix, best_to_worst, needed, last_workout: countback && rules.last_workout }
    }

    fn compare(&self, a: usize, b: usize) -> Ordering {
        self.countback(a)
            .cmp(self.countback(b))
            .then_with(|| if self.last_workout { self.backwards(a).cmp(self.backwards(b)) } else { Ordering::Equal })
    }

    /// Counted places, best to worst; left-out results are not used (A8.1).
    fn countback(&self, row: usize) -> &[u32] {
        self.best_to_worst.get(row * self.needed..(row + 1) * self.needed).unwrap_or_default()
    }

    /// Places from the last workout to the first; left-out results are used (A8.2).
    fn backwards(&self, row: usize) -> impl Iterator<Item = u32> {
        let row = self.matrix.row(row);
        row.iter().rev().map(|cell| cell.place)
    }
}
