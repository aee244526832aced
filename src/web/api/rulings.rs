//! Rulings: deciding one, and all of a competition.

use super::forms::RulingForm;
use super::paths::{Matching, OfCompetition, OfScore, Once};
use super::{RULES, on_score, reading, written};
use crate::actions::body::decision::Ruled;
use crate::actions::views::{RulingsView, ScoreView};
use crate::actions::{body, referee, score};
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
    OpenApiRouter::new().routes(routes!(rule_on_score)).routes(routes!(list_rulings))
}

/// Rule on a score: on a flag, of one's own accord, or with `on_appeal` on an appeal.
///
/// Needs `If-Match`. Nobody rules on their own score, or on an entry of a gym they belong to.
#[utoipa::path(post, path = "/competitions/{competition}/workouts/{workout}/scores/{bib}/ruling", tag = "referees",
    params(OfScore, Matching, Once), request_body = RulingForm,
    responses((status = 200, description = "Ruled.", body = ScoreView), Problems, WriteProblems))]
async fn rule_on_score(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfScore>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    let (path, around, Ruled { decision, reason, on_appeal }) =
        on_score(&app, &caller, path, sent, RULES, body::decision::rule).await?;
    Ok(written(referee::rule(&app, &caller.actor, &path, around, decision, reason, on_appeal).await?))
}

/// All rulings of a competition, newest first.
#[utoipa::path(get, path = "/competitions/{competition}/rulings", tag = "referees", params(OfCompetition),
    responses((status = 200, description = "With their public reasons.", body = RulingsView), Problems))]
async fn list_rulings(State(app): State<App>, caller: Caller, Path(path): Path<OfCompetition>) -> Answer {
    let view = score::rulings(&app, &caller.actor, caller.received, &path.competition).await?;
    Ok(reading::json(&view, &caller, None))
}
