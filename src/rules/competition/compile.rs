//! What a competition file means.

use super::Competition;
use super::raw::RawCompetition;
use crate::rules::fault::{Checked, Fault};

/// Compiles; warnings for what is taken but odd (load pairs 6 % apart).
pub fn compile(raw: &RawCompetition) -> Result<Checked<Competition>, Vec<Fault>> {
    let _ = raw;
    todo!()
}
