//! Bodies, read within their limits of size and time.

use super::headers::{Conditional, idempotency};
use super::read;
use crate::actions::{IdempotencyKey, Request as Around, signed_in};
use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::web::problem::Problem;
use crate::web::session::Caller;
use crate::words::Sentence;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::response::{IntoResponse, Response};
use bytes::Bytes;
use http::{HeaderMap, StatusCode, header};
use http_body_util::{BodyExt, LengthLimitError, Limited};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::time::Duration;

/// Largest JSON body.
pub const SMALL: usize = 1 << 20;
/// Largest CSV or many-rows body.
pub const LARGE: usize = 4 << 20;
/// Longest time that a body may take to arrive.
const LONGEST: Duration = Duration::from_secs(10);

/// Largest body of who need not be signed in: e-mail and password.
pub const TINY: usize = 64 << 10;

/// A JSON body in (at most 64 KiB; anybody's), or out.
#[derive(Clone, Debug)]
pub struct Json<T>(pub T);

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
    /// Its text, which must be UTF-8 without NUL; a byte order mark is taken off.
    pub fn text(&self) -> Result<&str, Problem> {
        let bad = |code| Problem::new(StatusCode::BAD_REQUEST, Sentence::new(code));
        let text = std::str::from_utf8(&self.bytes).map_err(|_| bad("not_utf8"))?;
        if text.contains('\0') {
            return Err(bad("nul_character"));
        }
        Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
    }

    /// Its JSON.
    pub fn json<T: DeserializeOwned>(&self) -> Result<T, Problem> {
        read::json(&self.bytes)
    }
}

/// Everything a write is sent with. `T` is JSON (at most 1 MiB); no body at all reads as `{}`.
/// 401 for nobody, before the body is read.
#[derive(Clone, Debug)]
pub struct Sent<T> {
    /// The body.
    pub value: T,
    /// `If-Match`, `If-None-Match`.
    pub precondition: Precondition,
    /// `Idempotency-Key`.
    pub idempotency: Option<IdempotencyKey>,
}

/// As [`Sent`], with a body of several kinds (at most 4 MiB).
#[derive(Clone, Debug)]
pub struct SentBody {
    /// The body.
    pub body: Body,
    /// `If-Match`, `If-None-Match`.
    pub precondition: Precondition,
    /// `Idempotency-Key`.
    pub idempotency: Option<IdempotencyKey>,
}

impl<T> Sent<T> {
    /// The body, and what surrounds the write that `caller` sends with it.
    pub fn parts(self, caller: &Caller) -> (T, Around) {
        let Self { value, precondition, idempotency } = self;
        (value, Around { received: caller.received, precondition, idempotency })
    }
}

impl SentBody {
    /// The body, and what surrounds the write that `caller` sends with it.
    #[must_use]
    pub fn parts(self, caller: &Caller) -> (Body, Around) {
        let Self { body, precondition, idempotency } = self;
        (body, Around { received: caller.received, precondition, idempotency })
    }
}

impl<T: DeserializeOwned> FromRequest<App> for Json<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, _: &App) -> Result<Self, Problem> {
        sent(request, TINY).await.map(|sent| Self(sent.value))
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
        sent(known(request, app).await?, SMALL).await
    }
}

/// The request, of somebody who is signed in: nobody else's body is waited for.
async fn known(request: Request, app: &App) -> Result<Request, Problem> {
    let (mut parts, body) = request.into_parts();
    let caller = Caller::from_request_parts(&mut parts, app).await?;
    signed_in(&caller.actor)?;
    Ok(Request::from_parts(parts, body))
}

async fn sent<T: DeserializeOwned>(request: Request, limit: usize) -> Result<Sent<T>, Problem> {
    let (parts, body) = request.into_parts();
    let typed = parts.headers.contains_key(header::CONTENT_TYPE);
    if typed && !is_kind(&parts.headers, "application", "json") {
        return Err(unsupported("application/json"));
    }
    let bytes = collect(&parts.headers, body, limit).await?;
    let precondition = Conditional::read(&parts.headers)?;
    let idempotency = idempotency(&parts, &bytes)?;
    let value = match (bytes.is_empty(), typed) {
        (true, false) => read::json(b"{}").or_else(|problem| read::json(b"null").map_err(|_| problem)),
        (false, false) => Err(unsupported("application/json")),
        (_, true) => read::json(&bytes),
    }?;
    Ok(Sent { value, precondition, idempotency })
}

impl FromRequest<App> for SentBody {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let (parts, body) = known(request, app).await?.into_parts();
        let is = |kind, sub| is_kind(&parts.headers, kind, sub);
        let kind = match () {
            () if is("application", "json") => Kind::Json,
            () if is("text", "csv") => Kind::Csv,
            () if is("application", "toml") => Kind::Toml,
            () => return Err(unsupported("application/json, text/csv, application/toml")),
        };
        let bytes = collect(&parts.headers, body, LARGE).await?;
        let precondition = Conditional::read(&parts.headers)?;
        let idempotency = idempotency(&parts, &bytes)?;
        Ok(Self { body: Body { kind, bytes }, precondition, idempotency })
    }
}

impl FromRequest<App> for Body {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        SentBody::from_request(request, app).await.map(|sent| sent.body)
    }
}

/// 415, with what would be taken.
fn unsupported(wanted: &str) -> Problem {
    Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, Sentence::new("unsupported_media_type").with("wanted", wanted))
}

/// Whether `Content-Type` is this one, in UTF-8.
pub(crate) fn is_kind(headers: &HeaderMap, kind: &str, sub: &str) -> bool {
    let value = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok());
    let Some(given) = value.and_then(|v| v.parse::<mime::Mime>().ok()) else { return false };
    let utf8 = given.get_param(mime::CHARSET).is_none_or(|c| c == "utf-8" || c == "us-ascii");
    given.type_() == kind && given.subtype() == sub && utf8
}

/// The whole body: 413 beyond `limit`, 408 when it does not arrive in time, 400 when it breaks off.
pub(crate) async fn collect(headers: &HeaderMap, body: axum::body::Body, limit: usize) -> Result<Bytes, Problem> {
    let most = if limit < SMALL { format!("{} KiB", limit >> 10) } else { format!("{} MiB", limit >> 20) };
    let too_large = || Problem::new(StatusCode::PAYLOAD_TOO_LARGE, Sentence::new("too_large").with("limit", &most));
    let told = headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()).and_then(|v| v.parse::<u64>().ok());
    if told.is_some_and(|length| length > limit as u64) {
        return Err(too_large());
    }
    match tokio::time::timeout(LONGEST, Limited::new(body, limit).collect()).await {
        Ok(Ok(whole)) => Ok(whole.to_bytes()),
        Ok(Err(error)) if error.is::<LengthLimitError>() => Err(too_large()),
        Ok(Err(_)) => Err(Problem::new(StatusCode::BAD_REQUEST, Sentence::new("broken_off"))),
        Err(_) => Err(Problem::new(
            StatusCode::REQUEST_TIMEOUT,
            Sentence::new("too_slow_body").with("seconds", LONGEST.as_secs()),
        )),
    }
}
