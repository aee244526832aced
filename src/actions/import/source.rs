//! The rows as they came: a table of text, or a JSON array.

use super::Rows;
use crate::actions::Failure;
use crate::rules::fault::Fault;
use crate::rules::table::{self, Table};
use crate::words::Sentence;
use serde_json::Value;

/// Rows, not interpreted yet.
pub enum Source {
    /// CSV.
    Table(Table),
    /// Objects.
    Array(Vec<Value>),
}

impl Source {
    /// Reads them.
    ///
    /// # Errors
    /// When they cannot be read at all.
    pub fn read(rows: Rows) -> Result<Self, Failure> {
        match rows {
            Rows::Csv(bytes) => Ok(Self::Table(table::read(&bytes).map_err(Failure::faults)?)),
            Rows::Json(bytes) => match serde_json::from_slice(&bytes) {
                Ok(Value::Array(values)) => Ok(Self::Array(values)),
                Ok(_) => Err(Failure::fault("", Sentence::new("not_an_array"))),
                Err(error) => {
                    let sentence =
                        Sentence::new("rows_not_json").with("line", error.line()).with("column", error.column());
                    Err(Failure::Unreadable(vec![Fault::new("", sentence)]))
                }
            },
        }
    }

    /// Takes out rows of scores without a result; how many. `workouts`: of the wide shape.
    pub fn leave_out_empty(&mut self, workouts: &[&str]) -> usize {
        match self {
            Self::Table(table) => table.leave_out_empty(workouts),
            Self::Array(_) => 0,
        }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        match self {
            Self::Table(table) => table.rows.len(),
            Self::Array(values) => values.len(),
        }
    }

    /// Whom a row of scores names: the athlete (empty: by bib alone) and the judge, as written.
    pub fn people(&self, index: usize) -> (&str, Option<&str>) {
        let (name, judge) = match self {
            Self::Table(table) => {
                let cell = |column| table.rows.get(index).map_or("", |row| table.cell(row, column));
                (cell("name"), cell("judge"))
            }
            Self::Array(values) => {
                let text = |at: &str| {
                    values.get(index).and_then(|row| row.pointer(at)).and_then(Value::as_str).unwrap_or_default().trim()
                };
                (text("/name"), text("/attestation/judge"))
            }
        };
        (name, Some(judge).filter(|judge| !judge.is_empty()))
    }

    /// Column names as written; none for JSON.
    pub fn header(&self) -> Vec<String> {
        match self {
            Self::Table(table) => table.headers.clone(),
            Self::Array(_) => Vec::new(),
        }
    }

    /// The line of the text that a row starts on.
    pub fn line(&self, index: usize) -> Option<u32> {
        match self {
            Self::Table(table) => table.rows.get(index).map(|row| row.line),
            Self::Array(_) => None,
        }
    }

    /// The cells of a row as they were sent.
    pub fn cells(&self, index: usize) -> Vec<String> {
        match self {
            Self::Table(table) => table.rows.get(index).map(|row| row.cells.clone()).unwrap_or_default(),
            Self::Array(_) => Vec::new(),
        }
    }
}
