//! The board: standings in memory, kept current from the log. Knows no SQL.
//!
//! It is loaded from placements at a log position and follows the log from there. Readers get
//! rows copied out of an immutable snapshot; writers never wait for readers.

pub mod query;
pub mod view;

pub use query::{
    Athlete, Cut, DivisionCount, EntryRanking, EntryStanding, EntryWorkout, Mask, Moved, NextPlace, NextStanding,
    PlaceRow, PlacesPage, Query, Scope, ScoreView, StandingRow, StandingsPage, WorkoutCell,
};
pub use view::View;

use crate::rules::competition::Competition;
use crate::rules::order::Key;
use crate::rules::placement::Placement;
use std::sync::Arc;
use std::time::Duration;

/// Standings of all competitions, by the competition's number in the store.
#[derive(Default)]
pub struct Board {}

/// A change that the board cannot take in, because it has not seen one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// The position the board is at; `None`: it knows nothing of the competition.
    pub position: Option<u64>,
}

impl Board {
    /// Replaces what is known of a competition by the state at `seq`. The placements are all
    /// rows up to there, or only the newest of each (bib, workout), in any order.
    pub fn load(&self, competition: i64, definition: Arc<Competition>, seq: u64, placements: Vec<Placement>) {
        let _ = (competition, definition, seq, placements);
        todo!()
    }

    /// Takes in what happened up to `seq`; rows at or before the known position are skipped.
    ///
    /// The caller knows that nothing is missing between the known position and these rows;
    /// where another process may have written, see [`Board::follow_after`]. A competition that
    /// is not known begins here if a definition comes along, else nothing happens.
    pub fn follow(&self, competition: i64, seq: u64, definition: Option<Arc<Competition>>, placements: &[Placement]) {
        let _ = (competition, seq, definition, placements);
        todo!()
    }

    /// The same for rows that stand after log position `after`: if the board is not yet there,
    /// nothing is taken in, and the caller reads the missing rows first.
    pub fn follow_after(
        &self,
        competition: i64,
        after: u64,
        seq: u64,
        definition: Option<Arc<Competition>>,
        placements: &[Placement],
    ) -> Result<(), Gap> {
        let _ = (competition, after, seq, definition, placements);
        todo!()
    }

    /// The log position a competition is known up to.
    #[must_use]
    pub fn position(&self, competition: i64) -> Option<u64> {
        let _ = competition;
        todo!()
    }

    /// Waits until a competition is known up to `seq`; false when the time is over first, or
    /// the competition is not known.
    pub async fn at_least(&self, competition: i64, seq: u64, timeout: Duration) -> bool {
        let _ = (competition, seq, timeout);
        todo!()
    }

    /// The current state of a competition. Several questions to one view are answered from one
    /// state.
    #[must_use]
    pub fn view(&self, competition: i64) -> Option<Arc<View>> {
        let _ = competition;
        todo!()
    }

    /// A state of the past, with the same questions: from all placements up to `seq` (later
    /// ones are skipped) and the definition in force then.
    #[must_use]
    pub fn as_of(definition: Arc<Competition>, placements: Vec<Placement>, seq: u64) -> View {
        let _ = (definition, placements, seq);
        todo!()
    }

    /// [`View::standings`] of the current state.
    #[must_use]
    pub fn standings(&self, competition: i64, query: &Query, cut: Cut) -> Option<StandingsPage> {
        self.view(competition)?.standings(query, cut)
    }

    /// [`View::places`] of the current state.
    #[must_use]
    pub fn places(&self, competition: i64, query: &Query, workout: usize, cut: Cut) -> Option<PlacesPage> {
        self.view(competition)?.places(query, workout, cut)
    }

    /// [`View::entry`] of the current state.
    #[must_use]
    pub fn entry(&self, competition: i64, bib: u32, mask: Mask) -> Option<EntryStanding> {
        self.view(competition)?.entry(bib, mask)
    }

    /// [`View::would_be`] of the current state.
    #[must_use]
    pub fn would_be(&self, competition: i64, division: &str, workout: usize, key: Key, bib: u32) -> Option<u32> {
        self.view(competition)?.would_be(division, workout, key, bib)
    }

    /// [`View::moved_by`] of the current state.
    #[must_use]
    pub fn moved_by(
        &self,
        competition: i64,
        query: &Query,
        workout: usize,
        bib: u32,
        key: Option<Key>,
    ) -> Option<Moved> {
        self.view(competition)?.moved_by(query, workout, bib, key)
    }

    /// [`View::counts`] of the current state.
    #[must_use]
    pub fn counts(&self, competition: i64) -> Option<Vec<DivisionCount>> {
        Some(self.view(competition)?.counts())
    }
}
