//! HTTP: who is asking, what they may see, JSON and pages. Writes no SQL.
//!
//! [`router`] is the whole service. Every answer goes through the same layers, outermost first:
//! arrival (id, time, log line, metrics), nothing compressed for HTTP/1.0, answers that are there already ([`shared`]), headers, language,
//! compression, problems written out, room for what is on its way ([`sending`]), panics caught, load shed, time limit, a look at the address.
//! Who waits for an answer that another is making waits there, for a bounded time, before load is shed.
//! [`listen::serve`] hands over the peer's address; [`forwarded`] says whose word is taken about who
//! stands behind it.

pub mod api;
pub mod arrival;
pub mod assets;
pub mod extract;
pub mod forwarded;
mod headers;
mod health;
pub mod language;
mod limits;
pub mod listen;
pub mod metrics;
mod once;
pub mod pages;
pub mod problem;
pub mod sending;
pub mod session;
pub mod shared;

use crate::app::App;
use crate::words::Sentence;
use axum::Router;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::get;
use http::StatusCode;
use problem::Problem;
use tower::ServiceBuilder;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::{CompressionLayer, CompressionLevel};

/// How much is done to make an answer shorter. At the usual six a page of standings takes longer to pack than to
/// make, and comes out a twelfth shorter; what is sent as it is built in is packed once, as far as it goes.
const PACKED: CompressionLevel = CompressionLevel::Precise(3);

/// The routes of [`router`] that are neither the API's nor the pages', for the table of routes and
/// roles.
pub const ROUTES: &[(&str, &str)] =
    &[("GET", "/healthz"), ("GET", "/readyz"), ("GET", "/metrics"), ("GET", "/problems/{code}")];

/// The whole service: API, pages, health and metrics behind the common layers.
pub fn router(app: App) -> Router {
    let (api, document) = api::router().split_for_parts();
    let api = api
        .merge(api::document(&document))
        .layer(from_fn(language::data))
        .layer(from_fn(limits::acceptable))
        .layer(headers::cors());
    let routes = Router::new()
        .merge(api)
        .merge(pages::router())
        .route("/healthz", get(health::show_health))
        .route("/readyz", get(health::show_readiness))
        .route("/metrics", get(metrics::show))
        .route("/problems/{code}", get(problem::show_problem));
    behind_layers(app, routes)
}

/// Any routes behind the common layers; what they do not know is a 404 or 405 like all others.
pub fn behind_layers(app: App, routes: Router<App>) -> Router {
    metrics::start();
    let sending = sending::Sending::default();
    let layers = ServiceBuilder::new()
        .layer(from_fn_with_state(app.clone(), arrival::receive))
        .layer(from_fn(limits::plain_for_old))
        .layer(from_fn_with_state((app.clone(), shared::Answers::new(sending.clone())), shared::answer))
        .layer(from_fn_with_state(app.clone(), headers::protect))
        .layer(from_fn_with_state(app.clone(), language::choose))
        .layer(CompressionLayer::new().quality(PACKED))
        .layer(from_fn_with_state(app.clone(), problem::render))
        .layer(from_fn_with_state(sending, sending::hold))
        .layer(CatchPanicLayer::custom(limits::panicked))
        .layer(from_fn_with_state(limits::Room::default(), limits::shed))
        .layer(from_fn(limits::hurry))
        .layer(from_fn(limits::look));
    let unknown_method = || Problem::new(StatusCode::METHOD_NOT_ALLOWED, Sentence::new("no_such_method"));
    routes
        .fallback(|| async { Problem::not_found(Sentence::new("no_such_page")) })
        .method_not_allowed_fallback(move || async move { unknown_method() })
        .layer(layers)
        .with_state(app)
}
