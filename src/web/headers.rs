//! Headers that every answer carries, and where requests may come from.

use crate::app::App;
use axum::extract::Request;
use axum::response::Response;
use http::{HeaderMap, HeaderName, HeaderValue, header};
use tower_http::cors::{Any, CorsLayer};

/// Scripts, styles and forms from here alone; nobody frames us.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; \
    connect-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

const FIXED: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("permissions-policy"), "camera=(), geolocation=(), microphone=(), payment=()"),
];

/// Two years (ASVS 3.4.1 asks for one at least).
const HSTS: &str = "max-age=63072000; includeSubDomains";

/// Puts the headers on every answer. What says nothing about caching is not to be kept; answers
/// that depend on who asks say so in `Vary`.
pub async fn protect<F: Future<Output = Response>>(
    app: &App,
    request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    let mut response = next(request).await;
    let headers = response.headers_mut();
    for (name, value) in FIXED {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    if app.config.secure() {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(HSTS));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    if !is_immutable(headers) {
        vary(headers, "Cookie");
    }
    response
}

fn is_immutable(headers: &HeaderMap) -> bool {
    headers.get(header::CACHE_CONTROL).and_then(|v| v.to_str().ok()).is_some_and(|v| v.contains("immutable"))
}

/// Adds a name to `Vary`, once.
pub(super) fn vary(headers: &mut HeaderMap, name: &'static str) {
    let there = headers.get_all(header::VARY).iter().filter_map(|v| v.to_str().ok());
    if !there.flat_map(|v| v.split(',')).any(|v| v.trim().eq_ignore_ascii_case(name)) {
        headers.append(header::VARY, HeaderValue::from_static(name));
    }
}

/// Anybody's page may read the API as nobody: no cookie goes along, and no token may be sent.
pub fn cors() -> CorsLayer {
    CorsLayer::new()
        .allow_origin(Any)
        .allow_methods([http::Method::GET, http::Method::HEAD])
        .allow_headers([header::ACCEPT, header::IF_NONE_MATCH])
        .expose_headers([header::ETAG, header::RETRY_AFTER, super::arrival::REQUEST_ID])
}
