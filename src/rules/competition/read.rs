//! Text → [`RawCompetition`].

use super::raw::RawCompetition;
use crate::rules::fault::Fault;

/// Reads TOML and compiles it once, so that every fault of the text comes at once, with its
/// key and line.
pub fn from_toml(text: &str) -> Result<RawCompetition, Vec<Fault>> {
    let _ = text;
    todo!()
}

/// Reads the same shape as JSON; faults carry keys.
pub fn from_json(bytes: &[u8]) -> Result<RawCompetition, Vec<Fault>> {
    let _ = bytes;
    todo!()
}
