//! The overall result with what has changed since it was worked out: exact, and without ranking
//! everybody again.
//!
//! Each changed key moves anybody else's place in that workout by one at most, so a row that did not
//! change itself stands within a bound of where it stood. Whatever is asked, a place or a page, is
//! among the few rows around that; those, and the rows that changed, are worked out exactly.

use super::changes::Places;
use super::merge::Merged;
use super::number;
use super::overall::{Overall, live_cells, most_moved, same_count};
use super::tally::{Cells, Counting, Line, NOTHING, Sum, Tally, stands};
use super::{OverallRules, Standing};
use std::ops::Range;

/// What the changed rows were in an overall result, and what they are.
#[derive(Clone, Debug, Default)]
pub struct Moved {
    /// Those with something placed now, as they are listed.
    come: Vec<Line>,
    /// `first` of those with something placed before, in order.
    gone: Vec<u64>,
    /// Those with nothing placed now, and before.
    nothing_come: Vec<u32>,
    nothing_gone: Vec<u32>,
    /// The most that `first` of any other row can have moved.
    bound: u64,
    /// How many have a standing.
    of: usize,
}

impl Moved {
    /// `None`: so much has changed that the result has to be worked out anew. That is so where another
    /// workout counts now, and where points are not a matter of places alone.
    #[must_use]
    pub fn new(rules: &OverallRules, overall: &Overall, asked: &[Counting], places: Places<'_>) -> Option<Self> {
        let tally = Tally::new(rules, overall.counting());
        let mut out = Self { of: overall.standing_rows(), ..Self::default() };
        if places.changes.is_empty() {
            return Some(out);
        }
        if !tally.steady() || !same_count(overall, asked, places) {
            return None;
        }
        out.bound = most_moved(&tally, places.changes);
        for &row in places.changes.rows() {
            let cells = tally.cells(places.columns, row);
            let before = tally.first(&cells, &tally.sum(&cells));
            let now = tally.line(row, &live_cells(&tally, places, row));
            out.of = out.of + usize::from(stands(now.first)) - usize::from(stands(before));
            if before == NOTHING {
                out.nothing_gone.push(row);
            } else {
                out.gone.push(before);
            }
            if now.first == NOTHING {
                out.nothing_come.push(row);
            } else {
                out.come.push(now);
            }
        }
        out.gone.sort_unstable();
        out.come.sort_unstable();
        Some(out)
    }
}

/// An overall result with what has changed since.
#[derive(Clone, Copy, Debug)]
pub struct Live<'a> {
    rules: &'a OverallRules,
    overall: &'a Overall,
    places: Places<'a>,
    moved: &'a Moved,
}

/// Somebody in the list of standings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seat {
    /// Which row.
    pub row: u32,
    /// Position; `None`: no standing.
    pub standing: Option<u32>,
    /// How many share it; 0 without a standing.
    pub shared: u32,
    /// The next better standing, the first row that has it, and its points; `None` for the first,
    /// and without a standing.
    pub next: Option<(u32, u32, u64)>,
}

/// Neighbours in the list, worked out exactly.
struct Window {
    /// How many stand before them.
    before: usize,
    lines: Vec<Line>,
}

impl<'a> Live<'a> {
    /// The result with the changes that [`Moved`] was made for.
    #[must_use]
    pub fn new(rules: &'a OverallRules, overall: &'a Overall, places: Places<'a>, moved: &'a Moved) -> Self {
        Self { rules, overall, places, moved }
    }

    /// How many rows have a standing.
    #[must_use]
    pub fn of(&self) -> usize {
        self.moved.of
    }

    /// How many rows are listed.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.overall.order().len()
    }

    /// How many have something placed: they are listed before the others.
    fn something(&self) -> usize {
        self.overall.firsts().len() + self.moved.come.len() - self.moved.gone.len()
    }

    fn tally(&self) -> Tally<'_> {
        Tally::new(self.rules, self.overall.counting())
    }

    fn line(&self, row: u32) -> Line {
        let tally = self.tally();
        tally.line(row, &live_cells(&tally, self.places, row))
    }

    /// The index of a row in the list.
    #[must_use]
    pub fn index(&self, row: u32) -> usize {
        let line = self.line(row);
        if line.first == NOTHING {
            return self.something() + self.nothing().index(row);
        }
        if self.places.changes.is_empty() {
            return self.found(&line);
        }
        let window = self.around(line.first, line.first);
        window.before + window.lines.partition_point(|l| *l < line)
    }

    /// The index of a line where nothing has changed.
    fn found(&self, line: &Line) -> usize {
        let (tally, firsts) = (self.tally(), self.overall.firsts());
        let low = firsts.partition_point(|first| *first < line.first);
        let high = low + firsts[low..].partition_point(|first| *first == line.first);
        let rows = &self.overall.order()[low..high];
        low + rows.partition_point(|row| tally.line(*row, &tally.cells(self.places.columns, *row)) < *line)
    }

    /// The standing of a row and what it is made of.
    #[must_use]
    pub fn standing(&self, row: u32) -> Standing {
        let tally = self.tally();
        let cells = live_cells(&tally, self.places, row);
        let sum = tally.sum(&cells);
        let line = tally.line(row, &cells);
        if !stands(line.first) {
            return Standing { sum, ..Standing::default() };
        }
        if self.places.changes.is_empty() {
            let at = self.found(&line);
            let start = self.overall.start_of(at);
            let shared = number(self.overall.end_of(at) - start);
            return Standing { standing: Some(number(start) + 1), shared, sum };
        }
        let window = self.around(line.first, line.first);
        let equal = window.equal(window.lines.partition_point(|l| *l < line));
        Standing { standing: Some(number(window.before + equal.start) + 1), shared: number(equal.len()), sum }
    }

    /// Who is listed at these indices.
    #[must_use]
    pub fn seats(&self, range: Range<usize>) -> Vec<Seat> {
        let range = range.start..range.end.min(self.rows()).max(range.start);
        let something = self.something();
        let mut out = Vec::with_capacity(range.len());
        let upper = range.start..range.end.min(something);
        if self.places.changes.is_empty() {
            out.extend(upper.map(|at| self.seat_unchanged(at)));
        } else if !upper.is_empty() {
            let window = self.window(upper.clone());
            for at in upper {
                let seat = self.seat(&window, at - window.before, out.last());
                out.push(seat);
            }
        }
        let lower = range.start.max(something)..range.end.max(something);
        let rows = self.nothing().list(lower.start - something..lower.end - something);
        out.extend(rows.into_iter().map(|row| Seat { row, standing: None, shared: 0, next: None }));
        out
    }

    fn seat_unchanged(&self, at: usize) -> Seat {
        let row = self.overall.order()[at];
        if at >= self.overall.standing_rows() {
            return Seat { row, standing: None, shared: 0, next: None };
        }
        let start = self.overall.start_of(at);
        let shared = number(self.overall.end_of(at) - start);
        let next = start.checked_sub(1).map(|better| self.holder_unchanged(better));
        Seat { row, standing: Some(number(start) + 1), shared, next }
    }

    /// The same as [`Self::holder`] where nothing has changed.
    fn holder_unchanged(&self, at: usize) -> (u32, u32, u64) {
        let start = self.overall.start_of(at);
        (number(start) + 1, self.overall.order()[start], self.tally().points(self.overall.firsts()[start]))
    }

    fn seat(&self, window: &Window, at: usize, last: Option<&Seat>) -> Seat {
        let line = &window.lines[at];
        if !stands(line.first) {
            return Seat { row: line.row, standing: None, shared: 0, next: None };
        }
        let equal = window.equal(at);
        let standing = number(window.before + equal.start) + 1;
        if let Some(last) = last.filter(|last| last.standing == Some(standing)) {
            return Seat { row: line.row, ..*last };
        }
        let better = if equal.start > 0 {
            Some(self.holder(window, equal.start - 1))
        } else {
            window.before.checked_sub(1).map(|at| {
                let window = self.window(at..at + 1);
                self.holder(&window, at - window.before)
            })
        };
        Seat { row: line.row, standing: Some(standing), shared: number(equal.len()), next: better }
    }

    /// The standing at an index of a window, the first row that has it, and its points.
    fn holder(&self, window: &Window, at: usize) -> (u32, u32, u64) {
        let start = window.equal(at).start;
        let line = &window.lines[start];
        (number(window.before + start) + 1, line.row, self.tally().points(line.first))
    }

    /// The next better standing than one: see [`Seat::next`].
    #[must_use]
    pub fn next(&self, standing: u32) -> Option<(u32, u32, u64)> {
        let at = (standing as usize).checked_sub(2)?;
        if self.places.changes.is_empty() {
            return Some(self.holder_unchanged(at));
        }
        let window = self.window(at..at + 1);
        Some(self.holder(&window, at - window.before))
    }

    /// The rows at these indices, all with something placed, and all that stand equal with one of
    /// them, at least.
    fn window(&self, range: Range<usize>) -> Window {
        let firsts = self.overall.firsts();
        // Of those up to an index some may be among those that came, and others may have gone; where all
        // may have come, nothing is known of them.
        let low = range.start.checked_sub(self.moved.come.len());
        let high = range.end - 1 + self.moved.gone.len();
        let bound = self.moved.bound;
        let least = low.map_or(0, |low| firsts.get(low).map_or(NOTHING, |first| first.saturating_sub(bound)));
        let most = firsts.get(high).map_or(NOTHING, |first| first.saturating_add(bound));
        self.around(least.min(most), most)
    }

    /// All rows whose `first` is from `least` to `most` now.
    fn around(&self, least: u64, most: u64) -> Window {
        let firsts = self.overall.firsts();
        let bound = self.moved.bound;
        let low = firsts.partition_point(|first| first.saturating_add(bound) < least);
        let high = firsts.partition_point(|first| first.saturating_sub(bound) <= most);
        let tally = self.tally();
        let gone =
            firsts.get(low).map_or(self.moved.gone.len(), |first| self.moved.gone.partition_point(|g| g < first));
        let mut before = low - gone;
        let mut lines = Vec::with_capacity(high - low + 8);
        let mut before_it: Option<Line> = None;
        for &row in &self.overall.order()[low..high] {
            if self.places.changes.find(row).is_some() {
                continue;
            }
            // Many that stand equal are equal in all: worked out once.
            let line = match before_it {
                Some(other) if self.alike(other.row, row) => Line { row, ..other },
                _ => tally.line(row, &live_cells(&tally, self.places, row)),
            };
            if line.first < least {
                before += 1;
            } else if line.first <= most {
                lines.push(line.clone());
            }
            before_it = Some(line);
        }
        let come = &self.moved.come;
        let start = come.partition_point(|line| line.first < least);
        let end = come.partition_point(|line| line.first <= most);
        before += start;
        lines.extend_from_slice(&come[start..end]);
        lines.sort_unstable();
        Window { before, lines }
    }

    /// Whether two rows that did not change have the same keys in all that counts.
    fn alike(&self, a: u32, b: u32) -> bool {
        let columns = self.overall.counting().iter().map(|c| &self.places.columns[c.column]);
        columns.into_iter().all(|column| column.rank(a) == column.rank(b))
    }

    /// Rows with nothing placed.
    fn nothing(&self) -> Merged<'_, u32, impl Fn(usize) -> u32> {
        let rows = &self.overall.order()[self.overall.firsts().len()..];
        Merged::new(rows.len(), move |at| rows[at], &self.moved.nothing_gone, &self.moved.nothing_come)
    }

    /// What a row has in the workouts that count.
    #[must_use]
    pub fn results(&self, row: u32) -> (Cells, Sum) {
        let tally = self.tally();
        let cells = live_cells(&tally, self.places, row);
        let sum = tally.sum(&cells);
        (cells, sum)
    }
}

impl Window {
    /// The indices of those that stand equal with the one at an index.
    fn equal(&self, at: usize) -> Range<usize> {
        let line = &self.lines[at];
        let same = |l: &Line| l.first == line.first && l.ties == line.ties;
        let start = self.lines[..at].partition_point(|l| !same(l));
        let end = at + self.lines[at..].partition_point(same);
        start..end
    }
}
