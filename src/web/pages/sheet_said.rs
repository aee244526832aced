//! What stands on a judge's sheet in words and numbers: what is done, the totals as they were set, the
//! boxes of other formats, and how a result is written.

use super::sheet_layout::{Form, Group, Row, Set, Space, Totals, same_counts};
use super::shell::words;
use crate::actions::language;
use crate::rules::performance::{Says, ways};
use crate::rules::scheme::{Block, Counts, Repeat, Scheme, TallyCell};
use crate::rules::workout::{CountUnit, Format, Task, Tiebreak};
use crate::words::Noun;
use crate::words::{self, put};

/// Running totals.
pub(super) struct TallyView {
    pub(super) class: &'static str,
    pub(super) list: bool,
    /// The ends of rounds alone, which name no movement.
    pub(super) bare: bool,
    pub(super) what: String,
    pub(super) note: String,
    pub(super) boxes: bool,
    pub(super) groups: Vec<GroupView>,
}

pub(super) struct GroupView {
    pub(super) title: String,
    pub(super) columns: Vec<String>,
    pub(super) panels: Vec<Vec<RowView>>,
}

pub(super) struct RowView {
    pub(super) label: String,
    pub(super) cells: Vec<CellView>,
}

/// A number, what it adds, what is left, and whether a time is taken.
pub(super) struct CellView {
    pub(super) total: String,
    pub(super) plus: String,
    pub(super) left: String,
    pub(super) time: bool,
}

fn texts() -> &'static words::en::sheet::Sheet {
    words::sheet(language::reader())
}

/// What a station is, with its count where that is the same in every round.
fn station(scheme: &Scheme, block: usize, station: usize) -> String {
    let movement = scheme.movement(block, station);
    let counts = counted(scheme, block, station);
    let unit = |n: u64, unit: &str| format!("{n}{unit} {movement}");
    match (scheme.blocks().get(block).is_some_and(same_counts), counts) {
        (true, Some(Counts::Reps(n))) => unit(n, ""),
        (true, Some(Counts::Calories(n))) => unit(n, " cal"),
        (true, Some(Counts::Lengths { metres, per })) => {
            unit(metres, &format!(" m ({} × {per} m)", metres.checked_div(per).unwrap_or_default()))
        }
        (false, Some(Counts::Calories(_))) => format!("{movement} (cal)"),
        (false, Some(Counts::Lengths { per, .. })) => format!("{movement} (× {per} m)"),
        (true, Some(Counts::Once(_)) | None) | (false, _) => movement.to_owned(),
    }
}

/// How a station counts; of a list or a ladder in its first round.
fn counted(scheme: &Scheme, block: usize, station: usize) -> Option<Counts> {
    match scheme.blocks().get(block)? {
        Block::Work { stations, .. } => stations.get(station)?.counts,
        Block::Rest(_) => None,
    }
}

/// So much of a station, where that changes from round to round.
fn so_much(count: u64, scheme: &Scheme, block: usize, station: usize) -> String {
    let unit = match counted(scheme, block, station) {
        Some(Counts::Calories(_)) => " cal".to_owned(),
        Some(Counts::Lengths { per, .. }) => format!(" × {per} m"),
        Some(Counts::Reps(_) | Counts::Once(_)) | None => String::new(),
    };
    format!("{count}{unit} {}", scheme.movement(block, station))
}

/// All of it on some lines; nothing where it would take more, as the totals say it all again line by line.
pub(super) fn done(scheme: &Scheme) -> String {
    let text = done_in_full(scheme);
    if text.chars().count() > 400 { String::new() } else { text }
}

/// The same where the totals name no movement: as much of it as may stand on a sheet.
pub(super) fn done_at_length(scheme: &Scheme) -> String {
    let text = done_in_full(scheme);
    match text.char_indices().nth(LONGEST) {
        None => text,
        Some((end, _)) => {
            let whole = text[..end].rfind(", ").unwrap_or(end);
            format!("{} … {}", &text[..whole], texts().done_rest)
        }
    }
}

/// Letters of it at most: a third of the paper.
const LONGEST: usize = 1_800;

fn done_in_full(scheme: &Scheme) -> String {
    let (s, w) = (texts(), words());
    let blocks = scheme.blocks().iter().enumerate().map(|(n, block)| match block {
        Block::Rest(time) => put(s.rest, &[("time", &time.exact())]),
        Block::Work { title, stations, by, .. } => {
            let row: Vec<String> = (0..stations.len()).map(|i| station(scheme, n, i)).collect();
            let counts = if block_is_listed(block) { counts(scheme, n) } else { String::new() };
            let rounds = match scheme.rounds_of(n) {
                None => w.repeat_endless.to_owned(),
                Some(0 | 1) => String::new(),
                Some(_) if !counts.is_empty() => format!("{counts}:"),
                Some(n) => put(w.repeat_rounds, &[("n", &(w.count)(n, Noun::Round))]),
            };
            let by = by.map(|time| format!(" ({})", put(s.by_time, &[("time", &time.exact())]))).unwrap_or_default();
            let title = title.as_ref().map(|t| format!("{t}: ")).unwrap_or_default();
            format!("{title}{rounds} {}{by}", row.join(", ")).trim().to_owned()
        }
    });
    blocks.collect::<Vec<_>>().join(s.then)
}

fn block_is_listed(block: &Block) -> bool {
    matches!(block, Block::Work { repeat: Repeat::List(_), .. })
}

/// `24-16-8`, where every station counts the same.
fn counts(scheme: &Scheme, block: usize) -> String {
    let rows = (0..scheme.rounds_of(block).unwrap_or(0).min(20)).map(|round| scheme.row(block, round));
    let text = rows.map(|row| match row.first() {
        Some(first) if row.iter().all(|n| n == first) => first.to_string(),
        _ => format!("({})", row.iter().map(u64::to_string).collect::<Vec<_>>().join(", ")),
    });
    text.collect::<Vec<_>>().join("-")
}

pub(super) fn tally(scheme: &Scheme, task: &Task, reach: u64, space: Space) -> TallyView {
    let s = texts();
    let totals = Totals { scheme, tiebreak: &task.tiebreak, rounds: scheme.tally_rounds(reach) };
    let set = totals.set(space);
    let note = match set.form {
        Form::Grid | Form::List => String::new(),
        Form::Rounds(1) => s.rounds_only.to_owned(),
        Form::Rounds(n) => put(s.every, &[("n", &n)]),
    };
    TallyView {
        class: set.class,
        list: set.form != Form::Grid,
        bare: matches!(set.form, Form::Rounds(_)),
        what: scheme.end().map_or_else(|| s.totals.to_owned(), |end| put(s.totals_left, &[("total", &end)])),
        note,
        boxes: !matches!(task.tiebreak, Tiebreak::None | Tiebreak::Time),
        groups: groups(scheme, &set),
    }
}

fn groups(scheme: &Scheme, set: &Set) -> Vec<GroupView> {
    let s = texts();
    let group = |g: &Group| {
        let block = g.block.and_then(|n| Some((n, scheme.blocks().get(n)?)));
        let (title, columns) = match block {
            Some((_, Block::Rest(time))) => (put(s.rest, &[("time", &time.exact())]), Vec::new()),
            Some((n, Block::Work { title, stations, .. })) => {
                (title.clone().unwrap_or_default(), (0..stations.len()).map(|i| station(scheme, n, i)).collect())
            }
            None => (String::new(), vec![String::new()]),
        };
        let plus = block.is_some_and(|(_, b)| !same_counts(b));
        let panels = g.panels.iter().map(|rows| rows.iter().map(|r| row(scheme, r, plus)).collect()).collect();
        GroupView { title, columns, panels }
    };
    set.groups.iter().map(group).collect()
}

fn row(scheme: &Scheme, row: &Row, plus: bool) -> RowView {
    let s = texts();
    if let Some(Block::Rest(time)) = scheme.blocks().get(row.block) {
        return RowView { label: put(s.rest, &[("time", &time.exact())]), cells: Vec::new() };
    }
    let round = row.round + 1;
    let once = scheme.rounds_of(row.block) == Some(1);
    let label = match row.station {
        None => round.to_string(),
        Some(n) => {
            let name = match (scheme.blocks().get(row.block).is_some_and(same_counts), row.cells.first()) {
                (false, Some(cell)) => so_much(cell.count, scheme, row.block, n),
                _ => station(scheme, row.block, n),
            };
            if once { name } else { format!("{round}: {name}") }
        }
    };
    RowView { label, cells: row.cells.iter().map(|c| cell(c, plus)).collect() }
}

fn cell(cell: &TallyCell, plus: bool) -> CellView {
    if cell.count == 0 {
        return CellView { total: String::new(), plus: String::new(), left: String::new(), time: false };
    }
    CellView {
        total: cell.total.to_string(),
        plus: if plus { format!("+{}", cell.count) } else { String::new() },
        left: cell.left.map_or(String::new(), |n| put(texts().left, &[("n", &n)])),
        time: cell.marker,
    }
}

/// The lifts by name.
pub(super) fn lifts(task: &Task) -> Vec<String> {
    let s = texts();
    let name =
        |(n, lift): (usize, &String)| if lift.is_empty() { format!("{} {}", s.lift, n + 1) } else { lift.clone() };
    task.lifts.iter().enumerate().map(name).collect()
}

/// Tens of a count of reps, ten a row.
pub(super) fn tens(task: &Task, reach: u64, space: Space) -> Vec<Vec<u64>> {
    if task.format != Format::MaxCount || task.unit != CountUnit::Reps {
        return Vec::new();
    }
    let rows = (reach / 100 + 2).min(space.height / 70);
    (0..rows).map(|row| (1..=10).map(|n| row * 100 + n * 10).collect()).collect()
}

/// The numbers of the intervals, in columns.
pub(super) fn intervals(task: &Task, space: Space) -> Vec<Vec<u32>> {
    let Some(i) = task.intervals.filter(|_| task.format == Format::Intervals) else { return Vec::new() };
    let down = u32::try_from(space.height / 95).unwrap_or(u32::MAX).clamp(1, 15);
    let each = i.n.div_ceil(i.n.div_ceil(down).max(1)).max(1);
    let all: Vec<u32> = (1..=i.n).collect();
    all.chunks(usize::try_from(each).unwrap_or(usize::MAX)).map(<[u32]>::to_vec).collect()
}

/// A result of this task in writing, with a tiebreak time where one is taken.
pub(super) fn example(task: &Task) -> String {
    let ways = ways(task);
    let Some(usual) = ways.first() else { return String::new() };
    let timed = ways.iter().find(|way| way.tiebreak.is_some() && way.says == usual.says);
    let text = &timed.unwrap_or(usual).text;
    // A long row of intervals has no room; how it goes on is plain from its beginning.
    let figures: Vec<&str> = text.split('/').collect();
    figures.get(..4).filter(|_| figures.len() > 8).map_or_else(|| text.clone(), |some| format!("{}/…", some.join("/")))
}

/// What is written by those whom the cap stopped.
pub(super) fn capped(task: &Task) -> Option<String> {
    let ways = ways(task);
    ways.iter().rev().find(|way| way.says == Says::Capped).map(|way| way.text.clone())
}
