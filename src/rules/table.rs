//! CSV in and out: which separator, which columns, rows one by one with line and column; and
//! cells that no spreadsheet takes for a formula.
//!
//! [`read`] gives a [`Table`]; [`gym`], [`entry`], [`judge`] and [`score`] turn a [`Row`] into
//! what the forms and JSON send too, so that a file is checked by the same rules. [`refused`]
//! gives back the rows that were not taken, to be mended and sent again.

use super::fault::{Fault, Warning};
use super::roster::{RawEntry, RawGym, RawJudge};
use super::window::Window;
use crate::words::Sentence;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::borrow::Cow;

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

/// How dates like `03/04/1991` are read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DateOrder {
    /// They are asked about, both readings shown (default).
    #[default]
    Ask,
    /// Day, month, year.
    DayFirst,
    /// Month, day, year.
    MonthFirst,
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
    /// As many cells as columns.
    pub cells: Vec<String>,
}

/// A row of scores.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ScoreRow {
    /// Line in the file, from 1.
    pub line: u32,
    /// Blank: found by `name`.
    pub bib: Option<u32>,
    /// Blank: not cross-checked.
    pub name: String,
    /// Performances: workout (`None`: the path's, or the command line's) and text, tiebreak
    /// included. Blank cells of the wide shape are left out.
    pub performances: Vec<(Option<String>, String)>,
    /// Level slug; blank: the division's.
    pub level: String,
    /// As written; see [`performed_at`].
    pub performed_at: String,
    /// Code or name.
    pub judge: String,
    /// Sheet number.
    pub sheet: String,
    /// Gym slug.
    pub gym: String,
    /// Which attempt.
    pub attempt: Option<u32>,
    /// No-reps called.
    pub no_reps: Option<u32>,
    /// Link.
    pub video: String,
    /// Whether differing figures replace the stored ones.
    pub revise: bool,
}

/// Reads a table: UTF-8 with or without byte-order mark, comma, semicolon or tab, CRLF or LF.
/// Faults are about the file as a whole, or a line that is no row.
pub fn read(bytes: &[u8]) -> Result<Table, Vec<Fault>> {
    let _ = bytes;
    todo!()
}

impl Table {
    /// Columns that are needed and missing, or named twice (faults), and those nobody knows
    /// (warnings, once each). `workouts`: slugs of the wide shape, and `kind` `Scores`.
    pub fn check_columns(&self, kind: Kind, workouts: &[&str]) -> Result<Vec<Warning>, Vec<Fault>> {
        let _ = (kind, workouts);
        todo!()
    }

    /// The cell of a row under a column; blank when there is none.
    #[must_use]
    pub fn cell<'a>(&self, row: &'a Row, column: &str) -> &'a str {
        let at = self.columns.iter().position(|c| c == column);
        at.and_then(|at| row.cells.get(at)).map_or("", |cell| cell.trim())
    }
}

/// A row of gyms.
pub fn gym(table: &Table, row: &Row) -> Result<RawGym, Vec<Fault>> {
    let _ = (table, row);
    todo!()
}

/// A row of entries. Dates that have one reading are made `YYYY-MM-DD`.
pub fn entry(table: &Table, row: &Row, order: DateOrder) -> Result<RawEntry, Vec<Fault>> {
    let _ = (table, row, order);
    todo!()
}

/// A row of judges.
pub fn judge(table: &Table, row: &Row, order: DateOrder) -> Result<RawJudge, Vec<Fault>> {
    let _ = (table, row, order);
    todo!()
}

/// A row of scores; `workouts`: the slugs whose columns hold performances (empty: only the long
/// shape is taken).
pub fn score(table: &Table, row: &Row, workouts: &[&str]) -> Result<ScoreRow, Vec<Fault>> {
    let _ = (table, row, workouts);
    todo!()
}

/// When a row was performed: an instant with offset, a local date-time, a date (noon), or a time
/// (the last one before receipt). Blank: `None`.
pub fn performed_at(
    text: &str,
    zone: &TimeZone,
    received: Timestamp,
    window: &Window,
    order: DateOrder,
) -> Result<Option<Timestamp>, Sentence> {
    let _ = (text, zone, received, window, order);
    todo!()
}

/// A cell that no spreadsheet takes for a formula: those that start with `= + - @`, tab, CR or LF
/// get an apostrophe (OWASP, "CSV Injection"); quoted where needed (RFC 4180).
#[must_use]
pub fn cell(text: &str) -> Cow<'_, str> {
    let _ = text;
    todo!()
}

/// A CSV text: comma, CRLF, header first, every cell through [`cell`].
#[must_use]
pub fn write<R, C>(headers: &[&str], rows: R) -> String
where
    R: IntoIterator<Item = Vec<C>>,
    C: AsRef<str>,
{
    let _ = (headers, rows);
    todo!()
}

/// The rows that were not taken, as a CSV to be mended and sent again: the columns as sent, then
/// `line` and `reason`, which are ignored when it is read. `rows`: index in [`Table::rows`] and
/// the reasons, in words.
#[must_use]
pub fn refused(table: &Table, rows: &[(usize, Vec<String>)]) -> String {
    let _ = (table, rows);
    todo!()
}
