//! What is to be known of rows that are stored: what a form would have said of each. A file may have a million
//! rows: of those without a remark nothing is kept, and of the others the first ones.

use super::outcome::column;
use super::source::Source;
use crate::actions::language;
use crate::actions::score::count;
use crate::actions::views::RemarkView;
use crate::rules::fault::Warning;
use crate::words::Sentence;
use serde::Serialize;

/// So many are listed of a file.
const MOST: usize = 1_000;

/// What says how many more there are.
pub const MORE: &str = "more_remarks";

/// Something to be told of a file, or of one of its rows that is stored.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ImportRemark {
    /// The same for programs.
    #[serde(flatten)]
    pub remark: RemarkView,
    /// The row it is about; `None`: the file.
    #[serde(skip)]
    pub row: Option<RowPlace>,
}

/// Where a row stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowPlace {
    /// Row number, from 1, without the header.
    pub row: u32,
    /// Line of the text it starts on, from 1; `None`: it came as JSON.
    pub line: Option<u32>,
    /// Which column (or member); empty: the whole row.
    pub column: String,
}

impl ImportRemark {
    /// About the file as a whole.
    #[must_use]
    pub fn of_file(remark: RemarkView) -> Self {
        Self { remark, row: None }
    }

    fn said(pointer: String, sentence: &Sentence) -> RemarkView {
        RemarkView { pointer, code: sentence.code.to_string(), message: language::say(sentence) }
    }
}

/// Those of one file, as its rows are stored.
#[derive(Debug, Default)]
pub(super) struct Remarks {
    listed: usize,
    more: usize,
    /// That the file came in the time of grace is said.
    in_grace: bool,
}

impl Remarks {
    /// Notes what is to be known of a stored row. `performance`: the column that holds it, in the wide shape.
    pub(super) fn add(
        &mut self,
        to: &mut Vec<ImportRemark>,
        source: &Source,
        (index, performance): (usize, Option<&str>),
        warnings: &[Warning],
    ) {
        for Warning { pointer, sentence } in warnings {
            match &*sentence.code {
                // Those rows are counted.
                "stored_late" => {}
                // The whole file came then.
                "in_grace" if self.in_grace => {}
                "in_grace" => {
                    self.in_grace = true;
                    to.push(ImportRemark::of_file(ImportRemark::said(String::new(), sentence)));
                }
                _ if self.listed == MOST => self.more += 1,
                _ => {
                    self.listed += 1;
                    let column = column(pointer, performance);
                    let within = match source {
                        Source::Array(_) if performance.is_none() => pointer.trim_start_matches('/').to_owned(),
                        _ => column.clone(),
                    };
                    let at = if within.is_empty() { format!("/{index}") } else { format!("/{index}/{within}") };
                    let row = RowPlace { row: count(index + 1), line: source.line(index), column };
                    to.push(ImportRemark { remark: ImportRemark::said(at, sentence), row: Some(row) });
                }
            }
        }
    }

    /// How many more there are, once all rows are stored.
    pub(super) fn end(&self, to: &mut Vec<ImportRemark>) {
        if self.more > 0 {
            let sentence = Sentence::new(MORE).with("n", self.more);
            to.push(ImportRemark::of_file(ImportRemark::said(String::new(), &sentence)));
        }
    }

    /// How many are not listed.
    pub(super) fn more(&self) -> u32 {
        count(self.more)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::table;

    fn warning(pointer: &str, code: &'static str) -> Warning {
        Warning { pointer: pointer.to_owned(), sentence: Sentence::new(code) }
    }

    #[test]
    fn each_is_told_of_its_row_and_column_and_what_holds_for_all_rows_once() {
        let table = Source::Table(table::read(b"bib,w1,w2\n1,6+14,7:01\n\n2,6+13,7:02\n").expect("a table"));
        let array = Source::Array(vec![serde_json::json!({}), serde_json::json!({})]);
        let all = [
            warning("/performance/tiebreak", "tiebreak_missing"),
            warning("", "was_not_taking_part"),
            warning("/attestation/judge", "judge_in_two_places"),
            warning("", "stored_late"),
            warning("", "in_grace"),
        ];
        let told = |source: &Source, performance: Option<&str>| {
            let (mut to, mut remarks) = (Vec::new(), Remarks::default());
            for _ in 0..2 {
                remarks.add(&mut to, source, (1, performance), &all);
            }
            remarks.end(&mut to);
            let told = to.iter().map(|told| {
                let place = told.row.as_ref().map(|at| format!("{} {:?} {}", at.row, at.line, at.column));
                format!("{} {}", told.remark.pointer, place.unwrap_or_default())
            });
            told.collect::<Vec<_>>()
        };
        let rows = ["/1/w2 2 Some(4) w2", "/1 2 Some(4) ", "/1/judge 2 Some(4) judge"];
        assert_eq!(told(&table, Some("w2")), [&rows[..], &[" "], &rows[..]].concat());
        let rows = ["/1/performance/tiebreak 2 None performance", "/1 2 None ", "/1/attestation/judge 2 None judge"];
        assert_eq!(told(&array, None), [&rows[..], &[" "], &rows[..]].concat());
    }

    #[test]
    fn the_first_are_listed_and_the_others_counted() {
        let source = Source::Array(Vec::new());
        let (mut to, mut remarks) = (Vec::new(), Remarks::default());
        for index in 0..MOST + 7 {
            remarks.add(&mut to, &source, (index, None), &[warning("", "tiebreak_missing")]);
        }
        remarks.end(&mut to);
        assert_eq!((to.len(), remarks.more()), (MOST + 1, 7));
        let last = to.last().expect("a remark");
        assert_eq!((&*last.remark.code, &*last.remark.pointer, &last.row), (MORE, "", &None));
        assert!(last.remark.message.contains('7'), "{}", last.remark.message);
    }
}
