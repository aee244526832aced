//! Running totals on the space there is on one side of paper: the largest print that fits, in as
//! many columns as it takes; when even the smallest does not, the ends of rounds only.
//!
//! All lengths are tenths of a millimetre. What it does not do: count (see
//! [`crate::rules::scheme::Scheme::tally`]).

use crate::rules::scheme::{Block, Repeat, Scheme, TallyCell};
use crate::rules::workout::Tiebreak;

/// How large things are printed: a class of the style sheet and what it takes.
struct Step {
    class: &'static str,
    /// Height of a row.
    row: u64,
    /// Width of a digit of a total.
    digit: u64,
    /// Width of a box for a time.
    time: u64,
    /// Width of a name in a list.
    name: u64,
}

/// From large to small; the style sheet's `.d1` to `.d5`.
const STEPS: [Step; 5] = [
    Step { class: "d1", row: 66, digit: 23, time: 170, name: 460 },
    Step { class: "d2", row: 56, digit: 20, time: 150, name: 380 },
    Step { class: "d3", row: 47, digit: 17, time: 130, name: 320 },
    Step { class: "d4", row: 39, digit: 15, time: 110, name: 270 },
    Step { class: "d5", row: 33, digit: 13, time: 95, name: 220 },
];
/// Between two columns of rows.
const GAP: u64 = 40;
/// Beside a cell's text.
const PAD: u64 = 22;
/// A block's heading.
const TITLE: u64 = 50;
/// With more blocks than this they are one list.
const BLOCKS: usize = 4;

/// The space for it.
#[derive(Clone, Copy, Debug)]
pub struct Space {
    /// Across.
    pub width: u64,
    /// Down.
    pub height: u64,
}

/// How the totals are set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Rounds down, stations across.
    Grid,
    /// One station a line.
    List,
    /// One round a line; every nth.
    Rounds(u64),
}

/// Running totals, set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Set {
    /// The style sheet's class of this size.
    pub class: &'static str,
    /// How.
    pub form: Form,
    /// One for each block in a grid, else one.
    pub groups: Vec<Group>,
}

/// What belongs together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// The block in a grid.
    pub block: Option<usize>,
    /// Side by side.
    pub panels: Vec<Vec<Row>>,
}

/// One row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// The block.
    pub block: usize,
    /// Its round, from 0.
    pub round: u64,
    /// The station of a list's row.
    pub station: Option<usize>,
    /// Totals.
    pub cells: Vec<TallyCell>,
}

impl Row {
    fn rest(block: usize) -> Self {
        Self { block, round: 0, station: None, cells: Vec::new() }
    }
}

/// Whether a block's counts are the same in each round, so that its heading can say them.
#[must_use]
pub fn same_counts(block: &Block) -> bool {
    matches!(block, Block::Work { repeat: Repeat::Rounds(_) | Repeat::Endless, .. })
}

/// What has to be set.
pub struct Totals<'a> {
    /// The scheme.
    pub scheme: &'a Scheme,
    /// Where times are taken.
    pub tiebreak: &'a Tiebreak,
    /// Rounds of each block.
    pub rounds: Vec<u64>,
}

impl Totals<'_> {
    /// Sets the totals on this space.
    #[must_use]
    pub fn set(&self, space: Space) -> Set {
        if let Some(set) = STEPS.iter().find_map(|step| self.grid(step, space)) {
            return set;
        }
        if self.lines() < 5_000
            && let Some(set) = STEPS.iter().find_map(|step| self.list(step, space))
        {
            return set;
        }
        self.only_rounds(space)
    }

    fn digits(&self) -> u64 {
        let largest = self
            .rounds
            .iter()
            .enumerate()
            .filter_map(|(block, n)| self.scheme.tally(self.tiebreak, block, n.checked_sub(1)?))
            .filter_map(|line| line.stations.last().map(|s| s.total));
        digits(largest.max().unwrap_or(0))
    }

    /// Stations in all.
    fn lines(&self) -> u64 {
        let size = |block: usize, n: u64| (self.scheme.row(block, 0).len() as u64).saturating_mul(n);
        self.rounds.iter().enumerate().map(|(block, n)| size(block, *n)).fold(0, u64::saturating_add)
    }

    /// The width of a cell with a total, perhaps its count and what is left beside it, and a box.
    fn cell(&self, step: &Step, count: Option<u64>, boxed: bool) -> u64 {
        let small = |chars: u64| step.digit * 8 / 10 * chars;
        let left = self.scheme.end().map_or(0, |end| small(digits(end) + 6));
        let count = count.map_or(0, |n| small(digits(n) + 2));
        PAD + step.digit * self.digits() + count + left + if boxed { step.time } else { 0 }
    }

    fn grid(&self, step: &Step, space: Space) -> Option<Set> {
        let blocks = self.scheme.blocks();
        if blocks.len() > BLOCKS || self.lines() > 5_000 {
            return None;
        }
        let mut widths = Vec::new();
        for (block, n) in self.rounds.iter().enumerate() {
            let stations = self.scheme.row(block, 0).len();
            let plus = blocks.get(block).is_some_and(|b| !same_counts(b));
            let first = self.scheme.tally(self.tiebreak, block, 0);
            let most = self.scheme.row(block, 0).into_iter().chain(self.scheme.row(block, n.saturating_sub(1))).max();
            let mut width = step.digit * 4 + PAD;
            for station in 0..stations {
                let boxed = match self.tiebreak {
                    Tiebreak::EachStation | Tiebreak::At(_) => true,
                    Tiebreak::EachRound => {
                        first.as_ref().is_some_and(|l| l.stations.get(station).is_some_and(|s| s.marker)) || plus
                    }
                    Tiebreak::None | Tiebreak::Time => false,
                };
                width += self.cell(step, most.filter(|_| plus), boxed).max(step.digit * 9);
            }
            widths.push(width);
        }
        if widths.iter().any(|w| *w > space.width) {
            return None;
        }
        (1..=12).find_map(|side| {
            let panels = |block: usize, n: u64| {
                let fit = widths.get(block).map_or(1, |w| (space.width + GAP) / (w + GAP));
                side.min(fit).min(n).max(1)
            };
            let height = |(block, n): (usize, &u64)| match n {
                0 => step.row,
                // The heading's names may take two lines.
                n => TITLE + step.row * 2 + step.row * n.div_ceil(panels(block, *n)),
            };
            let all: u64 = self.rounds.iter().enumerate().map(height).sum();
            (all <= space.height).then(|| Set {
                class: step.class,
                form: Form::Grid,
                groups: self
                    .rounds
                    .iter()
                    .enumerate()
                    .map(|(block, n)| self.group(block, *n, panels(block, *n)))
                    .collect(),
            })
        })
    }

    fn group(&self, block: usize, n: u64, panels: u64) -> Group {
        let rows = (0..n).filter_map(|round| self.row(block, round)).collect::<Vec<_>>();
        Group { block: Some(block), panels: split(&rows, panels) }
    }

    fn row(&self, block: usize, round: u64) -> Option<Row> {
        let line = self.scheme.tally(self.tiebreak, block, round)?;
        Some(Row { block, round, station: None, cells: line.stations })
    }

    fn list(&self, step: &Step, space: Space) -> Option<Set> {
        let mut rows = Vec::new();
        for (block, n) in self.rounds.iter().enumerate() {
            if *n == 0 {
                rows.push(Row::rest(block));
            }
            for line in (0..*n).filter_map(|round| self.scheme.tally(self.tiebreak, block, round)) {
                let done = line.stations.iter().enumerate().filter(|(_, s)| s.count > 0);
                rows.extend(done.map(|(station, cell)| Row {
                    block,
                    round: line.round,
                    station: Some(station),
                    cells: vec![*cell],
                }));
            }
        }
        let boxed = !matches!(self.tiebreak, Tiebreak::None | Tiebreak::Time);
        let width = step.name + step.digit * 4 + self.cell(step, None, boxed);
        let panels = columns(rows.len() as u64, width, step, space)?;
        Some(Set {
            class: step.class,
            form: Form::List,
            groups: vec![Group { block: None, panels: split(&rows, panels) }],
        })
    }

    /// The ends of rounds, every nth where there are too many.
    fn only_rounds(&self, space: Space) -> Set {
        let boxed = !matches!(self.tiebreak, Tiebreak::None | Tiebreak::Time);
        let steps = [1, 2, 5, 10, 20, 50, 100].into_iter().chain((3..9).map(|n| 10_u64.pow(n)));
        for every in steps {
            let lines = |n: &u64| if *n == 0 { 1 } else { n.div_ceil(every) };
            let all: u64 = self.rounds.iter().map(lines).fold(0, u64::saturating_add);
            for step in &STEPS {
                let width = step.name / 2 + step.digit * 8 + self.cell(step, None, boxed);
                let Some(panels) = columns(all, width, step, space) else { continue };
                let rows: Vec<Row> =
                    self.rounds.iter().enumerate().flat_map(|(block, n)| self.ends(block, *n, every)).collect();
                let groups = vec![Group { block: None, panels: split(&rows, panels) }];
                return Set { class: step.class, form: Form::Rounds(every), groups };
            }
        }
        Set { class: "d5", form: Form::Rounds(1), groups: Vec::new() }
    }

    /// Every nth round of a block and its last one, with the total at its end.
    fn ends(&self, block: usize, n: u64, every: u64) -> Vec<Row> {
        if n == 0 {
            return vec![Row::rest(block)];
        }
        let rounds = (1..=n.div_ceil(every)).map(|i| (i * every).min(n) - 1);
        rounds
            .filter_map(|round| {
                let line = self.scheme.tally(self.tiebreak, block, round)?;
                let last = line.stations.into_iter().rfind(|s| s.count > 0)?;
                Some(Row { block, round, station: None, cells: vec![last] })
            })
            .collect()
    }
}

/// The fewest columns in which so many lines of this width fit; the widest only where needed.
fn columns(lines: u64, width: u64, step: &Step, space: Space) -> Option<u64> {
    let most = (space.width + GAP) / (width + GAP);
    let down = space.height.checked_sub(TITLE + step.row)? / step.row;
    (1..=most).find(|n| lines.div_ceil(*n) <= down)
}

/// Rows in columns of equal length, filled one after the other.
fn split(rows: &[Row], panels: u64) -> Vec<Vec<Row>> {
    let each = rows.len().div_ceil(usize::try_from(panels).unwrap_or(1).max(1)).max(1);
    rows.chunks(each).map(<[Row]>::to_vec).collect()
}

fn digits(n: u64) -> u64 {
    u64::from(n.checked_ilog10().unwrap_or(0)) + 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::scheme::{Counts, Station};

    const SPACE: Space = Space { width: 1_900, height: 1_300 };

    fn work(stations: u64, repeat: Repeat) -> Block {
        let listed = matches!(repeat, Repeat::List(_));
        let station = |n| Station { movement: "swing".into(), counts: (!listed).then_some(Counts::Reps(n)) };
        Block::Work { title: None, stations: (0..stations).map(|n| station(n + 5)).collect(), repeat, by: None }
    }

    fn set(blocks: Vec<Block>, tiebreak: &Tiebreak, reach: u64) -> Set {
        let endless = blocks.iter().any(|b| matches!(b, Block::Work { repeat: Repeat::Endless, .. }));
        let scheme = Scheme::new(blocks, endless).unwrap();
        let rounds = scheme.tally_rounds(reach);
        Totals { scheme: &scheme, tiebreak, rounds }.set(SPACE)
    }

    fn rows(set: &Set) -> usize {
        set.groups.iter().flat_map(|g| &g.panels).map(Vec::len).sum()
    }

    #[test]
    fn a_usual_workout_is_a_grid_in_large_print() {
        let set = set(vec![work(3, Repeat::Endless)], &Tiebreak::EachRound, 180);
        assert_eq!((set.class, set.form, rows(&set)), ("d1", Form::Grid, 12));
        assert_eq!(set.groups[0].panels.len(), 1);
    }

    #[test]
    fn more_rounds_go_side_by_side_before_the_print_shrinks() {
        let set = set(vec![work(3, Repeat::Endless)], &Tiebreak::EachRound, 18 * 30);
        assert_eq!((set.form, rows(&set)), (Form::Grid, 32));
        assert!(set.groups[0].panels.len() > 1);
    }

    #[test]
    fn a_long_row_of_stations_is_a_list() {
        let set = set(vec![work(40, Repeat::Rounds(1))], &Tiebreak::EachStation, 0);
        assert_eq!((set.form, rows(&set)), (Form::List, 40));
    }

    #[test]
    fn what_does_not_fit_by_stations_is_shown_by_rounds_and_then_by_every_nth() {
        let by_rounds = set(vec![work(20, Repeat::Rounds(30))], &Tiebreak::None, 0);
        assert_eq!((by_rounds.form, rows(&by_rounds)), (Form::Rounds(1), 30));
        let thinned = set(vec![work(2, Repeat::Rounds(100_001))], &Tiebreak::EachRound, 0);
        let Form::Rounds(every) = thinned.form else { panic!("{:?}", thinned.form) };
        assert!(every > 100);
        let last = thinned.groups[0].panels.last().and_then(|p| p.last()).unwrap();
        assert_eq!((last.round, last.cells[0].left), (100_000, Some(0)), "the end is always there");
    }

    #[test]
    fn every_rest_stands_where_it_is() {
        let rest = Block::Rest(crate::rules::quantity::Millis(60_000));
        let blocks = vec![work(2, Repeat::Rounds(2)), rest, work(1, Repeat::Rounds(1))];
        let set = set(blocks, &Tiebreak::None, 0);
        assert_eq!(set.groups.iter().map(|g| g.panels.len()).collect::<Vec<_>>(), [1, 0, 1]);
    }
}
