//! What is asked about refused rows: each question once, with how many rows have it, as one yes serves for
//! all of them.

use super::RowFault;
use serde::Serialize;
use utoipa::ToSchema;

/// A question about refused rows.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RowsAsked {
    /// Where it is right in every one of these rows, sent back in `confirm` it takes them all.
    #[schema(example = "spreadsheet_time")]
    pub code: String,
    /// How many rows have it.
    #[schema(example = 40)]
    pub rows: u32,
    /// In words, as of the first of them.
    #[schema(example = "9:32:00 is nine hours. Spreadsheets add :00; did you mean 9:32?")]
    pub message: String,
}

/// Adds what one more refused row is asked; the same in two of its columns is one question of one row.
pub(super) fn add(all: &mut Vec<RowsAsked>, errors: &[RowFault]) {
    let questions = || errors.iter().filter(|error| error.asked);
    for (n, RowFault { code, message, .. }) in questions().enumerate() {
        if questions().take(n).any(|before| before.code == *code) {
            continue;
        }
        match all.iter_mut().find(|known| known.code == *code) {
            Some(known) => known.rows = known.rows.saturating_add(1),
            None => all.push(RowsAsked { code: code.clone(), rows: 1, message: message.clone() }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_question_stands_once_with_its_rows_and_no_fault_among_them() {
        let said = |column: &str, code: &str, message: &str, asked| RowFault {
            column: column.to_owned(),
            code: code.to_owned(),
            message: message.to_owned(),
            asked,
        };
        let mut all = Vec::new();
        add(&mut all, &[said("w1", "time", "9:32:00?", true), said("w2", "time", "8:01:00?", true)]);
        add(&mut all, &[said("judge", "no_such_judge", "Nobody.", false)]);
        add(&mut all, &[said("w1", "rounds", "278 rounds?", true), said("w2", "time", "7:01:00?", true)]);
        let asked =
            |code: &str, rows, message: &str| RowsAsked { code: code.to_owned(), rows, message: message.to_owned() };
        assert_eq!(all, [asked("time", 2, "9:32:00?"), asked("rounds", 1, "278 rounds?")]);
    }
}
