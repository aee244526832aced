//! Who is asking: a cookie or a bearer token becomes an [`Actor`].
//!
//! Cross-site protection stands here too: nobody is taken for signed in by a cookie on a request
//! that changes something and comes from another site.

use crate::app::App;
use crate::rules::access::Actor;
use crate::web::problem::Problem;
use axum::extract::{FromRequest, FromRequestParts, Request};
use http::request::Parts;
use jiff::Timestamp;
use serde::de::DeserializeOwned;
use std::net::IpAddr;

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
/// not valid is 401, a cookie on a cross-site change is 403.
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
    /// The peer's address, where the listener tells it. No forwarding header is trusted.
    pub address: Option<IpAddr>,
}

impl FromRequestParts<App> for Caller {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let _ = (parts, app);
        todo!()
    }
}

/// Fields of a form, with the hidden field `csrf` checked against the session and taken out.
/// Unknown fields are refused where `T` refuses them.
#[derive(Clone, Debug)]
pub struct Form<T>(pub T);

impl<T: DeserializeOwned> FromRequest<App> for Form<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let _ = (request, app);
        todo!()
    }
}

/// `Set-Cookie` for a new session.
#[must_use]
pub fn cookie(app: &App, secret: &str) -> String {
    let _ = (app, secret);
    todo!()
}

/// `Set-Cookie` that takes the session's cookie away.
#[must_use]
pub fn no_cookie(app: &App) -> String {
    let _ = app;
    todo!()
}
