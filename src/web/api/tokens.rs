//! Bearer tokens of the own account, for programs.

use super::me::by_session;
use crate::actions::accounts::{self, Issued, TOKEN_DAYS};
use crate::app::App;
use crate::store::tokens::Token;
use crate::web::extract::{Json, Path};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_tokens, issue_token)).routes(routes!(revoke_token))
}

/// A token to issue.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewToken {
    /// What its owner calls it.
    #[schema(max_length = 80, example = "gym desk import")]
    name: String,
    /// How long it holds; 90 unless told.
    #[serde(default = "usual_days")]
    #[schema(value_type = i64, minimum = 1, maximum = 400, default = 90)]
    days: u32,
}

fn usual_days() -> u32 {
    TOKEN_DAYS
}

/// A token was issued; it is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct IssuedToken {
    /// To revoke it by.
    #[schema(example = 7)]
    id: i64,
    /// To be sent as `Authorization: Bearer …`.
    token: String,
    /// When it ends.
    #[schema(format = DateTime)]
    expires_at: String,
}

/// A token, without its secret.
#[derive(Debug, Serialize, ToSchema)]
pub struct TokenView {
    /// To revoke it by.
    #[schema(example = 7)]
    id: i64,
    /// What its owner calls it.
    name: String,
    /// When it was issued.
    #[schema(format = DateTime)]
    created_at: String,
    /// When it ends.
    #[schema(format = DateTime)]
    expires_at: String,
    /// When it was revoked.
    #[schema(format = DateTime)]
    revoked_at: Option<String>,
}

impl From<Token> for TokenView {
    fn from(token: Token) -> Self {
        Self {
            id: token.id,
            name: token.name,
            created_at: token.created_at.to_string(),
            expires_at: token.expires_at.to_string(),
            revoked_at: token.revoked_at.map(|at| at.to_string()),
        }
    }
}

/// List the own tokens.
#[utoipa::path(get, path = "/me/tokens", tag = "me", responses(
    (status = 200, description = "Newest first.", body = Vec<TokenView>), Problems))]
async fn list_tokens(State(app): State<App>, caller: Caller) -> Answer {
    let tokens = accounts::list_tokens(&app, &caller.actor).await?;
    Ok(Json(tokens.into_iter().map(TokenView::from).collect::<Vec<_>>()).into_response())
}

/// Issue a token.
///
/// It may what the account may. Needs a session: a token cannot make tokens.
#[utoipa::path(post, path = "/me/tokens", tag = "me", request_body = NewToken, responses(
    (status = 201, description = "Issued; shown this once.", body = IssuedToken), Problems, WriteProblems))]
async fn issue_token(State(app): State<App>, caller: Caller, sent: Result<Json<NewToken>, Problem>) -> Answer {
    by_session(&caller)?;
    let Json(sent) = sent?;
    let Issued { id, secret, expires } =
        accounts::issue_token(&app, &caller.actor, None, &sent.name, sent.days).await?;
    let view = IssuedToken { id, token: secret, expires_at: expires.to_string() };
    Ok((StatusCode::CREATED, Json(view)).into_response())
}

/// Revoke a token.
///
/// An own one; any, for who organises all competitions.
#[utoipa::path(delete, path = "/me/tokens/{id}", tag = "me", params(("id" = i64, Path, description = "Its number.")), responses(
    (status = 204, description = "Revoked."), Problems))]
async fn revoke_token(State(app): State<App>, caller: Caller, Path(id): Path<i64>) -> Answer {
    accounts::revoke_token(&app, &caller.actor, id).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}
