//! Digits as people and keyboards write them.

use crate::words::Sentence;

/// Lower case, full-width and other scripts' digits and signs as ASCII, primes as `'` and `"`,
/// Unicode spaces as one space, invisible characters gone, trimmed.
#[must_use]
pub fn fold(text: &str) -> String {
    let _ = text;
    todo!()
}

/// A decimal with point or comma as exact hundredths: `102,5` → 10250. More than two decimals
/// (other than zeros) are refused, never rounded.
pub fn decimal_hundredths(text: &str) -> Result<u64, Sentence> {
    let _ = text;
    todo!()
}

/// A whole number, at most 2^53 − 1.
pub fn whole(text: &str) -> Result<u64, Sentence> {
    let _ = text;
    todo!()
}
