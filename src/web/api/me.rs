//! The own account: who am I, my password, my sessions.

use crate::actions::accounts;
use crate::app::App;
use crate::rules::access::{Grant, Role};
use crate::store::sessions::Session;
use crate::web::extract::{Json, Path};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::{Caller, Via};
use crate::words::Sentence;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(show_me))
        .routes(routes!(set_password))
        .routes(routes!(list_sessions, end_other_sessions))
        .routes(routes!(end_session))
}

/// What an account may be, and where.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoleView {
    /// `organiser`, `referee`, `staff`, `judge` or `athlete`.
    #[schema(value_type = RoleName, example = "staff")]
    role: Role,
    /// Slug; without one: of all competitions (organisers and referees only).
    #[schema(nullable = false, example = "saltmarsh")]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    competition: Option<String>,
    /// Slug, for staff.
    #[schema(nullable = false, example = "quayside")]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    gym: Option<String>,
    /// Own bib, for athletes.
    #[schema(nullable = false, value_type = Option<i64>, minimum = 1, maximum = 4_294_967_295_i64)]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bib: Option<u32>,
    /// Own code, for judges.
    #[schema(nullable = false)]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    judge: Option<String>,
}

/// The names of the roles.
#[derive(ToSchema)]
#[schema(rename_all = "lowercase")]
pub enum RoleName {
    /// Answers for the result.
    Organiser,
    /// Flags and rules.
    Referee,
    /// Enters and attests for a gym.
    Staff,
    /// Attests.
    Judge,
    /// Enters own performances.
    Athlete,
}

impl From<Grant> for RoleView {
    fn from(Grant { role, competition, gym, bib, judge }: Grant) -> Self {
        Self { role, competition, gym, bib, judge }
    }
}

impl From<RoleView> for Grant {
    fn from(RoleView { role, competition, gym, bib, judge }: RoleView) -> Self {
        Self { role, competition, gym, bib, judge }
    }
}

/// The own account.
#[derive(Debug, Serialize, ToSchema)]
pub struct MeView {
    /// Account number.
    #[schema(example = 12)]
    account: i64,
    /// As registered.
    #[schema(example = "desk@quayside.example")]
    email: String,
    /// What it may be.
    roles: Vec<RoleView>,
    /// `cookie` or `token`.
    #[schema(example = "token")]
    signed_in_by: &'static str,
}

/// Who am I?
#[utoipa::path(get, path = "/me", tag = "me", responses(
    (status = 200, description = "The own account.", body = MeView), Problems))]
async fn show_me(State(app): State<App>, caller: Caller) -> Answer {
    let id = caller.actor.account.ok_or_else(Problem::not_signed_in)?;
    let account = accounts::find_account(&app, &caller.actor, id).await?;
    let roles = caller.actor.grants.into_iter().map(RoleView::from).collect();
    let signed_in_by = if caller.via == Via::Token { "token" } else { "cookie" };
    Ok(Json(MeView { account: id, email: account.email, roles, signed_in_by }).into_response())
}

/// A change of password.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordChange {
    /// The one in use; null or left out: there is none.
    current: Option<String>,
    /// 10 to 256 characters; nothing that everybody guesses.
    #[schema(min_length = 10, max_length = 256, example = "four plain words here")]
    new: String,
}

/// Set the own password.
///
/// Ends all other sessions. Needs a session: a token is not enough.
#[utoipa::path(put, path = "/me/password", tag = "me", request_body = PasswordChange, responses(
    (status = 204, description = "Set."), Problems, WriteProblems))]
async fn set_password(State(app): State<App>, caller: Caller, sent: Result<Json<PasswordChange>, Problem>) -> Answer {
    let session = by_session(&caller)?;
    let Json(sent) = sent?;
    accounts::set_password(&app, &caller.actor, sent.current.as_deref(), &sent.new, Some(session)).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// The session that the caller is in; 403 for a token.
pub(super) fn by_session(caller: &Caller) -> Result<i64, Problem> {
    match (caller.session, caller.via) {
        (Some(session), Via::Cookie) => Ok(session),
        (_, Via::Token) => Err(Problem::new(StatusCode::FORBIDDEN, Sentence::new("needs_session"))),
        _ => Err(Problem::not_signed_in()),
    }
}

/// A session of the own account.
#[derive(Debug, Serialize, ToSchema)]
pub struct OwnSession {
    /// To end it by.
    id: i64,
    /// What the browser called itself.
    #[schema(example = "Firefox on Android")]
    device: String,
    /// When it began.
    #[schema(format = DateTime)]
    created_at: String,
    /// When it was last used, to within five minutes.
    #[schema(format = DateTime)]
    seen_at: String,
    /// Whether this request came with it.
    current: bool,
}

/// List the own sessions.
#[utoipa::path(get, path = "/me/sessions", tag = "me", responses(
    (status = 200, description = "Last used first.", body = Vec<OwnSession>), Problems))]
async fn list_sessions(State(app): State<App>, caller: Caller) -> Answer {
    let view = |s: Session| OwnSession {
        current: caller.session == Some(s.id),
        id: s.id,
        device: s.device,
        created_at: s.created_at.to_string(),
        seen_at: s.seen_at.to_string(),
    };
    let sessions = accounts::list_sessions(&app, &caller.actor).await?;
    Ok(Json(sessions.into_iter().map(view).collect::<Vec<_>>()).into_response())
}

/// End all own sessions but this one.
#[utoipa::path(delete, path = "/me/sessions", tag = "me", responses(
    (status = 204, description = "Ended."), Problems))]
async fn end_other_sessions(State(app): State<App>, caller: Caller) -> Answer {
    accounts::end_other_sessions(&app, &caller.actor, caller.session).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// End one of the own sessions.
#[utoipa::path(delete, path = "/me/sessions/{id}", tag = "me", params(("id" = i64, Path, description = "Its number.")), responses(
    (status = 204, description = "Ended."), Problems))]
async fn end_session(State(app): State<App>, caller: Caller, Path(id): Path<i64>) -> Answer {
    accounts::end_session(&app, &caller.actor, id).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}
