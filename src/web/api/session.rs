//! Signing in and out for programs that keep cookies, and for our own scripts.

use crate::actions::accounts::{self, SignedIn};
use crate::app::App;
use crate::web::extract::Json;
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::{Caller, cookie, no_cookie};
use crate::words::Sentence;
use axum::extract::State;
use axum::response::IntoResponse;
use http::{StatusCode, header};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(sign_in, sign_out))
}

/// E-mail and password, or the code of a one-time link.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Credentials {
    /// As registered; case does not matter.
    #[schema(nullable = false, example = "ines@example.org")]
    email: Option<String>,
    /// Exactly as chosen.
    #[schema(nullable = false, max_length = 256)]
    password: Option<String>,
    /// Of a link; used up by this.
    #[schema(nullable = false)]
    code: Option<String>,
}

/// A session has begun; its secret is in `Set-Cookie` alone.
#[derive(Debug, Serialize, ToSchema)]
pub struct SessionView {
    /// Account number.
    account: i64,
    /// When it ends at the latest; sooner when not used for a day.
    #[schema(format = DateTime)]
    expires_at: String,
}

/// Sign in.
///
/// Ends the session that the request came with, and begins a new one. Wrong credentials are 401,
/// whoever they are of; too many tries 429.
#[utoipa::path(post, path = "/session", tag = "session", request_body = Credentials, responses(
    (status = 201, description = "Signed in.", body = SessionView, headers(("Set-Cookie" = String, description = "The session."))),
    Problems, WriteProblems))]
async fn sign_in(State(app): State<App>, caller: Caller, Json(sent): Json<Credentials>) -> Answer {
    let from = caller.origin();
    let begun = match (&sent.email, &sent.password, &sent.code) {
        (Some(email), Some(password), None) => accounts::sign_in(&app, email, password, &from).await?,
        (None, None, Some(code)) => accounts::sign_in_by_link(&app, code, None, &from).await?,
        _ => {
            let fault = crate::rules::fault::Fault::new("", Sentence::new("sign_in_needs"));
            return Err(Problem::faults(vec![fault]));
        }
    };
    let SignedIn { account, secret, expires } = begun;
    if let Some(session) = caller.session {
        // It may have ended by itself meanwhile.
        let _ = accounts::end_session(&app, &caller.actor, session).await;
    }
    let view = SessionView { account, expires_at: expires.to_string() };
    Ok((StatusCode::CREATED, [(header::SET_COOKIE, cookie(&app, &secret))], Json(view)).into_response())
}

/// Sign out.
///
/// Ends the session of the request's cookie.
#[utoipa::path(delete, path = "/session", tag = "session", responses(
    (status = 204, description = "Signed out."), Problems))]
async fn sign_out(State(app): State<App>, caller: Caller) -> Answer {
    let session = caller.session.ok_or_else(Problem::not_signed_in)?;
    accounts::end_session(&app, &caller.actor, session).await?;
    Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, no_cookie(&app))]).into_response())
}
