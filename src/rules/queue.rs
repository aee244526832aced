//! What a referee looks at first: what waits for one, how near its deadline is, and which key the
//! score would be placed by if the doubt were right.
//!
//! Pure: windows, attempts and an instant go in. How many places would move is asked of
//! [`crate::rules::place::Places::shifted`] and of the board.

use super::ledger::counting;
use super::life::{Attempt, State};
use super::order::Key;
use super::window::Window;
use super::workout::Attempts;
use jiff::{SignedDuration, Timestamp};

/// Why a score waits for a referee.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Doubt {
    /// A ruling is contested.
    Appealed,
    /// Off the places until there is a ruling.
    Withheld,
    /// Being checked, still placed.
    Flagged,
    /// Corrected upward after the close, and nobody has ruled on that.
    Raised,
}

impl Doubt {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Appealed, Self::Withheld, Self::Flagged, Self::Raised];

    /// Why an attempt waits; `None`: it does not.
    #[must_use]
    pub fn of(attempt: &Attempt) -> Option<Self> {
        if attempt.appeal.as_ref().is_some_and(|a| !a.decided) {
            return Some(Self::Appealed);
        }
        // "Stands" leaves the score attested and the mark upon it: what was ruled on is answered.
        let answered = attempt.ruling.as_ref().is_some_and(|r| attempt.stored.received_at <= r.at);
        match attempt.state {
            State::Withheld => Some(Self::Withheld),
            State::Flagged => Some(Self::Flagged),
            State::Attested if attempt.upward && !answered => Some(Self::Raised),
            _ => None,
        }
    }

    /// As in addresses.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Appealed => "appealed",
            Self::Withheld => "withheld",
            Self::Flagged => "flagged",
            Self::Raised => "raised",
        }
    }
}

/// The key an entry would be placed by if what is doubted went against what holds now: a withheld
/// score stands, a flagged one is struck, an appeal gives back what was before the ruling, a raised
/// score is put back to `earlier` (struck where that is not known). `attempts`: all of the entry in
/// the workout; `which`: the doubted one's number.
#[must_use]
pub fn otherwise(doubt: Doubt, rule: Attempts, attempts: &[Attempt], which: u32, earlier: Option<Key>) -> Option<Key> {
    let mut then = attempts.to_vec();
    if let Some(doubted) = then.iter_mut().find(|a| a.score.attempt == which) {
        match (doubt, earlier) {
            (Doubt::Withheld, _) => doubted.state = State::Attested,
            (Doubt::Flagged, _) | (Doubt::Raised, None) => doubted.state = State::Struck,
            (Doubt::Raised, Some(key)) => doubted.stored.key = key,
            (Doubt::Appealed, _) => {
                if let Some(ruling) = &doubted.ruling {
                    doubted.state = ruling.before_state;
                    doubted.stored = ruling.before.clone();
                }
            }
        }
    }
    counting(rule, &then).and_then(Attempt::placed_key)
}

/// The deadline that comes next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deadline {
    /// The window closes: until then it can be done again.
    Closes(Timestamp),
    /// Until then staff correct and judges vouch.
    AttestBy(Timestamp),
    /// Both are over.
    Over,
}

impl Deadline {
    /// The next one of a window.
    #[must_use]
    pub fn next(window: &Window, now: Timestamp) -> Self {
        if now < window.closes {
            Self::Closes(window.closes)
        } else if now < window.attest_by {
            Self::AttestBy(window.attest_by)
        } else {
            Self::Over
        }
    }

    /// How near it is.
    #[must_use]
    pub fn press(self, now: Timestamp) -> Press {
        match self {
            Self::Over => Press::Later,
            Self::Closes(at) | Self::AttestBy(at) => {
                let left = at.duration_since(now);
                if left <= SignedDuration::from_hours(3) {
                    Press::Hours
                } else if left <= SignedDuration::from_hours(24) {
                    Press::Day
                } else {
                    Press::Later
                }
            }
        }
    }
}

/// How near a deadline is: coarse, so that within each what moves most comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Press {
    /// At most three hours.
    Hours,
    /// At most a day.
    Day,
    /// Longer, or over: nothing presses but the places.
    Later,
}

/// The order of the list: less is sooner. Two rows never share one, so that the order is the same
/// however often it is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Turn {
    /// How near the deadline is.
    pub press: Press,
    /// Places and standings of others that would move, most first.
    pub moves: std::cmp::Reverse<u64>,
    /// Index of the workout in the file.
    pub workout: usize,
    /// Whose.
    pub bib: u32,
    /// Which attempt.
    pub attempt: u32,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::event::{NoteRef, ScoreRef};
    use crate::rules::life::{Appeal, Details, Ruling, RulingKind, Stored};
    use std::cmp::Reverse;

    fn at(text: &str) -> Timestamp {
        text.parse().expect("an instant")
    }

    fn attempt(n: u32, key: i64, state: State) -> Attempt {
        let stored = Stored {
            level: 0,
            written: String::new(),
            text: String::new(),
            key: Key(key),
            performed_at: at("2027-01-14T12:00:00Z"),
            gym: None,
            received_at: at("2027-01-14T12:00:00Z"),
            prescription: String::new(),
            by: None,
        };
        let score = ScoreRef { workout: "w1".into(), bib: 1, attempt: n };
        Attempt::new(score, 1, 1, state, stored, Details::default())
    }

    fn ruled(mut attempt: Attempt, key: i64, state: State, ruled_at: &str) -> Attempt {
        let reason = NoteRef { id: 1, commitment: String::new() };
        let mut before = attempt.stored.clone();
        before.key = Key(key);
        attempt.ruling = Some(Ruling {
            kind: RulingKind::Strike,
            reason,
            by: None,
            at: at(ruled_at),
            seq: 1,
            before_state: state,
            before,
            before_attestation: None,
            on_appeal: false,
        });
        attempt
    }

    #[test]
    fn what_waits_is_told_by_its_state_and_an_answered_raise_does_not_wait() {
        let of = |a: &Attempt| Doubt::of(a).map(Doubt::as_str);
        assert_eq!(of(&attempt(1, 5, State::Withheld)), Some("withheld"));
        assert_eq!(of(&attempt(1, 5, State::Flagged)), Some("flagged"));
        assert_eq!(of(&attempt(1, 5, State::Attested)), None);
        let raised = Attempt { upward: true, ..attempt(1, 5, State::Attested) };
        assert_eq!(of(&raised), Some("raised"));
        assert_eq!(
            of(&ruled(raised.clone(), 5, State::Attested, "2027-01-14T13:00:00Z")),
            None,
            "it was ruled to stand"
        );
        assert_eq!(of(&ruled(raised, 5, State::Attested, "2027-01-14T11:00:00Z")), Some("raised"), "raised after that");
        let mut appealed = ruled(attempt(1, 5, State::Struck), 5, State::Attested, "2027-01-14T13:00:00Z");
        assert_eq!(of(&appealed), None);
        let reason = NoteRef { id: 2, commitment: String::new() };
        appealed.appeal = Some(Appeal { reason, by: None, at: at("2027-01-14T14:00:00Z"), decided: false });
        assert_eq!(of(&appealed), Some("appealed"));
    }

    #[test]
    fn the_other_outcome_is_what_would_count_then() {
        let key = |doubt, rule, all: &[Attempt], which, earlier: Option<i64>| {
            otherwise(doubt, rule, all, which, earlier.map(Key)).map(|k| k.0)
        };
        let (best, last) = (Attempts::Best, Attempts::Last);
        assert_eq!(key(Doubt::Withheld, best, &[attempt(1, 5, State::Withheld)], 1, None), Some(5));
        assert_eq!(key(Doubt::Flagged, best, &[attempt(1, 5, State::Flagged)], 1, None), None);
        let two = [attempt(1, 9, State::Attested), attempt(2, 5, State::Flagged)];
        assert_eq!(key(Doubt::Flagged, best, &two, 2, None), Some(9), "the other attempt counts then");
        let two = [attempt(1, 5, State::Attested), attempt(2, 9, State::Withheld)];
        assert_eq!(key(Doubt::Withheld, best, &two, 2, None), Some(5), "the better one counts as before");
        assert_eq!(key(Doubt::Withheld, last, &two, 2, None), Some(9));
        assert_eq!(key(Doubt::Raised, best, &[attempt(1, 5, State::Attested)], 1, Some(8)), Some(8));
        assert_eq!(key(Doubt::Raised, best, &[attempt(1, 5, State::Attested)], 1, None), None);
        let struck = [ruled(attempt(1, 7, State::Struck), 4, State::Attested, "2027-01-14T13:00:00Z")];
        assert_eq!(key(Doubt::Appealed, best, &struck, 1, None), Some(4));
    }

    #[test]
    fn the_next_deadline_is_the_close_then_the_judges() {
        let window = Window {
            announce: at("2027-01-10T00:00:00Z"),
            opens: at("2027-01-12T00:00:00Z"),
            closes: at("2027-01-17T21:00:00Z"),
            grace_ends: at("2027-01-17T21:10:00Z"),
            attest_by: at("2027-01-18T21:00:00Z"),
        };
        let next = |now: &str| (Deadline::next(&window, at(now)), Deadline::next(&window, at(now)).press(at(now)));
        assert_eq!(next("2027-01-14T12:00:00Z"), (Deadline::Closes(window.closes), Press::Later));
        assert_eq!(next("2027-01-17T12:00:00Z"), (Deadline::Closes(window.closes), Press::Day));
        assert_eq!(next("2027-01-17T18:00:00Z"), (Deadline::Closes(window.closes), Press::Hours));
        assert_eq!(next("2027-01-17T21:00:00Z"), (Deadline::AttestBy(window.attest_by), Press::Day));
        assert_eq!(next("2027-01-18T21:00:00Z"), (Deadline::Over, Press::Later));
    }

    #[test]
    fn what_closes_soon_comes_first_then_what_moves_most() {
        let turn = |press, moves, bib| Turn { press, moves: Reverse(moves), workout: 0, bib, attempt: 1 };
        let mut all = [
            turn(Press::Later, 900, 1),
            turn(Press::Hours, 2, 9),
            turn(Press::Hours, 14, 5),
            turn(Press::Hours, 14, 4),
        ];
        all.sort();
        assert_eq!(all.iter().map(|t| t.bib).collect::<Vec<_>>(), [4, 5, 9, 1]);
    }
}
