//! What was wrong with a row, column by column, and the rows given back to be mended.

use super::{ImportRemark, ImportView, KeptOutcome, RefusedRow, RowFault};
use crate::actions::Failure;
use crate::actions::language;
use crate::actions::views::RemarkView;
use crate::rules::fault::{Fault, Question};
use crate::rules::ledger::Refusal;
use crate::rules::table::{self, Row, Table};
use crate::words::{Sentence, joined};

/// One thing that is wrong, in words.
pub fn fault(column: &str, sentence: &Sentence) -> RowFault {
    let (code, message) = (sentence.code.to_string(), language::say(sentence));
    RowFault { column: column.to_owned(), code, message, asked: false }
}

/// Faults of a reader as faults of columns.
pub fn of_faults(faults: &[Fault], performance: Option<&str>) -> Vec<RowFault> {
    faults.iter().map(|f| fault(&column(&f.pointer, performance), &f.sentence)).collect()
}

/// Whether a row is said to be of somebody who is not there.
pub fn of_nobody(fault: &RowFault) -> bool {
    fault.code == "no_such_bib"
}

/// Whether a row was not looked at, because the database was not to be had.
pub fn of_trouble(fault: &RowFault) -> bool {
    fault.code == "row_busy"
}

/// Adds what the rules say of a row that could not be read as a whole: of other columns than those that
/// could not, and nothing that only follows from a stand-in.
pub fn add_others(errors: &mut Vec<RowFault>, unread: &[RowFault], said: Vec<RowFault>) {
    let at_fault = |column: &str| unread.iter().any(|f| f.column == column);
    let follows = |f: &RowFault| match &*f.code {
        "no_such_bib" => at_fault("bib") || at_fault("name"),
        "differs_from_stored" => at_fault("attempt") || at_fault("revise"),
        _ => false,
    };
    for fault in said {
        if !at_fault(&fault.column) && !follows(&fault) && !errors.contains(&fault) {
            errors.push(fault);
        }
    }
}

/// The column a pointer means. `performance`: the column that holds it in the wide shape.
pub(super) fn column(pointer: &str, performance: Option<&str>) -> String {
    let last = pointer.rsplit('/').find(|part| !part.is_empty() && part.parse::<u32>().is_err()).unwrap_or_default();
    let within = pointer.contains("/performance");
    match performance {
        Some(column) if within => column.to_owned(),
        _ if within => "performance".to_owned(),
        _ if last == "attestation" => "judge".to_owned(),
        _ => last.to_owned(),
    }
}

/// Why a row was refused.
///
/// # Errors
/// What is no refusal of this row alone: the database broke, or the outcome is unknown.
pub fn faults_of(failure: Failure, performance: Option<&str>) -> Result<Vec<RowFault>, Failure> {
    let refusal = match failure {
        Failure::Refused(refusal) => refusal,
        Failure::Busy | Failure::Unavailable => return Ok(vec![fault("", &Sentence::new("row_busy"))]),
        other => return Err(other),
    };
    let whole = |sentence: &Sentence| Ok(vec![fault("", sentence)]);
    match refusal {
        Refusal::Faults(faults) => Ok(of_faults(&faults, performance)),
        Refusal::Ask(questions) => {
            let asked = |q: &Question| fault(&column(&q.pointer, performance), &q.sentence);
            Ok(questions.iter().map(|q| RowFault { asked: true, ..asked(q) }).collect())
        }
        Refusal::NotFound(sentence) if sentence.code == "no_such_bib" => Ok(vec![fault("bib", &sentence)]),
        Refusal::NotAllowed(sentence)
        | Refusal::NotFound(sentence)
        | Refusal::Conflict(sentence, _)
        | Refusal::PreconditionRequired(sentence, _) => whole(&sentence),
        Refusal::PreconditionFailed(_) => whole(&Sentence::new("precondition_failed")),
        Refusal::NotSignedIn => whole(&Sentence::new("not_signed_in")),
    }
}

impl KeptOutcome {
    /// All of it.
    pub(super) fn of(view: &ImportView) -> Result<Self, Failure> {
        let json = serde_json::to_string(view).map_err(|e| Failure::Broken(e.into()))?;
        Ok(Self { json, csv: refused_csv(view) })
    }

    /// The counts, and what is to be done to see the refused rows again: what is kept where there is no room for
    /// all of it. Its CSV says so too, or it would pass for one without a refused row.
    pub(super) fn in_short(view: &ImportView) -> Result<Self, Failure> {
        let ImportView { taken, unchanged, refused, late, log_seq, empty, untold, .. } = *view;
        let remark = |sentence: Sentence| RemarkView {
            pointer: String::new(),
            code: sentence.code.to_string(),
            message: language::say(&sentence),
        };
        let refusals = (refused > 0).then(|| remark(Sentence::new("rows_not_kept").with("refused", refused)));
        let of_rows = view.remarks.iter().filter(|told| told.row.is_some()).count() + untold as usize;
        let others = (of_rows > 0).then(|| remark(Sentence::new("remarks_not_kept").with("n", of_rows)));
        let message = refusals.as_ref().map(|told| told.message.clone());
        let csv = table::write(&["line", "reason"], message.into_iter().map(|said| vec![String::new(), said]));
        let remarks = refusals.into_iter().chain(others).map(ImportRemark::of_file).collect();
        let counts = ImportView { taken, unchanged, refused, late, log_seq, empty, untold, ..ImportView::default() };
        let counts = ImportView { remarks, questions: view.questions.clone(), ..counts };
        Ok(Self { csv, ..Self::of(&counts)? })
    }
}

/// The refused rows as a CSV that can be mended and sent again: the file's own columns, then
/// `line` and `reason`, which are passed over when it is read. No cell is taken for a formula by
/// a spreadsheet. Rows that came as JSON are given by their number.
#[must_use]
pub fn refused_csv(view: &ImportView) -> String {
    let reasons = |row: &RefusedRow| row.errors.iter().map(|fault| joined(&said(fault))).collect::<Vec<String>>();
    if view.header.is_empty() {
        let rows = view.rows.iter().map(|row| vec![row.row.to_string(), reasons(row).join(" ")]);
        return table::write(&["row", "reason"], rows);
    }
    let rows = view.rows.iter().map(|r| Row { line: r.line.unwrap_or_default(), cells: r.cells.clone() }).collect();
    let columns = view.header.clone();
    let table = Table { separator: b',', columns, headers: view.header.clone(), rows };
    let refused: Vec<(usize, Vec<String>)> =
        view.rows.iter().enumerate().map(|(index, row)| (index, reasons(row))).collect();
    table::refused(&table, &refused)
}

fn said(fault: &RowFault) -> String {
    if fault.column.is_empty() { fault.message.clone() } else { format!("{}: {}", fault.column, fault.message) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pointers_become_columns() {
        assert_eq!(column("/performance", None), "performance");
        assert_eq!(column("/performance/loads/1", None), "performance");
        assert_eq!(column("/performance", Some("w2")), "w2");
        assert_eq!(column("/attestation/judge", Some("w2")), "judge");
        assert_eq!(column("/attestation", None), "judge");
        assert_eq!(column("/born", None), "born");
        assert_eq!(column("born", None), "born");
        assert_eq!(column("", None), "");
    }
}
