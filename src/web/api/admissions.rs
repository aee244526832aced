//! Letting in what came late, or not.

use super::forms::AdmissionForm;
use super::paths::{Matching, OfScore, Once};
use super::{ORGANISES, on_score, written};
use crate::actions::views::ScoreView;
use crate::actions::{admit, body};
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
    OpenApiRouter::new().routes(routes!(admit_score))
}

/// Admit or refuse a late score, correction or attestation. With `If-Match`: only as it was seen.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/admission", tag = "organisers",
    params(OfScore, Matching, Once), request_body = AdmissionForm,
    responses((status = 200, description = "Admitted, or refused.", body = ScoreView), Problems, WriteProblems))]
async fn admit_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, (admitted, reason)) =
        on_score(&app, &caller, path, sent, ORGANISES, body::decision::admission).await?;
    Ok(written(admit::admit(&app, &caller.actor, &path, around, admitted, reason).await?))
}
