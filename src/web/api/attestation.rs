//! Vouching for a score.

use super::forms::AttestationForm;
use super::paths::{Matching, OfScore, Once};
use super::{ATTESTS, on_score, written};
use crate::actions::views::ScoreView;
use crate::actions::{attest, body};
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
    OpenApiRouter::new().routes(routes!(attest_score))
}

/// Attest a score: a judge vouches for exactly these figures.
///
/// Needs `If-Match`. Nobody attests their own performance.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/attestation", tag = "scores",
    params(OfScore, Matching, Once), request_body = AttestationForm,
    responses((status = 200, description = "Attested, or it was so already.", body = ScoreView), Problems, WriteProblems))]
async fn attest_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, sent) = on_score(&app, &caller, path, sent, ATTESTS, body::score::attest).await?;
    Ok(written(attest::attest(&app, &caller.actor, &path, around, sent).await?))
}
