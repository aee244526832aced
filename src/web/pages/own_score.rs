//! `/c/{c}/athletes/{bib}/workouts/{w}`: an athlete's own score, for those who belong to no gym: the
//! same form as at a desk, of no desk.

use super::desk::saved::counts_instead;
use super::form::Fields;
use super::score::{get_score, post_score};
use super::score_about::attempt;
use super::shell::words;
use super::take_back::post_withdrawal;
use super::{appeal, history, late_said, say};
use crate::actions::views::{HistoryView, ScoreWithAttempts};
use crate::app::App;
use crate::rules::competition::Competition;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::put;
use axum::extract::State;

/// Stands for no gym; none can be called so.
pub(super) const NO_GYM: &str = "";

type Own = (String, u32, String);

/// `GET /c/{c}/athletes/{bib}/workouts/{w}`.
pub async fn get_own(app: State<App>, caller: Caller, Path((c, bib, w)): Path<Own>, query: Query<Fields>) -> Answer {
    get_score(app, caller, Path((c, NO_GYM.to_owned(), w, bib)), query).await
}

/// `POST /c/{c}/athletes/{bib}/workouts/{w}`.
pub async fn post_own(app: State<App>, caller: Caller, Path((c, bib, w)): Path<Own>, form: Form<Fields>) -> Answer {
    post_score(app, caller, Path((c, NO_GYM.to_owned(), w, bib)), form).await
}

/// `POST /c/{c}/athletes/{bib}/workouts/{w}/withdrawal`.
pub async fn post_own_withdrawal(
    app: State<App>,
    caller: Caller,
    Path((c, bib, w)): Path<Own>,
    form: Form<Fields>,
) -> Answer {
    post_withdrawal(app, caller, Path((c, NO_GYM.to_owned(), w, bib)), form).await
}

/// What is said on an athlete's page of what was just done in a workout, as it is stored now.
pub(super) fn done(
    fields: &Fields,
    (competition, workout): (&Competition, &str),
    read: Option<&ScoreWithAttempts>,
    happened: Option<&HistoryView>,
) -> Vec<String> {
    let (w, said) = (words(), |name: &str| fields.get(name) == workout);
    if said("appealed") {
        return vec![appeal::texts().sent.to_owned()];
    }
    let Some(read) = read.filter(|_| said("saved")) else { return Vec::new() };
    let score = read.attempts.iter().find(|a| Some(a.attempt) == attempt(fields)).unwrap_or(&read.score);
    let counts = counts_instead(read, score);
    let nth = (read.attempts.len() > 1).then(|| format!("{}.", put(w.attempt_n, &[("n", &score.attempt)])));
    let first = match score.state {
        "withdrawn" => w.desk_words.taken_back,
        "entered" => w.saved_waiting,
        "attested" | "flagged" | "amended" if counts.is_some() => w.saved_stored,
        "attested" | "flagged" | "amended" => w.saved_counts,
        other => say::state(other, score.refused),
    };
    let was_out = happened.filter(|_| fields.ticked("was_out")).and_then(|h| history::stated_out(h, competition));
    let out = was_out.into_iter().chain(nth).chain([first.to_owned()]).chain(counts);
    out.chain(late_said::lines(score)).collect()
}
