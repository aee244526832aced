//! The log of a competition, for referees and organisers.

use super::paths::OfCompetition;
use crate::actions::Failure;
use crate::actions::log::{self, LogView};
use crate::app::App;
use crate::rules::fault::Fault;
use crate::web::extract::{Path, Query};
use crate::web::problem::{Answer, Problems};
use crate::web::session::Caller;
use crate::words::Sentence;
use axum::extract::State;
use axum::response::IntoResponse;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(read_log))
}

/// Which records.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct LogQuery {
    /// Records after this log position.
    #[param(value_type = i64, minimum = 0, default = 0)]
    after: u64,
}

/// Records of the log, oldest first, at most 500 at a time, and fewer where they are large.
#[utoipa::path(get, path = "/competitions/{competition}/log", tag = "organisers", params(OfCompetition, LogQuery),
    responses((status = 200, description = "Records.", body = LogView), Problems))]
async fn read_log(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfCompetition>,
    Query(query): Query<LogQuery>,
) -> Answer {
    let most = i64::MAX.unsigned_abs();
    if query.after > most {
        let sentence = Sentence::new("member_whole").with("member", "after").with("least", 0).with("most", most);
        return Err(Failure::faults(vec![Fault::new("/after", sentence)]).into());
    }
    // Until it is written out: before that each page is there more than once.
    let _turn = app.beginning().await?;
    let view = log::read(&app, &caller.actor, caller.received, &path.competition, query.after, log::PAGE).await?;
    Ok(axum::Json(view).into_response())
}
