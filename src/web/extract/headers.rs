//! Headers that decide: `If-Match`, `If-None-Match`, `Idempotency-Key`, `Accept`.

use crate::actions::IdempotencyKey;
use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::web::problem::Problem;
use crate::words::Sentence;
use axum::extract::FromRequestParts;
use http::request::Parts;
use http::{HeaderMap, StatusCode, header};
use sha2::{Digest, Sha256};

/// Longest `Idempotency-Key`.
const LONGEST_KEY: usize = 255;

/// `Idempotency-Key` with the request it stands for. `None` without the header; 400 where it is no
/// key.
pub(crate) fn idempotency(parts: &Parts, body: &[u8]) -> Result<Option<IdempotencyKey>, Problem> {
    let Some(key) = key(&parts.headers)? else { return Ok(None) };
    let path = parts.uri.path_and_query().map_or("", |p| p.as_str()).to_owned();
    Ok(Some(IdempotencyKey { key, method: parts.method.to_string(), path, digest: Sha256::digest(body).into() }))
}

/// The key: a string of RFC 8941 §3.3.3, or the same bare.
fn key(headers: &HeaderMap) -> Result<Option<String>, Problem> {
    let bad = || Problem::new(StatusCode::BAD_REQUEST, Sentence::new("bad_idempotency_key").with("most", LONGEST_KEY));
    let mut values = headers.get_all("idempotency-key").iter();
    let Some(value) = values.next() else { return Ok(None) };
    let text = value.to_str().map_err(|_| bad())?.trim();
    let key = match text.strip_prefix('"') {
        Some(rest) => unquote(rest).ok_or_else(bad)?,
        None if text.contains(['"', '\\', ' ', ',', ';']) => return Err(bad()),
        None => text.to_owned(),
    };
    if values.next().is_some() || key.is_empty() || key.len() > LONGEST_KEY {
        return Err(bad());
    }
    Ok(Some(key))
}

/// The rest of a quoted string after its opening quote; nothing may follow the closing one.
fn unquote(rest: &str) -> Option<String> {
    let mut out = String::new();
    let mut chars = rest.chars();
    loop {
        match chars.next()? {
            '"' => return chars.as_str().is_empty().then_some(out),
            '\\' => out.push(chars.next().filter(|c| matches!(c, '"' | '\\'))?),
            c => out.push(c),
        }
    }
}

/// The most states that somebody has seen at once: they go along with every row of a file.
const MOST_TAGS: usize = 32;

/// `If-Match` and `If-None-Match: *`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conditional(pub Precondition);

impl Conditional {
    /// Strong comparison (RFC 9110 §13.1.1): a weak tag, or one that is not ours, never matches.
    pub(crate) fn read(headers: &HeaderMap) -> Result<Precondition, Problem> {
        let matching = list(headers, &header::IF_MATCH)?;
        let absent = list(headers, &header::IF_NONE_MATCH)?;
        let bad = |code| Err(Problem::new(StatusCode::BAD_REQUEST, Sentence::new(code)));
        match (matching, absent) {
            (None, None) => Ok(Precondition::None),
            (None, Some(tags)) if tags == "*" => Ok(Precondition::Absent),
            (None, Some(_)) => bad("if_none_match_needs_star"),
            (Some(_), Some(_)) => bad("both_preconditions"),
            (Some(tags), None) if tags == "*" => Ok(Precondition::Any),
            (Some(tags), None) => {
                let tags = match_tags(&tags).into_iter().filter_map(|t| t.parse().ok()).take(MOST_TAGS);
                Ok(Precondition::Match(tags.collect()))
            }
        }
    }
}

impl FromRequestParts<App> for Conditional {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        Self::read(&parts.headers).map(Self)
    }
}

/// All lines of a header as one list.
fn list(headers: &HeaderMap, name: &header::HeaderName) -> Result<Option<String>, Problem> {
    let mut lines = Vec::new();
    for value in headers.get_all(name) {
        let line = value.to_str().map_err(|_| {
            Problem::new(StatusCode::BAD_REQUEST, Sentence::new("unreadable_header").with("name", name.as_str()))
        })?;
        lines.push(line.trim());
    }
    Ok((!lines.is_empty()).then(|| lines.join(", ")))
}

/// The opaque parts of the strong tags in a list; weak and malformed ones are left out. A tag may
/// hold commas (RFC 9110 §8.8.3).
#[must_use]
pub fn match_tags(list: &str) -> Vec<String> {
    let mut tags = Vec::new();
    let mut rest = list.trim_start_matches([' ', '\t', ',']);
    while !rest.is_empty() {
        let weak = rest.starts_with("W/");
        let opaque = rest.strip_prefix("W/").unwrap_or(rest);
        let Some((tag, after)) = opaque.strip_prefix('"').and_then(|r| r.split_once('"')) else {
            rest = rest.split_once(',').map_or("", |(_, r)| r).trim_start_matches([' ', '\t', ',']);
            continue;
        };
        let after = after.trim_start_matches([' ', '\t']);
        if !weak && (after.is_empty() || after.starts_with(',')) {
            tags.push(tag.to_owned());
        }
        rest = after.trim_start_matches([' ', '\t', ',']);
        if !after.is_empty() && !after.starts_with(',') {
            rest = after.split_once(',').map_or("", |(_, r)| r).trim_start_matches([' ', '\t', ',']);
        }
    }
    tags
}

/// What the reader takes: the `Accept` header, or `*/*`.
#[derive(Clone, Debug)]
pub struct Accept(pub String);

impl Accept {
    /// From the headers.
    pub(crate) fn read(headers: &HeaderMap) -> Self {
        let lines: Vec<&str> = headers.get_all(header::ACCEPT).iter().filter_map(|v| v.to_str().ok()).collect();
        Self(if lines.is_empty() { "*/*".to_owned() } else { lines.join(",") })
    }

    /// Whether `offer` is named, rather than let in by a wildcard.
    #[must_use]
    pub fn names(&self, offer: &str) -> bool {
        self.0
            .split(',')
            .any(|range| range.split(';').next().is_some_and(|name| name.trim().eq_ignore_ascii_case(offer)))
    }

    /// How much `offer` is wanted, in thousandths; 0: not at all. The most specific range that
    /// fits decides (RFC 9110 §12.5.1).
    #[must_use]
    pub fn weight(&self, offer: &str) -> u32 {
        let kind = offer.split('/').next().unwrap_or_default();
        let fits = self.0.split(',').filter_map(|range| {
            let mut parts = range.split(';').map(str::trim);
            let name = parts.next()?.to_ascii_lowercase();
            let specific = match name.as_str() {
                "*/*" => 0,
                n if n == format!("{kind}/*") => 1,
                n if n == offer => 2,
                _ => return None,
            };
            let q = parts
                .find_map(|p| p.strip_prefix("q=").or_else(|| p.strip_prefix("Q=")))
                .map_or(Some(1000), thousandths)?;
            Some((specific, q))
        });
        fits.max_by_key(|(specific, _)| *specific).map_or(0, |(_, q)| q)
    }

    /// The best of `offers` (full media types, preferred first); 406 when none will do.
    pub fn best(&self, offers: &[&'static str]) -> Result<&'static str, Problem> {
        let mut best = None;
        for offer in offers {
            let weight = self.weight(offer);
            if weight > best.map_or(0, |(w, _)| w) {
                best = Some((weight, *offer));
            }
        }
        best.map(|(_, offer)| offer).ok_or_else(|| {
            Problem::new(StatusCode::NOT_ACCEPTABLE, Sentence::new("not_acceptable").with("offers", offers.join(", ")))
        })
    }
}

/// `0.85` → 850; at most three decimals (RFC 9110 §12.4.2). `None`: no weight.
pub(crate) fn thousandths(text: &str) -> Option<u32> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    if part.len() > 3 || !part.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let n = whole.parse::<u32>().ok()?.checked_mul(1000)? + format!("{part:0<3}").parse::<u32>().ok()?;
    (n <= 1000).then_some(n)
}

impl FromRequestParts<App> for Accept {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        Ok(Self::read(&parts.headers))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::tag::Tag;

    fn with(name: &'static str, value: &str) -> HeaderMap {
        let mut headers = HeaderMap::new();
        headers.insert(name, value.parse().unwrap());
        headers
    }

    /// RFC 9110 §8.8.3.2 and §13.1.1 (`http_semantics.json`, `etag_comparison`).
    #[test]
    fn a_weak_tag_never_matches_and_a_strong_one_does() {
        let read = |text: &str| Conditional::read(&with("if-match", text)).unwrap();
        let tag = |n: u64| Tag::of(n, &"6+14");
        let (one, two, three) = (tag(1), tag(2), tag(3));
        assert_eq!(read(&format!("\"{one}\"")), Precondition::Match(vec![one]));
        assert_eq!(read(&format!("W/\"{one}\"")), Precondition::Match(vec![]));
        assert_eq!(read(&format!("\"{two}\", W/\"{one}\",\"{three}\"")), Precondition::Match(vec![two, three]));
        assert_eq!(read("*"), Precondition::Any);
        assert_eq!(read("\"v3\""), Precondition::Match(vec![]), "not one of our tags");
        assert_eq!(read(&format!("\"0{one}\"")), Precondition::Match(vec![]), "written another way, another tag");
        assert_eq!(
            read(&format!("\"a,b\", \"{two}\"")),
            Precondition::Match(vec![two]),
            "a comma inside a tag does not part it"
        );
        assert_eq!(read(&format!("garbage, \"{two}\"")), Precondition::Match(vec![two]));
        let many: Vec<String> = (1..2_000).map(|n| format!("\"{}\"", tag(n))).collect();
        assert_eq!(read(&many.join(",")), Precondition::Match((1..33).map(tag).collect()), "as many as go along");
    }

    #[test]
    fn if_none_match_means_only_that_nothing_is_there() {
        assert_eq!(Conditional::read(&with("if-none-match", "*")).unwrap(), Precondition::Absent);
        assert_eq!(Conditional::read(&with("if-none-match", "\"1\"")).unwrap_err().status, StatusCode::BAD_REQUEST);
    }

    #[test]
    fn an_idempotency_key_is_quoted_or_bare() {
        let read = |text: &str| key(&with("idempotency-key", text));
        assert_eq!(read("\"ab\\\"c\"").unwrap().as_deref(), Some("ab\"c"));
        assert_eq!(read("8e03978e-40d5").unwrap().as_deref(), Some("8e03978e-40d5"));
        assert_eq!(read("\"8e03978e-40d5\"").unwrap(), read("8e03978e-40d5").unwrap());
        for bad in ["\"", "\"a", "\"a\"b", "", "\"\"", "a b", &"x".repeat(256)] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn the_most_specific_range_decides_what_is_accepted() {
        let accept = |text: &str| Accept(text.to_owned());
        assert_eq!(accept("text/*;q=0.3, text/csv;q=0").weight("text/csv"), 0);
        assert_eq!(accept("text/html,*/*;q=0.8").best(&["application/json", "text/html"]).unwrap(), "text/html");
        assert_eq!(accept("*/*").best(&["application/json", "text/csv"]).unwrap(), "application/json");
        assert_eq!(accept("image/png").best(&["application/json"]).unwrap_err().status, StatusCode::NOT_ACCEPTABLE);
    }
}
