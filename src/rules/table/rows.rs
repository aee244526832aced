//! A row → what the forms and JSON send too, with a stand-in for each cell at fault, and what is wrong
//! with it: the rules then say what else is.

use super::dates::{self, DateOrder};
use super::{Row, Table, column_name};
use crate::rules::competition::clip;
use crate::rules::fault::{Fault, Read};
use crate::rules::roster::{RawEntry, RawGym, RawJudge};
use crate::words::Sentence;

/// The most line breaks inside one cell: more, and a quote was left open.
const MAX_BREAKS: usize = 20;

/// The most characters of what stands beside a result: in a row of several it goes along with each of them.
const MAX_BESIDE: usize = 500;

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
    /// As written; see [`super::performed_at`].
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

/// Reads the cells of one row and collects what is wrong with them.
struct Cells<'a> {
    table: &'a Table,
    row: &'a Row,
    faults: Vec<Fault>,
}

impl<'a> Cells<'a> {
    fn of(table: &'a Table, row: &'a Row) -> Self {
        let mut cells = Self { table, row, faults: Vec::new() };
        if row.cells.len() > table.columns.len() {
            let sentence =
                Sentence::new("csv_row_long").with("cells", row.cells.len()).with("columns", table.columns.len());
            cells.fault("", sentence);
        }
        if row.cells.iter().any(|cell| cell.matches('\n').count() > MAX_BREAKS) {
            cells.fault("", Sentence::new("csv_quote_open"));
        }
        cells
    }

    fn fault(&mut self, column: &str, sentence: Sentence) {
        let pointer = if column.is_empty() { String::new() } else { format!("/{column}") };
        self.faults.push(Fault { pointer, sentence, line: Some(self.row.line) });
    }

    fn text(&self, column: &str) -> String {
        self.table.cell(self.row, column).to_owned()
    }

    /// What stands beside a result.
    fn beside(&mut self, column: &str) -> String {
        let text = self.table.cell(self.row, column);
        if text.chars().count() <= MAX_BESIDE {
            return text.to_owned();
        }
        self.fault(column, Sentence::new("line_too_long").with("most", MAX_BESIDE));
        String::new()
    }

    /// `None`: the file has no such column, and says nothing of it.
    fn said(&self, column: &str) -> Option<String> {
        self.table.has(column).then(|| self.text(column))
    }

    /// A date as `YYYY-MM-DD` where it has one reading; else as written, for the check to explain.
    fn date(&self, column: &str, order: DateOrder) -> String {
        let text = self.table.cell(self.row, column);
        dates::read(text, order).map_or_else(|_| text.to_owned(), |date| date.to_string())
    }

    /// A whole number; a spreadsheet's `1042.0` is one too.
    fn number(&mut self, column: &str) -> Option<u32> {
        let text = self.table.cell(self.row, column);
        if text.is_empty() {
            return None;
        }
        let whole = text.strip_suffix(".0").or_else(|| text.strip_suffix(",0")).unwrap_or(text);
        let digits = !whole.is_empty() && whole.bytes().all(|b| b.is_ascii_digit());
        match whole.parse() {
            Ok(number) if digits => Some(number),
            _ => {
                let changed = text.bytes().any(|b| b.is_ascii_digit()) && text.contains(['.', ',', 'E', 'e', '-', '/']);
                let code = if changed { "csv_number_changed" } else { "csv_number" };
                self.fault(column, Sentence::new(code).with("text", clip(text)));
                None
            }
        }
    }

    /// Yes or no, as people write them.
    fn yes(&mut self, column: &str) -> Option<bool> {
        let text = self.table.cell(self.row, column);
        match text.to_lowercase().as_str() {
            "" => None,
            "yes" | "y" | "true" | "t" | "1" | "x" | "sim" | "si" | "sí" | "oui" | "ja" | "wahr" | "vrai" => {
                Some(true)
            }
            "no" | "n" | "false" | "f" | "0" | "-" | "não" | "nao" | "non" | "nein" | "nee" | "falsch" | "faux" => {
                Some(false)
            }
            _ => {
                self.fault(column, Sentence::new("csv_yes_or_no").with("text", clip(text)));
                None
            }
        }
    }

    fn done<T>(self, value: T) -> Read<T> {
        Read { value, faults: self.faults }
    }
}

/// A row of gyms.
#[must_use]
pub fn gym(table: &Table, row: &Row) -> Read<RawGym> {
    let cells = Cells::of(table, row);
    let gym = RawGym {
        slug: cells.text("slug"),
        name: cells.text("name"),
        country: cells.text("country"),
        region: cells.said("region"),
        time_zone: cells.said("time_zone"),
        contact: cells.said("contact"),
        email: cells.said("email"),
        phone: cells.said("phone"),
        emergency: cells.said("emergency"),
    };
    cells.done(gym)
}

/// A row of entries. Dates that have one reading are made `YYYY-MM-DD`.
#[must_use]
pub fn entry(table: &Table, row: &Row, order: DateOrder) -> Read<RawEntry> {
    let mut cells = Cells::of(table, row);
    let entry = RawEntry {
        bib: cells.number("bib"),
        name: cells.text("name"),
        born: cells.date("born", order),
        category: cells.text("category"),
        division: cells.text("division"),
        gym: cells.text("gym"),
        country: cells.said("country"),
        region: cells.said("region"),
        email: cells.said("email"),
        show_name: cells.yes("show_name"),
        guardian_consent: cells.yes("guardian_consent"),
        proposed: false,
    };
    cells.done(entry)
}

/// A row of judges.
#[must_use]
pub fn judge(table: &Table, row: &Row, order: DateOrder) -> Read<RawJudge> {
    let cells = Cells::of(table, row);
    let judge = RawJudge {
        code: cells.text("code"),
        name: cells.text("name"),
        gym: cells.said("gym"),
        valid_from: cells.date("valid_from", order),
        valid_to: cells.date("valid_to", order),
        email: cells.said("email"),
    };
    cells.done(judge)
}

/// A row of scores; `workouts`: the slugs whose columns hold performances (empty: only the long
/// shape is taken).
#[must_use]
pub fn score(table: &Table, row: &Row, workouts: &[&str]) -> Read<ScoreRow> {
    let mut cells = Cells::of(table, row);
    let bib = cells.number("bib");
    let name = cells.beside("name");
    if bib.is_none() && table.cell(row, "name").is_empty() && table.cell(row, "bib").is_empty() {
        cells.fault("bib", Sentence::new("csv_row_whose"));
    }
    let mut performances = Vec::new();
    if table.has("performance") {
        let text = cells.text("performance");
        let workout = Some(cells.text("workout")).filter(|workout| !workout.is_empty());
        if text.is_empty() {
            cells.fault("performance", Sentence::new("csv_row_what"));
        }
        performances.push((workout, with_tiebreak(text, &cells.text("tb"))));
    } else {
        let filled = workouts.iter().map(|slug| (*slug, cells.text(&column_name(slug))));
        performances
            .extend(filled.filter(|(_, text)| !text.is_empty()).map(|(slug, text)| (Some(slug.to_owned()), text)));
        if performances.is_empty() {
            cells.fault("", Sentence::new("csv_row_what"));
        }
    }
    let row = ScoreRow {
        line: row.line,
        bib,
        name,
        performances,
        level: cells.beside("level"),
        performed_at: cells.beside("performed_at"),
        judge: cells.beside("judge"),
        sheet: cells.beside("sheet"),
        gym: cells.beside("gym"),
        attempt: cells.number("attempt"),
        no_reps: cells.number("no_reps"),
        video: cells.beside("video"),
        revise: cells.yes("revise").unwrap_or(false),
    };
    cells.done(row)
}

/// The performance with the tiebreak of its own column.
fn with_tiebreak(performance: String, tb: &str) -> String {
    let start = tb.get(..2).filter(|start| start.eq_ignore_ascii_case("tb"));
    let time = start.and_then(|_| tb.get(2..)).unwrap_or(tb).trim();
    if time.is_empty() { performance } else { format!("{performance} tb {time}") }
}
