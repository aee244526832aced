//! Accounts: signing in and out, roles, tokens, one-time links, passwords.
//!
//! Secrets (cookies, tokens, links) are 256 random bits, shown once and stored as SHA-256;
//! passwords are argon2id, worked out off the async threads, as many at once as there are cores
//! but one. Sign-in tells nobody which accounts exist. What it does not do: cookies and headers.

use crate::app::App;
use crate::rules::access::{Actor, Grant};
use crate::rules::ledger::Refusal;
use jiff::Timestamp;
use std::net::IpAddr;
use std::time::Duration;

/// Throttles of sign-in and the bound on password hashing. One a process.
#[derive(Debug, Default)]
pub struct Gate {}

/// Why an account's action was not done.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// Permission, faults, unknown things.
    #[error("refused: {0:?}")]
    Refused(Refusal),
    /// E-mail, password or link do not fit together; never says which.
    #[error("wrong sign-in")]
    WrongSignIn,
    /// Too many tries; wait.
    #[error("too many tries")]
    Throttled(Duration),
    /// The database.
    #[error(transparent)]
    Store(anyhow::Error),
}

/// A new session.
#[derive(Clone, Debug)]
pub struct SignedIn {
    /// Account number.
    pub account: i64,
    /// The cookie's value; shown once.
    pub secret: String,
    /// When it ends at the latest.
    pub expires: Timestamp,
}

/// Who holds a valid session or token.
#[derive(Clone, Debug)]
pub struct Known {
    /// For the rules.
    pub actor: Actor,
    /// Number of the session, when by session.
    pub session: Option<i64>,
}

/// An account to add.
#[derive(Clone, Debug, Default)]
pub struct NewAccount {
    /// As the person writes it.
    pub email: String,
    /// Without one, a one-time link is made.
    pub password: Option<String>,
    /// What it may be.
    pub grants: Vec<Grant>,
}

/// An account was added, or an existing one got more roles.
#[derive(Clone, Debug)]
pub struct Added {
    /// Its number.
    pub account: i64,
    /// False: there was one with this e-mail already, which got the roles.
    pub created: bool,
    /// The secret of a one-time sign-in link (7 days), when no password was given:
    /// `{public_url}/signin/link?code={secret}`.
    pub link: Option<String>,
}

/// A new token.
#[derive(Clone, Debug)]
pub struct Issued {
    /// Its number, to revoke it by.
    pub id: i64,
    /// The token; shown once.
    pub secret: String,
    /// When it ends.
    pub expires: Timestamp,
}

/// Signs in with a password.
pub async fn sign_in(app: &App, email: &str, password: &str, from: Option<IpAddr>) -> Result<SignedIn, AccountError> {
    let _ = (app, email, password, from);
    todo!()
}

/// Signs in with the secret of a one-time link, which is used up.
pub async fn sign_in_by_link(app: &App, secret: &str, from: Option<IpAddr>) -> Result<SignedIn, AccountError> {
    let _ = (app, secret, from);
    todo!()
}

/// Ends the session of this cookie.
pub async fn sign_out(app: &App, secret: &str) -> Result<(), AccountError> {
    let _ = (app, secret);
    todo!()
}

/// Who has this cookie; `None`: nobody, or it has ended.
pub async fn find_by_cookie(app: &App, secret: &str, now: Timestamp) -> Result<Option<Known>, AccountError> {
    let _ = (app, secret, now);
    todo!()
}

/// Who has this bearer token; `None`: nobody, or it has ended.
pub async fn find_by_token(app: &App, secret: &str, now: Timestamp) -> Result<Option<Known>, AccountError> {
    let _ = (app, secret, now);
    todo!()
}

/// Adds an account, or gives an existing one more roles.
pub async fn add_account(app: &App, by: &Actor, new: NewAccount) -> Result<Added, AccountError> {
    let _ = (app, by, new);
    todo!()
}

/// Sets the own password; the current one is needed where there is one.
pub async fn set_password(app: &App, by: &Actor, current: Option<&str>, new: &str) -> Result<(), AccountError> {
    let _ = (app, by, current, new);
    todo!()
}

/// Issues a token: for the caller (`email`: `None`), or, on the command line, for an account.
pub async fn issue_token(
    app: &App,
    by: &Actor,
    email: Option<&str>,
    name: &str,
    days: u32,
) -> Result<Issued, AccountError> {
    let _ = (app, by, email, name, days);
    todo!()
}

/// Revokes a token: an own one, or any by an organiser of all competitions or the command line.
pub async fn revoke_token(app: &App, by: &Actor, id: i64) -> Result<(), AccountError> {
    let _ = (app, by, id);
    todo!()
}
