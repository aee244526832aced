//! Competitions: the list, one, and applying a file.

use super::paths::{Absent, Matching, OfCompetition, Once};
use super::reading;
use crate::actions::apply::{self, How};
use crate::actions::views::{AppliedView, CompetitionView, SummaryView};
use crate::actions::{Failure, competitions, signed_in};
use crate::app::App;
use crate::rules::competition::{from_json, from_toml};
use crate::store::aside;
use crate::web::extract::{Kind, Path, Query, SentBody};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_competitions)).routes(routes!(get_competition, apply_competition))
}

/// List competitions.
#[utoipa::path(get, path = "/competitions", tag = "competitions", responses(
    (status = 200, description = "Those that the reader may see, by slug.", body = Vec<SummaryView>), Problems))]
async fn list_competitions(State(app): State<App>, caller: Caller) -> Answer {
    let list = competitions::list(&app, &caller.actor, caller.received).await?;
    Ok(reading::json(&list, &caller, None))
}

/// One competition, with its divisions and announced workouts.
#[utoipa::path(get, path = "/competitions/{competition}", tag = "competitions", params(OfCompetition), responses(
    (status = 200, description = "The competition. Its `ETag` names the file in force, for `If-Match`.", body = CompetitionView), Problems))]
async fn get_competition(State(app): State<App>, caller: Caller, Path(path): Path<OfCompetition>) -> Answer {
    let view = competitions::read(&app, &caller.actor, caller.received, &path.competition).await?;
    let tag = format!("\"{}\"", view.etag);
    Ok(reading::json(&view, &caller, Some(&tag)))
}

/// How a file is to be applied.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct ApplyQuery {
    /// Only say what would change.
    dry_run: Option<bool>,
    /// Work stored scores out again where their meaning changes.
    rescore: Option<bool>,
    /// Why. Needed where something that is published changes (a workout after its announcement, or
    /// what holds for all workouts): everybody reads it in the list of changes on the workout's page.
    #[param(max_length = 2000)]
    reason: Option<String>,
}

/// Apply a competition file.
///
/// Creates the competition, or changes what differs and says what it changed; all or nothing. A
/// change that would alter the meaning of stored scores is 409 unless `rescore` is given; one of
/// something that is published is 422 unless a `reason` is. Every fault of the file is listed, with
/// its line for TOML.
#[utoipa::path(put, path = "/competitions/{competition}", tag = "competitions", 
    params(OfCompetition, ApplyQuery, Matching, Absent, Once),
    request_body(description = "The file, as TOML or as the same shape in JSON.",
        content((String = "application/toml"), (Object = "application/json"))),
    responses(
        (status = 200, description = "Changed, unchanged, or what a dry run would change.", body = AppliedView),
        (status = 201, description = "Created.", body = AppliedView), Problems, WriteProblems))]
async fn apply_competition(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfCompetition>,
    Query(query): Query<ApplyQuery>,
    sent: Result<SentBody, Problem>,
) -> Answer {
    signed_in(&caller.actor)?;
    apply::may(&caller.actor, &path.competition)?;
    let (body, around) = sent?.parts(&caller);
    let _turn = app.file(body.bytes.len()).await?;
    let raw = match body.kind {
        Kind::Json => aside(|| from_json(&body.bytes)).map_err(Failure::faults)?,
        Kind::Toml => {
            let text = body.text()?;
            aside(|| from_toml(text)).map_err(Failure::faults)?
        }
        Kind::Csv => return Err(super::wrong_kind("application/toml, application/json")),
    };
    let how = How {
        dry_run: query.dry_run.unwrap_or(false),
        rescore: query.rescore.unwrap_or(false),
        reason: query.reason.unwrap_or_default(),
    };
    let view = apply::apply(&app, &caller.actor, Some(&path.competition), around, raw, how).await?;
    let status = if view.created && !view.dry_run { StatusCode::CREATED } else { StatusCode::OK };
    Ok((status, axum::Json(view)).into_response())
}
