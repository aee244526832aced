//! From blocks as written to blocks that can be counted with; every fault at once.

use super::part::{Part, Work};
use super::{Block, Counts, MAX_TOTAL, Repeat, SchemeFault, Station};
use crate::words::Sentence;

/// Most blocks of a scheme.
const MAX_BLOCKS: usize = 100;
/// Most stations of a block.
const MAX_STATIONS: usize = 100;
/// Most rows of a list.
const MAX_ROWS: usize = 1000;

/// All parts, or all that is wrong.
pub(super) fn compile(blocks: &[Block], endless: bool) -> Result<Vec<Part>, Vec<SchemeFault>> {
    let mut faults = Vec::new();
    if !blocks.iter().any(|b| matches!(b, Block::Work { .. })) {
        return Err(vec![fault("", Sentence::new("scheme_empty"))]);
    }
    if blocks.len() > MAX_BLOCKS {
        return Err(vec![fault("blocks", Sentence::new("scheme_blocks").with("most", MAX_BLOCKS))]);
    }
    check_ends(blocks, endless, &mut faults);
    let mut parts = Vec::with_capacity(blocks.len());
    let mut before = Some(0);
    for (i, block) in blocks.iter().enumerate() {
        let work = compile_block(block, &format!("blocks[{i}]"), &mut faults);
        let part = Part { before: before.unwrap_or(0), work };
        // Past an endless block the total means nothing; check_ends has refused it.
        before = if is_endless(block) { before } else { part.after().filter(|t| *t <= MAX_TOTAL && before.is_some()) };
        if before.is_none() && faults.is_empty() {
            faults.push(fault("", Sentence::new("scheme_too_large").with("most", MAX_TOTAL)));
        }
        parts.push(part);
    }
    if faults.is_empty() { Ok(parts) } else { Err(faults) }
}

fn fault(place: impl Into<String>, sentence: Sentence) -> SchemeFault {
    (place.into(), sentence)
}

fn is_endless(block: &Block) -> bool {
    matches!(block, Block::Work { repeat: Repeat::Endless | Repeat::Ladder { rounds: None, .. }, .. })
}

/// Only the last block may be without end; an amrap's must be.
fn check_ends(blocks: &[Block], endless: bool, faults: &mut Vec<SchemeFault>) {
    for (i, _) in blocks.iter().enumerate().filter(|(_, b)| is_endless(b)) {
        if !endless {
            faults.push(fault(format!("blocks[{i}]"), Sentence::new("scheme_needs_end")));
        } else if i + 1 < blocks.len() {
            faults.push(fault(format!("blocks[{i}]"), Sentence::new("scheme_endless_last")));
        }
    }
    if endless && !blocks.iter().any(is_endless) {
        faults.push(fault(format!("blocks[{}]", blocks.len() - 1), Sentence::new("scheme_needs_endless")));
    }
}

/// The work of a block; `None` for a rest and where something is wrong.
fn compile_block(block: &Block, place: &str, faults: &mut Vec<SchemeFault>) -> Option<Work> {
    let (stations, repeat) = match block {
        Block::Rest(length) => {
            if length.0 == 0 {
                faults.push(fault(format!("{place}.rest"), Sentence::new("rest_zero")));
            }
            return None;
        }
        Block::Work { stations, repeat, by, .. } => {
            if by.is_some_and(|by| by.0 == 0) {
                faults.push(fault(format!("{place}.by"), Sentence::new("by_zero")));
            }
            (stations, repeat)
        }
    };
    let before = faults.len();
    if stations.is_empty() || stations.len() > MAX_STATIONS {
        let sentence = Sentence::new("block_stations").with("most", MAX_STATIONS);
        faults.push(fault(format!("{place}.stations"), sentence));
        return None;
    }
    let given: Vec<Option<u64>> =
        stations.iter().enumerate().map(|(j, s)| station_count(s, &format!("{place}.stations[{j}]"), faults)).collect();
    let work = match repeat {
        Repeat::Rounds(rounds) => same(stations, &given, Some(*rounds), place, faults),
        Repeat::Endless => same(stations, &given, None, place, faults),
        Repeat::List(rows) => list(&given, rows, place, faults),
        Repeat::Ladder { start, step, rounds } => ladder(&given, start, step, *rounds, place, faults),
    };
    work.filter(|_| faults.len() == before)
}

/// What a station counts, where it says so and that makes sense.
fn station_count(station: &Station, place: &str, faults: &mut Vec<SchemeFault>) -> Option<u64> {
    if station.movement.trim().is_empty() {
        faults.push(fault(format!("{place}.movement"), Sentence::new("station_movement")));
    }
    let count = match station.counts? {
        Counts::Lengths { per: 0, .. } => {
            faults.push(fault(format!("{place}.per"), Sentence::new("lengths_per_zero")));
            return None;
        }
        Counts::Lengths { metres, per } if metres % per != 0 => {
            let sentence = Sentence::new("lengths_uneven").with("metres", metres).with("per", per);
            faults.push(fault(format!("{place}.metres"), sentence));
            return None;
        }
        Counts::Lengths { metres, per } => metres / per,
        Counts::Once(n) if n > 1 => {
            faults.push(fault(format!("{place}.counts"), Sentence::new("counts_once").with("count", n)));
            return None;
        }
        Counts::Reps(n) | Counts::Calories(n) | Counts::Once(n) => n,
    };
    if count > MAX_TOTAL {
        faults.push(fault(place, Sentence::new("count_too_large").with("count", count).with("most", MAX_TOTAL)));
        return None;
    }
    Some(count)
}

/// A row that stays the same.
fn same(
    stations: &[Station],
    given: &[Option<u64>],
    rounds: Option<u64>,
    place: &str,
    faults: &mut Vec<SchemeFault>,
) -> Option<Work> {
    check_rounds(rounds, place, faults);
    for (j, station) in stations.iter().enumerate().filter(|(_, s)| s.counts.is_none()) {
        let sentence = Sentence::new("station_count").with("movement", &station.movement);
        faults.push(fault(format!("{place}.stations[{j}]"), sentence));
    }
    let row: Vec<u64> = given.iter().copied().collect::<Option<_>>()?;
    let size = row.iter().sum();
    if size == 0 {
        faults.push(fault(format!("{place}.stations"), Sentence::new("round_counts_nothing").with("round", 1)));
    }
    Some(Work::Same { row, size, rounds })
}

fn check_rounds(rounds: Option<u64>, place: &str, faults: &mut Vec<SchemeFault>) {
    match rounds {
        Some(0) => faults.push(fault(format!("{place}.rounds"), Sentence::new("rounds_zero"))),
        Some(n) if n > MAX_TOTAL => {
            let sentence = Sentence::new("count_too_large").with("count", n).with("most", MAX_TOTAL);
            faults.push(fault(format!("{place}.rounds"), sentence));
        }
        _ => {}
    }
}

/// Rows written out.
fn list(given: &[Option<u64>], rows: &[Vec<u64>], place: &str, faults: &mut Vec<SchemeFault>) -> Option<Work> {
    if rows.is_empty() || rows.len() > MAX_ROWS {
        faults.push(fault(format!("{place}.list"), Sentence::new("list_rows").with("most", MAX_ROWS)));
        return None;
    }
    let mut total: u64 = 0;
    let mut ends = Vec::with_capacity(rows.len());
    for (r, row) in rows.iter().enumerate() {
        let here = format!("{place}.list[{r}]");
        if row.len() != given.len() {
            let sentence = Sentence::new("list_width").with("round", r + 1).with("got", row.len());
            faults.push(fault(here, sentence.with("stations", given.len())));
            continue;
        }
        if let Some(n) = row.iter().find(|n| **n > MAX_TOTAL) {
            faults.push(fault(here, Sentence::new("count_too_large").with("count", n).with("most", MAX_TOTAL)));
            continue;
        }
        if row.iter().all(|n| *n == 0) {
            faults.push(fault(here, Sentence::new("round_counts_nothing").with("round", r + 1)));
        }
        total = total.saturating_add(row.iter().sum());
        ends.push(total);
    }
    check_first(given, rows.first()?, place, faults);
    // A total past MAX_TOTAL is refused for the scheme as a whole: `through` has no value then.
    Some(Work::List { rows: rows.to_vec(), ends })
}

/// A count given beside a station must be that of round 1.
fn check_first(given: &[Option<u64>], first: &[u64], place: &str, faults: &mut Vec<SchemeFault>) {
    for (j, (given, first)) in given.iter().zip(first).enumerate() {
        if let Some(given) = given.filter(|g| g != first) {
            let sentence = Sentence::new("station_first_round").with("given", given).with("first", first);
            faults.push(fault(format!("{place}.stations[{j}]"), sentence));
        }
    }
}

/// Rows that change evenly.
fn ladder(
    given: &[Option<u64>],
    start: &[u64],
    step: &[i64],
    rounds: Option<u64>,
    place: &str,
    faults: &mut Vec<SchemeFault>,
) -> Option<Work> {
    let before = faults.len();
    check_rounds(rounds, place, faults);
    if start.len() != given.len() {
        let sentence = Sentence::new("ladder_start").with("got", start.len()).with("stations", given.len());
        faults.push(fault(format!("{place}.ladder.start"), sentence));
    }
    if step.len() != 1 && step.len() != given.len() {
        let sentence = Sentence::new("ladder_step").with("got", step.len()).with("stations", given.len());
        faults.push(fault(format!("{place}.ladder.step"), sentence));
    }
    for n in start.iter().copied().chain(step.iter().map(|s| s.unsigned_abs())).filter(|n| *n > MAX_TOTAL) {
        let sentence = Sentence::new("count_too_large").with("count", n).with("most", MAX_TOTAL);
        faults.push(fault(format!("{place}.ladder"), sentence));
    }
    if faults.len() > before {
        return None;
    }
    check_first(given, start, place, faults);
    // Both bounded by MAX_TOTAL above.
    let signed = |n: &u64| i64::try_from(*n).unwrap_or(i64::MAX);
    let steps = step.iter().copied().cycle();
    let stations: Vec<(i64, i64)> = start.iter().map(signed).zip(steps).collect();
    let first: i64 = stations.iter().map(|s| s.0).sum();
    let change: i64 = stations.iter().map(|s| s.1).sum();
    match rounds.and_then(|r| i64::try_from(r).ok()) {
        None if stations.iter().any(|s| s.1 < 0) => {
            faults.push(fault(format!("{place}.ladder"), Sentence::new("ladder_needs_rounds")));
        }
        None => {}
        Some(rounds) => {
            // Changes are even, so the smallest counts are those of the first and last round.
            for (j, (start, step)) in stations.iter().enumerate().filter(|(_, (s, d))| s + d * (rounds - 1) < 0) {
                let sentence = Sentence::new("ladder_below_zero").with("station", j + 1);
                let last = start / -step + 1;
                faults.push(fault(format!("{place}.ladder"), sentence.with("last", last)));
            }
            if first > 0 && first + change * (rounds - 1) < 1 {
                let sentence = Sentence::new("round_counts_nothing").with("round", rounds);
                faults.push(fault(format!("{place}.ladder"), sentence));
            }
        }
    }
    if first == 0 {
        faults.push(fault(format!("{place}.ladder.start"), Sentence::new("round_counts_nothing").with("round", 1)));
    }
    Some(Work::Ladder { stations, first, change, rounds })
}
