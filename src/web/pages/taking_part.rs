//! `POST /desk/{c}/{gym}/{w}/{bib}/not-taking-part` and `…/taking-part`: who does not do a workout
//! is not waited for.

use super::form::Fields;
use super::score_about::{About, Place, after};
use crate::actions::{Request, withdraw};
use crate::app::App;
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};

/// `POST /desk/{c}/{gym}/{w}/{bib}/not-taking-part`.
pub async fn post_not_taking_part(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Form(fields): Form<Fields>,
) -> Answer {
    state(&app, &caller, place, &fields, true).await
}

/// `POST /desk/{c}/{gym}/{w}/{bib}/taking-part`.
pub async fn post_taking_part(
    State(app): State<App>,
    caller: Caller,
    Path(place): Path<Place>,
    Form(fields): Form<Fields>,
) -> Answer {
    state(&app, &caller, place, &fields, false).await
}

async fn state(app: &App, caller: &Caller, place: Place, fields: &Fields, out: bool) -> Answer {
    let about = About::read(app, caller, place, fields).await?;
    let request = Request::at(caller.received);
    withdraw::state_not_taking_part(app, &caller.actor, &about.path, request, out).await?;
    Ok(Redirect::to(&after(&about, fields, None, false)).into_response())
}
