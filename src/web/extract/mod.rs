//! What handlers are handed: JSON, queries, paths, raw bodies, preconditions. Everything that
//! cannot be read is a [`Problem`](crate::web::problem::Problem) that lists all faults at once.
//!
//! [`read`] turns text into types; [`body`] reads bodies within their limits; [`headers`] reads
//! `If-Match`, `Idempotency-Key` and `Accept`. What this does not do: rules of the sport.

mod body;
mod headers;
pub(crate) mod read;

pub use body::{Body, Json, Kind, LARGE, SMALL, Sent, SentBody, TINY};
pub(crate) use body::{collect, is_kind};
pub(super) use headers::thousandths;
pub use headers::{Accept, Conditional, match_tags};

use crate::app::App;
use crate::web::problem::Problem;
use crate::words::Sentence;
use axum::extract::FromRequestParts;
use http::request::Parts;
use serde::de::DeserializeOwned;

/// A query string; unknown members are refused where `T` refuses them, repeated ones always.
#[derive(Clone, Debug)]
pub struct Query<T>(pub T);

/// The parameters of a path; one that cannot be read is a 404.
#[derive(Clone, Debug)]
pub struct Path<T>(pub T);

impl<T: DeserializeOwned + Send> FromRequestParts<App> for Path<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        match axum::extract::Path::<T>::from_request_parts(parts, app).await {
            Ok(axum::extract::Path(value)) => Ok(Self(value)),
            Err(_) => Err(Problem::not_found(Sentence::new("no_such_page"))),
        }
    }
}

impl<T: DeserializeOwned> FromRequestParts<App> for Query<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        read::pairs(parts.uri.query().unwrap_or_default().as_bytes()).map(Self)
    }
}
