//! A judge's word for many results by one statement: at the gym's desk, and on the judge's own page.
//!
//! Each is attested by itself, on exactly the figures that the page showed: what somebody changed meanwhile is
//! left out and said. Given again, where the answer was lost, it is the same word.

use super::form::Fields;
use super::shell::words;
use crate::actions::language;
use crate::actions::views::{RemarkView, ScoreView};
use crate::actions::{Request, ScorePath, attest, lists};
use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::rules::life::{Attest, How};
use crate::rules::tag::Tag;
use crate::web::once::{self, Shown};
use crate::web::problem::Problem;
use crate::web::session::Caller;
use crate::words::put;
use axum::response::Response;

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

/// What was ticked; what no page of ours sends is no tick.
#[must_use]
pub fn ticked(fields: &Fields) -> Vec<Ticked> {
    fields.0.iter().filter_map(|(name, value)| Ticked::read(name, value)).collect()
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
    for one in ticked(fields) {
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
            Err(failure) => given.left.push(left(app, caller, competition, &one, fields, &why(&failure.into())).await),
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
        let fields =
            [("a-1042", state), ("a-1042-2", state), ("a-x", "1"), ("a-1042-x", state), ("a-7", ""), ("judge", "J-1")];
        let one = |attempt| Ticked { bib: 1042, attempt, tag: state.parse().unwrap() };
        let ticked = ticked(&Fields(fields.map(pair).into()));
        assert_eq!(ticked, [one(1), one(2)]);
        assert_eq!(ticked.iter().map(Ticked::key).collect::<Vec<_>>(), ["1042", "1042-2"]);
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
