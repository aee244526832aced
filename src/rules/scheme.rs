//! What is done, and how it counts: blocks of stations, rounds, markers, and the closed-form
//! arithmetic between a total and where in the workout it lies.

use super::quantity::Millis;
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

/// A compiled scheme: every round of it counts at least 1. Fields private.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scheme {}

/// Where a total lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position {
    /// Whole rounds of the repeating block; `None` below `through(0)` (an unfinished buy-in).
    pub rounds: Option<u64>,
    /// Reps of the next round; below `through(0)` the total.
    pub reps: u64,
    /// Index of the block the next rep belongs to.
    pub block: usize,
    /// Index of its station.
    pub station: usize,
    /// Reps done of that station in this round.
    pub done: u64,
}

impl Scheme {
    /// Compiles blocks. `endless` says whether the last block may be without end (an amrap) —
    /// then it must be.
    pub fn new(blocks: Vec<Block>, endless: bool) -> Result<Self, Vec<SchemeFault>> {
        let _ = (blocks, endless);
        todo!()
    }
}
