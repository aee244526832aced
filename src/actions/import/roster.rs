//! Rows of gyms, entries and judges.

use super::outcome::of_faults;
use super::source::Source;
use super::{Asking, Options, What};
use crate::actions::views::RemarkView;
use crate::actions::{Failure, body, score};
use crate::rules::fault::Fault;
use crate::rules::ledger::Change;
use crate::rules::table::{self, Kind, Row, Table};
use serde_json::Value;

/// Reads all rows.
pub fn read(source: &Source, what: &What, options: &Options) -> Result<(Vec<Asking>, Vec<RemarkView>), Failure> {
    let (changes, remarks): (Vec<Result<Change, Vec<Fault>>>, Vec<RemarkView>) = match source {
        Source::Table(table) => {
            let warnings = table.check_columns(kind(what), &[]).map_err(Failure::faults)?;
            let rows = table.rows.iter().map(|row| of_row(table, row, what, options));
            (rows.collect(), score::remarks(&warnings))
        }
        Source::Array(values) => (values.iter().map(|value| of_value(value, what)).collect(), Vec::new()),
    };
    let asking = changes.into_iter().enumerate().map(|(index, change)| match change {
        Ok(change) => Asking { index, changes: vec![(None, change)], faults: Vec::new() },
        Err(faults) => Asking { index, changes: Vec::new(), faults: of_faults(&faults, None) },
    });
    Ok((asking.collect(), remarks))
}

fn kind(what: &What) -> Kind {
    match what {
        What::Gyms => Kind::Gyms,
        What::Entries => Kind::Entries,
        What::Judges => Kind::Judges,
        What::Scores { .. } => Kind::Scores,
    }
}

fn of_row(table: &Table, row: &Row, what: &What, options: &Options) -> Result<Change, Vec<Fault>> {
    match what {
        What::Gyms => table::gym(table, row).map(Change::SetGym),
        What::Judges => table::judge(table, row, options.dates).map(Change::SetJudge),
        What::Entries | What::Scores { .. } => table::entry(table, row, options.dates).map(Change::SetEntry),
    }
}

fn of_value(value: &Value, what: &What) -> Result<Change, Vec<Fault>> {
    match what {
        What::Gyms => body::roster::gym(value).map(Change::SetGym),
        What::Judges => body::roster::judge(value).map(Change::SetJudge),
        What::Entries | What::Scores { .. } => body::roster::entry(value).map(Change::SetEntry),
    }
}
