//! Gyms of a competition.

use super::forms::{GymsForm, RosterAnswer};
use super::many::{self, ManyQuery};
use super::paths::{OfCompetition, Once};
use super::{FindQuery, reading};
use crate::actions::import::What;
use crate::actions::lists;
use crate::actions::views::{GymView, RosterWritten};
use crate::app::App;
use crate::web::extract::{Accept, Path, Query, SentBody};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_gyms, add_gyms))
}

/// List gyms.
///
/// Contacts are there for the organiser alone.
#[utoipa::path(get, path = "/competitions/{competition}/gyms", tag = "gyms", params(OfCompetition, FindQuery),
    responses((status = 200, description = "By slug.", body = Vec<GymView>), Problems))]
async fn list_gyms(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfCompetition>,
    Query(query): Query<FindQuery>,
) -> Answer {
    let list = lists::gyms(&app, &caller.actor, caller.received, &path.competition, &query.into()).await?;
    Ok(reading::json(&list, &caller, None))
}

/// Add or change gyms: one as an object, many as a list or as CSV.
#[utoipa::path(post, path = "/competitions/{competition}/gyms", tag = "gyms", params(OfCompetition, ManyQuery, Once),
    request_body(content((GymsForm = "application/json"), (String = "text/csv"))),
    responses(
        (status = 200, description = "One: changed or unchanged. Many: what became of each (with `Accept: text/csv`, the refused rows).",
            content((RosterAnswer = "application/json"), (String = "text/csv"))),
        (status = 201, description = "One, added.", body = RosterWritten), Problems, WriteProblems))]
async fn add_gyms(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfCompetition>,
    Query(query): Query<ManyQuery>,
    sent: Result<SentBody, Problem>,
) -> Answer {
    many::add(&app, &caller, &accept, &path.competition, sent, What::Gyms, query).await
}
