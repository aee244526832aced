//! What can be asked of the board, and what it answers. Names are not in it: callers join
//! them by bib.

use crate::rules::life::State;
use crate::rules::order::Key;
use crate::rules::people::EntryState;
use std::sync::Arc;

/// A set of workouts: bit n is the nth of the competition file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Mask(pub u32);

impl Mask {
    /// All workouts.
    pub const ALL: Self = Self(u32::MAX);
    /// No workout.
    pub const NONE: Self = Self(0);

    /// This set and the nth workout; the same set beyond the 32nd.
    #[must_use]
    pub fn with(self, workout: usize) -> Self {
        Self(self.0 | bit(workout))
    }

    /// This set without the nth workout.
    #[must_use]
    pub fn without(self, workout: usize) -> Self {
        Self(self.0 & !bit(workout))
    }

    /// Whether the nth workout is in it.
    #[must_use]
    pub fn has(self, workout: usize) -> bool {
        self.0 & bit(workout) != 0
    }
}

impl FromIterator<usize> for Mask {
    fn from_iter<I: IntoIterator<Item = usize>>(workouts: I) -> Self {
        workouts.into_iter().fold(Self::NONE, Self::with)
    }
}

fn bit(workout: usize) -> u32 {
    u32::try_from(workout).ok().and_then(|n| 1u32.checked_shl(n)).unwrap_or(0)
}

/// Among whom places are worked out: entries that fit all that is given.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Scope {
    /// Gym slug.
    pub gym: Option<String>,
    /// Region as registered.
    pub region: Option<String>,
    /// ISO 3166-1 alpha-2, upper case.
    pub country: Option<String>,
}

impl Scope {
    /// The whole division.
    #[must_use]
    pub fn whole(&self) -> bool {
        *self == Self::default()
    }
}

/// Which standings.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Query {
    /// Division slug, plain or combined.
    pub division: String,
    /// Among whom.
    pub scope: Scope,
    /// The workouts that this reader counts and sees: hidden ones, and running ones where they
    /// are not wanted, are left out by the caller.
    pub mask: Mask,
}

/// Which rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// From a row number (1 is the first; 0 is taken for 1), at most so many.
    Rows {
        /// Row number.
        from: usize,
        /// How many.
        limit: usize,
    },
    /// The page that holds a bib when pages of `limit` rows are cut from row 1 on.
    Holding {
        /// Whose.
        bib: u32,
        /// How many.
        limit: usize,
    },
}

/// A page of the overall standings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandingsPage {
    /// Log position of the state shown.
    pub seq: u64,
    /// How many entries have a standing.
    pub of: usize,
    /// How many are listed in all.
    pub entries: usize,
    /// Row number of the first row here; 0 where the bib asked for is not listed.
    pub from: usize,
    /// Rows in order.
    pub rows: Vec<StandingRow>,
}

/// A page of one workout's places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlacesPage {
    /// Log position of the state shown.
    pub seq: u64,
    /// How many entries have a place.
    pub of: usize,
    /// How many are listed in all.
    pub entries: usize,
    /// Row number of the first row here; 0 where the bib asked for is not listed.
    pub from: usize,
    /// Rows in order: by place; then those with a score that has no place, those without one,
    /// and guests; equals by bib.
    pub rows: Vec<PlaceRow>,
}

/// What is public of an entry, but for the name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Athlete {
    /// Whose.
    pub bib: u32,
    /// The plain division slug it is entered in.
    pub division: Arc<str>,
    /// Gym slug.
    pub gym: Option<Arc<str>>,
    /// ISO 3166-1 alpha-2 or empty.
    pub country: Arc<str>,
    /// As registered, or empty.
    pub region: Arc<str>,
    /// Active, withdrawn or guest.
    pub state: EntryState,
}

/// The attempt that counts, else the latest one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScoreView {
    /// Which attempt.
    pub attempt: u32,
    /// Canonical written form.
    pub text: Arc<str>,
    /// Where it stands.
    pub state: State,
    /// Index of its level in the competition's levels.
    pub level: u8,
    /// Its order where it is placed.
    pub key: Option<Key>,
}

/// One row of the overall standings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandingRow {
    /// Position among those ranked; `None`: no standing.
    pub standing: Option<u32>,
    /// How many share it; 0 without a standing.
    pub shared: u32,
    /// Who.
    pub athlete: Athlete,
    /// Sum of the counted results; `None` without a standing.
    pub points: Option<u64>,
    /// Standing in the whole division.
    pub unscoped_standing: Option<u32>,
    /// The next better standing; `None` for the first, and without a standing.
    pub next: Option<NextStanding>,
    /// One for each workout of the mask, in file order.
    pub workouts: Vec<WorkoutCell>,
}

/// One workout in a row of the overall standings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorkoutCell {
    /// Index in the competition's workouts.
    pub workout: usize,
    /// The place used in the sum: the score's, or one after the last; `None` where the workout
    /// does not count yet, and for guests.
    pub place: Option<u32>,
    /// What that is worth.
    pub points: Option<u64>,
    /// Whether the place is that of a score.
    pub placed: bool,
    /// Whether it is in the sum (not left out).
    pub counted: bool,
    /// The score, placed or not.
    pub score: Option<ScoreView>,
}

/// One row of a workout's places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlaceRow {
    /// Place among those ranked; `None`: not placed.
    pub place: Option<u32>,
    /// How many share it; 0 without a place.
    pub shared: u32,
    /// Who.
    pub athlete: Athlete,
    /// Place in the whole division.
    pub unscoped_place: Option<u32>,
    /// The score, placed or not.
    pub score: Option<ScoreView>,
    /// What the next better place needs; `None` for the first, and without a place.
    pub next: Option<NextPlace>,
}

/// The next better place in a workout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NextPlace {
    /// Which.
    pub place: u32,
    /// Who has it; of several the lowest bib.
    pub bib: u32,
    /// The order to be matched.
    pub key: Key,
    /// The figures to be matched.
    pub text: Arc<str>,
    /// Their level.
    pub level: u8,
}

/// The next better standing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NextStanding {
    /// Which.
    pub standing: u32,
    /// Who has it; of several the lowest bib.
    pub bib: u32,
    /// Its points.
    pub points: u64,
}

/// One entry's places, everywhere it is ranked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryStanding {
    /// Log position of the state shown.
    pub seq: u64,
    /// Who.
    pub athlete: Athlete,
    /// Its division, the combined ones it is in, then its division among its gym, region and
    /// country, as far as it has those.
    pub rankings: Vec<EntryRanking>,
}

/// One entry's places among some entries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryRanking {
    /// Division slug.
    pub division: String,
    /// Among whom.
    pub scope: Scope,
    /// Position; `None`: no standing.
    pub standing: Option<u32>,
    /// How many share it.
    pub shared: u32,
    /// How many have a standing.
    pub of: usize,
    /// How many are listed in all.
    pub entries: usize,
    /// Row number in the standings.
    pub row: usize,
    /// Sum of the counted results; `None` without a standing.
    pub points: Option<u64>,
    /// The next better standing; `None` for the first, and without a standing.
    pub next: Option<NextStanding>,
    /// One for each workout of the mask, in file order.
    pub workouts: Vec<EntryWorkout>,
}

/// One workout of an [`EntryRanking`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryWorkout {
    /// As in a row of the standings.
    pub cell: WorkoutCell,
    /// How many share the place of the score; 0 without one.
    pub shared: u32,
    /// How many have a place.
    pub of: usize,
    /// What the next better place needs.
    pub next: Option<NextPlace>,
}

/// An entry's place in a workout among those of one division.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlaceIn {
    /// Of it.
    pub division: String,
    /// `None`: not ranked, or no score that counts.
    pub place: Option<u32>,
    /// How many have a place.
    pub of: usize,
}

/// What would move if one score had other figures, or none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moved {
    /// The place the score would have; `None`: none.
    pub place: Option<u32>,
    /// Others whose place in the workout would change.
    pub places: u32,
    /// Others whose overall standing would change.
    pub standings: u32,
}

/// The memory a competition takes; scopes and combined divisions, which come and go, are not in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Memory {
    /// How many bibs are known.
    pub entries: usize,
    /// Bytes of their facts and scores.
    pub known: usize,
    /// Bytes of their places and standings, in their plain divisions.
    pub ranked: usize,
    /// Bytes of their names, as far as they are known.
    pub names: usize,
}

/// How much there is of a division.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DivisionCount {
    /// Division slug, plain or combined.
    pub division: String,
    /// Entries that are there (removed ones are not), guests among them.
    pub entries: usize,
    /// Guests.
    pub guests: usize,
    /// For each workout of the file: entries with a placed score.
    pub placed: Vec<usize>,
    /// For each workout of the file: entries with a score in any state.
    pub scores: Vec<usize>,
}
