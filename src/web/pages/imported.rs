//! What became of rows that were sent, for `templates/imported.html`: what was refused, row by row, with what to
//! mend, and what is to be known of rows that are stored. Shared by the organiser's lists and the desk's file.

use crate::actions::import::{ImportRemark, ImportView, MORE, RefusedRow, RowPlace, RowsAsked};
use crate::actions::language;
use crate::rules::fault::Fault;
use crate::web::once::Shown;
use crate::web::pages::shell::words;
use crate::words::{desk_file, late, organise, put};

/// Rows shown at most, of each kind.
const SHOWN: usize = 100;

/// What became of the rows that were sent.
#[derive(Default)]
pub(super) struct Outcome {
    /// How many were taken.
    pub(super) said: String,
    /// About the file as a whole.
    pub(super) remarks: Vec<String>,
    pub(super) refused: Vec<RowSaid>,
    pub(super) more: String,
    /// Rows that are stored, with what is to be known of them.
    pub(super) told: Vec<RowSaid>,
    pub(super) told_more: String,
    /// What is asked about refused rows, each question once.
    pub(super) questions: Vec<QuestionSaid>,
}

/// A question about refused rows, which one tick answers for all of them.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct QuestionSaid {
    pub(super) code: String,
    /// As of the first row that has it.
    pub(super) said: String,
    /// How many have it.
    pub(super) rows: String,
    pub(super) yes: &'static str,
}

/// A row, and what is said of it.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct RowSaid {
    pub(super) row: u32,
    pub(super) line: String,
    pub(super) said: Vec<String>,
}

impl Outcome {
    /// With `said` above it: how many were taken.
    pub(super) fn new(view: &ImportView, said: String) -> Self {
        let (o, l) = (organise(language::reader()), late(language::reader()));
        let rest = view.rows.len().saturating_sub(SHOWN);
        let of_file = view.remarks.iter().filter(|told| told.row.is_none() && told.remark.code != MORE);
        let mut remarks: Vec<String> = of_file.map(|told| told.remark.message.clone()).collect();
        match view.late {
            0 => {}
            1 => remarks.insert(0, l.rows_one.to_owned()),
            n => remarks.insert(0, put(l.rows, &[("n", &n)])),
        }
        let mut outcome = Self {
            said,
            remarks,
            refused: view.rows.iter().take(SHOWN).map(refused_line).collect(),
            more: if rest > 0 { put(o.list_refused_more, &[("n", &rest)]) } else { String::new() },
            questions: view.questions.iter().map(question).collect(),
            ..Self::default()
        };
        let of_rows: Vec<(&RowPlace, &ImportRemark)> =
            view.remarks.iter().filter_map(|told| Some((told.row.as_ref()?, told))).collect();
        for (at, told) in of_rows.iter().take(SHOWN) {
            let line = at.line.map_or(String::new(), |line| line.to_string());
            outcome.tell(at.row, line, at_column(&at.column, &told.remark.message));
        }
        outcome.tell_more(of_rows.len().saturating_sub(SHOWN) + view.untold as usize);
        outcome
    }

    /// What is to be known of one more stored row, or one thing more of the last.
    fn tell(&mut self, row: u32, line: String, said: String) {
        match self.told.last_mut() {
            Some(last) if last.row == row => last.said.push(said),
            _ => self.told.push(RowSaid { row, line, said: vec![said] }),
        }
    }

    fn tell_more(&mut self, n: usize) {
        if n > 0 {
            self.told_more = put(organise(language::reader()).list_told_more, &[("n", &n)]);
        }
    }

    /// Where every row was taken: what the page that follows shows once. `more`: remarks that are not listed.
    pub(super) fn shown(&self, whose: &str) -> Shown {
        let remarks = self.remarks.iter().map(|remark| (remark.clone(), String::new()));
        let told = self.told.iter().flat_map(|line| {
            let at = format!("{}/{}", line.row, line.line);
            line.said.iter().map(move |said| (said.clone(), at.clone()))
        });
        let more = (!self.told_more.is_empty()).then(|| (self.told_more.clone(), MORE.to_owned()));
        Shown {
            told: self.said.clone(),
            whose: whose.to_owned(),
            left_out: remarks.chain(told).chain(more).collect(),
            ..Shown::default()
        }
    }

    /// The same again, on that page.
    pub(super) fn of_shown(shown: Shown) -> Self {
        let mut outcome = Self { said: shown.told, ..Self::default() };
        for (said, at) in shown.left_out {
            match at.split_once('/').map(|(row, line)| (row.parse(), line)) {
                Some((Ok(row), line)) => outcome.tell(row, line.to_owned(), said),
                _ if at == MORE => outcome.told_more = said,
                _ => outcome.remarks.push(said),
            }
        }
        outcome
    }
}

fn question(asked: &RowsAsked) -> QuestionSaid {
    let f = desk_file(language::reader());
    QuestionSaid {
        code: asked.code.clone(),
        said: asked.message.clone(),
        rows: put(f.asked_rows, &[("n", &asked.rows)]),
        yes: if asked.rows == 1 { words().question_yes } else { f.asked_yes },
    }
}

fn refused_line(row: &RefusedRow) -> RowSaid {
    let said = row.errors.iter().map(|e| at_column(&e.column, &e.message));
    RowSaid { row: row.row, line: row.line.map_or(String::new(), |l| l.to_string()), said: said.collect() }
}

/// What is said of a column, or (empty) of the whole row.
fn at_column(column: &str, said: &str) -> String {
    if column.is_empty() { said.to_owned() } else { at_key(column, said) }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actions::views::RemarkView;

    fn remark(row: Option<(u32, &str)>, code: &str, message: &str) -> ImportRemark {
        let remark = RemarkView { pointer: String::new(), code: code.to_owned(), message: message.to_owned() };
        let place = |(row, column): (u32, &str)| RowPlace { row, line: Some(row + 1), column: column.to_owned() };
        ImportRemark { remark, row: row.map(place) }
    }

    fn view(remarks: Vec<ImportRemark>, untold: u32) -> ImportView {
        let counts =
            ImportView { taken: 3, unchanged: 0, refused: 0, late: 2, remarks, untold, ..ImportView::default() };
        ImportView { header: vec!["bib".to_owned()], ..counts }
    }

    #[test]
    fn what_is_told_of_rows_comes_through_what_is_shown_once() {
        let outcome = Outcome::new(
            &view(
                vec![
                    remark(None, "unknown_column", "There is no column x."),
                    remark(Some((14, "performance")), "tiebreak_missing", "No time is given."),
                    remark(Some((14, "")), "was_not_taking_part", "Noted."),
                    remark(Some((16, "judge")), "judge_in_two_places", "Two at once?"),
                    remark(None, MORE, "7 more"),
                ],
                7,
            ),
            "3 stored.".to_owned(),
        );
        let line = |row: u32, said: &[&str]| {
            let said: Vec<String> = said.iter().map(|said| (*said).to_owned()).collect();
            RowSaid { row, line: (row + 1).to_string(), said }
        };
        let plain = |outcome: &Outcome| {
            let plain = |text: &String| text.replace(['\u{2068}', '\u{2069}'], "");
            let lines = outcome.told.iter().map(|l| RowSaid {
                row: l.row,
                line: l.line.clone(),
                said: l.said.iter().map(plain).collect(),
            });
            (outcome.remarks.clone(), lines.collect::<Vec<_>>(), outcome.told_more.clone())
        };
        let (remarks, told, more) = plain(&outcome);
        assert_eq!((remarks.len(), &*remarks[1]), (2, "There is no column x."), "and how many came late");
        assert_eq!(told, [line(14, &["performance: No time is given.", "Noted."]), line(16, &["judge: Two at once?"])]);
        assert_eq!(more, "7 more remarks are not listed.");
        let again = Outcome::of_shown(outcome.shown("w1"));
        assert_eq!((&*again.said, plain(&again)), ("3 stored.", plain(&outcome)));
    }

    #[test]
    fn of_many_rows_the_first_are_listed_and_the_others_counted() {
        let many = (1..=130).map(|row| remark(Some((row, "")), "tiebreak_missing", "No time is given.")).collect();
        let outcome = Outcome::new(&view(many, 0), String::new());
        assert_eq!((outcome.told.len(), &*outcome.told_more), (100, "30 more remarks are not listed."));
        assert!(Outcome::new(&view(Vec::new(), 0), String::new()).told_more.is_empty());
    }
}
