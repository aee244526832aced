//! The written form of a performance: one reader for forms, CSV, JSON and the command line.
//!
//! [`read`] takes a line apart into a [`Main`] figure and a tiebreak; it knows signs and words,
//! not the workout. What a figure means under a format, and whether it can be, is
//! [`super::performance`]'s. What it does not do: guess. A figure with two readings comes back as
//! what was written, and the format decides whether to take, ask or refuse.
//!
//! Case and spaces do not matter; full-width digits, Unicode spaces, primes and comma decimals
//! are read like their plain forms ([`super::quantity::fold`]).

mod figures;
mod spreadsheet;

use super::quantity::{Clock, Load, compact, fold, quoted};
use crate::words::Sentence;

pub(super) use figures::{dotted_time, item_count, item_load, undotted_time};
pub(super) use spreadsheet::changed_by_spreadsheet;

/// The longest line read: 60 intervals and a tiebreak fit well.
const MAX_LINE: usize = 1000;

/// The words that start a tiebreak.
const TIEBREAK_WORDS: [&str; 4] = ["tiebreak", "tie-break", "tie break", "tb"];

/// The main figure as written.
pub(super) enum Main {
    /// `6+14`, `6 rounds`.
    Rounds {
        /// Whole rounds.
        rounds: u64,
        /// Reps of the next.
        reps: u64,
        /// Nothing but `6+14` was written: two loads without unit look the same.
        bare: bool,
    },
    /// `278`, `278 reps`, `57 cal`, `1250 m`.
    Count {
        /// How many.
        n: u64,
        /// Of what, where it says so.
        unit: Option<Unit>,
    },
    /// `cap 148`.
    Capped(u64),
    /// `cap+12`.
    Left(u64),
    /// `9:32`.
    Time(Clock),
    /// `9.32`: a time with the wrong sign, a load without unit, or rounds and reps.
    Dotted(String),
    /// `95 + 120 kg`, `x`, `no lift`.
    Loads(Vec<Piece>),
    /// `no lift` for all lifts.
    NoLift,
    /// `21/19/18`.
    Row(Vec<String>),
}

/// One of several loads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Piece {
    /// With its unit.
    Load(Load),
    /// A missed lift.
    Missed,
}

/// What a count says it is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    Reps,
    Calories,
    Metres,
}

/// A tiebreak time as written.
pub(super) type WrittenTiebreak = Result<Clock, Sentence>;

/// A line taken apart. Each half fails by itself, so that both faults are told at once.
pub(super) struct Line {
    /// The text of the main figure, folded, without needless spaces.
    pub main_text: String,
    /// The same with its spaces, to be quoted.
    pub typed: String,
    /// The main figure.
    pub main: Result<Main, Sentence>,
    /// The tiebreak, where one is written.
    pub tiebreak: Option<WrittenTiebreak>,
}

/// Takes a line apart.
pub(super) fn read(text: &str) -> Line {
    if text.chars().nth(MAX_LINE).is_some() {
        let fault = Sentence::new("performance_too_long").with("most", MAX_LINE);
        return Line { main_text: String::new(), typed: String::new(), main: Err(fault), tiebreak: None };
    }
    let folded = fold(text);
    // A leading apostrophe is how spreadsheets mark a cell as text.
    let folded = folded.strip_prefix('\'').unwrap_or(&folded);
    let (main, tiebreak) = split_tiebreak(folded);
    let typed = main.trim_matches([' ', ',', ';', '(']).to_owned();
    let main_text = compact(&typed);
    let read = if changed_by_spreadsheet(&main_text) {
        Err(Sentence::new("spreadsheet_changed").with("text", quoted(main)))
    } else {
        figures::main(&main_text)
    };
    Line { main: read, main_text, typed, tiebreak: tiebreak.map(read_tiebreak) }
}

/// What stands before the word for the tiebreak, and after it.
fn split_tiebreak(folded: &str) -> (&str, Option<&str>) {
    TIEBREAK_WORDS
        .iter()
        .filter_map(|word| folded.find(word).map(|at| (at, word.len())))
        .min()
        .map_or((folded, None), |(at, len)| (&folded[..at], Some(&folded[at + len..])))
}

/// Reads the time of a tiebreak; `11.24` can only be 11:24 here.
pub(super) fn read_tiebreak(text: &str) -> WrittenTiebreak {
    let compact = compact(fold(text).trim_matches([' ', ':', '=', '.', ',', '(', ')']));
    if compact.is_empty() {
        return Err(Sentence::new("tiebreak_empty"));
    }
    if let Some(clock) = dotted_time(&compact) {
        return Ok(clock);
    }
    if changed_by_spreadsheet(&compact) {
        return Err(Sentence::new("spreadsheet_changed").with("text", quoted(text)));
    }
    match undotted_time(&compact) {
        Some(clock) => {
            Err(Sentence::new("tiebreak_colon").with("text", quoted(&compact)).with("mended", clock.time.exact()))
        }
        None => Clock::parse(&compact),
    }
}
