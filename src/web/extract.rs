//! What handlers are handed: JSON, queries, paths, raw bodies, preconditions. Everything that
//! cannot be read is a [`Problem`] that lists all faults at once.

use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::web::problem::Problem;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::response::{IntoResponse, Response};
use bytes::Bytes;
use http::request::Parts;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Largest JSON body.
pub const SMALL: usize = 1 << 20;
/// Largest CSV or many-rows body.
pub const LARGE: usize = 4 << 20;

/// A JSON body in (at most 1 MiB), or out.
#[derive(Clone, Debug)]
pub struct Json<T>(pub T);

/// A query string; unknown members are refused where `T` refuses them, repeated ones always.
#[derive(Clone, Debug)]
pub struct Query<T>(pub T);

/// The parameters of a path; one that cannot be read is a 404.
#[derive(Clone, Debug)]
pub struct Path<T>(pub T);

/// What a body says it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// `application/json`.
    Json,
    /// `text/csv`.
    Csv,
    /// `application/toml`.
    Toml,
}

/// A body as it came (at most 4 MiB), with its kind; 415 for any other.
#[derive(Clone, Debug)]
pub struct Body {
    /// What it says it is.
    pub kind: Kind,
    /// The bytes.
    pub bytes: Bytes,
}

impl Body {
    /// Its text, which must be UTF-8 without NUL.
    pub fn text(&self) -> Result<&str, Problem> {
        todo!()
    }

    /// Its JSON.
    pub fn json<T: DeserializeOwned>(&self) -> Result<T, Problem> {
        todo!()
    }
}

/// `Idempotency-Key` with what it stands for: the same key with another body is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repeat {
    /// The key, without quotes.
    pub key: String,
    /// The method.
    pub method: String,
    /// Path and query.
    pub path: String,
    /// SHA-256 of the body.
    pub digest: [u8; 32],
}

/// Everything a write is sent with. `T` is JSON (at most 1 MiB).
#[derive(Clone, Debug)]
pub struct Sent<T> {
    /// The body.
    pub value: T,
    /// `If-Match`, `If-None-Match`.
    pub precondition: Precondition,
    /// `Idempotency-Key`.
    pub repeat: Option<Repeat>,
}

/// As [`Sent`], with a body of several kinds (at most 4 MiB).
#[derive(Clone, Debug)]
pub struct SentBody {
    /// The body.
    pub body: Body,
    /// `If-Match`, `If-None-Match`.
    pub precondition: Precondition,
    /// `Idempotency-Key`.
    pub repeat: Option<Repeat>,
}

/// What the reader takes.
#[derive(Clone, Debug)]
pub struct Accept(pub String);

impl Accept {
    /// The best of `offers` (full media types, preferred first); 406 when none will do.
    pub fn best(&self, offers: &[&'static str]) -> Result<&'static str, Problem> {
        let _ = offers;
        todo!()
    }
}

impl<T: DeserializeOwned> FromRequest<App> for Json<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let _ = (request, app);
        todo!()
    }
}

impl<T: Serialize> IntoResponse for Json<T> {
    fn into_response(self) -> Response {
        axum::Json(self.0).into_response()
    }
}

impl<T: DeserializeOwned> FromRequest<App> for Sent<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let _ = (request, app);
        todo!()
    }
}

impl FromRequest<App> for SentBody {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let _ = (request, app);
        todo!()
    }
}

impl FromRequest<App> for Body {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let _ = (request, app);
        todo!()
    }
}

impl<T: DeserializeOwned + Send> FromRequestParts<App> for Path<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let _ = (parts, app);
        todo!()
    }
}

impl<T: DeserializeOwned> FromRequestParts<App> for Query<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let _ = (parts, app);
        todo!()
    }
}

impl FromRequestParts<App> for Accept {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let _ = (parts, app);
        todo!()
    }
}
