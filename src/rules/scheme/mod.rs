//! What is done, and how it counts: blocks of stations, rounds, markers, and the closed-form
//! arithmetic between a total and where in the workout it lies.
//!
//! [`Scheme::total`] and [`Scheme::split`] are inverses. Inside a block of rounds or a ladder
//! both are closed forms, in a list they look through its rows, across blocks through the
//! blocks; no count is ever walked rep by rep. [`Scheme::last_marker`] and its kin say where
//! tiebreak times are taken. What it does not do: know who did how much (see
//! [`super::performance`]).

mod compile;
mod markers;
mod part;
mod tally;

use super::quantity::Millis;
use crate::words::Sentence;
pub use markers::{Ends, Marker};
use part::{Part, Work};
pub use tally::{ROUNDS_MORE, TallyCell, TallyLine};

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

/// A compiled scheme: every round of it counts at least 1.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scheme {
    /// As given.
    blocks: Vec<Block>,
    /// One for each block.
    parts: Vec<Part>,
    /// The block whose rounds are written.
    repeating: Option<usize>,
    /// R.
    end: Option<u64>,
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
    /// then it must be. All faults at once.
    ///
    /// ```
    /// use tallywright::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
    ///
    /// let station = |movement: &str, n| Station { movement: movement.into(), counts: Some(Counts::Reps(n)) };
    /// let round = Block::Work {
    ///     title: None,
    ///     stations: vec![station("swing", 20), station("step-over", 14), station("squat", 10)],
    ///     repeat: Repeat::Endless,
    ///     by: None,
    /// };
    /// let scheme = Scheme::new(vec![round.clone()], true).unwrap();
    /// assert_eq!(scheme.total(6, 14), Ok(278));
    /// let at = scheme.split(278).unwrap();
    /// assert_eq!((at.rounds, at.reps, at.station, at.done), (Some(6), 14, 0, 14));
    /// // A workout that is done for time needs an end.
    /// assert!(Scheme::new(vec![round], false).is_err());
    /// ```
    pub fn new(blocks: Vec<Block>, endless: bool) -> Result<Self, Vec<SchemeFault>> {
        let parts = compile::compile(&blocks, endless)?;
        let mut counted = parts.iter().enumerate().filter(|(_, p)| p.work.is_some()).map(|(i, _)| i);
        let (first, last) = (counted.next(), counted.next_back());
        let end = parts.last().and_then(Part::after);
        let repeating = if end.is_none() { last.or(first) } else { first.filter(|_| last.is_none()) };
        Ok(Self { blocks, parts, repeating, end })
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
        self.repeating
    }

    /// R: all reps of the scheme; `None` without end.
    #[must_use]
    pub fn end(&self) -> Option<u64> {
        self.end
    }

    /// The most that can be counted: R, or [`MAX_TOTAL`] without end.
    #[must_use]
    pub fn most(&self) -> u64 {
        self.end.unwrap_or(MAX_TOTAL)
    }

    /// Total before a block (all earlier blocks in); `None` past the last block.
    #[must_use]
    pub fn before_block(&self, block: usize) -> Option<u64> {
        self.parts.get(block).map(|p| p.before)
    }

    /// Rounds of a block: 0 for a rest, `None` without end or past the last block.
    #[must_use]
    pub fn rounds_of(&self, block: usize) -> Option<u64> {
        match &self.parts.get(block)?.work {
            None => Some(0),
            Some(work) => work.rounds(),
        }
    }

    /// What each station of a block counts in a round (from 0); empty for a rest, or past the end.
    #[must_use]
    pub fn row(&self, block: usize, round: u64) -> Vec<u64> {
        self.work(block).filter(|w| w.size(round).is_some()).map(|w| w.row(round).collect()).unwrap_or_default()
    }

    /// Total after `rounds` rounds of the repeating block, earlier blocks in. `None` where there
    /// is no such block, fewer rounds, or the total passes [`MAX_TOTAL`].
    #[must_use]
    pub fn through(&self, rounds: u64) -> Option<u64> {
        let block = self.repeating?;
        let total = self.before_block(block)?.checked_add(self.work(block)?.through(rounds)?)?;
        (total <= MAX_TOTAL).then_some(total)
    }

    /// Reps of the round that follows `rounds` rounds of the repeating block; `None` where there
    /// is no such block or no such round.
    #[must_use]
    pub fn round_size(&self, rounds: u64) -> Option<u64> {
        self.work(self.repeating?)?.size(rounds)
    }

    /// `through(rounds) + reps`, where `reps` is less than the next round.
    pub fn total(&self, rounds: u64, reps: u64) -> Result<u64, TotalError> {
        if self.repeating.is_none() {
            return Err(TotalError::NoRounds);
        }
        let beyond = TotalError::Beyond { most: self.most() };
        let through = self.through(rounds).ok_or(beyond)?;
        let total = through.checked_add(reps).filter(|t| *t <= self.most()).ok_or(beyond)?;
        match self.round_size(rounds) {
            Some(size) if reps >= size => match self.split(total) {
                Some(Position { rounds: Some(rounds), reps, .. }) => Err(TotalError::WholeRound { size, rounds, reps }),
                _ => Err(beyond),
            },
            _ => Ok(total),
        }
    }

    /// Where a total lies; `None` past the end or [`MAX_TOTAL`].
    ///
    /// The inverse of [`Self::total`] from `through(0)` on.
    #[must_use]
    pub fn split(&self, total: u64) -> Option<Position> {
        if total > self.most() {
            return None;
        }
        let (rounds, reps) = self.rounds_and_reps(total);
        let at = if self.end == Some(total) { total.checked_sub(1)? } else { total };
        // The block of the next rep, or at the end of the last one.
        let (block, part) = self.parts.iter().enumerate().find(|(_, p)| p.after().is_none_or(|after| at < after))?;
        let work = part.work.as_ref()?;
        let round = work.rounds_within(at - part.before);
        let mut rest = at - part.before - work.through(round)?;
        for (station, of) in work.row(round).enumerate() {
            if rest < of {
                let done = rest + (total - at);
                return Some(Position { rounds, reps, block, round, station, done, of });
            }
            rest -= of;
        }
        None
    }

    /// Rounds of the repeating block and what is left over, else the total.
    fn rounds_and_reps(&self, total: u64) -> (Option<u64>, u64) {
        self.repeating
            .and_then(|block| {
                let (part, work) = (self.parts.get(block)?, self.work(block)?);
                let inside = total.checked_sub(part.before)?;
                let rounds = work.rounds_within(inside);
                Some((Some(rounds), inside - work.through(rounds)?))
            })
            .unwrap_or((None, total))
    }

    /// The work of a block that is not a rest.
    fn work(&self, block: usize) -> Option<&Work> {
        self.parts.get(block)?.work.as_ref()
    }
}
