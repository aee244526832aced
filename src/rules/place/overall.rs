//! The overall result of all rows, worked out from columns.
//!
//! A row's sum of places is one integer; rows are put in the order of those by counting their
//! digits, the row's number and its best place packed in beside. Only rows that are equal in sum and
//! best place are compared by all their places.

use super::changes::{Changes, Places};
use super::column::Column;
use super::number;
use super::tally::{Cells, Counting, Line, NOTHING, Sum, Tally, stands};
use super::{OverallRules, sort};
use std::ops::Range;

/// Rows that are worked out at a time, so that what is between stays close to the processor.
const CHUNK: usize = 4096;

/// From this many rows on, two threads share the work.
const SHARED_FROM: usize = if cfg!(test) { 8 } else { 50_000 };

/// The overall result of the rows of some columns.
#[derive(Clone, Debug, Default)]
pub struct Overall {
    /// Workouts that count: those with a placed score among the rows.
    counting: Vec<Counting>,
    /// Rows with something placed, those with a standing by it, the others after them; then rows with
    /// nothing placed. Equals in ascending order.
    order: Vec<u32>,
    /// `first` of those with something placed, in that order.
    firsts: Vec<u64>,
    /// Bit n: the nth of those does not stand equal with the one before.
    starts: Vec<u64>,
    /// How many have a standing.
    of: usize,
}

/// A standing and what it is made of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// Position; rows that tie share it. `None`: no standing.
    pub standing: Option<u32>,
    /// How many share it, this row among them; 0 without a standing.
    pub shared: u32,
    /// What was added up.
    pub sum: Sum,
}

impl Overall {
    /// The result of the columns of a list (with the weights of their workouts), as far as they
    /// count.
    #[must_use]
    pub fn of(rules: &OverallRules, columns: &[Column], asked: &[Counting]) -> Self {
        let counting: Vec<Counting> = asked.iter().copied().filter(|c| columns[c.column].placed() > 0).collect();
        let rows = columns.first().map_or(0, Column::rows);
        let tally = Tally::new(rules, &counting);
        if counting.is_empty() {
            return Self { order: (0..number(rows)).collect(), ..Self::default() };
        }
        let AddedUp { firsts, bests, nothing } = AddedUp::of(&tally, columns, rows);
        let words = sort::Packed::new(&firsts, &bests);
        let parts = words.in_order(rows >= SHARED_FROM, Part::with_room_for, |part: &mut Part, first, equal_so_far| {
            part.push(&tally, columns, first, equal_so_far);
        });
        let mut out = Self { counting, ..Self::default() };
        for (n, part) in parts.into_iter().enumerate() {
            if n == 0 { out.begin(part, rows, rows - nothing.len()) } else { out.append(&part) }
        }
        out.order.extend(nothing);
        out
    }

    /// Takes the first part, with room for so many rows, so many of them with something placed.
    fn begin(&mut self, part: Part, rows: usize, something: usize) {
        Part { order: self.order, firsts: self.firsts, starts: self.starts, of: self.of } = part;
        self.order.reserve_exact(rows - self.order.len());
        self.firsts.reserve_exact(something - self.firsts.len());
        self.starts.resize(something.div_ceil(64), 0);
    }

    fn append(&mut self, part: &Part) {
        let at = self.order.len();
        for (n, bits) in part.starts.iter().enumerate() {
            let (word, shift) = (at / 64 + n, at % 64);
            self.starts[word] |= bits << shift;
            if shift > 0
                && let Some(next) = self.starts.get_mut(word + 1)
            {
                *next |= bits >> (64 - shift);
            }
        }
        self.order.extend_from_slice(&part.order);
        self.firsts.extend_from_slice(&part.firsts);
        self.of += part.of;
    }

    /// The workouts that count.
    #[must_use]
    pub fn counting(&self) -> &[Counting] {
        &self.counting
    }

    /// How many rows have a standing.
    pub(super) fn standing_rows(&self) -> usize {
        self.of
    }

    /// Rows as they are listed.
    pub(super) fn order(&self) -> &[u32] {
        &self.order
    }

    /// `first` of the rows with something placed, as they are listed.
    pub(super) fn firsts(&self) -> &[u64] {
        &self.firsts
    }

    /// The first of those that stand equal with the one at an index; there is something placed.
    pub(super) fn start_of(&self, at: usize) -> usize {
        let mut word = at / 64;
        let mut bits = self.starts[word] & (u64::MAX >> (63 - at % 64));
        while bits == 0 && word > 0 {
            word -= 1;
            bits = self.starts[word];
        }
        word * 64 + 63_usize.saturating_sub(bits.leading_zeros() as usize)
    }

    /// One after the last of those that stand equal with the one at an index.
    pub(super) fn end_of(&self, at: usize) -> usize {
        let next = at + 1;
        let mut word = next / 64;
        let Some(first) = self.starts.get(word) else { return self.firsts.len() };
        let mut bits = first & (u64::MAX << (next % 64));
        while bits == 0 {
            word += 1;
            match self.starts.get(word) {
                Some(more) => bits = *more,
                None => return self.firsts.len(),
            }
        }
        word * 64 + bits.trailing_zeros() as usize
    }

    /// All rows as they are listed, with their standings.
    pub fn listed(&self) -> impl Iterator<Item = (u32, Option<u32>)> {
        let mut standing = 0;
        self.order.iter().enumerate().map(move |(at, row)| {
            if at >= self.of {
                return (*row, None);
            }
            if self.starts[at / 64] >> (at % 64) & 1 == 1 {
                standing = number(at) + 1;
            }
            (*row, Some(standing))
        })
    }

    /// The standing of every row, in the order of the rows, without what it is made of.
    #[must_use]
    pub fn standings(&self, rows: usize) -> Vec<Option<u32>> {
        let mut out = vec![None; rows];
        self.listed().for_each(|(row, standing)| out[row as usize] = standing);
        out
    }

    /// The bytes it takes.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.order.capacity() * 4 + (self.firsts.capacity() + self.starts.capacity()) * 8
    }
}

/// Some of those with something placed who follow each other: see [`Overall`].
struct Part {
    order: Vec<u32>,
    firsts: Vec<u64>,
    starts: Vec<u64>,
    of: usize,
}

impl Part {
    fn with_room_for(rows: usize) -> Self {
        let (order, firsts) = (Vec::with_capacity(rows), Vec::with_capacity(rows));
        Self { order, firsts, starts: vec![0; rows.div_ceil(64)], of: 0 }
    }

    /// Rows that stand equal but for their ties, in ascending order.
    fn push(&mut self, tally: &Tally<'_>, columns: &[Column], first: u64, rows: &mut [u32]) {
        let mut start = |at: usize| self.starts[at / 64] |= 1 << (at % 64);
        let from = self.order.len();
        start(from);
        self.of += if stands(first) { rows.len() } else { 0 };
        if let [one] = rows {
            self.order.push(*one);
            self.firsts.push(first);
            return;
        }
        if tally.countback() && stands(first) && !alike(tally, columns, rows) {
            let line = |row: &u32| tally.line(*row, &tally.cells(columns, *row));
            let mut lines: Vec<Line> = rows.iter().map(line).collect();
            lines.sort_unstable();
            for (n, line) in lines.iter().enumerate() {
                rows[n] = line.row;
                if n > 0 && line.ties != lines[n - 1].ties {
                    start(from + n);
                }
            }
        }
        self.order.extend_from_slice(rows);
        self.firsts.resize(from + rows.len(), first);
    }
}

/// Whether all rows have the same keys in all that counts: then they stand equal in all.
fn alike(tally: &Tally<'_>, columns: &[Column], rows: &[u32]) -> bool {
    tally.counting.iter().all(|counting| {
        let column = &columns[counting.column];
        let rank = column.rank(rows[0]);
        rows.iter().all(|row| column.rank(*row) == rank)
    })
}

/// `first` of every row, and what is packed beside it.
struct AddedUp {
    firsts: Vec<u64>,
    /// The best counted place of every row with a standing; empty where places break no ties.
    bests: Vec<u32>,
    /// Rows with nothing placed.
    nothing: Vec<u32>,
}

impl AddedUp {
    fn of(tally: &Tally<'_>, columns: &[Column], rows: usize) -> Self {
        let (mut firsts, mut bests) = (vec![0; rows], vec![0; if tally.countback() { rows } else { 0 }]);
        let half = if rows >= SHARED_FROM { rows / 2 } else { rows };
        let (first_half, second_half) = firsts.split_at_mut(half);
        let (best_half, other_bests) = bests.split_at_mut(if tally.countback() { half } else { 0 });
        if second_half.is_empty() {
            fill(tally, columns, 0, first_half, best_half);
        } else {
            std::thread::scope(|scope| {
                scope.spawn(|| fill(tally, columns, half, second_half, other_bests));
                fill(tally, columns, 0, first_half, best_half);
            });
        }
        let nothing = firsts.iter().zip(0..).filter(|(first, _)| **first == NOTHING).map(|(_, row)| row).collect();
        Self { firsts, bests, nothing }
    }
}

/// Works out the rows from `from` on.
fn fill(tally: &Tally<'_>, columns: &[Column], from: usize, firsts: &mut [u64], bests: &mut [u32]) {
    if tally.plain() {
        let mut scratch = Scratch::default();
        let mut bests = bests.chunks_mut(CHUNK);
        for (n, firsts) in firsts.chunks_mut(CHUNK).enumerate() {
            scratch.fill(tally, columns, from + n * CHUNK, firsts, bests.next().unwrap_or_default());
        }
        return;
    }
    for (n, first) in firsts.iter_mut().enumerate() {
        let cells: Cells = tally.cells(columns, number(from + n));
        let sum = tally.sum(&cells);
        *first = tally.first(&cells, &sum);
        if let Some(best) = bests.get_mut(n) {
            let counted = cells.iter().enumerate().filter(|(n, _)| sum.counted >> n & 1 == 1);
            let place = counted.map(|(_, cell)| cell.place).min().filter(|_| stands(*first));
            *best = place.unwrap_or(0);
        }
    }
}

/// Room for a chunk of rows whose points are plain sums of places.
#[derive(Default)]
struct Scratch {
    placed: Vec<u8>,
    placed_points: Vec<u64>,
}

impl Scratch {
    fn fill(&mut self, tally: &Tally<'_>, columns: &[Column], from: usize, firsts: &mut [u64], bests: &mut [u32]) {
        let rows = from..from + firsts.len();
        firsts.fill(0);
        bests.fill(u32::MAX);
        if tally.only_adds() {
            return add(tally, columns, &rows, firsts, bests);
        }
        self.placed.clear();
        self.placed.resize(firsts.len(), 0);
        self.placed_points.clear();
        self.placed_points.resize(firsts.len(), 0);
        for counting in tally.counting {
            let column = &columns[counting.column];
            let (missing, weight, places) = (column.missing(), u64::from(counting.weight), column.places());
            let ranks = &column.ranks()[rows.clone()];
            for (n, rank) in ranks.iter().enumerate() {
                let place = places[*rank as usize];
                let points = u64::from(place) * weight;
                let there = *rank != missing;
                firsts[n] += points;
                self.placed[n] += u8::from(there);
                self.placed_points[n] += points * u64::from(there);
                if let Some(best) = bests.get_mut(n) {
                    *best = place.min(*best);
                }
            }
        }
        for (n, first) in firsts.iter_mut().enumerate() {
            *first = tally.plain_first(*first, self.placed[n].into(), || self.placed_points[n]);
            if let Some(best) = bests.get_mut(n).filter(|_| !stands(*first)) {
                *best = 0;
            }
        }
    }
}

/// Adds the places of a chunk of rows where a missing result is a place like any other. Whoever has nothing
/// placed has the most that there is, and nobody else: a place is before that after the last.
fn add(tally: &Tally<'_>, columns: &[Column], rows: &Range<usize>, firsts: &mut [u64], bests: &mut [u32]) {
    let mut most = 0;
    for counting in tally.counting {
        let column = &columns[counting.column];
        let (weight, places, ranks) = (u64::from(counting.weight), column.places(), &column.ranks()[rows.clone()]);
        most += u64::from(column.after_last()) * weight;
        if bests.is_empty() {
            for (first, rank) in firsts.iter_mut().zip(ranks) {
                *first += u64::from(places[*rank as usize]) * weight;
            }
        }
        for ((first, best), rank) in firsts.iter_mut().zip(&mut *bests).zip(ranks) {
            let place = places[*rank as usize];
            *first += u64::from(place) * weight;
            *best = place.min(*best);
        }
    }
    for (n, first) in firsts.iter_mut().enumerate().filter(|(_, first)| **first == most) {
        *first = NOTHING;
        if let Some(best) = bests.get_mut(n) {
            *best = 0;
        }
    }
}

/// The results of a row with what has changed since the columns were made.
pub(super) fn live_cells(tally: &Tally<'_>, places: Places<'_>, row: u32) -> Cells {
    let changed = places.changes.find(row).is_some();
    let cell = |(n, counting): (usize, &Counting)| {
        let column = counting.column;
        let place = if changed { places.place(column, row) } else { places.place_unchanged(column, row) };
        tally.cell(n, place, places.after_last(column), || places.key(column, row))
    };
    tally.counting.iter().enumerate().map(cell).collect()
}

/// Whether the same workouts count after changes as before.
pub(super) fn same_count(overall: &Overall, asked: &[Counting], places: Places<'_>) -> bool {
    let now = asked.iter().filter(|c| places.placed(c.column) > 0);
    now.eq(overall.counting.iter())
}

/// The most that `first` of a row which did not change can have moved, either way.
pub(super) fn most_moved(tally: &Tally<'_>, changes: &Changes) -> u64 {
    tally.counting.iter().map(|c| changes.most(c.column) * u64::from(c.weight)).sum()
}

/// The overall result of rows that are given with all their results, in their order: the rules as
/// they are written, one row after the other. What is worked out from columns comes to the same.
#[must_use]
pub fn overall(rules: &OverallRules, rows: &[Cells]) -> Vec<Standing> {
    let workouts = rows.first().map_or(0, Cells::len);
    let counting: Vec<Counting> = (0..workouts).map(|column| Counting { column, weight: 1 }).collect();
    let tally = Tally::new(rules, &counting);
    let mut lines: Vec<Line> = (0..).zip(rows).map(|(row, cells)| tally.line(row, cells)).collect();
    lines.sort_unstable();
    let mut out: Vec<Standing> =
        rows.iter().map(|cells| Standing { sum: tally.sum(cells), ..Standing::default() }).collect();
    let mut position = 1;
    for equal in lines.chunk_by(|a, b| a.first == b.first && a.ties == b.ties) {
        let shared = number(equal.len());
        for line in equal.iter().filter(|line| stands(line.first)) {
            out[line.row as usize].standing = Some(position);
            out[line.row as usize].shared = shared;
        }
        position += shared;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::{Missing, Points, Ties};
    use super::*;
    use crate::rules::order::Key;
    use proptest::prelude::*;

    proptest! {
        /// Two threads come to what the rules say, wherever the words of bits of the second begin.
        #[test]
        fn shared_work_comes_to_the_same(
            rows in prop::collection::vec(prop::collection::vec(prop_oneof![3 => (0_i64..12).prop_map(Some), 1 => Just(None)], 3), 1..400),
            missing in prop_oneof![Just(Missing::AfterLast), Just(Missing::BelowComplete), Just(Missing::Unplaced)],
            ties in prop_oneof![Just(Ties::Countback), Just(Ties::Shared)],
            drop_worst in 0_u32..2,
        ) {
            let rules = OverallRules { points: Points::Places, missing, ties, drop_worst, ..OverallRules::default() };
            let of = |n: usize| Column::of(&rows.iter().map(|row| row[n].map(Key)).collect::<Vec<_>>());
            let columns: Vec<Column> = (0..3).map(of).collect();
            let asked: Vec<Counting> = (0..3).map(|column| Counting { column, weight: 1 }).collect();
            let got = Overall::of(&rules, &columns, &asked);
            let tally = Tally::new(&rules, got.counting());
            let cells: Vec<Cells> = (0..number(rows.len())).map(|row| tally.cells(&columns, row)).collect();
            let expected: Vec<Option<u32>> = if got.counting().is_empty() {
                vec![None; rows.len()]
            } else {
                overall(&rules, &cells).iter().map(|standing| standing.standing).collect()
            };
            prop_assert_eq!(got.standings(rows.len()), expected);
            for at in 0..got.firsts().len() {
                let (start, end) = (got.start_of(at), got.end_of(at));
                prop_assert!(start <= at && at < end && end <= got.firsts().len());
                let row = |at: usize| tally.line(got.order()[at], &cells[got.order()[at] as usize]);
                let same = |other: usize| (row(other).first, row(other).ties) == (row(at).first, row(at).ties);
                prop_assert!((start..end).all(same) && (start == 0 || !same(start - 1)) && (end == got.firsts().len() || !same(end)));
            }
        }
    }
}
