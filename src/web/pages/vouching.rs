//! A judge's word for many results by one statement: at the gym's desk, and on the judge's own page.
//!
//! Each is attested by itself, on exactly the figures that the page showed: what somebody changed meanwhile is
//! left out and said. Given again, where the answer was lost, it is the same word.

use super::form::Fields;
use super::shell::words;
use crate::actions::language;
use crate::actions::views::{RemarkView, ScoreView};
use crate::actions::{Failure, Request, ScorePath, attest, lists};
use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::rules::life::{Attest, How};
use crate::rules::tag::Tag;
use crate::web::once::{self, Shown};
use crate::web::problem::Problem;
use crate::web::session::Caller;
use crate::words::put;
use axum::response::Response;
use std::collections::BTreeSet;

/// What is shown once: for how many the word was given.
const VOUCHED: &str = "vouched";

/// What an attempt is called in the names of fields: `1042` the first, `1042-2` the second.
#[must_use]
pub fn key(bib: u32, attempt: u32) -> String {
    if attempt > 1 { format!("{bib}-{attempt}") } else { bib.to_string() }
}

/// A result that was ticked, in the state that the page showed: a field `a-1042` or `a-1042-2`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ticked {
    /// Whose.
    pub bib: u32,
    /// Which attempt.
    pub attempt: u32,
    /// The state.
    pub tag: Tag,
}

impl Ticked {
    fn read(name: &str, tag: &str) -> Option<Self> {
        let key = name.strip_prefix("a-")?;
        let (bib, attempt) = key.split_once('-').unwrap_or((key, "1"));
        Some(Self { bib: bib.parse().ok()?, attempt: attempt.parse().ok()?, tag: tag.parse().ok()? })
    }

    /// What it is called in the names of fields.
    #[must_use]
    pub fn key(&self) -> String {
        key(self.bib, self.attempt)
    }

    /// The number of its sheet, where one was typed.
    fn sheet(&self, fields: &Fields) -> Option<String> {
        fields.find(&format!("s-{}", self.key()))
    }
}

/// What was ticked, each once; what no page of ours sends is no tick.
#[must_use]
pub fn ticked(fields: &Fields) -> Vec<Ticked> {
    let mut known = BTreeSet::new();
    let all = fields.0.iter().filter_map(|(name, value)| Ticked::read(name, value));
    all.filter(|one| known.insert((one.bib, one.attempt))).collect()
}

/// What became of it.
#[derive(Debug, Default)]
pub struct Given {
    /// For so many the word is given.
    pub done: u32,
    /// What is to be known of those.
    remarks: Vec<String>,
    /// So many of them came too late, and wait for the organiser.
    late: u32,
    /// Of whom nothing was stored, and why.
    pub left: Vec<String>,
    /// Nothing goes on: what was not sent any more is still ticked.
    pub stopped: Option<Stopped>,
}

/// Why nothing goes on, and how many were not sent any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stopped {
    /// Nothing can be stored at the moment.
    Waits(u32),
    /// Of the one before those it cannot be told whether it is stored.
    Unknown(u32),
}

/// What a word is that was not answered.
#[derive(Debug)]
enum Unanswered {
    /// It is stored.
    Stored,
    /// It is not, and neither would be the next.
    Waits,
    /// Nobody can tell.
    Unknown,
    /// It is not given, for a reason of its own.
    Left(Box<Problem>),
}

impl From<Failure> for Unanswered {
    fn from(failure: Failure) -> Self {
        match failure {
            Failure::Stored => Self::Stored,
            Failure::Busy | Failure::Unavailable => Self::Waits,
            Failure::OutcomeUnknown => Self::Unknown,
            other => Self::Left(Box::new(other.into())),
        }
    }
}

/// Gives the word of a judge, as this account, for each that is ticked.
pub async fn give(
    app: &App,
    caller: &Caller,
    (competition, workout): (&str, &str),
    (judge, how): (&str, How),
    fields: &Fields,
) -> Given {
    let mut given = Given::default();
    let all = ticked(fields);
    let mut rest = u32::try_from(all.len()).unwrap_or(u32::MAX);
    for one in all {
        rest = rest.saturating_sub(1);
        let path = ScorePath { competition: competition.to_owned(), workout: workout.to_owned(), bib: one.bib };
        let request = Request::at(caller.received).having_seen(Precondition::Match(vec![one.tag]));
        let sent = Attest { judge: judge.to_owned(), how, sheet: one.sheet(fields), attempt: Some(one.attempt) };
        match attest::attest(app, &caller.actor, &path, request, sent).await {
            Ok(written) => {
                given.done += 1;
                given.late += u32::from(is_late(&written.score, judge));
                for remark in written.score.warnings.iter().filter(|remark| remark.code != LATE) {
                    given.remarks.push(of(app, caller, competition, &one, &remark.message).await);
                }
            }
            Err(failure) => match Unanswered::from(failure) {
                Unanswered::Stored => given.done += 1,
                Unanswered::Waits => given.stopped = Some(Stopped::Waits(rest.saturating_add(1))),
                Unanswered::Unknown => given.stopped = Some(Stopped::Unknown(rest)),
                Unanswered::Left(problem) => {
                    given.left.push(left(app, caller, competition, &one, fields, &why(&problem)).await);
                }
            },
        }
        if given.stopped.is_some() {
            break;
        }
    }
    given
}

/// The remark that says of one what is counted here.
const LATE: &str = "attested_late";

/// Whether the word of this judge waits for the organiser: also of one that was given before.
fn is_late(score: &ScoreView, judge: &str) -> bool {
    let late = |RemarkView { code, .. }: &RemarkView| code == LATE;
    score.waiting_attestation.as_ref().is_some_and(|word| word.judge == judge) || score.warnings.iter().any(late)
}

impl Given {
    /// What is said of those for whom the word is given, beside their number.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let late = (self.late > 0).then(|| put(words().desk_words.vouch_late, &[("n", &self.late)]));
        late.into_iter().chain(self.remarks.iter().cloned()).collect()
    }

    /// Whether it is given for all that was ticked.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.left.is_empty() && self.stopped.is_none()
    }

    /// What is said where it is not: `left` says of how many alone nothing is stored.
    #[must_use]
    pub fn lines_left(self, left: &str) -> Vec<String> {
        let w = words().desk_words;
        let first = match self.stopped {
            None => put(left, &[("n", &self.left.len())]),
            Some(Stopped::Waits(n)) => put(w.vouch_waits, &[("n", &n)]),
            Some(Stopped::Unknown(n)) => put(w.vouch_unknown, &[("n", &n)]),
        };
        self.lines().into_iter().chain([first]).chain(self.left).collect()
    }

    /// Leads on to the page `to`, which says it once.
    #[must_use]
    pub fn lead(&self, app: &App, caller: &Caller, to: &str, tail: &str) -> Response {
        let lines = self.lines().into_iter().map(|line| (line, String::new())).collect();
        let shown =
            Shown { done: VOUCHED.to_owned(), told: self.done.to_string(), left_out: lines, ..Shown::default() };
        once::lead_with(app, caller, to, tail, "#saved", shown)
    }
}

/// For how many the word was just given, and what is said of them.
#[must_use]
pub fn said_once(shown: &Shown) -> Option<(u32, Vec<String>)> {
    let done = shown.told.parse().ok().filter(|_| shown.done == VOUCHED)?;
    let lines = shown.left_out.iter().map(|(line, _)| line.clone());
    let more = (shown.more > 0).then(|| put(words().desk_words.vouch_more, &[("n", &shown.more)]));
    Some((done, lines.chain(more).collect()))
}

/// Of whom nothing was stored, why, and the number of the sheet that was typed.
pub async fn left(app: &App, caller: &Caller, competition: &str, one: &Ticked, fields: &Fields, why: &str) -> String {
    let said = of(app, caller, competition, one, why).await;
    match one.sheet(fields) {
        Some(sheet) => format!("{said} {}", put(words().desk_words.vouch_sheet, &[("sheet", &sheet)])),
        None => said,
    }
}

/// A sentence, and of whom it is.
async fn of(app: &App, caller: &Caller, competition: &str, one: &Ticked, said: &str) -> String {
    let entry = lists::entry(app, &caller.actor, caller.received, competition, one.bib).await;
    let name = entry.map_or(String::new(), |e| e.name);
    let bib = match one.attempt {
        1 => one.bib.to_string(),
        n => format!("{}, {}", one.bib, put(words().attempt_n, &[("n", &n)])),
    };
    put(words().desk_words.vouch_one, &[("name", &name), ("bib", &bib), ("why", &said)])
}

/// A problem in words, with all that is to be mended.
fn why(problem: &Problem) -> String {
    let errors: Vec<String> = problem.errors.iter().map(|e| language::say(&e.sentence)).collect();
    match (errors.is_empty(), &*problem.sentence.code) {
        (false, _) => errors.join(" "),
        // Of tags, which programs send, people know nothing.
        (true, "precondition_failed") => words().desk_words.vouch_changed.to_owned(),
        (true, _) => language::say(&problem.sentence),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_attempts_with_a_state_are_ticked() {
        let state = "88-0a0b0c0d0e0f";
        let pair = |(n, v): (&str, &str)| (n.to_owned(), v.to_owned());
        let fields = [
            ("a-1042", state),
            ("a-1042-2", state),
            ("a-1042-2", state),
            ("a-x", "1"),
            ("a-1042-x", state),
            ("a-7", ""),
            ("judge", "J-1"),
        ];
        let one = |attempt| Ticked { bib: 1042, attempt, tag: state.parse().unwrap() };
        let ticked = ticked(&Fields(fields.map(pair).into()));
        assert_eq!(ticked, [one(1), one(2)]);
        assert_eq!(ticked.iter().map(Ticked::key).collect::<Vec<_>>(), ["1042", "1042-2"]);
    }

    #[test]
    fn what_is_stored_is_done_and_what_would_fail_for_all_is_no_fault_of_one() {
        let of = Unanswered::from;
        assert!(matches!(of(Failure::Stored), Unanswered::Stored));
        assert!(
            matches!(of(Failure::Busy), Unanswered::Waits) && matches!(of(Failure::Unavailable), Unanswered::Waits)
        );
        assert!(matches!(of(Failure::OutcomeUnknown), Unanswered::Unknown));
        let refused = Failure::not_found(crate::words::Sentence::new("no_entry").with("bib", 7));
        assert!(matches!(of(refused), Unanswered::Left(problem) if problem.status == 404));
    }

    #[test]
    fn where_nothing_goes_on_it_is_said_once_before_what_was_left_out() {
        let said = |stopped| {
            let left = vec!["Ines (7): why".to_owned()];
            Given { done: 2, late: 1, left, stopped, ..Given::default() }.lines_left("Not given: {n}. Others are.")
        };
        let late = "Came too late, and waits for the organiser: 1.";
        assert_eq!(said(None), [late, "Not given: 1. Others are.", "Ines (7): why"]);
        let waits = said(Some(Stopped::Waits(3)));
        assert!(waits.len() == 3 && waits[1].starts_with("Not stored yet: 3."), "{waits:?}");
        let unknown = said(Some(Stopped::Unknown(3)));
        assert!(
            unknown.len() == 3 && unknown[1].contains("cannot be told") && unknown[1].contains(": 3."),
            "{unknown:?}"
        );
        assert!(
            Given::default().is_whole() && !Given { stopped: Some(Stopped::Waits(1)), ..Given::default() }.is_whole()
        );
    }

    #[test]
    fn what_was_said_once_is_said_with_what_did_not_fit() {
        let shown = |done: &str, told: &str| Shown { done: done.to_owned(), told: told.to_owned(), ..Shown::default() };
        assert_eq!(said_once(&shown(VOUCHED, "2")), Some((2, Vec::new())));
        assert_eq!(said_once(&shown("link", "2")), None);
        assert_eq!(said_once(&shown(VOUCHED, "two")), None);
        let left_out = vec![("Ines (7): why".to_owned(), String::new())];
        let many = Shown { left_out, more: 3, ..shown(VOUCHED, "9") };
        let lines = ["Ines (7): why", "3 more remarks do not fit here."].map(str::to_owned);
        assert_eq!(said_once(&many), Some((9, lines.into())));
    }
}
