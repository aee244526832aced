//! The digest of a prescription: SHA-256 over canonical JSON (RFC 8785) of everything a
//! performance is validated against, and of loads and heights. Titles, standards and alternatives
//! are not in it.

use crate::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
use crate::rules::workout::{PublishedHeight, PublishedLoad, Task, Tiebreak};
use serde::Serialize;
use sha2::Digest;

/// Members in the order of their names, whole numbers only, no member left out: what serde writes
/// of it is canonical by itself.
#[derive(Serialize)]
struct Canonical<'a> {
    all_required: bool,
    cap_ms: Option<u64>,
    finishers: bool,
    format: crate::rules::workout::Format,
    heights: Vec<(&'a str, Option<u64>, Option<u64>)>,
    intervals: Option<(u32, crate::rules::workout::IntervalMeasure, crate::rules::workout::Scored)>,
    lifts: &'a [String],
    loads: Vec<(&'a str, Vec<u64>, &'a [u64])>,
    rounding: crate::rules::quantity::Rounding,
    scheme: Option<Vec<ShapeOf>>,
    step: crate::rules::quantity::TimeStep,
    tiebreak: &'a Tiebreak,
    unit: crate::rules::workout::CountUnit,
}

/// The digest.
pub fn of(task: &Task, loads: &[PublishedLoad], heights: &[PublishedHeight]) -> [u8; 32] {
    let canonical = Canonical {
        heights: heights.iter().map(|h| (h.item.as_str(), h.cm.map(|cm| cm.0), h.inch_hundredths)).collect(),
        lifts: &task.lifts,
        loads: loads
            .iter()
            .map(|l| (l.item.as_str(), l.kg.iter().map(|kg| kg.0).collect(), l.lb_hundredths.as_slice()))
            .collect(),
        ..canonical(task, true)
    };
    hash(&canonical)
}

/// The digest of counts, cap and markers alone: names, loads and heights aside.
pub fn of_counts(task: &Task) -> [u8; 32] {
    hash(&canonical(task, false))
}

fn canonical(task: &Task, names: bool) -> Canonical<'_> {
    Canonical {
        all_required: task.all_required,
        cap_ms: task.cap.map(|cap| cap.0),
        finishers: task.tiebreak_for_finishers,
        format: task.format,
        heights: Vec::new(),
        intervals: task.intervals.map(|i| (i.n, i.measure, i.scored)),
        lifts: &[],
        loads: Vec::new(),
        rounding: task.time_rounding,
        scheme: task.scheme.as_ref().map(|scheme| shape(scheme, names)),
        step: task.time_step,
        tiebreak: &task.tiebreak,
        unit: task.unit,
    }
}

fn hash(canonical: &Canonical<'_>) -> [u8; 32] {
    let json = serde_json::to_vec(canonical).expect("strings and whole numbers always serialize");
    sha2::Sha256::digest(&json).into()
}

/// A block as it counts. Which unit a station counts in belongs to it; its name only where asked.
#[derive(Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ShapeOf {
    /// Milliseconds of rest.
    Rest(u64),
    /// Stations, repetition, milliseconds it must be done by.
    Work(Vec<(String, &'static str, u64)>, Turns, Option<u64>),
}

/// How a block repeats.
#[derive(Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Turns {
    /// So many rounds.
    Rounds(u64),
    /// Without end.
    Endless,
    /// Counts by round.
    List(Vec<Vec<u64>>),
    /// Start, step, rounds.
    Ladder(Vec<u64>, Vec<i64>, Option<u64>),
}

/// The shape of a scheme: equal for two ways of writing the same counts.
pub fn shape(scheme: &Scheme, names: bool) -> Vec<ShapeOf> {
    scheme.blocks().iter().map(|block| block_shape(block, names)).collect()
}

fn block_shape(block: &Block, names: bool) -> ShapeOf {
    match block {
        Block::Rest(time) => ShapeOf::Rest(time.0),
        Block::Work { stations, repeat, by, .. } => {
            let counted = matches!(repeat, Repeat::Rounds(_) | Repeat::Endless);
            let of = |station: &Station| {
                let name = if names { name(station) } else { String::new() };
                let (unit, count) = count(station.counts);
                // Under a list or ladder the counts are there; a station's own repeats the first.
                (name, unit, if counted { count } else { 0 })
            };
            let turns = match repeat {
                Repeat::Rounds(rounds) => Turns::Rounds(*rounds),
                Repeat::Endless => Turns::Endless,
                Repeat::List(rows) => Turns::List(rows.clone()),
                Repeat::Ladder { start, step, rounds } => {
                    let step = match step.as_slice() {
                        [one] => vec![*one; start.len()],
                        all => all.to_vec(),
                    };
                    Turns::Ladder(start.clone(), step, *rounds)
                }
            };
            ShapeOf::Work(stations.iter().map(of).collect(), turns, by.map(|by| by.0))
        }
    }
}

/// What is done at a station, with the distance where it is counted in lengths.
fn name(station: &Station) -> String {
    match station.counts {
        Some(Counts::Lengths { metres, per }) => format!("{} {metres}/{per} m", station.movement),
        _ => station.movement.clone(),
    }
}

/// The unit and the count of a station; reps where nothing is said.
fn count(counts: Option<Counts>) -> (&'static str, u64) {
    match counts {
        None => ("reps", 0),
        Some(Counts::Reps(reps)) => ("reps", reps),
        Some(Counts::Calories(calories)) => ("calories", calories),
        Some(Counts::Lengths { metres, per }) => ("lengths", metres.checked_div(per).unwrap_or(0)),
        Some(Counts::Once(once)) => ("once", once),
    }
}
