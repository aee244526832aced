//! CSV in and out: which separator, which columns, rows one by one with line and column; and
//! cells that no spreadsheet takes for a formula.
//!
//! [`read`] gives a [`Table`]; [`gym`], [`entry`], [`judge`] and [`score`] turn a [`Row`] into
//! what the forms and JSON send too, so that a file is checked by the same rules. [`refused`]
//! gives back the rows that were not taken, to be mended and sent again.

//!
//! Reading order: here the table; `sniff` (bytes to it), `dates` (as people write them), `rows`
//! (a row's meaning), `write` (out again).

pub mod dates;
mod rows;
mod sniff;
mod write;

pub use dates::{DateOrder, performed_at};
pub use rows::{ScoreRow, entry, gym, judge, score};
pub use sniff::read;
pub use write::{cell, refused, write, write_on};

use super::competition::nearest;
use super::fault::{Fault, Warning};
use crate::words::Sentence;
use std::collections::HashSet;

/// The columns of a file of scores; in the wide shape each workout's slug is one more.
pub const SCORE_COLUMNS: &[&str] = &[
    "bib",
    "name",
    "performance",
    "tb",
    "level",
    "performed_at",
    "judge",
    "sheet",
    "gym",
    "attempt",
    "no_reps",
    "video",
    "revise",
    "workout",
    "line",
    "column",
    "reason",
];

/// Which file a table is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Gyms.
    Gyms,
    /// Entries.
    Entries,
    /// Judges.
    Judges,
    /// Scores, one workout (`performance`), or a column for each workout (the wide shape).
    Scores,
}

/// A table as read: nothing is interpreted yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// `,`, `;` or tab.
    pub separator: u8,
    /// Column names as matched: lower case, spaces and hyphens as `_`.
    pub columns: Vec<String>,
    /// Column names as written.
    pub headers: Vec<String>,
    /// In file order.
    pub rows: Vec<Row>,
}

/// One row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Line in the file where it starts, from 1.
    pub line: u32,
    /// As many cells as columns; a row with more of them is refused.
    pub cells: Vec<String>,
}

/// Columns of a file that was given back (refused rows, a gym's results), which are ignored when it
/// is sent again.
pub const GIVEN_BACK: [&str; 6] = ["line", "column", "reason", "state", "received_at", "remark"];

impl Kind {
    /// Columns it may have, and those it must have.
    #[must_use]
    pub fn columns(self) -> (&'static [&'static str], &'static [&'static str]) {
        match self {
            Self::Gyms => (
                &["slug", "name", "country", "region", "time_zone", "contact", "email", "phone", "emergency"],
                &["slug", "name", "country"],
            ),
            Self::Entries => (
                &[
                    "bib",
                    "name",
                    "born",
                    "category",
                    "division",
                    "gym",
                    "country",
                    "region",
                    "email",
                    "show_name",
                    "guardian_consent",
                ],
                &["name", "born", "category", "division"],
            ),
            Self::Judges => (
                &["code", "name", "gym", "valid_from", "valid_to", "email"],
                &["code", "name", "valid_from", "valid_to"],
            ),
            Self::Scores => (SCORE_COLUMNS, &[]),
        }
    }
}

/// A column name as it is matched: lower case, spaces and hyphens as `_`.
#[must_use]
pub fn column_name(text: &str) -> String {
    text.trim().to_lowercase().replace([' ', '-'], "_")
}

impl Table {
    /// Columns that are needed and missing, or named twice (faults), and those nobody knows
    /// (warnings, once each). `workouts`: slugs of the wide shape, with `kind` `Scores`; empty
    /// where only the long shape is taken.
    pub fn check_columns(&self, kind: Kind, workouts: &[&str]) -> Result<Vec<Warning>, Vec<Fault>> {
        let (known, needed) = kind.columns();
        let wide: Vec<String> = workouts.iter().map(|slug| column_name(slug)).collect();
        let is_known = |column: &String| known.contains(&column.as_str()) || wide.contains(column);
        let mut faults = Vec::new();
        let mut fault = |sentence| faults.push(Fault { line: Some(1), ..Fault::new("", sentence) });
        let mut seen = HashSet::new();
        for column in self.columns.iter().filter(|c| !c.is_empty() && is_known(c)) {
            if !seen.insert(column) {
                fault(Sentence::new("csv_column_twice").with("column", column));
            }
        }
        for column in needed.iter().filter(|c| !self.has(c)) {
            fault(Sentence::new("csv_column_missing").with("column", column).with("needed", needed.join(", ")));
        }
        if kind == Kind::Scores {
            self.check_score_columns(&wide, &mut fault);
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let known: Vec<&str> = known.iter().copied().chain(wide.iter().map(String::as_str)).collect();
        let unknown = self.columns.iter().enumerate().filter(|(at, column)| {
            !known.contains(&column.as_str()) && !GIVEN_BACK.contains(&column.as_str()) && !self.is_blank(*at)
        });
        Ok(unknown.map(|(at, column)| self.unknown(at, column, &known)).collect())
    }

    fn unknown(&self, at: usize, column: &str, known: &[&str]) -> Warning {
        let header = self.headers.get(at).map_or("", String::as_str);
        let sentence = match nearest(column, known.iter().copied()) {
            _ if column.is_empty() => Sentence::new("csv_column_unnamed").with("number", at.saturating_add(1)),
            Some(near) => Sentence::new("csv_column_unknown_near").with("column", header).with("near", near),
            None => Sentence::new("csv_column_unknown").with("column", header),
        };
        Warning { pointer: String::new(), sentence }
    }

    /// Scores need a bib or a name, and figures in one of the two shapes.
    fn check_score_columns(&self, wide: &[String], fault: &mut dyn FnMut(Sentence)) {
        if !self.has("bib") && !self.has("name") {
            fault(Sentence::new("csv_scores_whose"));
        }
        let has_wide = wide.iter().any(|column| self.columns.contains(column));
        match (self.has("performance"), has_wide) {
            (false, false) if wide.is_empty() => {
                fault(Sentence::new("csv_column_missing").with("column", "performance").with("needed", "performance"));
            }
            (false, false) => fault(Sentence::new("csv_scores_what").with("workouts", wide.join(", "))),
            (true, true) => fault(Sentence::new("csv_scores_both")),
            (false, true) => {
                for column in ["tb", "workout"].into_iter().filter(|c| self.has(c)) {
                    fault(Sentence::new("csv_not_in_wide").with("column", column));
                }
            }
            (true, false) => {}
        }
    }

    /// Whether there is such a column.
    #[must_use]
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|c| c == column)
    }

    /// Takes out the rows of scores that say no result, in either shape, and says how many those
    /// were. `workouts`: slugs of the wide shape.
    pub fn leave_out_empty(&mut self, workouts: &[&str]) -> usize {
        let wide: Vec<String> = workouts.iter().map(|slug| column_name(slug)).collect();
        let figures = |column: &String| column == "performance" || wide.contains(column);
        let at: Vec<usize> = self.columns.iter().enumerate().filter(|(_, c)| figures(c)).map(|(n, _)| n).collect();
        let before = self.rows.len();
        self.rows
            .retain(|row| at.is_empty() || at.iter().any(|n| row.cells.get(*n).is_some_and(|c| !c.trim().is_empty())));
        before - self.rows.len()
    }

    fn is_blank(&self, at: usize) -> bool {
        self.columns.get(at).is_some_and(String::is_empty)
            && self.rows.iter().all(|row| row.cells.get(at).is_none_or(|cell| cell.trim().is_empty()))
    }

    /// The cell of a row under a column; blank when there is none.
    #[must_use]
    pub fn cell<'a>(&self, row: &'a Row, column: &str) -> &'a str {
        let at = self.columns.iter().position(|c| c == column);
        at.and_then(|at| row.cells.get(at)).map_or("", |cell| cell.trim())
    }
}
