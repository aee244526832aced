//! Bearer tokens, for programs. They may what their owner may, and end by themselves.

use super::{AccountError, days, fault, fold, hashed, own, secret};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::Refusal;
use crate::store::tokens::Token;
use crate::words::Sentence;
use jiff::Timestamp;

/// How long a token holds when nobody says.
pub const TOKEN_DAYS: u32 = 90;
/// Longest life of a token.
pub const MOST_DAYS: u32 = 400;
/// Longest name.
const NAME: usize = 80;
/// How a token begins, so that scanners for leaked secrets can know it.
const PREFIX: &str = "twt_";

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

/// Issues a token: for the caller (`email`: `None`), or, on the command line, for an account.
pub async fn issue_token(
    app: &App,
    by: &Actor,
    email: Option<&str>,
    name: &str,
    for_days: u32,
) -> Result<Issued, AccountError> {
    let account = match email {
        None => own(by)?,
        Some(_) if !by.operator => return Err(Refusal::NotAllowed(Sentence::new("not_allowed")).into()),
        Some(email) => {
            let found = app.store.find_account_by_email(&fold(email)).await?;
            found.ok_or_else(|| Refusal::NotFound(Sentence::new("unknown_account")))?.id
        }
    };
    let name = crate::rules::people::check_line(name, NAME).map_err(|sentence| fault("/name", sentence))?;
    if !(1..=MOST_DAYS).contains(&for_days) {
        return Err(fault("/days", Sentence::new("token_days").with("most", MOST_DAYS)));
    }
    let (secret, now) = (format!("{PREFIX}{}", secret(app)), app.clock.now());
    let expires = now + days(for_days);
    let id = app.store.add_token(&hashed(&secret), account, &name, now, expires).await?;
    Ok(Issued { id, secret, expires })
}

/// Own tokens, newest first, also those that have ended.
pub async fn list_tokens(app: &App, by: &Actor) -> Result<Vec<Token>, AccountError> {
    Ok(app.store.list_tokens(own(by)?).await?)
}

/// Revokes a token: an own one, or any by who administers the service.
pub async fn revoke_token(app: &App, by: &Actor, id: i64) -> Result<(), AccountError> {
    let unknown = || AccountError::Refused(Refusal::NotFound(Sentence::new("unknown_token")));
    if by.account.is_none() && !by.operator {
        return Err(Refusal::NotSignedIn.into());
    }
    let token = app.store.find_token_by_id(id).await?.ok_or_else(unknown)?;
    let own = by.account == Some(token.account);
    if !own && permit(by, Act::Administer).is_err() {
        // Whether there is such a token is nobody else's business.
        return Err(unknown());
    }
    if app.store.revoke_token(id, app.clock.now()).await? { Ok(()) } else { Err(unknown()) }
}
