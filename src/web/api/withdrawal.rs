//! Taking a score back; stating that an entry takes no part in a workout.

use super::paths::{Matching, OfScore, Once};
use super::{ENTERS, on_score, written};
use crate::actions::body::Members;
use crate::actions::views::{ScoreView, StatedView};
use crate::actions::withdraw;
use crate::app::App;
use crate::rules::fault::Fault;
use crate::web::extract::{Path, Sent};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use serde_json::Value;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(withdraw_score)).routes(routes!(state_not_taking_part, state_taking_part))
}

/// An empty object, or no body at all.
fn nothing(value: &Value) -> Result<(), Vec<Fault>> {
    Members::of(value, "").and_then(|members| members.done(()))
}

/// Take a score back: the attempt whose `etag` is in `If-Match`, which it needs.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/withdrawal", tag = "scores",
    params(OfScore, Matching, Once),
    responses((status = 200, description = "Withdrawn.", body = ScoreView), Problems, WriteProblems))]
async fn withdraw_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, ()) = on_score(&app, &caller, path, sent, ENTERS, nothing).await?;
    Ok(written(withdraw::withdraw(&app, &caller.actor, &path, around).await?))
}

/// State that an entry takes no part in a workout.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/not-taking-part", tag = "scores",
    params(OfScore, Matching, Once),
    responses((status = 200, description = "Stated, or it was so already.", body = StatedView), Problems, WriteProblems))]
async fn state_not_taking_part(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    state(&app, &caller, path, sent, true).await
}

/// Take that back.
#[utoipa::path(delete, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/not-taking-part", tag = "scores",
    params(OfScore, Matching, Once),
    responses((status = 200, description = "Taken back, or it was not stated.", body = StatedView), Problems, WriteProblems))]
async fn state_taking_part(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    state(&app, &caller, path, sent, false).await
}

async fn state(
    app: &App,
    caller: &Caller,
    path: OfScore,
    sent: Result<Sent<Value>, Problem>,
    not_taking_part: bool,
) -> Answer {
    let (path, around, ()) = on_score(app, caller, path, sent, ENTERS, nothing).await?;
    let view = withdraw::state_not_taking_part(app, &caller.actor, &path, around, not_taking_part).await?;
    Ok(axum::Json(view).into_response())
}
