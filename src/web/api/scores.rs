//! Scores: storing one or many, reading one, its history, working lists.

use super::forms::{ScoreForm, ScoreRowForm};
use super::many::{self, ManyQuery, OneOrMany};
use super::paths::{Absent, Matching, OfScore, OfWorkout, Once};
use super::{ENTERS, on_score, reading, written};
use crate::actions::import::{self, ImportView, Rows, What};
use crate::actions::score::{self, DeskQuery};
use crate::actions::views::{CheckView, DeskView, HistoryView, ScoreView, ScoreWithAttempts};
use crate::actions::{body, signed_in, submit};
use crate::app::App;
use crate::web::extract::{Accept, Path, Query, Sent, SentBody};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::HeaderMap;
use serde::Deserialize;
use serde_json::Value;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list_scores, add_scores))
        .routes(routes!(get_score, put_score))
        .routes(routes!(check_score))
        .routes(routes!(get_history))
}

/// One score: the attempt that counts, else the latest, with all attempts.
///
/// Its `ETag` names the state of that attempt.
#[utoipa::path(get, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}", tag = "scores", params(OfScore),
    responses((status = 200, description = "The score.", body = ScoreWithAttempts),
        (status = 304, description = "As you have it."), Problems))]
async fn get_score(State(app): State<App>, caller: Caller, Path(path): Path<OfScore>, headers: HeaderMap) -> Answer {
    let view = score::read(&app, &caller.actor, caller.received, &path.into()).await?;
    let tag = format!("\"{}\"", view.score.etag);
    // Another attempt may have changed since: then the answer differs though the tag does not.
    let whole = view.attempts.iter().all(|a| a.changed_at <= view.score.changed_at);
    if whole && reading::has(&headers, &tag) {
        return Ok(reading::unchanged(&caller, &tag));
    }
    Ok(reading::json(&view, &caller, Some(&tag)))
}

/// Store a score: a first one, a new attempt, other figures, or only other details.
///
/// Other figures, other details and another judge for the same figures need `If-Match` with the score's
/// `etag`. The same again changes nothing. What comes after the deadline is stored as `late`, without a place, until
/// an organiser admits it.
#[utoipa::path(put, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}", tag = "scores",
    params(OfScore, Matching, Absent, Once),
    request_body = ScoreForm,
    responses((status = 201, description = "Stored: there was none of this attempt.", body = ScoreView),
        (status = 200, description = "Revised, or unchanged.", body = ScoreView), Problems, WriteProblems))]
async fn put_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, read) = on_score(&app, &caller, path, sent, ENTERS, body::score::submit).await?;
    let sent = score::whole(&app, &caller.actor, around.received, &path, ENTERS, read).await?;
    Ok(written(submit::submit(&app, &caller.actor, &path, around, sent).await?))
}

/// Check a score without storing it: what it reads as, what is wrong with it, what would be asked,
/// and which place it would have.
///
/// For those who may enter it. Preconditions are not looked at, and nothing is remembered.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/check", tag = "scores", params(OfScore),
    request_body = ScoreForm,
    responses((status = 200, description = "What storing it would do.", body = CheckView), Problems, WriteProblems))]
async fn check_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, read) = on_score(&app, &caller, path, sent, ENTERS, body::score::submit).await?;
    let sent = score::whole(&app, &caller.actor, around.received, &path, ENTERS, read).await?;
    let view = score::check(&app, &caller.actor, &path, around.received, sent).await?;
    Ok(axum::Json(view).into_response())
}

/// All that happened to a score, oldest first.
#[utoipa::path(get, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/history", tag = "scores", params(OfScore),
    responses((status = 200, description = "Revisions, attestations, flags, rulings.", body = HistoryView), Problems))]
async fn get_history(State(app): State<App>, caller: Caller, Path(path): Path<OfScore>) -> Answer {
    let view = score::history(&app, &caller.actor, caller.received, &path.into()).await?;
    Ok(reading::json(&view, &caller, None))
}

/// Which lines of a working list.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct ListQuery {
    /// Entries of this gym, and visitors who did it there; left out: all, for referees and organisers.
    gym: Option<String>,
    /// A score's state, `missing`, `not_taking_part` or `guest`.
    state: Option<String>,
}

/// The working list of a workout: who has a score and how far it is, who is missing.
#[utoipa::path(get, path = "/competitions/{competition}/workouts/{workout}/scores", tag = "scores", params(OfWorkout, ListQuery),
    responses((status = 200, description = "By bib.", body = DeskView), Problems))]
async fn list_scores(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfWorkout>,
    Query(query): Query<ListQuery>,
) -> Answer {
    let query = DeskQuery { gym: query.gym, state: query.state };
    let view = score::desk(&app, &caller.actor, caller.received, &path.competition, &path.workout, query).await?;
    Ok(axum::Json(view).into_response())
}

/// Store many scores: a list, or CSV.
///
/// Each row is taken, unchanged or refused by itself; sending the same rows twice changes nothing.
/// With `Accept: text/csv` the refused rows come back, to be mended and sent again.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores", tag = "scores", params(OfWorkout, ManyQuery, Once),
    request_body(content((Vec<ScoreRowForm> = "application/json"), (String = "text/csv"))),
    responses((status = 200, description = "What became of each row.",
        content((ImportView = "application/json"), (String = "text/csv"))), Problems, WriteProblems))]
async fn add_scores(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfWorkout>,
    Query(query): Query<ManyQuery>,
    sent: Result<SentBody, Problem>,
) -> Answer {
    signed_in(&caller.actor)?;
    let (sent, around) = sent?.parts(&caller);
    let what = What::Scores { workout: Some(path.workout) };
    import::may(&app, &caller.actor, &path.competition, &around, &what).await?;
    let rows = match OneOrMany::of(&sent)? {
        OneOrMany::Many(rows) => rows,
        OneOrMany::One(_) => Rows::Json(sent.bytes.to_vec()),
    };
    many::take(&app, &caller, &accept, &path.competition, around, (what, rows), query).await
}
