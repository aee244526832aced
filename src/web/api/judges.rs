//! Judges of a competition.

use super::forms::{JudgesForm, RosterAnswer};
use super::many::{self, ManyQuery};
use super::paths::{OfCompetition, Once};
use super::{FindQuery, reading};
use crate::actions::import::What;
use crate::actions::lists;
use crate::actions::views::{JudgeView, RosterWritten};
use crate::app::App;
use crate::web::extract::{Accept, Path, Query, SentBody};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_judges, add_judges))
}

/// List judges.
///
/// For those with a role in the competition; names for its organiser, referees and staff.
#[utoipa::path(get, path = "/competitions/{competition}/judges", tag = "judges", params(OfCompetition, FindQuery),
    responses((status = 200, description = "By code.", body = Vec<JudgeView>), Problems))]
async fn list_judges(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfCompetition>,
    Query(query): Query<FindQuery>,
) -> Answer {
    let list = lists::judges(&app, &caller.actor, caller.received, &path.competition, &query.into()).await?;
    Ok(reading::json(&list, &caller, None))
}

/// Add or change judges: one as an object, many as a list or as CSV.
#[utoipa::path(post, path = "/competitions/{competition}/judges", tag = "judges", params(OfCompetition, ManyQuery, Once),
    request_body(content((JudgesForm = "application/json"), (String = "text/csv"))),
    responses(
        (status = 200, description = "One: changed or unchanged. Many: what became of each (with `Accept: text/csv`, the refused rows).",
            content((RosterAnswer = "application/json"), (String = "text/csv"))),
        (status = 201, description = "One, added.", body = RosterWritten), Problems, WriteProblems))]
async fn add_judges(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfCompetition>,
    Query(query): Query<ManyQuery>,
    sent: Result<SentBody, Problem>,
) -> Answer {
    many::add(&app, &caller, &accept, &path.competition, sent, What::Judges, query).await
}
