//! Rows of gyms, entries and judges.

use super::outcome::of_faults;
use super::source::Source;
use super::{Asking, Options, What};
use crate::actions::views::RemarkView;
use crate::actions::{Failure, body, score};
use crate::rules::fault::{Fault, Read};
use crate::rules::ledger::Change;
use crate::rules::table::{self, Kind, Row, Table};
use serde_json::Value;

/// A row, read; faults alone where it is no row at all.
type Reading = Result<Read<Change>, Vec<Fault>>;

/// What is wrong with the columns; remarks are about the file as a whole.
pub fn begin(source: &Source, what: &What) -> Result<Vec<RemarkView>, Failure> {
    match source {
        Source::Table(table) => Ok(score::remarks(&table.check_columns(kind(what), &[]).map_err(Failure::faults)?)),
        Source::Array(_) => Ok(Vec::new()),
    }
}

/// What a row asks for.
pub fn row(source: &Source, index: usize, what: &What, options: &Options) -> Asking {
    let change = match source {
        Source::Table(table) => table.rows.get(index).map(|row| Ok(of_row(table, row, what, options))),
        Source::Array(values) => values.get(index).map(|value| change_of(value, what)),
    };
    match change.unwrap_or(Err(Vec::new())) {
        Ok(read) => Asking { changes: vec![(None, read.value)], faults: of_faults(&read.faults, None) },
        Err(faults) => Asking { changes: Vec::new(), faults: of_faults(&faults, None) },
    }
}

fn kind(what: &What) -> Kind {
    match what {
        What::Gyms => Kind::Gyms,
        What::Entries => Kind::Entries,
        What::Judges => Kind::Judges,
        What::Scores { .. } => Kind::Scores,
    }
}

fn of_row(table: &Table, row: &Row, what: &What, options: &Options) -> Read<Change> {
    match what {
        What::Gyms => table::gym(table, row).map(Change::SetGym),
        What::Judges => table::judge(table, row, options.dates).map(Change::SetJudge),
        What::Entries | What::Scores { .. } => table::entry(table, row, options.dates).map(Change::SetEntry),
    }
}

/// A gym, entry or judge of an object, with a stand-in for each member at fault.
pub fn change_of(value: &Value, what: &What) -> Reading {
    match what {
        What::Gyms => Ok(body::roster::gym(value)?.map(Change::SetGym)),
        What::Judges => Ok(body::roster::judge(value)?.map(Change::SetJudge)),
        What::Entries | What::Scores { .. } => Ok(body::roster::entry(value)?.map(Change::SetEntry)),
    }
}
