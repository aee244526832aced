//! Times in writing: `m:ss` and `h:mm:ss` with up to three decimals, and their rounding.

use super::{Millis, Rounding, TimeStep};
use crate::words::Sentence;

/// The longest time taken: 99:59:59.999. Keeps every sum of intervals inside the key.
pub const MAX_TIME: Millis = Millis(359_999_999);

impl TimeStep {
    /// Its length in milliseconds: 1000, 100 or 10.
    #[must_use]
    pub fn millis(self) -> u64 {
        todo!()
    }
}

impl Millis {
    /// Reads `m:ss`, `h:mm:ss`, `9'32"`, each with up to three decimals (point or comma).
    ///
    /// Minutes of `m:ss` may pass 59 (`92:10`).
    pub fn parse(text: &str) -> Result<Self, Sentence> {
        let _ = text;
        todo!()
    }

    /// Cut or lengthened to the step.
    #[must_use]
    pub fn rounded(self, step: TimeStep, rounding: Rounding) -> Self {
        let _ = (step, rounding);
        todo!()
    }

    /// Rounded, in whole steps.
    #[must_use]
    pub fn steps(self, step: TimeStep, rounding: Rounding) -> u64 {
        let _ = (step, rounding);
        todo!()
    }

    /// Rounded and printed with the decimals of the step: `9:32`, `9:32.4`, `1:04:10.00`.
    #[must_use]
    pub fn shown(self, step: TimeStep, rounding: Rounding) -> String {
        let _ = (step, rounding);
        todo!()
    }

    /// Printed exactly, with as many decimals as it has (`9:32`, `9:32.4`); reads back the same.
    #[must_use]
    pub fn exact(self) -> String {
        todo!()
    }
}
