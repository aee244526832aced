//! JSON under `/api/v1`, one file per resource, its OpenAPI beside the handler.
//!
//! [`router`] gathers them. One `routes!` call holds the handlers of one path. What it does not
//! do: decide; each handler authenticates, parses, acts and answers.

pub mod accounts;
pub mod me;
pub mod session;
pub mod tokens;

use crate::app::App;
use axum::Router;
use axum::routing::get;
use http::header;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;

/// What the document says before the paths.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Tallywright",
        description = "Scores and standings of fitness competitions held in many gyms at once."
    ),
    components(schemas(crate::web::problem::ProblemBody, crate::web::problem::ProblemError))
)]
struct Document;

/// Every route of the API, with its documentation.
pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::with_openapi(Document::openapi())
        .nest("/api/v1", session::routes().merge(me::routes()).merge(tokens::routes()).merge(accounts::routes()))
}

/// `GET /api/openapi.json`.
pub fn document(document: utoipa::openapi::OpenApi) -> Router<App> {
    let json = serde_json::to_vec(&document).unwrap_or_default();
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "public, max-age=300")];
    Router::new().route("/api/openapi.json", get(move || async move { (headers, json.clone()) }))
}
