//! CSV out: cells that no spreadsheet takes for a formula.

use super::{GIVEN_BACK, Table};
use std::borrow::Cow;

/// First characters that make a spreadsheet see a formula (OWASP, "CSV Injection").
pub(super) const RISKY: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\n'];

/// A cell that no spreadsheet takes for a formula: those that start with `= + - @`, tab, CR or LF
/// get an apostrophe (OWASP, "CSV Injection"); quoted where needed (RFC 4180).
///
/// ```
/// use tallywright::rules::table::cell;
/// assert_eq!(cell("Ines Duarte"), "Ines Duarte");
/// assert_eq!(cell("Duarte, Ines"), "\"Duarte, Ines\"");
/// assert_eq!(cell("=1+1"), "'=1+1");
/// ```
#[must_use]
pub fn cell(text: &str) -> Cow<'_, str> {
    separated(text, b',')
}

fn separated(text: &str, separator: u8) -> Cow<'_, str> {
    let safe: Cow<'_, str> = if text.starts_with(RISKY) { format!("'{text}").into() } else { text.into() };
    let quote = |b: u8| matches!(b, b'"' | b'\r' | b'\n') || b == separator;
    if safe.bytes().any(quote) {
        return format!("\"{}\"", safe.replace('"', "\"\"")).into();
    }
    safe
}

fn line<'a>(out: &mut String, cells: impl Iterator<Item = &'a str>, separator: u8) {
    for (i, text) in cells.enumerate() {
        if i > 0 {
            out.push(char::from(separator));
        }
        out.push_str(&separated(text, separator));
    }
    out.push_str("\r\n");
}

/// A CSV text: comma, CRLF, header first, every cell through [`cell`].
#[must_use]
pub fn write<R, C>(headers: &[&str], rows: R) -> String
where
    R: IntoIterator<Item = Vec<C>>,
    C: AsRef<str>,
{
    let mut out = String::new();
    line(&mut out, headers.iter().copied(), b',');
    out + &write_on(rows)
}

/// More rows of the same.
#[must_use]
pub fn write_on<R, C>(rows: R) -> String
where
    R: IntoIterator<Item = Vec<C>>,
    C: AsRef<str>,
{
    let mut out = String::new();
    for row in rows {
        line(&mut out, row.iter().map(AsRef::as_ref), b',');
    }
    out
}

/// The rows that were not taken, as a CSV to be mended and sent again: the columns as sent, with
/// the same separator, then `line` and `reason`, which are ignored when it is read. `rows`: index
/// in [`Table::rows`] and the reasons, in words.
#[must_use]
pub fn refused(table: &Table, rows: &[(usize, Vec<String>)]) -> String {
    let kept: Vec<usize> =
        (0..table.columns.len()).filter(|at| !GIVEN_BACK.contains(&table.columns[*at].as_str())).collect();
    let mut out = String::new();
    let headers = kept.iter().map(|at| table.headers.get(*at).map_or("", String::as_str));
    line(&mut out, headers.chain(["line", "reason"]), table.separator);
    for (index, reasons) in rows {
        let Some(row) = table.rows.get(*index) else { continue };
        let number = row.line.to_string();
        let reason = reasons.join(" ");
        let cells = kept.iter().map(|at| row.cells.get(*at).map_or("", String::as_str));
        line(&mut out, cells.chain([number.as_str(), reason.as_str()]), table.separator);
    }
    out
}
