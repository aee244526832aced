//! `POST /desk/{c}/{gym}/{w}/{bib}/withdrawal`: a score is taken back, in the state that its page showed.

use super::form::Fields;
use super::score::refused;
use super::score_about::{About, Place, after, attempt};
use super::shell::words;
use crate::actions::language;
use crate::actions::{Failure, Request, withdraw};
use crate::app::App;
use crate::rules::ledger::{Precondition, Refusal};
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

/// `POST /desk/{c}/{gym}/{w}/{bib}/withdrawal`.
pub async fn post_withdrawal(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Form(fields): Form<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, place.clone(), &fields).await?;
    let seen = Precondition::of_field(fields.get("etag")).unwrap_or(Precondition::Absent);
    let request = Request::at(caller.received).having_seen(seen);
    match withdraw::withdraw(&app, &caller.actor, &about.path, request).await {
        Ok(done) => Ok(Redirect::to(&after(&about, &fields, Some(done.score.attempt), false)).into_response()),
        Err(
            Failure::Stale { .. }
            | Failure::Refused(Refusal::PreconditionFailed(_) | Refusal::PreconditionRequired(..)),
        ) => {
            // A second tap: of several attempts no state says which was meant, but the form does.
            let about = About::read(&app, &caller, place, &fields).await?;
            let this = about.now.as_ref().filter(|now| Some(now.attempt) == attempt(&fields));
            if this.is_some_and(|now| now.state == "withdrawn") {
                return Ok(Redirect::to(&after(&about, &fields, attempt(&fields), false)).into_response());
            }
            let why = words().desk_words.take_back_changed.to_owned();
            refused(&app, &caller, &about, &fields, StatusCode::PRECONDITION_FAILED, why).await
        }
        Err(Failure::Refused(Refusal::Conflict(sentence, _))) => {
            refused(&app, &caller, &about, &fields, StatusCode::CONFLICT, language::say(&sentence)).await
        }
        Err(other) => Err(other.into()),
    }
}
