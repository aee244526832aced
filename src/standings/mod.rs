//! The board: standings in memory, kept current from the log. Knows no SQL.
//!
//! It is loaded from placements at a log position and follows the log from there. Readers get
//! rows copied out of an immutable snapshot; writers never wait for readers.

use crate::rules::competition::Competition;
use crate::rules::placement::Placement;
use std::sync::Arc;

/// Standings of all competitions, by the competition's number in the store.
#[derive(Default)]
pub struct Board {}

impl Board {
    /// Replaces what is known of a competition by the state at `seq`.
    pub fn load(&self, competition: i64, definition: Arc<Competition>, seq: u64, placements: Vec<Placement>) {
        let _ = (competition, definition, seq, placements);
        todo!()
    }

    /// Takes in what happened up to `seq`; rows at or before the known position are skipped.
    pub fn follow(&self, competition: i64, seq: u64, definition: Option<Arc<Competition>>, placements: &[Placement]) {
        let _ = (competition, seq, definition, placements);
        todo!()
    }
}
