//! Many rows at once, from CSV or JSON: each is taken, unchanged, or refused by itself with its
//! row, column and reason. Sending the same rows twice changes nothing.

use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use serde::Serialize;
use utoipa::ToSchema;

/// What the rows are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// Gyms.
    Gyms,
    /// Entries.
    Entries,
    /// Judges.
    Judges,
    /// Scores: of this workout, or (`None`) of the one each row or column names.
    Scores {
        /// Workout slug.
        workout: Option<String>,
    },
}

/// The rows as sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rows {
    /// CSV, as competition-file.md says.
    Csv(Vec<u8>),
    /// A JSON array of objects.
    Json(Vec<u8>),
}

/// What became of the rows.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ImportView {
    /// Rows stored.
    #[schema(example = 460)]
    pub taken: u32,
    /// Rows that said what was there already.
    #[schema(example = 0)]
    pub unchanged: u32,
    /// Rows refused.
    #[schema(example = 40)]
    pub refused: u32,
    /// About the file as a whole: unknown columns, names one row off.
    pub remarks: Vec<super::views::RemarkView>,
    /// The refused rows, with everything that is wrong with each.
    pub rows: Vec<RefusedRow>,
    /// Log position after the last row stored.
    pub log_seq: u64,
    /// Column names of the file, for [`refused_csv`].
    #[serde(skip)]
    pub header: Vec<String>,
}

/// A row that was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RefusedRow {
    /// Row number, from 1, without the header; in JSON the place in the array.
    #[schema(example = 14)]
    pub row: u32,
    /// Line of the text it starts on, from 1; null for JSON.
    #[schema(example = 15)]
    pub line: Option<u32>,
    /// Everything that is wrong with it.
    pub errors: Vec<RowFault>,
    /// As it was sent, cell by cell.
    #[serde(skip)]
    pub cells: Vec<String>,
}

/// One thing that is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RowFault {
    /// Which column (or member); empty: the whole row.
    #[schema(example = "performance")]
    pub column: String,
    /// Stable.
    #[schema(example = "whole_round")]
    pub code: String,
    /// In words. For a question, send `code` back in `confirm` after checking.
    pub message: String,
}

/// Takes rows in, one by one.
///
/// # Errors
/// Only when the rows cannot be read at all, a needed column is missing, or nobody may send any.
pub async fn import(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    what: What,
    rows: Rows,
) -> Result<ImportView, Failure> {
    let _ = (app, actor, competition, request, what, rows);
    todo!()
}

/// The refused rows as a CSV that can be mended and sent again: the file's own columns, then
/// `row` and `reason`. No cell is taken for a formula by a spreadsheet.
#[must_use]
pub fn refused_csv(view: &ImportView) -> String {
    let _ = view;
    todo!()
}
