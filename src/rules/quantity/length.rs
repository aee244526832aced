//! Heights and lengths: centimetres and inches.

use super::Millimetres;

/// The longest length taken: 1000 km.
pub const MAX_LENGTH: Millimetres = Millimetres(1_000_000_000);

impl Millimetres {
    /// From hundredths of an inch: 1 in = 25.4 mm exactly, half to even to the millimetre.
    #[must_use]
    pub fn from_inch_hundredths(hundredths: u64) -> Self {
        let _ = hundredths;
        todo!()
    }
}

/// Printed in centimetres: `50`, `50.5`. No unit.
#[must_use]
pub fn centimetres(length: Millimetres) -> String {
    let _ = length;
    todo!()
}

/// Hundredths of an inch printed in inches: `20`, `20.5`. No unit.
#[must_use]
pub fn inches(hundredths: u64) -> String {
    let _ = hundredths;
    todo!()
}
