//! What became of rows that were sent, for `templates/imported.html`: what was refused, row by row,
//! with what to mend. Shared by the organiser's lists and the desk's file.

use crate::actions::import::{ImportView, RefusedRow};
use crate::actions::language;
use crate::rules::fault::Fault;
use crate::words::{late, organise, put};

/// Rows shown at most.
const SHOWN: usize = 100;

/// What became of the rows that were sent.
pub(super) struct Outcome {
    pub(super) said: String,
    pub(super) remarks: Vec<String>,
    pub(super) refused: Vec<RefusedLine>,
    pub(super) more: String,
}

/// A row that was refused.
pub(super) struct RefusedLine {
    pub(super) row: u32,
    pub(super) line: String,
    pub(super) mend: Vec<String>,
}

impl Outcome {
    /// With `said` above it: how many were taken.
    pub(super) fn new(view: &ImportView, said: String) -> Self {
        let (o, l) = (organise(language::reader()), late(language::reader()));
        let rest = view.rows.len().saturating_sub(SHOWN);
        let mut remarks: Vec<String> = view.remarks.iter().map(|r| r.message.clone()).collect();
        match view.late {
            0 => {}
            1 => remarks.insert(0, l.rows_one.to_owned()),
            n => remarks.insert(0, put(l.rows, &[("n", &n)])),
        }
        Self {
            said,
            remarks,
            refused: view.rows.iter().take(SHOWN).map(refused_line).collect(),
            more: if rest > 0 { put(o.list_refused_more, &[("n", &rest)]) } else { String::new() },
        }
    }

    /// Where every row was taken.
    pub(super) fn all_taken(said: String, remarks: Vec<String>) -> Self {
        Self { said, remarks, refused: Vec::new(), more: String::new() }
    }
}

fn refused_line(row: &RefusedRow) -> RefusedLine {
    let mend =
        row.errors.iter().map(|e| if e.column.is_empty() { e.message.clone() } else { at_key(&e.column, &e.message) });
    RefusedLine { row: row.row, line: row.line.map_or(String::new(), |l| l.to_string()), mend: mend.collect() }
}

/// A fault of the file as a whole, with its line.
pub(super) fn fault(fault: &Fault) -> String {
    let text = language::say(&fault.sentence);
    match fault.line {
        Some(line) => put(organise(language::reader()).file_line, &[("line", &line), ("said", &text)]),
        None => text,
    }
}

/// What is said of a column, or of a key of a file.
pub(super) fn at_key(key: &str, said: &str) -> String {
    put(organise(language::reader()).file_at, &[("key", &key), ("said", &said)])
}
