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
mod layers;
mod limits;
pub mod listen;
pub mod metrics;
mod once;
mod packing;
pub mod pages;
pub mod problem;
pub mod sending;
pub mod session;
pub mod shared;

use crate::app::App;
use axum::Router;
use axum::extract::Request;
use axum::middleware::{Next, from_fn};
use axum::response::Response;
use axum::routing::get;
pub use layers::behind_layers;
use problem::Problem;

/// The routes of [`router`] that are neither the API's nor the pages', for the table of routes and
/// roles.
pub const ROUTES: &[(&str, &str)] =
    &[("GET", "/healthz"), ("GET", "/readyz"), ("GET", "/metrics"), ("GET", "/problems/{code}")];

/// The whole service: API, pages, health and metrics behind the common layers.
pub fn router(app: App) -> Router {
    let (api, document) = api::router().split_for_parts();
    let api = api.merge(api::document(&document)).layer(from_fn(of_api)).layer(headers::cors());
    let routes = Router::new()
        .merge(api)
        .merge(pages::router())
        .route("/healthz", get(health::show_health))
        .route("/readyz", get(health::show_readiness))
        .route("/metrics", get(metrics::show))
        .route("/problems/{code}", get(problem::show_problem));
    behind_layers(app, routes)
}

/// What is around the API alone.
async fn of_api(request: Request, next: Next) -> Result<Response, Problem> {
    limits::acceptable(&request)?;
    Ok(language::data(request, next).await)
}
