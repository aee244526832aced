//! What reads of the API share: `ETag` and 304, how long an answer may be kept, JSON or CSV.

use crate::actions::standings::Stamp;
use crate::web::extract::thousandths;
use crate::web::session::{Caller, Via};
use axum::body::Body;
use axum::response::{IntoResponse, Response};
use http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use serde::Serialize;
use sha2::{Digest, Sha256};

/// JSON, the usual form.
pub const JSON: &str = "application/json";
/// Comma-separated values (RFC 4180).
pub const CSV: &str = "text/csv";

/// The content coding that the compression layer will choose, the one wanted most: part of a strong tag
/// (RFC 9110 §8.8.3.3, §12.5.3).
pub fn coding(headers: &HeaderMap) -> &'static str {
    let lines = headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|v| v.to_str().ok());
    let ranges: Vec<(&str, u32)> = lines.flat_map(|line| line.split(',')).filter_map(range).collect();
    let named = |name: &str| ranges.iter().find(|(range, _)| range.eq_ignore_ascii_case(name)).map(|(_, q)| *q);
    let weight = |name: &str| named(name).or_else(|| named("*")).unwrap_or(0);
    let gzip = named("gzip").or_else(|| named("x-gzip")).or_else(|| named("*")).unwrap_or(0);
    // Of equals the last one.
    let wanted = [("plain", weight("identity")), ("gzip", gzip), ("br", weight("br"))];
    wanted
        .into_iter()
        .filter(|(_, weight)| *weight > 0)
        .max_by_key(|(_, weight)| *weight)
        .map_or("plain", |(name, _)| name)
}

/// `br;q=0.5` → (`br`, 500).
fn range(text: &str) -> Option<(&str, u32)> {
    let mut parts = text.split(';').map(str::trim);
    let name = parts.next()?;
    let weight = parts.find_map(|part| part.strip_prefix("q=").or_else(|| part.strip_prefix("Q=")));
    Some((name, weight.map_or(Some(1000), thousandths)?))
}

/// The tag of a page of standings: of the division's last change and its record, the windows passed, what its reader sees, what
/// was asked for, the build and the coding.
pub fn tag(stamp: &Stamp, asked: &Uri, form: &str, caller: &Caller, headers: &HeaderMap) -> String {
    let mut hash = Sha256::new();
    // Roles come and go: who has another role may know other names.
    let reader =
        if stamp.common { String::new() } else { format!("{:?} {:?}", caller.actor.account, caller.actor.grants) };
    let parts = [
        stamp.version.to_string(),
        stamp.leaf.map_or_else(String::new, hex::encode),
        stamp.boundary.to_string(),
        stamp.mask.to_string(),
        reader,
        asked.path_and_query().map_or_else(String::new, ToString::to_string),
        form.to_owned(),
        env!("CARGO_PKG_VERSION").to_owned(),
        coding(headers).to_owned(),
    ];
    for part in parts {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    let digest = hex::encode(hash.finalize());
    format!("\"{}\"", digest.get(..24).unwrap_or(&digest))
}

/// Whether the reader has this already (`If-None-Match`, weak comparison).
pub fn has(headers: &HeaderMap, tag: &str) -> bool {
    let lines = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|v| v.to_str().ok());
    lines.flat_map(|l| l.split(',')).map(str::trim).any(|t| t == "*" || t.trim_start_matches("W/") == tag)
}

/// Puts the tag and how long the answer may be kept on it: what nobody had to sign in for may be
/// shared and one second old.
pub fn kept(mut response: Response, caller: &Caller, tag: Option<&str>) -> Response {
    let headers = response.headers_mut();
    let control = if caller.via == Via::None { "public, max-age=1" } else { "private, no-cache" };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(control));
    headers.append(header::VARY, HeaderValue::from_static("Accept, Accept-Encoding, Authorization, Cookie"));
    if let Some(value) = tag.and_then(|t| HeaderValue::from_str(t).ok()) {
        headers.insert(header::ETAG, value);
    }
    response
}

/// 304.
pub fn unchanged(caller: &Caller, tag: &str) -> Response {
    kept(StatusCode::NOT_MODIFIED.into_response(), caller, Some(tag))
}

/// JSON that may be kept.
pub fn json<T: Serialize>(view: &T, caller: &Caller, tag: Option<&str>) -> Response {
    kept(axum::Json(view).into_response(), caller, tag)
}

/// A CSV text, as a file of this name.
pub fn csv(text: impl Into<Body>, name: &str) -> Response {
    let safe: String = name.chars().filter(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '.')).collect();
    let disposition = format!("attachment; filename=\"{safe}\"");
    let mut response = ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], text.into()).into_response();
    if let Ok(value) = HeaderValue::from_str(&disposition) {
        response.headers_mut().insert(header::CONTENT_DISPOSITION, value);
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(name: header::HeaderName, value: &'static str) -> HeaderMap {
        HeaderMap::from_iter([(name, HeaderValue::from_static(value))])
    }

    #[test]
    fn a_tag_is_compared_weakly_and_a_star_is_any() {
        assert!(has(&headers(header::IF_NONE_MATCH, "\"a\", W/\"b\""), "\"b\""));
        assert!(has(&headers(header::IF_NONE_MATCH, "*"), "\"b\""));
        assert!(!has(&headers(header::IF_NONE_MATCH, "\"c\""), "\"b\""));
        assert!(!has(&HeaderMap::new(), "\"b\""));
    }

    #[test]
    fn a_coding_that_is_refused_is_not_chosen() {
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "gzip, br")), "br");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "br;q=0, gzip;q=0.5")), "gzip");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "br;q=0.2, gzip;q=0.5")), "gzip");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "identity;q=1, gzip;q=0.0")), "plain");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "br;q=0.1, identity")), "plain");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "*")), "br");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "br;q=0, *;q=0.5")), "gzip");
        assert_eq!(coding(&headers(header::ACCEPT_ENCODING, "x-gzip")), "gzip");
        assert_eq!(coding(&HeaderMap::new()), "plain");
    }
}
