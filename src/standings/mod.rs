//! The board: standings in memory, kept current from the log. Knows no SQL.
//!
//! It is loaded from placements at a log position and follows the log from there. Readers get
//! rows copied out of an immutable snapshot ([`View`]); writers never wait for a ranking.
//!
//! A division is ranked when it is first asked for. After that a reader's state is what was ranked
//! and what has changed since, answered exactly without ranking again; where much has changed it is
//! ranked anew, once however many ask. Dates and who may see what are not here: callers say which
//! workouts count ([`Mask`]) and join names by bib; those that everybody may see are kept beside ([`Names`]).

mod base;
mod block;
mod cache;
mod entry;
mod field;
mod homes;
mod listing;
pub mod names;
mod pool;
pub mod query;
mod track;
pub mod view;
mod what_if;

pub use cache::{Leaf, Settling};
pub use listing::{Placing, Ranked};
pub use names::Names;
pub use query::{
    Athlete, Cut, DivisionCount, EntryRanking, EntryStanding, EntryWorkout, Mask, Memory, Moved, NextPlace,
    NextStanding, PlaceIn, PlaceRow, PlacesPage, Query, Scope, ScoreView, StandingRow, StandingsPage, WorkoutCell,
};
pub use view::View;
pub use what_if::{Spot, WhatIf};

use crate::rules::competition::Competition;
use crate::rules::order::Key;
use crate::rules::placement::Placement;
use arc_swap::ArcSwap;
use field::Field;
use std::collections::HashMap;
use std::sync::{Arc, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{Mutex, OwnedMutexGuard, Semaphore};
use track::Track;

/// Standings of all competitions, by the competition's number in the store.
#[derive(Default)]
pub struct Board {
    tracks: ArcSwap<HashMap<i64, Arc<Track>>>,
    past: Turn<Option<Past>>,
    /// By competition, how often states of its past were forgotten.
    forgotten: std::sync::Mutex<HashMap<i64, u64>>,
    what_ifs: Turn<()>,
    settling: Settling,
}

/// How many may wait for a turn: who waits keeps a place that others could use.
const WAITING: usize = 16;

/// Something that one does at a time, because it is much work.
struct Turn<T> {
    state: Arc<Mutex<T>>,
    room: Semaphore,
}

impl<T: Default> Default for Turn<T> {
    fn default() -> Self {
        Self { state: Arc::default(), room: Semaphore::new(WAITING) }
    }
}

impl<T> Turn<T> {
    /// `None`: it took longer than `patience`, or enough wait already.
    async fn take(&self, patience: Duration) -> Option<OwnedMutexGuard<T>> {
        let _room = self.room.try_acquire().ok()?;
        tokio::time::timeout(patience, Arc::clone(&self.state).lock_owned()).await.ok()
    }
}

/// The state of the past that was asked for last.
#[derive(Clone)]
pub struct Past {
    /// Number of the competition.
    pub competition: i64,
    /// Log position.
    pub seq: u64,
    /// What held then.
    pub view: Arc<View>,
    /// How often states of this past had been forgotten ([`Board::forgotten`]) when it was begun.
    pub forgotten: u64,
    /// Since when it waits for whoever asked for it and was gone by then; `None`: they have it.
    pub waits_since: Option<Instant>,
}

/// The file in force.
#[derive(Clone, Debug)]
pub struct InForce {
    /// The log position at which it was applied.
    pub at: u64,
    /// The leaf of the record there; of a state of the past nobody asks for it.
    pub leaf: Leaf,
    /// The file.
    pub competition: Arc<Competition>,
}

/// How far a competition is known, and of which log.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Mark {
    /// Another one where the log turned out not to be the one that was followed.
    pub epoch: u64,
    /// Log position.
    pub seq: u64,
}

/// A change that the board cannot take in, because it has not seen one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// The position the board is at; `None`: it knows nothing of the competition.
    pub position: Option<u64>,
}

/// A competition on its way to the board.
pub struct Loading(Field);

impl Loading {
    /// Takes in the next row: all rows up to the position, or of the scores only the newest of each
    /// (bib, workout), in log order. Later ones are skipped.
    pub fn take(&mut self, row: &Placement) {
        self.0.take_in(row);
    }

    /// What has been loaded, beside every board: a state of the past.
    #[must_use]
    pub fn view(self) -> View {
        View { cache: Arc::new(cache::Cache::new(&self.0, Settling::default())), field: self.0 }
    }
}

impl Board {
    /// A board that ranks everybody anew at other times than usual.
    #[must_use]
    pub fn settling(settling: Settling) -> Self {
        Self { settling, ..Self::default() }
    }

    /// Begins to load a competition row by row, up to `seq`; see [`Self::loaded`].
    #[must_use]
    pub fn loading(definition: InForce, seq: u64) -> Loading {
        Loading(Field::new(definition, seq))
    }

    /// Replaces what is known of a competition by what has been loaded.
    pub fn loaded(&self, competition: i64, loading: Loading) {
        match self.track(competition) {
            Some(track) => track.replace(loading.0),
            None => self.begin(competition, loading.0),
        }
    }

    /// Replaces what is known of a competition by the state at `seq`. The placements are all
    /// rows up to there, or of the scores only the newest of each (bib, workout), in any order.
    pub fn load(
        &self,
        competition: i64,
        definition: InForce,
        seq: u64,
        placements: impl IntoIterator<Item = Placement>,
    ) {
        self.loaded(competition, Loading(Field::load(definition, seq, placements)));
    }

    /// Takes in what happened up to `seq`; rows at or before the known position are skipped.
    ///
    /// The caller knows that nothing is missing between the known position and these rows;
    /// where another process may have written, see [`Board::follow_after`]. A competition that
    /// is not known begins here if a definition comes along, else nothing happens.
    pub fn follow(&self, competition: i64, seq: u64, definition: Option<InForce>, placements: &[Placement]) {
        match self.track(competition) {
            // Without `after` there is no gap to be found.
            Some(track) => drop(track.follow(None, seq, definition, placements)),
            None => self.begin_with(competition, seq, definition, placements),
        }
    }

    /// The same for rows that stand after log position `after`: if the board is not yet there,
    /// nothing is taken in, and the caller reads the missing rows first.
    pub fn follow_after(
        &self,
        competition: i64,
        after: u64,
        seq: u64,
        definition: Option<InForce>,
        placements: &[Placement],
    ) -> Result<(), Gap> {
        match self.track(competition) {
            Some(track) => track.follow(Some(after), seq, definition, placements),
            None if after == 0 => {
                self.begin_with(competition, seq, definition, placements);
                Ok(())
            }
            None => Err(Gap { position: None }),
        }
    }

    /// Knows nothing of a competition any more: there is no such one.
    pub fn forget(&self, competition: i64) {
        self.tracks.rcu(|tracks| {
            let mut tracks = HashMap::clone(tracks);
            tracks.remove(&competition);
            tracks
        });
    }

    /// The number of the competition with this slug.
    #[must_use]
    pub fn find(&self, slug: &str) -> Option<i64> {
        self.tracks.load().iter().find(|(_, track)| track.is_of(slug)).map(|(competition, _)| *competition)
    }

    /// How far a competition is known, and of which log: equal marks, equal states.
    #[must_use]
    pub fn mark(&self, competition: i64) -> Option<Mark> {
        Some(self.track(competition)?.mark())
    }

    /// The log position a competition is known up to.
    #[must_use]
    pub fn position(&self, competition: i64) -> Option<u64> {
        Some(self.track(competition)?.position())
    }

    /// Waits until a competition is known up to `seq`; false when the time is over first, or
    /// the competition is not known.
    pub async fn at_least(&self, competition: i64, seq: u64, timeout: Duration) -> bool {
        match self.track(competition) {
            Some(track) => track.at_least(seq, timeout).await,
            None => false,
        }
    }

    /// The names of a competition that everybody may see.
    #[must_use]
    pub fn names(&self, competition: i64) -> Option<Arc<Names>> {
        Some(self.track(competition)?.names())
    }

    /// The same of all competitions.
    #[must_use]
    pub fn all_names(&self) -> Vec<(i64, Arc<Names>)> {
        self.tracks.load().iter().map(|(competition, track)| (*competition, track.names())).collect()
    }

    /// The current state of a competition. Several questions to one view are answered from one
    /// state.
    #[must_use]
    pub fn view(&self, competition: i64) -> Option<Arc<View>> {
        Some(self.track(competition)?.view())
    }

    /// A state of the past, with the same questions: from all placements up to `seq` (later
    /// ones are skipped) and the definition in force then.
    #[must_use]
    pub fn as_of(definition: Arc<Competition>, placements: impl IntoIterator<Item = Placement>, seq: u64) -> View {
        Loading(Field::load(InForce { at: seq, leaf: Leaf::default(), competition: definition }, seq, placements))
            .view()
    }

    /// The one place where states of the past are made, one at a time, and the last one kept:
    /// each costs as much as loading the competition. `None`: others are before, and it took
    /// longer than `patience`.
    pub async fn past(&self, patience: Duration) -> Option<OwnedMutexGuard<Option<Past>>> {
        let mut past = self.past.take(patience).await?;
        past.take_if(|kept| kept.forgotten != self.forgotten(kept.competition));
        Some(past)
    }

    /// Forgets the state of a competition's past that is kept, or is being made: the log is not the one that it was
    /// read from.
    pub fn forget_past(&self, competition: i64) {
        *self.forgettings().entry(competition).or_default() += 1;
        // Who makes one just now sees to it that it is not kept.
        if let Ok(mut past) = self.past.state.try_lock() {
            past.take_if(|kept| kept.competition == competition);
        }
    }

    /// How often states of a competition's past were forgotten: one that was begun before is worth nothing.
    #[must_use]
    pub fn forgotten(&self, competition: i64) -> u64 {
        self.forgettings().get(&competition).copied().unwrap_or_default()
    }

    fn forgettings(&self) -> std::sync::MutexGuard<'_, HashMap<i64, u64>> {
        self.forgotten.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The turn of one who has a competition ranked anew for a question ([`View::what_if`]): one at
    /// a time, so that the curious never slow down the others. `None`: it took longer than
    /// `patience`.
    pub async fn turn(&self, patience: Duration) -> Option<OwnedMutexGuard<()>> {
        self.what_ifs.take(patience).await
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

    /// [`View::places_in`] of the current state.
    #[must_use]
    pub fn places_in(&self, competition: i64, workout: usize, bib: u32) -> Option<Vec<PlaceIn>> {
        self.view(competition)?.places_in(workout, bib)
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

    fn track(&self, competition: i64) -> Option<Arc<Track>> {
        self.tracks.load().get(&competition).cloned()
    }

    fn begin(&self, competition: i64, field: Field) {
        let track = Arc::new(Track::new(field, self.settling));
        self.tracks.rcu(|tracks| {
            let mut tracks = HashMap::clone(tracks);
            tracks.insert(competition, Arc::clone(&track));
            tracks
        });
    }

    fn begin_with(&self, competition: i64, seq: u64, definition: Option<InForce>, placements: &[Placement]) {
        if let Some(definition) = definition {
            self.begin(competition, Field::load(definition, seq, placements.iter().cloned()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::FutureExt;
    use futures_util::future::join_all;

    #[tokio::test]
    async fn only_so_many_wait_for_a_turn() {
        let (turn, patience) = (Turn::<()>::default(), Duration::from_mins(1));
        let held = turn.take(patience).await.expect("nobody is before");
        let mut waiting = Box::pin(join_all((0..WAITING).map(|_| turn.take(patience))));
        assert!((&mut waiting).now_or_never().is_none(), "they wait");
        assert!(matches!(turn.take(patience).now_or_never(), Some(None)), "one more is sent away at once");
        drop((held, waiting));
        assert!(turn.take(patience).await.is_some(), "who has gone keeps no place");
    }
}
