//! Appeals against rulings.

use super::forms::ReasonForm;
use super::paths::{Matching, OfScore, Once};
use super::{ENTERS, on_score, written};
use crate::actions::views::ScoreView;
use crate::actions::{appeal, body};
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
    OpenApiRouter::new().routes(routes!(appeal_ruling))
}

/// Appeal the last ruling on a score: once, within 48 hours. Needs `If-Match`.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/appeal", tag = "scores",
    params(OfScore, Matching, Once), request_body = ReasonForm,
    responses((status = 200, description = "Appealed; state and place stay.", body = ScoreView), Problems, WriteProblems))]
async fn appeal_ruling(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, reason) = on_score(&app, &caller, path, sent, ENTERS, body::decision::appeal).await?;
    Ok(written(appeal::appeal(&app, &caller.actor, &path, around, reason).await?))
}
