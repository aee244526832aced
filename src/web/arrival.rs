//! A request's arrival: its id, the instant its head was read, and, when it is answered, one line
//! in the log and one count in the metrics.
//!
//! The line holds the request id, the account's number, the route's pattern, status and elapsed
//! time: never a name, an address, a token, a path's values or a query. An id that comes from
//! outside is not taken.

use crate::app::App;
use axum::extract::{MatchedPath, Request};
use axum::response::Response;
use http::{Extensions, HeaderName, HeaderValue};
use jiff::Timestamp;
use std::sync::{Arc, OnceLock};
use std::time::Instant;

/// Header that tells the request id.
pub const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// What is known of a request from its start.
#[derive(Clone, Debug)]
pub struct Arrival {
    /// 16 random bytes in hex.
    pub id: Arc<str>,
    /// When its head was read.
    pub at: Timestamp,
    /// Account number, once somebody was recognised.
    pub account: Arc<OnceLock<i64>>,
}

impl Arrival {
    /// The arrival of the request with these extensions.
    #[must_use]
    pub fn of(extensions: &Extensions) -> Option<&Self> {
        extensions.get::<Self>()
    }
}

/// The outermost layer.
pub async fn receive<F: Future<Output = Response>>(
    app: &App,
    mut request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    let started = Instant::now();
    let id: Arc<str> = hex::encode(&app.keys.bytes()[..16]).into();
    let arrival = Arrival { id, at: app.clock.now(), account: Arc::default() };
    request.extensions_mut().insert(arrival.clone());
    let route = request.extensions().get::<MatchedPath>().cloned();
    let method = request.method().clone();
    let mut response = next(request).await;
    if let Ok(value) = HeaderValue::from_str(&arrival.id) {
        response.headers_mut().insert(REQUEST_ID, value);
    }
    let route = route.as_ref().map_or("none", MatchedPath::as_str);
    let (status, elapsed) = (response.status().as_u16(), started.elapsed());
    let elapsed_us = u64::try_from(elapsed.as_micros()).unwrap_or(u64::MAX);
    let account = arrival.account.get();
    tracing::info!(target: "request", request_id = %arrival.id, account, %method, %route, status, elapsed_us);
    super::metrics::count(&method, route, status, elapsed);
    response
}
