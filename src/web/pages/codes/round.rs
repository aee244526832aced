//! New codes for all who have not used theirs: made so many at a time, each once. What a form begins the page of
//! its slips goes on with, until all have a new one.

use super::super::form::Fields;
use super::texts;
use crate::actions::accounts::{CodeRow, MOST_CODES};
use crate::web::session::Caller;
use crate::words::put;
use jiff::Timestamp;
use std::collections::BTreeSet;

/// The form that makes the next.
pub(super) struct Next {
    pub(super) round: Round,
    pub(super) text: String,
}

/// How far it is: whoever got a code since it began has a new one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Round {
    /// In microseconds, as is the next; `None`: with this form.
    pub(super) began: Option<i64>,
    /// When the newest of the slips were made that whoever goes on has.
    pub(super) last: i64,
}

impl Round {
    /// What a form begins, or goes on with. One that makes files begins with its page, which stays where it is
    /// while it is sent again and again.
    pub(super) fn asked(caller: &Caller, fields: &Fields) -> Option<Self> {
        let now = caller.received.as_microsecond();
        match (fields.get("for"), fields.get("as")) {
            ("next", _) => Self::read(fields),
            ("unused", "csv") => Some(Self { began: fields.get("shown").parse().ok(), last: now }),
            ("unused", _) => Some(Self { began: None, last: now }),
            _ => None,
        }
    }

    /// As an address or a form says it.
    pub(super) fn read(fields: &Fields) -> Option<Self> {
        Some(Self { began: Some(fields.get("round").parse().ok()?), last: fields.get("last").parse().ok()? })
    }

    /// The same as fields.
    pub(super) fn fields(self) -> Fields {
        let pair = |(name, at): (&str, i64)| (name.to_owned(), at.to_string());
        Fields([("round", self.since()), ("last", self.last)].map(pair).into())
    }

    /// The same in an address.
    pub(super) fn tail(self) -> String {
        format!("?round={}&last={}", self.since(), self.last)
    }

    /// When it began, as far as is known.
    pub(super) fn since(self) -> i64 {
        self.began.unwrap_or(self.last)
    }

    /// Once slips were made.
    pub(super) fn made_at(self, at: Timestamp) -> Self {
        let last = at.as_microsecond();
        Self { began: self.began.or(Some(last)), last }
    }

    /// Whether a new code is still to be made.
    pub(super) fn lacks(self, row: &CodeRow) -> bool {
        let older = |at: Timestamp| self.began.is_none_or(|began| at.as_microsecond() < began);
        !row.claimed && row.made.is_none_or(older)
    }

    /// Who gets one now, as many as get one at once: first who has none, then the oldest.
    pub(super) fn chosen(self, rows: &[CodeRow]) -> BTreeSet<u32> {
        let mut lacking: Vec<&CodeRow> = rows.iter().filter(|row| self.lacks(row)).collect();
        lacking.sort_by_key(|row| row.made);
        lacking.into_iter().take(MOST_CODES).map(|row| row.bib).collect()
    }

    /// The next, if anybody lacks one.
    pub(super) fn next(self, rows: &[CodeRow]) -> Option<Next> {
        let left = rows.iter().filter(|row| self.lacks(row)).count();
        (left > 0).then(|| Next { round: self, text: put(texts().slips_more_anew, &[("n", &left)]) })
    }

    /// Codes that were made since, by a second tap or by somebody else: how many, and how far it is with them.
    pub(super) fn passed(self, rows: &[CodeRow]) -> Option<(usize, Self)> {
        let made = rows.iter().filter_map(|row| row.made.map(Timestamp::as_microsecond));
        let since: Vec<i64> = made.filter(|at| *at > self.last).collect();
        since.iter().max().map(|last| (since.len(), Self { last: *last, ..self }))
    }
}

#[cfg(test)]
impl Next {
    pub(super) fn sample() -> Self {
        use super::super::samples;
        Self { round: Round { began: Some(7), last: 9 }, text: samples::HOSTILE.to_owned() }
    }
}

/// Of `n` entries the first two hundred have their slips, made one after the other.
#[cfg(test)]
pub(super) fn sample(n: u32) -> Vec<CodeRow> {
    use super::super::samples;
    let made = |bib: u32| (bib <= 200).then(|| Timestamp::UNIX_EPOCH + jiff::SignedDuration::from_mins(i64::from(bib)));
    let row = |bib| CodeRow {
        bib,
        name: samples::HOSTILE.to_owned(),
        division: "women".to_owned(),
        made: made(bib),
        claimed: false,
    };
    (1..=n).map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::SignedDuration;

    #[test]
    fn of_slips_that_are_lost_the_oldest_codes_are_made_anew_after_those_who_have_none() {
        let mut rows = sample(250);
        let bibs = |all: &BTreeSet<u32>| (all.iter().copied().min(), all.iter().copied().max(), all.len());
        let now = Timestamp::UNIX_EPOCH + SignedDuration::from_hours(24);
        let begun = Round { began: None, last: now.as_microsecond() };
        let first = begun.chosen(&rows);
        assert_eq!((bibs(&first), first.contains(&151)), ((Some(1), Some(250), 200), false));
        // Made: of this round the others are left, and nobody who has a new one.
        for row in rows.iter_mut().filter(|row| first.contains(&row.bib)) {
            row.made = Some(now);
        }
        let round = begun.made_at(now);
        assert_eq!(round.chosen(&rows), (151..=200).collect());
        assert_eq!(round.next(&rows).map(|next| next.text), Some(put(texts().slips_more_anew, &[("n", &50)])));
        assert_eq!(round.passed(&rows), None);
        assert_eq!(Round::read(&round.fields()), Some(round));
        // What somebody else made meanwhile is seen, and is none of those that are still to be made.
        let later = now + SignedDuration::from_secs(5);
        rows[150].made = Some(later);
        assert_eq!(round.passed(&rows), Some((1, Round { last: later.as_microsecond(), ..round })));
        assert_eq!(round.chosen(&rows), (152..=200).collect());
        for row in rows.iter_mut().filter(|row| row.bib != 177) {
            row.claimed = true;
        }
        assert_eq!(round.chosen(&rows), BTreeSet::from([177]), "who has used theirs keeps what it gave");
        rows[176].made = Some(now);
        assert!(round.chosen(&rows).is_empty() && round.next(&rows).is_none());
    }
}
