//! Heights and lengths: centimetres and inches.

use super::Millimetres;
use super::text::{from_hundredths, half_even};

/// The longest length taken: 1000 km.
pub const MAX_LENGTH: Millimetres = Millimetres(1_000_000_000);

impl Millimetres {
    /// From hundredths of an inch: 1 in = 25.4 mm exactly (NIST SP 811, App. B), half to even to
    /// the millimetre.
    ///
    /// ```
    /// use tallywright::rules::quantity::Millimetres;
    ///
    /// assert_eq!(Millimetres::from_inch_hundredths(20_00), Millimetres(508));
    /// ```
    #[must_use]
    pub fn from_inch_hundredths(hundredths: u64) -> Self {
        Self(half_even(u128::from(hundredths) * 254, 1000))
    }
}

/// Printed in centimetres: `50`, `50.5`. No unit.
#[must_use]
pub fn centimetres(length: Millimetres) -> String {
    match length.0 % 10 {
        0 => (length.0 / 10).to_string(),
        tenths => format!("{}.{tenths}", length.0 / 10),
    }
}

/// Hundredths of an inch printed in inches: `20`, `20.5`. No unit.
#[must_use]
pub fn inches(hundredths: u64) -> String {
    from_hundredths(hundredths)
}
