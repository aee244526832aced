//! Loads in kilograms and pounds, and the rule for published pairs.

use super::{Grams, LoadUnit};
use crate::words::Sentence;

/// The heaviest load taken, 10 000 kg: more is a slip of the pen.
pub const MAX_LOAD: Grams = Grams(10_000_000);

/// A load as written: exact hundredths of its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Load {
    /// The unit.
    pub unit: LoadUnit,
    /// Hundredths of it.
    pub hundredths: u64,
}

impl Load {
    /// Reads `102.5 kg`, `102,5kg`, `225 lb`, `225#`.
    pub fn parse(text: &str) -> Result<Self, Sentence> {
        let _ = text;
        todo!()
    }

    /// In grams: 1 lb = 453.59237 g exactly, half to even.
    #[must_use]
    pub fn grams(self) -> Grams {
        todo!()
    }

    /// Printed as written: `102.5 kg`, `225 lb`.
    #[must_use]
    pub fn text(self) -> String {
        todo!()
    }
}

/// Grams printed in kilograms, to the hundredth: `102.06`. No unit.
#[must_use]
pub fn kilograms(grams: Grams) -> String {
    let _ = grams;
    todo!()
}

/// Grams printed in pounds, to the hundredth: `225`. No unit.
#[must_use]
pub fn pounds(grams: Grams) -> String {
    let _ = grams;
    todo!()
}

/// What the pair rule says of a load published in both units.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pair {
    /// Within 6 % of the smaller side.
    Same,
    /// Further apart than 6 %: a warning with both sides converted.
    Odd(Sentence),
    /// Further apart than 15 %: refused, with both sides converted.
    Apart(Sentence),
}

/// The pair rule: hundredths of a kilogram against hundredths of a pound, compared exactly.
#[must_use]
pub fn pair(kg_hundredths: u64, lb_hundredths: u64) -> Pair {
    let _ = (kg_hundredths, lb_hundredths);
    todo!()
}
