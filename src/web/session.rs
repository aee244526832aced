//! Who is asking: a cookie or a bearer token becomes an [`Actor`].
//!
//! Cross-site protection stands here too: nobody is taken for signed in by a cookie on a request
//! that changes something and comes from another site ([`Caller`]), and a form of ours carries a
//! value that only our pages know ([`Form`]).

use super::arrival::Arrival;
use super::extract::{SMALL, TINY, collect, is_kind, read};
use super::forwarded;
use super::once;
use super::problem::Problem;
use crate::actions::accounts::{self, Known, Origin};
use crate::actions::competitions;
use crate::app::App;
use crate::rules::access::Actor;
use crate::words::Sentence;
use axum::extract::{ConnectInfo, FromRequest, FromRequestParts, Request};
use axum_extra::extract::cookie::{Cookie, CookieJar, SameSite};
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use http::request::Parts;
use http::{HeaderMap, Method, StatusCode, header};
use jiff::Timestamp;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use subtle::ConstantTimeEq;

/// How somebody showed who they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Via {
    /// Not at all.
    None,
    /// By the session cookie.
    Cookie,
    /// By a bearer token.
    Token,
}

/// Who is asking. Never fails for want of credentials (then it is nobody); a bearer token that is
/// not valid is 401, a change from another site without one is 403.
#[derive(Clone, Debug)]
pub struct Caller {
    /// For the rules.
    pub actor: Actor,
    /// How they showed it.
    pub via: Via,
    /// Number of the session, when by cookie.
    pub session: Option<i64>,
    /// The value for the hidden field `csrf` of forms; empty when nobody is signed in by cookie.
    pub csrf: String,
    /// When the request's head was read.
    pub received: Timestamp,
    /// For problems and the log.
    pub request_id: String,
    /// Where the request comes from: the peer's address, or what proxies that the settings name say.
    pub address: Option<IpAddr>,
    /// What the browser calls itself.
    pub device: String,
    /// Names of what waits in the browser to be shown once, the oldest first.
    pub notices: Vec<String>,
    /// Who is signed in by cookie: competitions that they have a role in, the one that matters most first.
    pub foremost: Vec<String>,
}

impl Caller {
    /// Where a sign-in comes from.
    #[must_use]
    pub fn origin(&self) -> Origin {
        Origin { address: self.address, device: self.device.clone() }
    }
}

impl FromRequestParts<App> for Caller {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        if let Some(known) = parts.extensions.get::<Self>() {
            return Ok(known.clone());
        }
        let caller = recognise(parts, app).await?;
        if let (Some(account), Some(arrival)) = (caller.actor.account, Arrival::of(&parts.extensions)) {
            let _ = arrival.account.set(account);
        }
        parts.extensions.insert(caller.clone());
        Ok(caller)
    }
}

async fn recognise(parts: &Parts, app: &App) -> Result<Caller, Problem> {
    let arrival = Arrival::of(&parts.extensions);
    let received = arrival.map_or_else(|| app.clock.now(), |a| a.at);
    let device = parts.headers.get(header::USER_AGENT).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let nobody = Caller {
        actor: Actor::nobody(),
        via: Via::None,
        session: None,
        csrf: String::new(),
        received,
        request_id: arrival.map_or_else(String::new, |a| a.id.to_string()),
        address: parts
            .extensions
            .get::<ConnectInfo<SocketAddr>>()
            .map(|peer| forwarded::client(peer.0.ip(), &parts.headers, &app.config.proxies)),
        device: device.to_owned(),
        notices: once::waiting(app, &parts.headers),
        foremost: Vec::new(),
    };
    if let Some(given) = parts.headers.get(header::AUTHORIZATION) {
        let bad = || Problem::new(StatusCode::UNAUTHORIZED, Sentence::new("bad_token"));
        let secret = given.to_str().ok().and_then(bearer).ok_or_else(bad)?;
        let known = accounts::find_by_token(app, secret, received).await?.ok_or_else(bad)?;
        return Ok(Caller { actor: known.actor, via: Via::Token, ..nobody });
    }
    let site = site(&parts.headers, &app.config.public_url);
    let changes = !matches!(parts.method, Method::GET | Method::HEAD | Method::OPTIONS);
    if changes && site == Site::Other {
        return Err(cross_site());
    }
    let jar = CookieJar::from_headers(&parts.headers);
    let Some(secret) = jar.get(name(app)).map(Cookie::value) else { return Ok(nobody) };
    let Some(Known { actor, session }) = accounts::find_by_cookie(app, secret, received).await? else {
        return Ok(nobody);
    };
    if changes && site != Site::Own {
        return Err(cross_site());
    }
    let foremost = competitions::foremost(app, &actor, received);
    Ok(Caller { actor, via: Via::Cookie, session, csrf: csrf(secret), foremost, ..nobody })
}

/// The token of `Bearer TOKEN` (RFC 6750 §2.1).
fn bearer(value: &str) -> Option<&str> {
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim()).filter(|token| !token.is_empty())
}

fn cross_site() -> Problem {
    tracing::warn!(target: "problem", "a change from another site was refused");
    Problem::new(StatusCode::FORBIDDEN, Sentence::new("cross_site"))
}

/// Where a request was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Site {
    /// On one of our own pages, or by hand.
    Own,
    /// On somebody else's.
    Other,
    /// It does not say: no browser of today.
    Unknown,
}

/// What the browser says: `Sec-Fetch-Site`, else `Origin` against our address.
fn site(headers: &HeaderMap, public_url: &str) -> Site {
    let text = |name| headers.get(name).map(|v: &http::HeaderValue| v.to_str().unwrap_or_default());
    if let Some(fetched) = text(header::HeaderName::from_static("sec-fetch-site")) {
        return if matches!(fetched, "same-origin" | "none") { Site::Own } else { Site::Other };
    }
    match text(header::ORIGIN) {
        None => Site::Unknown,
        Some(origin) if origin.eq_ignore_ascii_case(public_url) => Site::Own,
        // The host asked for is what the browser connected to: a page elsewhere cannot choose it.
        Some(origin) => match (origin.split_once("://"), text(header::HOST)) {
            (Some((_, authority)), Some(host)) if authority.eq_ignore_ascii_case(host) => Site::Own,
            _ => Site::Other,
        },
    }
}

/// Made from the session's secret: nothing more to store, and another at each sign-in.
fn csrf(secret: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(b"form of session ");
    hash.update(secret);
    BASE64_URL_SAFE_NO_PAD.encode(hash.finalize())
}

/// Fields of a form, with the hidden field `csrf` checked against the session and taken out. Forms
/// are for people: a token gets 403, and programs use the API. Unknown fields are refused where `T` refuses them, repeated ones always.
#[derive(Clone, Debug)]
pub struct Form<T>(pub T);

impl<T: DeserializeOwned> FromRequest<App> for Form<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let (mut parts, body) = request.into_parts();
        let caller = Caller::from_request_parts(&mut parts, app).await?;
        people_only(&caller)?;
        if !is_kind(&parts.headers, "application", "x-www-form-urlencoded") {
            let sentence = Sentence::new("unsupported_media_type").with("wanted", "application/x-www-form-urlencoded");
            return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, sentence));
        }
        let limit = if caller.actor.account.is_some() { SMALL } else { TINY };
        let bytes = collect(&parts.headers, body, limit).await?;
        let (given, fields): (Vec<_>, Vec<_>) = form_urlencoded::parse(&bytes).partition(|(name, _)| name == "csrf");
        if let Some(typed) = parts.extensions.get::<Typed>() {
            let fields = fields.iter().map(|(name, value)| (name.to_string(), value.to_string())).collect();
            typed.keep(Sent { fields, file: None });
        }
        ours(&caller, &given.iter().map(|(_, value)| value.as_bytes()).collect::<Vec<_>>())?;
        let text = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
        read::pairs(text.as_bytes()).map(Self)
    }
}

/// What a form brought along.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sent {
    /// Names and values in their order, the hidden field `csrf` left out.
    pub fields: Vec<(String, String)>,
    /// What the file that was chosen is called.
    pub file: Option<String>,
}

/// The same, kept beside the request so that the page of a problem can say what was typed: who has to
/// sign in anew, or whose form has become too old, must not type it twice. All of it is here, secrets
/// too; `pages::typed` knows what may be shown.
#[derive(Clone, Debug, Default)]
pub struct Typed(Arc<Mutex<Sent>>);

impl Typed {
    /// Keeps what was sent.
    pub(super) fn keep(&self, sent: Sent) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = sent;
    }

    /// What was sent, once.
    #[must_use]
    pub fn take(&self) -> Sent {
        std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// Refuses programs: forms are for people, programs use the API.
pub(super) fn people_only(caller: &Caller) -> Result<(), Problem> {
    if caller.via == Via::Token {
        return Err(Problem::new(StatusCode::FORBIDDEN, Sentence::new("needs_session")));
    }
    Ok(())
}

/// Refuses a form that does not carry the value that only our own pages know: exactly once.
pub(super) fn ours(caller: &Caller, given: &[&[u8]]) -> Result<(), Problem> {
    let right = matches!(given, [one] if bool::from(one.ct_eq(caller.csrf.as_bytes())));
    if caller.via == Via::Cookie && !right {
        return Err(Problem::new(StatusCode::FORBIDDEN, Sentence::new("form_expired")));
    }
    Ok(())
}

/// `__Host-` binds a cookie to https, this host and the root path; browsers refuse it on plain http.
fn name(app: &App) -> &'static str {
    if app.config.secure() { "__Host-sid" } else { "sid" }
}

/// Whether a session's cookie comes along, of whatever worth.
#[must_use]
pub fn has_cookie(headers: &HeaderMap, app: &App) -> bool {
    headers.contains_key(header::COOKIE) && CookieJar::from_headers(headers).get(name(app)).is_some()
}

/// `Set-Cookie` for a new session; the server ends it sooner when it lies idle.
#[must_use]
pub fn cookie(app: &App, secret: &str) -> String {
    set_cookie(app, secret.to_owned(), accounts::ABSOLUTE.unsigned_abs())
}

/// `Set-Cookie` that takes the session's cookie away.
#[must_use]
pub fn no_cookie(app: &App) -> String {
    set_cookie(app, String::new(), Duration::ZERO)
}

/// Whether this secret is that of the session the request came with.
#[must_use]
pub fn is_of(caller: &Caller, secret: &str) -> bool {
    caller.via == Via::Cookie && bool::from(csrf(secret).as_bytes().ct_eq(caller.csrf.as_bytes()))
}

/// How long a browser is known again that was shown the page of a one-time link.
const SHOWN: Duration = Duration::from_hours(1);

fn browser_name(app: &App) -> &'static str {
    if app.config.secure() { "__Host-link" } else { "link" }
}

/// What only the browser knows that was shown the page of a one-time link.
#[must_use]
pub fn browser(headers: &HeaderMap, app: &App) -> Option<String> {
    let jar = CookieJar::from_headers(headers);
    let value = jar.get(browser_name(app))?.value();
    let ours = BASE64_URL_SAFE_NO_PAD.decode(value).is_ok_and(|bytes| bytes.len() == 32);
    ours.then(|| value.to_owned())
}

/// `Set-Cookie` for it. Sent along when the link is opened once more from a message, which is another site.
#[must_use]
pub fn browser_cookie(app: &App, value: String) -> String {
    set(app, browser_name(app), value, SHOWN)
}

/// `Set-Cookie` that takes it away.
#[must_use]
pub fn no_browser_cookie(app: &App) -> String {
    set(app, browser_name(app), String::new(), Duration::ZERO)
}

fn set_cookie(app: &App, value: String, life: Duration) -> String {
    set(app, name(app), value, life)
}

fn set(app: &App, name: &'static str, value: String, life: Duration) -> String {
    let cookie = Cookie::build((name, value)).http_only(true).secure(app.config.secure());
    cookie.same_site(SameSite::Lax).path("/").max_age(life.try_into().unwrap_or_default()).build().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site_of(pairs: &[(&'static str, &'static str)]) -> Site {
        let headers = pairs.iter().map(|(n, v)| (n.parse::<header::HeaderName>().unwrap(), v.parse().unwrap()));
        site(&headers.collect(), "https://scores.example.org")
    }

    #[test]
    fn what_the_browser_says_decides_where_a_request_was_made() {
        assert_eq!(site_of(&[]), Site::Unknown);
        assert_eq!(site_of(&[("sec-fetch-site", "same-origin")]), Site::Own);
        assert_eq!(site_of(&[("sec-fetch-site", "same-site")]), Site::Other);
        assert_eq!(site_of(&[("sec-fetch-site", "cross-site"), ("origin", "https://scores.example.org")]), Site::Other);
        assert_eq!(site_of(&[("origin", "https://scores.example.org")]), Site::Own);
        assert_eq!(site_of(&[("origin", "null"), ("host", "null")]), Site::Other);
        assert_eq!(site_of(&[("origin", "https://elsewhere.example"), ("host", "scores.example.org")]), Site::Other);
        assert_eq!(site_of(&[("origin", "http://192.0.2.7:8080"), ("host", "192.0.2.7:8080")]), Site::Own);
    }

    #[test]
    fn a_bearer_token_is_read_whatever_the_case_of_its_scheme() {
        assert_eq!(bearer("Bearer abc"), Some("abc"));
        assert_eq!(bearer("bearer  abc "), Some("abc"));
        assert_eq!(bearer("Basic abc"), None);
        assert_eq!(bearer("Bearer "), None);
        assert_eq!(bearer("Bearer"), None);
    }
}
