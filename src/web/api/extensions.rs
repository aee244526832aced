//! Later windows for one gym or region.

use super::forms::ExtensionForm;
use super::paths::{OfWorkout, Once};
use crate::actions::views::ExtensionView;
use crate::actions::{Failure, body, extend, roster, signed_in};
use crate::app::App;
use crate::web::extract::{Path, Sent};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use serde_json::Value;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(extend_workout))
}

/// Extend a workout's windows for one gym or one region, with a reason.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/extensions", tag = "organisers",
    params(OfWorkout, Once), request_body = ExtensionForm,
    responses((status = 201, description = "Extended.", body = ExtensionView), Problems, WriteProblems))]
async fn extend_workout(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfWorkout>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    signed_in(&caller.actor)?;
    let (value, around) = sent?.parts(&caller);
    roster::may(&app, &caller.actor, &path.competition, &around).await?;
    let (extension, reason) = body::roster::extension(&path.workout, &value).map_err(Failure::faults)?;
    let view = extend::extend(&app, &caller.actor, &path.competition, around, extension, reason).await?;
    Ok((StatusCode::CREATED, axum::Json(view)).into_response())
}
