//! In which language somebody reads: the choice they made here (`?lang=`, kept in a cookie), else
//! what their browser asks for (`Accept-Language`), else English.
//!
//! `?lang=` is taken out of the address before anything else reads it. What is read from the API
//! is data and the same for everybody ([`data`]): its tags and caches hold in every language. What
//! refuses a request, or remarks on a change, is said in the language asked for; codes never change.
//! What this does not do: say anything (the tables of words do).

use super::extract::thousandths;
use super::headers::vary;
use crate::actions::language::{on_page, speaking};
use crate::app::App;
use crate::words::{Lang, pages};
use axum::extract::Request;
use axum::middleware::Next;
use axum::response::Response;
use axum_extra::extract::cookie::{Cookie, CookieJar, SameSite};
use http::uri::PathAndQuery;
use http::{HeaderMap, HeaderValue, Method, Uri, header};
use std::time::Duration;

/// The parameter of addresses, and the cookie.
const NAME: &str = "lang";

/// How long the choice is kept: a year.
const KEPT: Duration = Duration::from_hours(365 * 24);

tokio::task_local! {
    /// Path and query of the page that is made; empty where it cannot be asked for again.
    static HERE: String;
}

/// The page at hand in another language.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Other {
    /// Path and query.
    pub href: String,
    /// As in `lang`.
    pub tag: &'static str,
    /// Its name for itself.
    pub name: &'static str,
}

/// Finds the reader's language, and says in the answer which it is.
pub async fn choose<F: Future<Output = Response>>(
    app: &App,
    mut request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    let shown = matches!(*request.method(), Method::GET | Method::HEAD);
    let asked = if shown { take_asked(request.uri_mut()) } else { None };
    let lang = asked.unwrap_or_else(|| of(request.headers()));
    let here = if shown { request.uri().path_and_query().map(ToString::to_string) } else { None };
    let mut response = HERE.scope(here.unwrap_or_default(), speaking(lang, next(request))).await;
    let headers = response.headers_mut();
    if is_prose(headers) {
        headers.insert(header::CONTENT_LANGUAGE, HeaderValue::from_static(lang.tag()));
        vary(headers, "Accept-Language");
    }
    if let Some(cookie) = asked.and_then(|lang| HeaderValue::from_str(&cookie(app, lang)).ok())
        && (is_prose(headers) || headers.contains_key(header::LOCATION))
    {
        headers.append(header::SET_COOKIE, cookie);
    }
    response
}

/// The language of who sends these headers.
#[must_use]
pub fn of(headers: &HeaderMap) -> Lang {
    kept(headers).unwrap_or_else(|| wanted(headers))
}

/// Data that is the same in every language: what is read from the API, files for programs.
pub async fn data(request: Request, next: Next) -> Response {
    match *request.method() {
        Method::GET | Method::HEAD => on_page(false, speaking(Lang::En, next.run(request))).await,
        _ => next.run(request).await,
    }
}

/// Pages: what people wrote stands apart in their sentences.
pub async fn page(request: Request, next: Next) -> Response {
    on_page(true, next.run(request)).await
}

/// The page at hand in each of the other languages.
#[must_use]
pub fn others() -> Vec<Other> {
    let here = HERE.try_with(Clone::clone).unwrap_or_default();
    if here.is_empty() {
        return Vec::new();
    }
    let joint = if here.contains('?') { '&' } else { '?' };
    let others = Lang::ALL.into_iter().filter(|lang| *lang != crate::actions::language::reader());
    let of = |lang: Lang| Other {
        href: format!("{here}{joint}{NAME}={}", lang.tag()),
        tag: lang.tag(),
        name: pages(lang).own_name,
    };
    others.map(of).collect()
}

/// `?lang=de`, for an address that others read without the reader's browser, as a calendar does.
#[must_use]
pub fn query() -> String {
    format!("?{NAME}={}", crate::actions::language::reader().tag())
}

/// Pages, calendars and problems; not data, not files.
fn is_prose(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    ["text/html", "text/calendar", "application/problem+json"].iter().any(|prose| kind.starts_with(prose))
}

/// Takes `lang` out of the query. What no language has is taken out too, and means nothing.
fn take_asked(uri: &mut Uri) -> Option<Lang> {
    let query = uri.query()?;
    let names_it = |pair: &&str| pair.split('=').next() == Some(NAME);
    if !query.split('&').any(|pair| names_it(&pair)) {
        return None;
    }
    let asked = query.split('&').filter(names_it).find_map(|pair| Lang::of(pair.split_once('=')?.1));
    let rest: Vec<&str> = query.split('&').filter(|pair| !names_it(pair)).collect();
    let path = uri.path();
    let text = if rest.is_empty() { path.to_owned() } else { format!("{path}?{}", rest.join("&")) };
    let mut parts = uri.clone().into_parts();
    parts.path_and_query = text.parse::<PathAndQuery>().ok();
    if let Ok(without) = Uri::from_parts(parts) {
        *uri = without;
    }
    asked
}

/// The choice of before.
fn kept(headers: &HeaderMap) -> Option<Lang> {
    CookieJar::from_headers(headers).get(NAME).and_then(|cookie| Lang::of(cookie.value()))
}

fn cookie(app: &App, lang: Lang) -> String {
    let cookie = Cookie::build((NAME, lang.tag())).http_only(true).secure(app.config.secure());
    cookie.same_site(SameSite::Lax).path("/").max_age(KEPT.try_into().unwrap_or_default()).build().to_string()
}

/// The best of `Accept-Language`: a range fits a language that it names or narrows (`de-AT` is
/// served German, RFC 4647 §3.4), the most specific one decides how much it is wanted, and the
/// earlier one of two that are wanted equally. Nothing that fits: English.
fn wanted(headers: &HeaderMap) -> Lang {
    let lines: Vec<&str> = headers.get_all(header::ACCEPT_LANGUAGE).iter().filter_map(|v| v.to_str().ok()).collect();
    let text = lines.join(",");
    let ranges: Vec<(String, u32)> = text.split(',').filter_map(range).collect();
    let weighed = Lang::ALL.into_iter().filter_map(|lang| {
        let fits = |range: &str| range == "*" || range.split('-').next() == Some(lang.tag());
        // The range that names the language itself stands before one that narrows it, a wildcard last.
        let closeness = |range: &str| match range {
            "*" => 0,
            range if range == lang.tag() => 2,
            _ => 1,
        };
        let (at, (_, weight)) = ranges
            .iter()
            .enumerate()
            .filter(|(_, (range, _))| fits(range))
            .max_by_key(|(at, (range, weight))| (closeness(range), *weight, std::cmp::Reverse(*at)))?;
        (*weight > 0).then_some((lang, *weight, at))
    });
    weighed
        .max_by_key(|(lang, weight, at)| (*weight, std::cmp::Reverse(*at), *lang == Lang::default()))
        .map_or_else(Lang::default, |(lang, ..)| lang)
}

/// `de-AT;q=0.8` → (`de-at`, 800). A weight that is none leaves the range out.
fn range(text: &str) -> Option<(String, u32)> {
    let mut parts = text.split(';').map(str::trim);
    let name = parts.next().filter(|name| !name.is_empty())?.to_ascii_lowercase();
    let weight = parts.find_map(|p| p.strip_prefix("q=").or_else(|| p.strip_prefix("Q=")));
    Some((name, weight.map_or(Some(1000), thousandths)?))
}
