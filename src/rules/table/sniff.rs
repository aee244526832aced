//! Bytes → [`Table`]: encoding, separator, rows with their lines.

use super::{Row, Table, column_name};
use crate::rules::fault::Fault;
use crate::words::Sentence;

/// The most columns of a table.
const MAX_COLUMNS: usize = 200;
/// The most rows of a table: the command line takes large files.
const MAX_ROWS: usize = 2_000_000;
/// Separators that are looked for; the first wins a tie.
const SEPARATORS: [u8; 3] = [b',', b';', b'\t'];

fn whole(line: Option<u32>, sentence: Sentence) -> Vec<Fault> {
    vec![Fault { pointer: String::new(), sentence, line }]
}

/// Reads a table: UTF-8 with or without byte-order mark, comma, semicolon or tab, CRLF or LF; a
/// first line `sep=;`, as some spreadsheets write it, is heeded. Blank rows are left out.
///
/// Faults are about the file as a whole; what is wrong with a row is found when the row is read.
pub fn read(bytes: &[u8]) -> Result<Table, Vec<Fault>> {
    let text = decode(bytes)?;
    let (named, text, skipped) = named_separator(text);
    let separator = named.unwrap_or_else(|| sniff(text));
    let mut reader =
        csv::ReaderBuilder::new().delimiter(separator).has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut records = reader.records();
    let unreadable = |_| whole(None, Sentence::new("csv_unreadable"));
    let headers: Vec<String> = match records.next() {
        Some(record) => record.map_err(unreadable)?.iter().map(|h| h.trim().to_owned()).collect(),
        None => return Err(whole(None, Sentence::new("csv_empty"))),
    };
    if headers.len() > MAX_COLUMNS {
        return Err(whole(Some(1), Sentence::new("csv_too_many_columns").with("most", MAX_COLUMNS)));
    }
    let columns: Vec<String> = headers.iter().map(|header| column_name(header)).collect();
    let mut rows = Vec::new();
    for record in records {
        let record = record.map_err(unreadable)?;
        let mut cells: Vec<String> = record.iter().map(plain).collect();
        if cells.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        while cells.len() > columns.len() && cells.last().is_some_and(|cell| cell.trim().is_empty()) {
            cells.pop();
        }
        cells.resize(cells.len().max(columns.len()), String::new());
        let line = record.position().map_or(0, |at| starts_on(text, at)).saturating_add(skipped);
        rows.push(Row { line: u32::try_from(line).unwrap_or(u32::MAX), cells });
        if rows.len() > MAX_ROWS {
            return Err(whole(None, Sentence::new("csv_too_many_rows").with("most", MAX_ROWS)));
        }
    }
    Ok(Table { separator, columns, headers, rows })
}

/// The line a record starts on: its position may be before the rest of a line break or blank lines.
fn starts_on(text: &str, at: &csv::Position) -> u64 {
    let from = usize::try_from(at.byte()).ok().and_then(|byte| text.as_bytes().get(byte..)).unwrap_or_default();
    let breaks = from.iter().take_while(|b| matches!(b, b'\r' | b'\n')).filter(|b| **b == b'\n').count();
    at.line().saturating_add(breaks as u64)
}

/// UTF-8, without its byte-order mark.
fn decode(bytes: &[u8]) -> Result<&str, Vec<Fault>> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(whole(None, Sentence::new("csv_utf16")));
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let good = bytes.get(..error.valid_up_to()).unwrap_or_default();
        let line = good.split(|b| *b == b'\n').count();
        let sentence = Sentence::new("csv_not_utf8").with("line", line);
        whole(u32::try_from(line).ok(), sentence)
    })
}

/// A first line `sep=;`: the separator, the text after it, and how many lines it was.
fn named_separator(text: &str) -> (Option<u8>, &str, u64) {
    let (first, rest) = text.split_once('\n').unwrap_or((text, ""));
    let first = first.trim_end_matches('\r');
    let named = first.get(..4).filter(|start| start.eq_ignore_ascii_case("sep=")).and_then(|_| first.get(4..));
    match named.map(str::as_bytes) {
        Some([separator]) if SEPARATORS.contains(separator) => (Some(*separator), rest, 1),
        _ => (None, text, 0),
    }
}

/// The separator most frequent in the first line that is not blank, quoted parts aside.
fn sniff(text: &str) -> u8 {
    let header = text.lines().find(|line| !line.trim().is_empty()).unwrap_or("");
    let mut quoted = false;
    let mut counts = [0usize; SEPARATORS.len()];
    for byte in header.bytes() {
        quoted ^= byte == b'"';
        if let Some(at) = SEPARATORS.iter().position(|s| *s == byte && !quoted) {
            counts[at] += 1;
        }
    }
    let most = counts.iter().copied().max().unwrap_or(0);
    counts.iter().position(|count| *count == most).map_or(b',', |at| SEPARATORS[at])
}

/// A cell without the apostrophe that [`super::cell`] put before a would-be formula.
fn plain(cell: &str) -> String {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(super::write::RISKY) => rest.to_owned(),
        _ => cell.to_owned(),
    }
}
