//! What every request goes through, as functions around one another.
//!
//! Each takes the request and what comes after it, and gives the answer. Stacked as services each would keep a copy of
//! all that lie within, made anew for every request, and a box of its own; so they are one service.

use super::problem::{self, Problem};
use super::sending::{self, Sending};
use super::shared::{self, Answers};
use super::{arrival, headers, language, limits, packing};
use crate::app::App;
use crate::words::Sentence;
use axum::Router;
use axum::extract::Request;
use axum::middleware::{Next, from_fn};
use axum::response::Response;
use http::StatusCode;
use limits::Room;
use std::sync::Arc;

/// What the layers keep between requests.
struct Layers {
    app: App,
    answers: Answers,
    sending: Sending,
    room: Room,
}

/// Any routes behind the common layers; what they do not know is a 404 or 405 like all others.
pub fn behind_layers(app: App, routes: Router<App>) -> Router {
    super::metrics::start();
    let sending = Sending::default();
    let answers = Answers::new(sending.clone());
    let layers = Arc::new(Layers { app: app.clone(), answers, sending, room: Room::default() });
    let layer = from_fn(move |request: Request, next: Next| {
        let layers = Arc::clone(&layers);
        async move { layers.answer(request, next).await }
    });
    let unknown_method = || Problem::new(StatusCode::METHOD_NOT_ALLOWED, Sentence::new("no_such_method"));
    routes
        .fallback(|| async { Problem::not_found(Sentence::new("no_such_page")) })
        .method_not_allowed_fallback(move || async move { unknown_method() })
        .layer(layer)
        .with_state(app)
}

impl Layers {
    /// The outermost first.
    async fn answer(&self, request: Request, next: Next) -> Response {
        let Self { app, answers, sending, room } = self;
        let look = |request| limits::look(request, |request| next.run(request));
        let hurry = |request| limits::hurry(request, look);
        let shed = |request| limits::shed(room, request, hurry);
        let catch = |request| limits::catch(request, shed);
        let hold = |request| sending::hold(sending, request, catch);
        let render = |request| problem::render(app, request, hold);
        let pack = |request| packing::pack(request, render);
        let choose = |request| language::choose(app, request, pack);
        // Put aside: where an answer is there already none of it is needed.
        let protect = |request| Box::pin(headers::protect(app, request, choose));
        let answer = |request| shared::answer(app, answers, limits::plain_for_old(request), protect);
        arrival::receive(app, request, answer).await
    }
}
