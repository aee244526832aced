//! One state of a competition, and the questions it answers.

use super::query::{Cut, DivisionCount, EntryStanding, Mask, Moved, PlacesPage, Query, StandingsPage};
use crate::rules::order::Key;

/// One state of a competition: nothing in it changes. Workouts are named by their index in the
/// competition file.
pub struct View {}

impl View {
    /// The log position of this state.
    #[must_use]
    pub fn seq(&self) -> u64 {
        todo!()
    }

    /// Overall standings; `None`: no such division.
    #[must_use]
    pub fn standings(&self, query: &Query, cut: Cut) -> Option<StandingsPage> {
        let _ = (query, cut);
        todo!()
    }

    /// Places in one workout (the query's mask is not looked at: the caller knows that the
    /// reader may see this workout); `None`: no such division or workout.
    #[must_use]
    pub fn places(&self, query: &Query, workout: usize, cut: Cut) -> Option<PlacesPage> {
        let _ = (query, workout, cut);
        todo!()
    }

    /// One entry's places everywhere it is ranked, counting the workouts of the mask; `None`:
    /// no such entry, or removed.
    #[must_use]
    pub fn entry(&self, bib: u32, mask: Mask) -> Option<EntryStanding> {
        let _ = (bib, mask);
        todo!()
    }

    /// The place that `key` would have in a workout of a division if it were the score of
    /// `bib` (whose present score is not counted); `None`: no such division or workout.
    #[must_use]
    pub fn would_be(&self, division: &str, workout: usize, key: Key, bib: u32) -> Option<u32> {
        let _ = (division, workout, key, bib);
        todo!()
    }

    /// What would move among those of the query if the score of `bib` in a workout had this
    /// key, or no place; `None`: no such division or workout, or `bib` is not ranked there.
    #[must_use]
    pub fn moved_by(&self, query: &Query, workout: usize, bib: u32, key: Option<Key>) -> Option<Moved> {
        let _ = (query, workout, bib, key);
        todo!()
    }

    /// How much there is of each division, in file order.
    #[must_use]
    pub fn counts(&self) -> Vec<DivisionCount> {
        todo!()
    }
}
