//! The letters about a competition and what became of them, whichever service has sent them: a part of the
//! page of roles and sign-ins. What nobody has to care about any more comes last.

use super::super::shell::When;
use super::number;
use crate::actions::language;
use crate::actions::mail::Outcome;
use crate::store::letters::{KEPT, Listed};
use crate::words::{self, put};
use jiff::tz::TimeZone;

/// Letters shown at most.
const SHOWN: usize = 200;

/// The list.
pub(super) struct Posted {
    /// How many there are of each kind.
    pub(super) lead: String,
    pub(super) caption: String,
    pub(super) rows: Vec<LetterView>,
}

/// A letter, and what became of it.
pub(super) struct LetterView {
    pub(super) to: String,
    pub(super) at: When,
    pub(super) outcome: String,
    pub(super) failed: bool,
}

/// What has to be looked after first: its place among the kinds.
fn kind(letter: &Listed) -> usize {
    match letter.outcome {
        Some(Outcome::Failed(_)) => 0,
        None => 1,
        Some(Outcome::Waiting) => 2,
        Some(Outcome::Sent) => 3,
    }
}

impl Posted {
    /// `letters`: newest first.
    pub(super) fn new(mut letters: Vec<Listed>, zone: &TimeZone) -> Self {
        let l = words::letters(language::reader());
        let mut counts = [(0, l.n_failed), (0, l.n_unknown), (0, l.n_waiting), (0, l.n_sent)];
        for letter in &letters {
            counts[kind(letter)].0 += 1_u64;
        }
        let some = counts.into_iter().filter(|(n, _)| *n > 0);
        let mut lead: Vec<String> = some.map(|(n, template)| put(template, &[("n", &number(n))])).collect();
        if letters.len() > SHOWN {
            lead.push(put(l.more, &[("n", &SHOWN)]));
        }
        letters.sort_by_key(kind);
        letters.truncate(SHOWN);
        Self {
            lead: lead.join(" "),
            caption: put(l.caption, &[("n", &KEPT)]),
            rows: letters.into_iter().map(|letter| LetterView::new(letter, zone)).collect(),
        }
    }
}

impl LetterView {
    fn new(letter: Listed, zone: &TimeZone) -> Self {
        let l = words::letters(language::reader());
        let failed = matches!(letter.outcome, None | Some(Outcome::Failed(_)));
        let outcome = match letter.outcome {
            Some(Outcome::Waiting) => l.waiting.to_owned(),
            Some(Outcome::Sent) => l.sent.to_owned(),
            Some(Outcome::Failed(why)) => language::say(&why),
            None => l.unknown.to_owned(),
        };
        Self { to: letter.to, at: When::new(letter.at, zone), outcome, failed }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Sentence;
    use jiff::Timestamp;

    #[test]
    fn what_was_not_sent_is_shown_however_many_were_and_all_are_counted() {
        let letter = |n: usize, outcome| Listed { to: format!("{n}@example.org"), at: Timestamp::UNIX_EPOCH, outcome };
        let mut letters: Vec<Listed> = (0..500).map(|n| letter(n, Some(Outcome::Sent))).collect();
        letters.push(letter(500, Some(Outcome::Waiting)));
        letters.push(letter(501, None));
        letters.push(letter(502, Some(Outcome::Failed(Sentence::new("mail_slow")))));
        let posted = Posted::new(letters, &TimeZone::UTC);
        let shown: Vec<&str> = posted.rows.iter().map(|row| row.to.as_str()).collect();
        assert_eq!(
            shown[..5],
            ["502@example.org", "501@example.org", "500@example.org", "0@example.org", "1@example.org"]
        );
        assert_eq!(shown.len(), SHOWN);
        assert_eq!(
            posted.lead,
            "Not sent: 1. Not known what became of them: 1. On their way: 1. Taken by the mail server: 500. Only the first 200 stand here."
        );
        let failed: Vec<bool> = posted.rows.iter().map(|row| row.failed).take(4).collect();
        assert_eq!(failed, [true, true, false, false]);
        assert!(Posted::new(Vec::new(), &TimeZone::UTC).rows.is_empty());
    }
}
