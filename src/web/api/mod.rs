//! JSON under `/api/v1`, one file per resource, its `OpenAPI` beside the handler.
//!
//! [`router`] gathers them. One `routes!` call holds the handlers of one path. What it does not
//! do: decide; each handler authenticates, parses, acts and answers.

pub mod accounts;
pub mod admissions;
pub mod appeals;
pub mod attestation;
pub mod changes;
pub mod claims;
pub mod competitions;
pub mod entries;
pub mod extensions;
pub mod flags;
pub mod forms;
pub mod gyms;
pub mod judges;
pub mod log;
mod many;
pub mod me;
pub mod paths;
pub mod places;
pub mod proposals;
pub(super) mod reading;
pub mod rulings;
pub mod scores;
pub mod session;
pub mod standings;
pub mod tokens;
mod whole;
pub mod withdrawal;

pub(in crate::web) use many::MOST_ROWS;
pub(in crate::web) use reading::csv as csv_file;

use crate::actions::lists::Find;
use crate::actions::views::{RosterWritten, Written};
use crate::actions::{Failure, Request, ScorePath, signed_in};
use crate::app::App;
use crate::rules::access::Role;
use crate::rules::fault::Fault;
use crate::web::extract::Sent;
use crate::web::problem::Problem;
use crate::web::sending::BuiltIn;
use crate::web::session::Caller;
use crate::words::Sentence;
use axum::body::Bytes;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Extension, Router};
use http::{StatusCode, header};
use paths::OfScore;
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;
use utoipa::openapi::security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{IntoParams, Modify, OpenApi};
use utoipa_axum::router::OpenApiRouter;

/// What the document says before the paths.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Tallywright",
        description = "Scores and standings of fitness competitions held in many gyms at once. Problems are RFC 9457 documents; their `type` is the address of a page, and `x-problem-types` of the components lists every `code` with its sentence. Problems, and remarks on what is sent, are said in the language of `Accept-Language` where it is one of the service's; what is read is the same in every language."
    ),
    components(schemas(crate::web::problem::ProblemBody, crate::web::problem::ProblemError)),
    modifiers(&WaysIn, &ProblemKinds),
    security((), ("token" = []), ("cookie" = []))
)]
struct Document;

/// How callers show who they are: not at all, by a token, by a session's cookie.
struct WaysIn;

impl Modify for WaysIn {
    fn modify(&self, document: &mut utoipa::openapi::OpenApi) {
        let token =
            HttpBuilder::new().scheme(HttpAuthScheme::Bearer).description(Some("From `POST /me/tokens`.")).build();
        let cookie = ApiKeyValue::with_description(
            "__Host-sid",
            "From `POST /session`; `sid` where the service is not on https. A change needs an `Origin` of this service too, as browsers send it: programs use a token.",
        );
        let components = document.components.get_or_insert_default();
        components.add_security_scheme("token", SecurityScheme::Http(token));
        components.add_security_scheme("cookie", SecurityScheme::ApiKey(ApiKey::Cookie(cookie)));
    }
}

/// Every kind of problem and fault that an answer may name as its `code`, with its sentence: as
/// `x-problem-types` of the components. Each kind is also a page at `/problems/{code}`.
struct ProblemKinds;

impl Modify for ProblemKinds {
    fn modify(&self, document: &mut utoipa::openapi::OpenApi) {
        let kinds: BTreeMap<&str, &str> =
            crate::words::en::AREAS.iter().flat_map(|area| area.iter().copied()).collect();
        let components = document.components.get_or_insert_default();
        let extensions = components.extensions.get_or_insert_default();
        extensions.insert("x-problem-types".to_owned(), serde_json::json!(kinds));
    }
}

/// Every route of the API, with its documentation.
#[must_use]
pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::with_openapi(Document::openapi())
        .nest(
            "/api/v1",
            session::routes()
                .merge(me::routes())
                .merge(tokens::routes())
                .merge(accounts::routes())
                .merge(claims::routes()),
        )
        .nest("/api/v1", of_competitions())
}

/// Everything below a competition.
fn of_competitions() -> OpenApiRouter<App> {
    competitions::routes()
        .merge(gyms::routes())
        .merge(entries::routes())
        .merge(judges::routes())
        .merge(proposals::routes())
        .merge(scores::routes())
        .merge(attestation::routes())
        .merge(withdrawal::routes())
        .merge(flags::routes())
        .merge(rulings::routes())
        .merge(appeals::routes())
        .merge(admissions::routes())
        .merge(extensions::routes())
        .merge(changes::routes())
        .merge(standings::routes())
        .merge(places::routes())
        .merge(log::routes())
}

/// Which gyms, entries or judges.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct FindQuery {
    /// Of this gym.
    gym: Option<String>,
    /// Of entries the beginning of a shown name or of one of its words, without regard to case and
    /// accents, or a bib; of gyms and judges a part of the name, slug or code.
    q: Option<String>,
}

impl From<FindQuery> for Find {
    fn from(query: FindQuery) -> Self {
        Self { gym: query.gym, q: query.q }
    }
}

/// What a move on a score is sent with: which score, what surrounds it, and what its body reads as. 401
/// for nobody; what is wrong with a body is told only to those who may make such a move: permission
/// comes before rules.
async fn on_score<T>(
    app: &App,
    caller: &Caller,
    path: OfScore,
    sent: Result<Sent<Value>, Problem>,
    roles: &[Role],
    read: impl FnOnce(&Value) -> Result<T, Vec<Fault>>,
) -> Result<(ScorePath, Request, T), Problem> {
    signed_in(&caller.actor)?;
    let (value, around) = sent?.parts(caller);
    let path = path.into();
    match read(&value) {
        Ok(value) => Ok((path, around, value)),
        Err(faults) => {
            crate::actions::score::may(app, &caller.actor, caller.received, &path, roles).await?;
            Err(Failure::faults(faults).into())
        }
    }
}

/// Whose moves are what: see [`on_score`].
const ENTERS: &[Role] = &[Role::Staff, Role::Athlete];
const ATTESTS: &[Role] = &[Role::Judge, Role::Staff];
const RULES: &[Role] = &[Role::Referee, Role::Organiser];
const ORGANISES: &[Role] = &[Role::Organiser];

/// The answer to a write of a score: 201 for a new attempt, else 200. The new tag stands in the
/// body alone: an `ETag` header would be that of a representation that was not sent.
fn written(written: Written) -> Response {
    let status = if written.created { StatusCode::CREATED } else { StatusCode::OK };
    (status, axum::Json(written.score)).into_response()
}

/// The answer to adding one gym, entry or judge.
fn roster_answer(written: &RosterWritten) -> Response {
    let status = if written.outcome == "created" { StatusCode::CREATED } else { StatusCode::OK };
    (status, axum::Json(written)).into_response()
}

/// 415: the body is of a kind that this path does not take.
fn wrong_kind(wanted: &str) -> Problem {
    Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, Sentence::new("unsupported_media_type").with("wanted", wanted))
}

/// `GET /api/openapi.json`.
pub fn document(document: &utoipa::openapi::OpenApi) -> Router<App> {
    let json = Bytes::from(serde_json::to_vec(document).unwrap_or_default());
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "public, max-age=300")];
    Router::new().route("/api/openapi.json", get(move || async move { (headers, Extension(BuiltIn), json.clone()) }))
}
