//! Text → [`RawCompetition`]: TOML or JSON, every fault at once, with its key and line.
//!
//! What was read is compiled once, so that faults of meaning come in the same list as slips of
//! typing. Where a key could not be read, faults that only follow from its stand-in are left out.

use super::LeapBirthday;
use super::compile;
use super::raw::{
    RawBlock, RawCompetition, RawDeduction, RawDivision, RawHead, RawHeight, RawLadder, RawLoad, RawLoadStep,
    RawMeasure, RawOverall, RawPastEnd, RawPoints, RawPrescription, RawRepeat, RawStation, RawWorkout, default_levels,
};
use super::shape::{Faults, Keys, Shape, word};
use super::tree::{self, Lines, Node, Value};
use crate::rules::division::Category;
use crate::rules::fault::Fault;
use crate::rules::place::{LevelRule, Missing, Running, Ties};
use crate::rules::quantity::{LoadUnit, Rounding, TimeStep};
use crate::rules::workout::{Attempts, Evidence, Format, Publish, Scored, Tiebreak};
use crate::words::Sentence;
use toml::de::DeTable;

/// The largest text taken, in bytes.
pub const MAX_TEXT: usize = 1024 * 1024;

/// Reads TOML and compiles it once, so that every fault of the text comes at once, with its
/// key and line.
pub fn from_toml(text: &str) -> Result<RawCompetition, Vec<Fault>> {
    check_size(text.len())?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let lines = Lines::of(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    let unreadable: Vec<Fault> = errors
        .iter()
        .map(|error| Fault {
            pointer: String::new(),
            sentence: Sentence::new("file_toml_unreadable").with("message", clip_message(error.message())),
            line: error.span().and_then(|span| lines.line(span.start)),
        })
        .collect();
    finish(&tree::of_toml(&table, &lines), unreadable)
}

/// Reads the same shape as JSON; faults carry keys as in TOML, without lines.
pub fn from_json(bytes: &[u8]) -> Result<RawCompetition, Vec<Fault>> {
    check_size(bytes.len())?;
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let root = <Node as serde::Deserialize>::deserialize(&mut reader).and_then(|root| reader.end().map(|()| root));
    match root {
        Ok(root) => finish(&root, Vec::new()),
        Err(error) => Err(vec![Fault {
            pointer: String::new(),
            sentence: Sentence::new("file_json_unreadable").with("message", clip_message(&error.to_string())),
            line: u32::try_from(error.line()).ok().filter(|line| *line > 0),
        }]),
    }
}

fn check_size(bytes: usize) -> Result<(), Vec<Fault>> {
    if bytes <= MAX_TEXT {
        return Ok(());
    }
    Err(vec![Fault::new("", Sentence::new("file_too_large").with("most", MAX_TEXT / 1024 / 1024))])
}

fn clip_message(message: &str) -> String {
    message.lines().map(str::trim).collect::<Vec<_>>().join("; ").chars().take(200).collect()
}

/// Shape, then meaning; a text that is no TOML is not looked into for missing keys.
fn finish(root: &Node, unreadable: Vec<Fault>) -> Result<RawCompetition, Vec<Fault>> {
    let mut faults = Faults::default();
    let raw = RawCompetition::read(root, "", &mut faults);
    if !unreadable.is_empty() {
        let mut all = unreadable;
        all.extend(faults.0.into_iter().filter(|f| f.sentence.code != "file_key_missing"));
        return Err(in_order(all));
    }
    let read = faults.0;
    if read.len() > MAX_FAULTS {
        return Err(in_order(read));
    }
    let mut meant = compile(&raw).err().unwrap_or_default();
    if read.is_empty() && meant.is_empty() {
        return Ok(raw);
    }
    meant.retain(|fault| !read.iter().any(|cause| follows(&fault.pointer, &cause.pointer)));
    let lines = tree::key_lines(root);
    for fault in &mut meant {
        fault.line = line_of(&lines, &fault.pointer);
    }
    let mut all = read;
    all.append(&mut meant);
    Err(in_order(all))
}

/// Whether a fault of meaning at `at` may only follow from one of shape at `cause`: at the same
/// key, below or above it, or in a workout whose format is unknown.
fn follows(at: &str, cause: &str) -> bool {
    let within = |inner: &str, outer: &str| {
        inner.strip_prefix(outer).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    };
    within(at, cause)
        || (within(cause, at) && !at.is_empty())
        || cause.strip_suffix(".format").is_some_and(|workout| within(at, workout))
}

/// The line of a key, or of the nearest key above it that has one.
fn line_of(lines: &std::collections::HashMap<String, u32>, at: &str) -> Option<u32> {
    let mut at = at;
    loop {
        if let Some(line) = lines.get(at) {
            return Some(*line);
        }
        at = tree::parent(at)?;
    }
}

/// The most faults named at once.
const MAX_FAULTS: usize = 500;

/// By line; past [`MAX_FAULTS`] the rest is only counted.
fn in_order(mut faults: Vec<Fault>) -> Vec<Fault> {
    faults.sort_by_key(|fault| fault.line.unwrap_or(u32::MAX));
    if let Some(more) = faults.len().checked_sub(MAX_FAULTS).filter(|more| *more > 0) {
        faults.truncate(MAX_FAULTS);
        faults.push(Fault::new("", Sentence::new("file_more_faults").with("more", more)));
    }
    faults
}

/// Says how a table is read: `needed`, `optional`, and keys with a `default`.
macro_rules! table {
    ($name:ident { $($need:ident),* ; $($opt:ident),* ; $($def:ident),* } $(with $field:ident = $value:expr)*) => {
        impl Shape for $name {
            fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
                let Some(mut keys) = Keys::of(node, at, faults) else { return Self::stand_in() };
                let value = Self {
                    $($need: keys.needed(stringify!($need)),)*
                    $($opt: keys.optional(stringify!($opt)),)*
                    $($def: keys.or_default(stringify!($def)),)*
                    $($field: ($value)(&mut keys),)*
                };
                keys.finish(&[$(stringify!($need),)* $(stringify!($opt),)* $(stringify!($def),)* $(stringify!($field),)*]);
                value
            }

            fn stand_in() -> Self {
                let mut faults = Faults::default();
                let none = Node { line: None, value: Value::Table(Vec::new()) };
                Self::read(&none, "", &mut faults)
            }
        }
    };
}

table!(RawCompetition { competition; ; division, workout });
table!(RawHead { slug, title, time_zone, age_date; ; leap_birthday, level_titles, private, overall }
    with levels = |keys: &mut Keys<'_, '_>| keys.optional("levels").unwrap_or_else(default_levels));
table!(RawOverall { ; table, past_end; points, missing, drop_worst, ties, last_workout, running, level_rule });
table!(RawDivision { slug, title; category, ages, level, allow_lower; combines, mixed });
table!(RawWorkout {
    slug, title, format, opens, closes;
    session, cap, announce, grace, attest_by, deduction, stations, blocks, rounds, repeat, list, ladder, lifts,
    load_step, intervals, measure, scored;
    publish, time_step, time_rounding, tiebreak, tiebreak_for_finishers, attempts, evidence, all_required,
    standards, standards_in, prescription
} with weight = |keys: &mut Keys<'_, '_>| keys.optional("weight").unwrap_or(1));
table!(RawDeduction { seconds_per_rep; ; });
table!(RawStation { movement; reps, calories, metres, per, counts; });
table!(RawBlock { ; title, stations, rounds, repeat, list, ladder, rest, by; });
table!(RawLadder { start, step; rounds; });
table!(RawLoadStep { ; kg, lb; });
table!(RawLoad { item; kg, lb; } with first = |keys: &mut Keys<'_, '_>| {
    keys.optional("first").or_else(|| keys.before("lb", "kg").then_some(LoadUnit::Lb))
});
table!(RawHeight { item; cm, inch; });
table!(RawPrescription {
    divisions;
    level, cap, tiebreak, stations, blocks, rounds, repeat, list, ladder;
    loads, heights, alternatives
});
table!(Evidence { ; top; all, no_gym });

/// Says which words a type is written with; the first stands in.
macro_rules! words {
    ($($name:ident = $first:expr, [$($word:literal),*];)*) => {$(
        impl Shape for $name {
            fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
                word(node, at, &[$($word),*], faults).unwrap_or($first)
            }

            fn stand_in() -> Self {
                $first
            }
        }
    )*};
}

words! {
    LeapBirthday = LeapBirthday::Mar1, ["mar1", "feb28"];
    RawPoints = RawPoints::Places, ["places", "table"];
    RawPastEnd = RawPastEnd::Last, ["last", "zero"];
    Missing = Missing::AfterLast, ["after_last", "below_complete", "unplaced"];
    Ties = Ties::Countback, ["countback", "shared"];
    Running = Running::With, ["with", "without"];
    LevelRule = LevelRule::PerWorkout, ["per_workout", "lowest"];
    Category = Category::Any, ["women", "men", "any"];
    Format = Format::Amrap, ["amrap", "for_time", "max_load", "max_count", "intervals"];
    Publish = Publish::Live, ["live", "at_close"];
    TimeStep = TimeStep::Second, ["1s", "0.1s", "0.01s"];
    Rounding = Rounding::Down, ["down", "up"];
    Attempts = Attempts::Best, ["best", "last", "one"];
    RawRepeat = RawRepeat::Round, ["round"];
    RawMeasure = RawMeasure::Count, ["count", "time", "reps", "calories", "metres"];
    Scored = Scored::Sum, ["sum", "least", "best", "slowest", "fastest"];
    LoadUnit = LoadUnit::Kg, ["kg", "lb"];
}

impl Shape for Tiebreak {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        if matches!(node.value, Value::Table(_)) {
            let Some(mut keys) = Keys::of(node, at, faults) else { return Self::None };
            let totals = keys.needed("at");
            keys.finish(&["at"]);
            return Self::At(totals);
        }
        word(node, at, &["none", "each_round", "each_station", "time", "{ at = [ … ] }"], faults).unwrap_or_default()
    }

    fn stand_in() -> Self {
        Self::None
    }
}
