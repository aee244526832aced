//! The overall result: points added, worst left out, ties broken, rows listed.

use super::OverallRules;
use super::matrix::Matrix;

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

/// The standing of every row of a matrix.
#[must_use]
pub fn overall(rules: &OverallRules, matrix: &Matrix) -> Vec<Standing> {
    let _ = (rules, matrix);
    todo!()
}

/// Row numbers in the order in which they are listed: by standing, equals in the order they
/// were given (callers give rows by bib); then those without a standing by number of placed
/// scores, by the sum over those, and as given.
#[must_use]
pub fn listing(rules: &OverallRules, standings: &[Standing]) -> Vec<u32> {
    let _ = (rules, standings);
    todo!()
}
