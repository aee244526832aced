//! What was changed of a workout after it was published, and why.

use super::paths::OfWorkout;
use super::reading;
use crate::actions::changes;
use crate::actions::reader::Reader;
use crate::actions::views::ChangesView;
use crate::app::App;
use crate::web::extract::Path;
use crate::web::problem::{Answer, Problems};
use crate::web::session::Caller;
use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_changes))
}

/// What was changed of a workout, and of what holds for all, since it was announced.
#[utoipa::path(get, path = "/competitions/{competition}/workouts/{workout}/changes", tag = "competitions",
    params(OfWorkout),
    responses((status = 200, description = "Each applied file with what it changed and the organiser's reason, the newest first.", body = ChangesView), Problems))]
async fn list_changes(State(app): State<App>, caller: Caller, Path(path): Path<OfWorkout>) -> Answer {
    let reader = Reader::find(&app, &caller.actor, caller.received, &path.competition).await?;
    let view = changes::by_key(&app, &reader, &path.workout).await?;
    Ok(reading::json(&view, &caller, None))
}
