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

/// Reads all rows.
pub fn read(source: &Source, what: &What, options: &Options) -> Result<(Vec<Asking>, Vec<RemarkView>), Failure> {
    let (changes, remarks): (Vec<Reading>, Vec<RemarkView>) = match source {
        Source::Table(table) => {
            let warnings = table.check_columns(kind(what), &[]).map_err(Failure::faults)?;
            let rows = table.rows.iter().map(|row| Ok(of_row(table, row, what, options)));
            (rows.collect(), score::remarks(&warnings))
        }
        Source::Array(values) => (values.iter().map(|value| change_of(value, what)).collect(), Vec::new()),
    };
    let asking = changes.into_iter().enumerate().map(|(index, change)| match change {
        Ok(read) => Asking { index, changes: vec![(None, read.value)], faults: of_faults(&read.faults, None) },
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
