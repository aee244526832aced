//! Running totals for a judge's sheet: what the count stands at after each station of a round,
//! what is left of the workout then, and where a tiebreak time is taken.
//!
//! What it does not do: decide how much of it fits on paper.

use super::{Block, MAX_TOTAL, Scheme};
use crate::rules::workout::Tiebreak;

/// Rounds printed beyond the one that is likely to be reached, of a block without end.
pub const ROUNDS_MORE: u64 = 2;

/// One round of a block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TallyLine {
    /// Index of the block.
    pub block: usize,
    /// Round, from 0.
    pub round: u64,
    /// One for each station, in order.
    pub stations: Vec<TallyCell>,
}

/// One station of a round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TallyCell {
    /// What it counts in this round; 0: nothing to do.
    pub count: u64,
    /// All reps when it is done.
    pub total: u64,
    /// Reps left of the workout then; `None` without end.
    pub left: Option<u64>,
    /// A tiebreak time is taken when it is done.
    pub marker: bool,
}

impl Scheme {
    /// How many rounds of each block a sheet shows for somebody who reaches `reach` reps: all of a
    /// block that ends; of one without end those begun and [`ROUNDS_MORE`]. A rest has none.
    #[must_use]
    pub fn tally_rounds(&self, reach: u64) -> Vec<u64> {
        let rounds = |part: &super::Part| {
            let Some(work) = &part.work else { return 0 };
            work.rounds().unwrap_or_else(|| {
                let inside = reach.min(MAX_TOTAL).saturating_sub(part.before);
                let whole = work.rounds_within(inside);
                let begun = whole + u64::from(work.through(whole).is_some_and(|total| total < inside));
                let last = work.rounds_within(MAX_TOTAL - part.before.min(MAX_TOTAL));
                (begun + ROUNDS_MORE).min(last)
            })
        };
        self.parts.iter().map(rounds).collect()
    }

    /// The running totals of one round (from 0); `None` for a rest, past the end or [`MAX_TOTAL`].
    #[must_use]
    pub fn tally(&self, tiebreak: &Tiebreak, block: usize, round: u64) -> Option<TallyLine> {
        let (part, work) = (self.parts.get(block)?, self.work(block)?);
        work.size(round)?;
        let mut total = part.before.checked_add(work.through(round)?)?;
        let mut stations: Vec<TallyCell> = Vec::new();
        for count in work.row(round) {
            total = total.checked_add(count).filter(|t| *t <= self.most())?;
            let marker = count > 0
                && match tiebreak {
                    Tiebreak::None | Tiebreak::Time | Tiebreak::EachRound => false,
                    Tiebreak::EachStation => true,
                    Tiebreak::At(totals) => totals.contains(&total),
                };
            stations.push(TallyCell { count, total, left: self.end.map(|end| end - total), marker });
        }
        if *tiebreak == Tiebreak::EachRound
            && let Some(last) = stations.iter_mut().rfind(|s| s.count > 0)
        {
            last.marker = true;
        }
        Some(TallyLine { block, round, stations })
    }

    /// Tiebreak markers that lie inside a station, by their totals: a sheet needs a line of its own
    /// for them.
    #[must_use]
    pub fn inner_markers(&self, tiebreak: &Tiebreak) -> Vec<u64> {
        let Tiebreak::At(totals) = tiebreak else { return Vec::new() };
        let inside = |total: &&u64| self.split(**total).is_some_and(|at| at.done != 0 && at.done != at.of);
        totals.iter().filter(inside).copied().collect()
    }

    /// What a station of a block is called; empty where there is none.
    #[must_use]
    pub fn movement(&self, block: usize, station: usize) -> &str {
        match self.blocks.get(block) {
            Some(Block::Work { stations, .. }) => stations.get(station).map_or("", |s| &s.movement),
            _ => "",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Counts, Repeat, Station};
    use super::*;
    use crate::rules::quantity::Millis;
    use proptest::prelude::*;

    fn work(counts: &[u64], repeat: Repeat) -> Block {
        let listed = matches!(repeat, Repeat::List(_));
        let counts = counts.iter().map(|n| (!listed).then_some(Counts::Reps(*n)));
        let stations = counts.map(|counts| Station { movement: "swing".into(), counts }).collect();
        Block::Work { title: None, stations, repeat, by: None }
    }

    fn all(scheme: &Scheme, tiebreak: &Tiebreak, reach: u64) -> Vec<TallyLine> {
        let rounds = scheme.tally_rounds(reach);
        rounds
            .iter()
            .enumerate()
            .flat_map(|(block, n)| (0..*n).map(move |round| (block, round)))
            .map(|(block, round)| scheme.tally(tiebreak, block, round).expect("is shown"))
            .collect()
    }

    fn totals(lines: &[TallyLine]) -> Vec<Vec<u64>> {
        lines.iter().map(|l| l.stations.iter().map(|s| s.total).collect()).collect()
    }

    #[test]
    fn two_rounds_more_than_the_one_that_was_begun() {
        let scheme = Scheme::new(vec![work(&[20, 14, 10], Repeat::Endless)], true).unwrap();
        assert_eq!(scheme.tally_rounds(278), [9], "6+14: the seventh is begun");
        assert_eq!(scheme.tally_rounds(264), [8], "six whole rounds");
        assert_eq!(scheme.tally_rounds(0), [2]);
        let lines = all(&scheme, &Tiebreak::EachRound, 0);
        assert_eq!(totals(&lines), [[20, 34, 44], [64, 78, 88]]);
        assert!(lines.iter().all(|l| l.stations.iter().all(|s| s.left.is_none())));
        assert_eq!(lines[0].stations.iter().map(|s| s.marker).collect::<Vec<_>>(), [false, false, true]);
    }

    #[test]
    fn a_list_counts_down_to_nothing_left() {
        let rows = vec![vec![24, 24], vec![16, 16], vec![8, 8]];
        let blocks =
            vec![work(&[0, 0], Repeat::List(rows)), Block::Rest(Millis(60_000)), work(&[10], Repeat::Rounds(1))];
        let scheme = Scheme::new(blocks, false).unwrap();
        assert_eq!(scheme.tally_rounds(5), [3, 0, 1], "all of what ends, whatever is reached");
        let lines = all(&scheme, &Tiebreak::EachStation, 0);
        assert_eq!(totals(&lines), vec![vec![24, 48], vec![64, 80], vec![88, 96], vec![106]]);
        let left: Vec<u64> = lines.iter().flat_map(|l| l.stations.iter().filter_map(|s| s.left)).collect();
        assert_eq!(left, [82, 58, 42, 26, 18, 10, 0]);
    }

    #[test]
    fn a_marker_inside_a_station_is_told_apart() {
        let scheme = Scheme::new(vec![work(&[20, 10], Repeat::Rounds(2))], false).unwrap();
        let tiebreak = Tiebreak::At(vec![20, 25, 60]);
        assert_eq!(scheme.inner_markers(&tiebreak), [25]);
        let marked: Vec<u64> = all(&scheme, &tiebreak, 0)
            .iter()
            .flat_map(|l| l.stations.iter().filter(|s| s.marker).map(|s| s.total).collect::<Vec<_>>())
            .collect();
        assert_eq!(marked, [20, 60]);
    }

    #[test]
    fn the_largest_scheme_ends_where_counting_ends() {
        let scheme = Scheme::new(vec![work(&[1 << 20], Repeat::Endless)], true).unwrap();
        assert_eq!(scheme.tally_rounds(u64::MAX), [128]);
        assert_eq!(scheme.tally(&Tiebreak::None, 0, 127).unwrap().stations[0].total, MAX_TOTAL);
        assert_eq!(scheme.tally(&Tiebreak::None, 0, 128), None);
    }

    proptest! {
        /// Against the scheme's own arithmetic: every total lies at the end of its station, and the
        /// boxes are the markers.
        #[test]
        fn every_running_total_is_where_the_scheme_says(
            rows in prop::collection::vec(prop::collection::vec(0_u64..30, 3), 1..6),
            tail in prop::collection::vec(1_u64..30, 1..4),
            endless: bool, each_station: bool, reach in 0_u64..2_000,
        ) {
            let rows: Vec<Vec<u64>> = rows.into_iter().map(|mut r| { r[0] += 1; r }).collect();
            let repeat = if endless { Repeat::Endless } else { Repeat::Rounds(4) };
            let blocks = vec![work(&[1, 1, 1], Repeat::List(rows)), work(&tail, repeat)];
            let scheme = Scheme::new(blocks, endless).unwrap();
            let tiebreak = if each_station { Tiebreak::EachStation } else { Tiebreak::EachRound };
            let lines = all(&scheme, &tiebreak, reach);
            let mut before = 0;
            for line in &lines {
                for (n, cell) in line.stations.iter().enumerate().filter(|(_, c)| c.count > 0) {
                    let last = scheme.split(cell.total - 1).unwrap();
                    prop_assert_eq!((last.block, last.round, last.station), (line.block, line.round, n));
                    prop_assert_eq!((last.of, last.done + 1), (cell.count, cell.count));
                    prop_assert_eq!(cell.total, before + cell.count);
                    prop_assert_eq!(cell.left, scheme.end().map(|end| end - cell.total));
                    before = cell.total;
                }
            }
            if endless {
                prop_assert!(before > reach, "the sheet goes further than anybody");
            } else {
                prop_assert_eq!(Some(before), scheme.end());
            }
            let boxes: Vec<u64> = lines.iter().flat_map(|l| l.stations.iter().filter(|s| s.marker).map(|s| s.total)).collect();
            let markers: Vec<u64> = scheme.markers(&tiebreak, before).map(|m| m.total).collect();
            prop_assert_eq!(boxes, markers);
        }
    }
}
