//! What is done, and how it counts: blocks of stations, rounds, markers, and the closed-form
//! arithmetic between a total and where in the workout it lies.

use super::quantity::Millis;
use super::workout::Tiebreak;
use crate::words::Sentence;

/// How a station counts inside a round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Counts {
    /// Repetitions.
    Reps(u64),
    /// Calories of an erg.
    Calories(u64),
    /// Whole lengths: `metres / per`, which divides evenly.
    Lengths {
        /// Metres of a round.
        metres: u64,
        /// Metres of a length.
        per: u64,
    },
    /// A stretch that counts once (1) or not at all (0).
    Once(u64),
}

/// One movement and its count inside a round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Station {
    /// What is done.
    pub movement: String,
    /// How it counts; under `List` and `Ladder` the count of round 1 (or `None` where not given).
    pub counts: Option<Counts>,
}

/// How often a block repeats its row of stations.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Repeat {
    /// This many rounds (default 1).
    Rounds(u64),
    /// Without end; only as the last block of an amrap.
    Endless,
    /// A row of counts for each round; 0 skips a station.
    List(Vec<Vec<u64>>),
    /// Counts start at `start` and change by `step` each round (one number, or one a station).
    Ladder {
        /// Counts of round 1.
        start: Vec<u64>,
        /// Change each round.
        step: Vec<i64>,
        /// How many rounds; `None`: without end.
        rounds: Option<u64>,
    },
}

/// A row of stations and how often it repeats, or a rest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    /// Work.
    Work {
        /// For people.
        title: Option<String>,
        /// In order.
        stations: Vec<Station>,
        /// How often.
        repeat: Repeat,
        /// Further reps need this block done by then.
        by: Option<Millis>,
    },
    /// Rest: counts 0.
    Rest(Millis),
}

/// What is wrong with a scheme: where inside it (`blocks[1].stations[0]`, empty: the whole), and
/// what.
pub type SchemeFault = (String, Sentence);

/// The largest total counted: 2^27 reps. Everything below fits the key.
pub const MAX_TOTAL: u64 = 1 << 27;

/// A compiled scheme: every round of it counts at least 1. Fields private.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scheme {
    blocks: Vec<Block>,
}

/// Where a total lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position {
    /// Whole rounds of the repeating block; `None` below `through(0)` (an unfinished buy-in),
    /// and where no block is the repeating one.
    pub rounds: Option<u64>,
    /// Reps of the next round; where `rounds` is `None` the total.
    pub reps: u64,
    /// Index of the block the next rep belongs to; at the end, of the last that counts.
    pub block: usize,
    /// Round of that block, from 0.
    pub round: u64,
    /// Index of its station.
    pub station: usize,
    /// Reps done of that station in this round; at the end all of it.
    pub done: u64,
    /// What that station counts in this round.
    pub of: u64,
}

/// A place where a tiebreak time is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Marker {
    /// The total it is passed at.
    pub total: u64,
    /// What ends there.
    pub ends: Ends,
}

/// What ends at a marker.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    /// A round of a block, from 0.
    Round {
        /// Index of the block.
        block: usize,
        /// Round, from 0.
        round: u64,
    },
    /// A station of a round.
    Station {
        /// Index of the block.
        block: usize,
        /// Round, from 0.
        round: u64,
        /// Index of the station.
        station: usize,
    },
    /// A rep named by its total.
    Rep,
}

/// Why rounds and reps make no total.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TotalError {
    /// No block's rounds are counted here: only totals are.
    NoRounds,
    /// `reps` is not less than the size of the next round.
    WholeRound {
        /// Size of the round after `rounds`.
        size: u64,
        /// What it is instead.
        rounds: u64,
        /// What it is instead.
        reps: u64,
    },
    /// More than the workout has (its end R), or than [`MAX_TOTAL`].
    Beyond {
        /// The most there is.
        most: u64,
    },
}

impl Scheme {
    /// Compiles blocks. `endless` says whether the last block may be without end (an amrap) —
    /// then it must be.
    pub fn new(blocks: Vec<Block>, endless: bool) -> Result<Self, Vec<SchemeFault>> {
        let _ = (blocks, endless);
        todo!()
    }

    /// The blocks, as given.
    #[must_use]
    pub fn blocks(&self) -> &[Block] {
        &self.blocks
    }

    /// Index of the block whose rounds are written (`3+7`): the one without end, else the only
    /// one that counts.
    #[must_use]
    pub fn repeating(&self) -> Option<usize> {
        todo!()
    }

    /// R: all reps of the scheme; `None` without end.
    #[must_use]
    pub fn end(&self) -> Option<u64> {
        todo!()
    }

    /// Total before a block (all earlier blocks in); `None` past the last block.
    #[must_use]
    pub fn before_block(&self, block: usize) -> Option<u64> {
        let _ = block;
        todo!()
    }

    /// Rounds of a block: 0 for a rest, `None` without end or past the last block.
    #[must_use]
    pub fn rounds_of(&self, block: usize) -> Option<u64> {
        let _ = block;
        todo!()
    }

    /// What each station of a block counts in a round (from 0); empty for a rest, or past the end.
    #[must_use]
    pub fn row(&self, block: usize, round: u64) -> Vec<u64> {
        let _ = (block, round);
        todo!()
    }

    /// Total after `rounds` rounds of the repeating block, earlier blocks in. `None` where there
    /// is no such block, fewer rounds, or the total passes [`MAX_TOTAL`].
    #[must_use]
    pub fn through(&self, rounds: u64) -> Option<u64> {
        let _ = rounds;
        todo!()
    }

    /// Reps of the round that follows `rounds` rounds of the repeating block; `None` as in
    /// [`Self::through`] and after the last round.
    #[must_use]
    pub fn round_size(&self, rounds: u64) -> Option<u64> {
        let _ = rounds;
        todo!()
    }

    /// `through(rounds) + reps`, where `reps` is less than the next round.
    pub fn total(&self, rounds: u64, reps: u64) -> Result<u64, TotalError> {
        let _ = (rounds, reps);
        todo!()
    }

    /// Where a total lies; `None` past the end or [`MAX_TOTAL`].
    #[must_use]
    pub fn split(&self, total: u64) -> Option<Position> {
        let _ = total;
        todo!()
    }

    /// The last marker passed at `total`.
    #[must_use]
    pub fn last_marker(&self, tiebreak: &Tiebreak, total: u64) -> Option<Marker> {
        let _ = (tiebreak, total);
        todo!()
    }

    /// The first marker after `total`.
    #[must_use]
    pub fn next_marker(&self, tiebreak: &Tiebreak, total: u64) -> Option<Marker> {
        let _ = (tiebreak, total);
        todo!()
    }

    /// The markers from the start up to and including `total`, in order.
    pub fn markers<'a>(&'a self, tiebreak: &'a Tiebreak, total: u64) -> impl Iterator<Item = Marker> + 'a {
        let mut at = 0;
        std::iter::from_fn(move || {
            let marker = self.next_marker(tiebreak, at).filter(|m| m.total <= total)?;
            at = marker.total;
            Some(marker)
        })
    }

    /// A marker in words: "round 6 ended", "the row of round 2 ended", "rep 120 was done".
    #[must_use]
    pub fn describe(&self, marker: &Marker) -> Sentence {
        let _ = marker;
        todo!()
    }
}
