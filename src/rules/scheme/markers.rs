//! Tiebreak markers: where in a scheme a time is taken, and how that place is called.

use super::{Block, MAX_TOTAL, Scheme, Work};
use crate::rules::workout::Tiebreak;
use crate::words::{Sentence, Value};

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

impl Scheme {
    /// The last marker passed at `total`.
    ///
    /// A station that counts 0 makes no marker. [`Tiebreak::None`] and [`Tiebreak::Time`] have
    /// none.
    #[must_use]
    pub fn last_marker(&self, tiebreak: &Tiebreak, total: u64) -> Option<Marker> {
        match tiebreak {
            Tiebreak::None | Tiebreak::Time => None,
            Tiebreak::At(totals) => {
                totals.iter().rfind(|t| **t <= total).map(|t| Marker { total: *t, ends: Ends::Rep })
            }
            Tiebreak::EachRound => self.last_round(total),
            Tiebreak::EachStation => self.last_station(total),
        }
    }

    /// The end of the last round that lies at or before `total`.
    fn last_round(&self, total: u64) -> Option<Marker> {
        self.parts.iter().enumerate().rev().find_map(|(block, part)| {
            let work = part.work.as_ref()?;
            let rounds = work.rounds_within(total.checked_sub(part.before)?);
            let round = rounds.checked_sub(1)?;
            Some(Marker { total: part.before + work.through(rounds)?, ends: Ends::Round { block, round } })
        })
    }

    /// The end of the last station that lies at or before `total`.
    fn last_station(&self, total: u64) -> Option<Marker> {
        self.parts.iter().enumerate().rev().find_map(|(block, part)| {
            let work = part.work.as_ref()?;
            let inside = total.checked_sub(part.before)?;
            let rounds = work.rounds_within(inside);
            let started = (work.size(rounds).is_some()).then_some(rounds);
            let (round, done, station) = started
                .and_then(|round| last_in_row(work, round, inside - work.through(round)?).map(|(d, s)| (round, d, s)))
                .or_else(|| {
                    let round = rounds.checked_sub(1)?;
                    last_in_row(work, round, u64::MAX).map(|(d, s)| (round, d, s))
                })?;
            let total = part.before + work.through(round)? + done;
            Some(Marker { total, ends: Ends::Station { block, round, station } })
        })
    }

    /// The first marker after `total`; `None` where there is none up to the end or
    /// [`MAX_TOTAL`].
    #[must_use]
    pub fn next_marker(&self, tiebreak: &Tiebreak, total: u64) -> Option<Marker> {
        let marker = match tiebreak {
            Tiebreak::None | Tiebreak::Time => None,
            Tiebreak::At(totals) => totals.iter().find(|t| **t > total).map(|t| Marker { total: *t, ends: Ends::Rep }),
            Tiebreak::EachRound | Tiebreak::EachStation if self.end.is_some_and(|end| total >= end) => None,
            Tiebreak::EachRound => self.split(total).and_then(|at| {
                let through = self.work(at.block)?.through(at.round + 1)?;
                let ends = Ends::Round { block: at.block, round: at.round };
                Some(Marker { total: self.before_block(at.block)? + through, ends })
            }),
            Tiebreak::EachStation => self.split(total).map(|at| Marker {
                total: total - at.done + at.of,
                ends: Ends::Station { block: at.block, round: at.round, station: at.station },
            }),
        };
        marker.filter(|m| m.total <= self.end.unwrap_or(MAX_TOTAL))
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
        match marker.ends {
            Ends::Rep => Sentence::new("marker_rep").with("total", marker.total),
            Ends::Round { block, round } => {
                let code = match (self.repeating == Some(block) && self.single(), self.rounds_of(block) == Some(1)) {
                    (true, _) => "marker_round",
                    (false, true) => "marker_block",
                    (false, false) => "marker_block_round",
                };
                self.named(Sentence::new(code), block, round)
            }
            Ends::Station { block, round, station } => {
                let code = match (self.single(), self.rounds_of(block) == Some(1)) {
                    (true, true) => "marker_station_only",
                    (true, false) => "marker_station",
                    (false, true) => "marker_block_station_only",
                    (false, false) => "marker_block_station",
                };
                self.named(Sentence::new(code), block, round).with_value("movement", self.station_name(block, station))
            }
        }
    }

    /// Whether only one block counts.
    fn single(&self) -> bool {
        self.parts.iter().filter(|p| p.work.is_some()).count() == 1
    }

    fn named(&self, sentence: Sentence, block: usize, round: u64) -> Sentence {
        sentence.with("round", round + 1).with_value("block", self.block_name(block))
    }

    /// Its title, or its number among those that are not rests.
    fn block_name(&self, block: usize) -> Value {
        if let Some(Block::Work { title: Some(title), .. }) = self.blocks.get(block) {
            return Value::Text(title.clone());
        }
        let number = self.parts.iter().take(block + 1).filter(|p| p.work.is_some()).count();
        Value::Said(Box::new(Sentence::new("block_number").with("number", number)))
    }

    /// The movement, numbered where the block has it more than once.
    fn station_name(&self, block: usize, station: usize) -> Value {
        let Some(Block::Work { stations, .. }) = self.blocks.get(block) else { return Value::Text(String::new()) };
        let Some(here) = stations.get(station) else { return Value::Text(String::new()) };
        if stations.iter().filter(|s| s.movement == here.movement).count() < 2 {
            return Value::Text(here.movement.clone());
        }
        let numbered = Sentence::new("station_number").with("movement", &here.movement);
        Value::Said(Box::new(numbered.with("number", station + 1)))
    }
}

/// Reps done and index of the last station of a round that counts and is done after `done` reps
/// of it.
fn last_in_row(work: &Work, round: u64, done: u64) -> Option<(u64, usize)> {
    let mut ended = 0;
    let mut last = None;
    for (station, of) in work.row(round).enumerate() {
        if of > 0 {
            if done - ended < of {
                break;
            }
            ended += of;
            last = Some((ended, station));
        }
    }
    last
}
