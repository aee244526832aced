//! Accounts and roles, for organisers.

use super::me::RoleView;
use crate::actions::accounts::{self, Added, NewAccount, RolesOf};
use crate::actions::language;
use crate::actions::letters::Link;
use crate::actions::mail::Outcome;
use crate::app::App;
use crate::rules::access::Grant;
use crate::store::grants::Granted;
use crate::web::extract::{Json, Path, Query};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Most accounts a page.
const PAGE: u32 = 500;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list_accounts, add_account))
        .routes(routes!(close_account))
        .routes(routes!(make_link))
        .routes(routes!(list_roles_of_account, add_roles))
        .routes(routes!(remove_role))
        .routes(routes!(list_roles_of_competition))
}

/// An account.
#[derive(Debug, Serialize, ToSchema)]
pub struct AccountView {
    /// Number.
    #[schema(example = 12)]
    account: i64,
    /// As registered.
    #[schema(example = "desk@quayside.example")]
    email: String,
    /// Whether it has a password, rather than links only.
    has_password: bool,
    /// When it was added.
    #[schema(format = DateTime)]
    created_at: String,
}

/// Which page of accounts.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct AccountsQuery {
    /// Accounts with a higher number than this.
    #[serde(default)]
    after: i64,
}

/// List accounts.
///
/// At most 500, in order of their numbers. For who organises all competitions.
#[utoipa::path(get, path = "/accounts", tag = "accounts", params(AccountsQuery), responses(
    (status = 200, description = "A page.", body = Vec<AccountView>), Problems))]
async fn list_accounts(State(app): State<App>, caller: Caller, Query(query): Query<AccountsQuery>) -> Answer {
    let found = accounts::list_accounts(&app, &caller.actor, query.after, PAGE).await?;
    let views = found.into_iter().map(|a| AccountView {
        account: a.id,
        email: a.email,
        has_password: a.password_hash.is_some(),
        created_at: a.created_at.to_string(),
    });
    Ok(Json(views.collect::<Vec<_>>()).into_response())
}

/// Somebody to invite.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Invitation {
    /// The person's address.
    #[schema(example = "ines@example.org", max_length = 254)]
    email: String,
    /// What the account may be.
    #[serde(default)]
    roles: Vec<RoleView>,
}

/// Somebody was invited.
#[derive(Debug, Serialize, ToSchema)]
pub struct Invited {
    /// Account number.
    #[schema(example = 12)]
    account: i64,
    /// A one-time sign-in link, good for 7 days, to be handed to the person. Only for a new account.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    link: Option<String>,
    /// What became of the letter with the link. Only where there is a link and the service sends mail.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    letter: Option<LetterView>,
}

/// A letter with a link.
#[derive(Debug, Serialize, ToSchema)]
pub struct LetterView {
    /// As far as a moment shows.
    outcome: LetterOutcome,
    /// Why it was not sent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    detail: Option<String>,
}

/// What became of a letter.
#[derive(Debug, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum LetterOutcome {
    /// The mail server took it.
    Sent,
    /// On its way.
    Waiting,
    /// It was not sent: hand the link on.
    Failed,
}

impl From<Outcome> for LetterView {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Sent => Self { outcome: LetterOutcome::Sent, detail: None },
            Outcome::Waiting => Self { outcome: LetterOutcome::Waiting, detail: None },
            Outcome::Failed(why) => Self { outcome: LetterOutcome::Failed, detail: Some(language::say(&why)) },
        }
    }
}

/// Invite somebody.
///
/// Adds an account, or gives one that exists more roles. Who organises a competition may give
/// roles in it; who organises all, any. Where the service sends mail, the person gets the link by a
/// letter too.
#[utoipa::path(post, path = "/accounts", tag = "accounts", request_body = Invitation, responses(
    (status = 201, description = "A new account, with its link.", body = Invited),
    (status = 200, description = "The account was there and has the roles now.", body = Invited),
    Problems, WriteProblems))]
async fn add_account(State(app): State<App>, caller: Caller, sent: Result<Json<Invitation>, Problem>) -> Answer {
    accounts::may_invite(&caller.actor)?;
    let Json(sent) = sent?;
    let grants: Vec<Grant> = sent.roles.into_iter().map(Grant::from).collect();
    let new = NewAccount { email: sent.email, password: None, grants: grants.clone() };
    let Added { account, email, created, link } = accounts::add_account(&app, &caller.actor, new).await?;
    let status = if created { StatusCode::CREATED } else { StatusCode::OK };
    let link = link.map(|secret| address(&app, &secret));
    let letter = match &link {
        Some(link) => accounts::mail_link(&app, &grants, &email, link).await.map(LetterView::from),
        None => None,
    };
    Ok((status, Json(Invited { account, link: link.map(|link| link.address), letter })).into_response())
}

/// A one-time link of today.
fn address(app: &App, secret: &str) -> Link {
    Link::new(app, secret, app.clock.now() + accounts::link_span())
}

/// Close an account.
///
/// Takes its roles, password, sessions and tokens away. For who organises all competitions.
#[utoipa::path(delete, path = "/accounts/{id}", tag = "accounts", params(("id" = i64, Path, description = "Its number.")), responses(
    (status = 204, description = "Closed."), Problems, WriteProblems))]
async fn close_account(State(app): State<App>, caller: Caller, Path(id): Path<i64>) -> Answer {
    accounts::close_account(&app, &caller.actor, id).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// A one-time sign-in link.
#[derive(Debug, Serialize, ToSchema)]
pub struct LinkView {
    /// Good for 7 days and one sign-in.
    #[schema(example = "https://scores.example.org/signin/link/…")]
    link: String,
    /// What became of the letter with it. Only where the service sends mail.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    letter: Option<LetterView>,
}

/// Make a one-time sign-in link for an account.
///
/// For who organises all competitions. Where the service sends mail, the account's owner gets it by a
/// letter too.
#[utoipa::path(post, path = "/accounts/{id}/link", tag = "accounts", params(("id" = i64, Path, description = "Its number.")), responses(
    (status = 201, description = "Made; shown this once.", body = LinkView), Problems))]
async fn make_link(State(app): State<App>, caller: Caller, Path(id): Path<i64>) -> Answer {
    // Read before: once the link is made nothing may keep it back.
    let whose = accounts::find_account(&app, &caller.actor, id).await?;
    let roles = accounts::list_roles(&app, &caller.actor, RolesOf::Account(id)).await?;
    let grants: Vec<Grant> = roles.into_iter().map(|g| g.grant).collect();
    let link = address(&app, &accounts::new_link(&app, &caller.actor, id).await?);
    let letter = accounts::mail_link(&app, &grants, &whose.email, &link).await.map(LetterView::from);
    Ok((StatusCode::CREATED, Json(LinkView { link: link.address, letter })).into_response())
}

/// A role as given.
#[derive(Debug, Serialize, ToSchema)]
pub struct GrantedRole {
    /// To take it away by.
    #[schema(example = 31)]
    id: i64,
    /// Whose.
    account: i64,
    /// The account's address.
    email: String,
    /// What, and where.
    role: RoleView,
}

impl From<Granted> for GrantedRole {
    fn from(granted: Granted) -> Self {
        Self { id: granted.id, account: granted.account, email: granted.email, role: granted.grant.into() }
    }
}

/// List an account's roles.
#[utoipa::path(get, path = "/accounts/{id}/roles", tag = "accounts", params(("id" = i64, Path, description = "Its number.")), responses(
    (status = 200, description = "All of them.", body = Vec<GrantedRole>), Problems))]
async fn list_roles_of_account(State(app): State<App>, caller: Caller, Path(id): Path<i64>) -> Answer {
    let roles = accounts::list_roles(&app, &caller.actor, RolesOf::Account(id)).await?;
    Ok(Json(roles.into_iter().map(GrantedRole::from).collect::<Vec<_>>()).into_response())
}

/// Roles to give.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRoles {
    /// Which.
    roles: Vec<RoleView>,
}

/// Roles were given.
#[derive(Debug, Serialize, ToSchema)]
pub struct GivenRoles {
    /// Their numbers, in turn; of one that was there already, its old number.
    #[schema(example = json!([31, 32]))]
    ids: Vec<i64>,
}

/// Give an account roles.
#[utoipa::path(post, path = "/accounts/{id}/roles", tag = "accounts", params(("id" = i64, Path, description = "Its number.")),
    request_body = NewRoles, responses(
    (status = 200, description = "Given.", body = GivenRoles), Problems, WriteProblems))]
async fn add_roles(
    State(app): State<App>,
    caller: Caller,
    Path(id): Path<i64>,
    sent: Result<Json<NewRoles>, Problem>,
) -> Answer {
    accounts::may_invite(&caller.actor)?;
    let Json(sent) = sent?;
    let grants: Vec<Grant> = sent.roles.into_iter().map(Grant::from).collect();
    let ids = accounts::add_roles(&app, &caller.actor, id, &grants).await?;
    Ok(Json(GivenRoles { ids }).into_response())
}

/// Take a role away.
#[utoipa::path(delete, path = "/roles/{id}", tag = "accounts", params(("id" = i64, Path, description = "The role's number.")), responses(
    (status = 204, description = "Taken away."), Problems, WriteProblems))]
async fn remove_role(State(app): State<App>, caller: Caller, Path(id): Path<i64>) -> Answer {
    accounts::remove_role(&app, &caller.actor, id).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// List the roles in a competition.
#[utoipa::path(get, path = "/competitions/{competition}/roles", tag = "accounts", params(("competition" = String, Path, description = "Its slug.")), responses(
    (status = 200, description = "All that name it.", body = Vec<GrantedRole>), Problems))]
async fn list_roles_of_competition(State(app): State<App>, caller: Caller, Path(c): Path<String>) -> Answer {
    let roles = accounts::list_roles(&app, &caller.actor, RolesOf::Competition(&c)).await?;
    Ok(Json(roles.into_iter().map(GrantedRole::from).collect::<Vec<_>>()).into_response())
}
