//! One compiled block: the closed forms between rounds and reps.
//!
//! Every value was bounded by [`super::compile`]: counts, steps, rounds and totals up to
//! [`MAX_TOTAL`], at most 100 stations, every round at least 1. So all products here fit an
//! `i128` with room to spare.

use super::MAX_TOTAL;

/// A block: the total before it, and its work; a rest has none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    /// Total of all earlier blocks.
    pub before: u64,
    /// What is counted.
    pub work: Option<Work>,
}

impl Part {
    /// Total with this block in; `None` without end.
    pub fn after(&self) -> Option<u64> {
        match &self.work {
            None => Some(self.before),
            Some(work) => self.before.checked_add(work.through(work.rounds()?)?),
        }
    }
}

/// The counted rows of a block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Work {
    /// The same row again and again.
    Same {
        /// Counts of the stations.
        row: Vec<u64>,
        /// Their sum.
        size: u64,
        /// How often; `None` without end.
        rounds: Option<u64>,
    },
    /// Rows written out.
    List {
        /// One for each round.
        rows: Vec<Vec<u64>>,
        /// Total after each.
        ends: Vec<u64>,
    },
    /// Rows that change evenly: round i (from 0) counts `first + i × change`.
    Ladder {
        /// Counts of round 1 and their changes.
        stations: Vec<(i64, i64)>,
        /// Sum of round 1.
        first: i64,
        /// Change of the sum.
        change: i64,
        /// How many; `None` without end.
        rounds: Option<u64>,
    },
}

impl Work {
    /// How many rounds; `None` without end.
    pub fn rounds(&self) -> Option<u64> {
        match self {
            Self::Same { rounds, .. } | Self::Ladder { rounds, .. } => *rounds,
            Self::List { rows, .. } => Some(rows.len() as u64),
        }
    }

    /// Reps of `rounds` rounds; `None` past the last round or [`MAX_TOTAL`].
    pub fn through(&self, rounds: u64) -> Option<u64> {
        // Every round counts at least 1, so more rounds than MAX_TOTAL pass it.
        if rounds > MAX_TOTAL || self.rounds().is_some_and(|all| rounds > all) {
            return None;
        }
        let total = match self {
            Self::Same { size, .. } => i128::from(*size) * i128::from(rounds),
            Self::List { ends, .. } => match usize::try_from(rounds).ok()?.checked_sub(1) {
                None => 0,
                Some(last) => i128::from(*ends.get(last)?),
            },
            Self::Ladder { first, change, .. } => sum(*first, *change, rounds),
        };
        u64::try_from(total).ok().filter(|t| *t <= MAX_TOTAL)
    }

    /// Reps of a round (from 0); `None` past the last.
    pub fn size(&self, round: u64) -> Option<u64> {
        if round > MAX_TOTAL || self.rounds().is_some_and(|all| round >= all) {
            return None;
        }
        match self {
            Self::Same { size, .. } => Some(*size),
            Self::List { rows, .. } => rows.get(usize::try_from(round).ok()?).map(|row| row.iter().sum()),
            Self::Ladder { first, change, .. } => u64::try_from(at(*first, *change, round)).ok(),
        }
    }

    /// The counts of a round's stations, in order. `round` is one that [`Self::size`] knows.
    pub fn row(&self, round: u64) -> impl Iterator<Item = u64> + '_ {
        let (fixed, moving): (&[u64], &[(i64, i64)]) = match self {
            Self::Same { row, .. } => (row, &[]),
            Self::List { rows, .. } => {
                (usize::try_from(round).ok().and_then(|i| rows.get(i)).map_or(&[][..], Vec::as_slice), &[])
            }
            Self::Ladder { stations, .. } => (&[], stations),
        };
        let moving = moving.iter().map(move |(first, change)| u64::try_from(at(*first, *change, round)).unwrap_or(0));
        fixed.iter().copied().chain(moving)
    }

    /// The most whole rounds within `reps`.
    pub fn rounds_within(&self, reps: u64) -> u64 {
        let within = match self {
            Self::Same { size, .. } => reps / (*size).max(1),
            Self::List { ends, .. } => ends.partition_point(|end| *end <= reps) as u64,
            Self::Ladder { first, change, .. } => ladder_rounds(*first, *change, reps, self.rounds()),
        };
        self.rounds().map_or(within, |all| within.min(all))
    }
}

/// Count of round `round` (from 0).
fn at(first: i64, change: i64, round: u64) -> i128 {
    i128::from(first) + i128::from(change) * i128::from(round)
}

/// Reps of `rounds` rounds: `rounds × first + change × rounds × (rounds − 1) / 2`.
fn sum(first: i64, change: i64, rounds: u64) -> i128 {
    let r = i128::from(rounds);
    r * i128::from(first) + i128::from(change) * (r * (r - 1) / 2)
}

/// The most whole rounds of a ladder within `reps`: the root of `change·r² + b·r = 2·reps`, where
/// `b = 2·first − change`.
///
/// With a negative change the sum rises up to the last round (each counts at least 1), and the
/// smaller root is the one.
fn ladder_rounds(first: i64, change: i64, reps: u64, rounds: Option<u64>) -> u64 {
    if let Some(all) = rounds
        && sum(first, change, all) <= i128::from(reps)
    {
        return all;
    }
    let (c, b, twice) = (i128::from(change), 2 * i128::from(first) - i128::from(change), 2 * i128::from(reps));
    let root = if c == 0 {
        twice / b.max(1)
    } else {
        // 4·change·reps·2 under the root: below 2^64 · 2^30, far inside i128.
        let under = (b * b + 4 * c * twice).max(0).isqrt();
        (under - b) / (2 * c)
    };
    // The integer root is cut towards zero on either side: settle the last step exactly.
    let mut r = u64::try_from(root.max(0)).unwrap_or(0);
    while r > 0 && sum(first, change, r) > i128::from(reps) {
        r -= 1;
    }
    while at(first, change, r) > 0 && sum(first, change, r + 1) <= i128::from(reps) {
        r += 1;
    }
    r
}
