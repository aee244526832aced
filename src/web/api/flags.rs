//! A referee's doubts: flag, withhold.

use super::forms::FlagForm;
use super::paths::{Matching, OfScore, Once};
use super::{RULES, on_score, written};
use crate::actions::views::ScoreView;
use crate::actions::{body, referee};
use crate::app::App;
use crate::web::extract::{Path, Sent};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use serde_json::Value;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(flag_score)).routes(routes!(withhold_score))
}

/// Flag a score: it keeps its place and is marked as being checked. Needs `If-Match`.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/flags", tag = "referees",
    params(OfScore, Matching, Once), request_body = FlagForm,
    responses((status = 200, description = "Flagged.", body = ScoreView), Problems, WriteProblems))]
async fn flag_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, (reason, note)) = on_score(&app, &caller, path, sent, RULES, body::decision::flag).await?;
    Ok(written(referee::flag(&app, &caller.actor, &path, around, reason, note).await?))
}

/// Withhold a score: flag it and take it off the places until a ruling. Needs `If-Match`.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/withhold", tag = "referees",
    params(OfScore, Matching, Once), request_body = FlagForm,
    responses((status = 200, description = "Withheld.", body = ScoreView), Problems, WriteProblems))]
async fn withhold_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, (reason, note)) = on_score(&app, &caller, path, sent, RULES, body::decision::flag).await?;
    Ok(written(referee::withhold(&app, &caller.actor, &path, around, reason, note).await?))
}
