//! Accounts: signing in and out, roles, tokens, one-time links, passwords.
//!
//! Secrets (cookies, tokens, links) are 256 random bits, shown once and stored as SHA-256;
//! passwords are argon2id, worked out off the async threads, as many at once as there are cores
//! but one. Sign-in tells nobody which accounts exist. What it does not do: cookies and headers.
//!
//! [`gate`](Gate) holds what slows guessing down, `password` what may be a password, `sign_in` the
//! ways in, `roles` who may be what, `tokens` what programs use.

mod claims;
mod common;
mod forgotten;
mod gate;
mod invite;
mod password;
mod roles;
mod sign_in;
mod tokens;

pub use claims::{Claim, Claimed, CodeRow, Codes, MOST_CODES, Slip, claim, list_codes, make_codes};
pub use forgotten::{FORGOTTEN, send_forgotten};
pub use gate::Gate;
pub use invite::{Invitation, Invited, invite_gyms, mail_link, relink, relink_by_mail};
pub use password::{LEAST, MOST, hash as hash_password, verify as verify_password};
pub use roles::{
    Added, NewAccount, RolesOf, add_account, add_roles, check_account, close_account, find_account, list_accounts,
    list_roles, may_invite, new_link, only_one, remove_role,
};
pub use sign_in::{
    ABSOLUTE, IDLE, Known, Origin, SignedIn, end_other_sessions, end_session, find_by_cookie, find_by_token,
    for_browser, link_span, list_sessions, needs_current, set_password, sign_in, sign_in_by_link,
};
pub use tokens::{Issued, MOST_DAYS, TOKEN_DAYS, issue_token, list_tokens, revoke_token};

use crate::app::App;
use crate::rules::access::{Actor, Denied};
use crate::rules::fault::Fault;
use crate::rules::ledger::Refusal;
use crate::store::StoreError;
use crate::words::Sentence;
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};
use std::time::Duration;

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
    Store(#[from] StoreError),
    /// Hashing broke.
    #[error(transparent)]
    Broken(#[from] anyhow::Error),
}

impl From<Refusal> for AccountError {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<Denied> for AccountError {
    fn from(denied: Denied) -> Self {
        Self::Refused(match denied {
            Denied::NotSignedIn => Refusal::NotSignedIn,
            Denied::NotAllowed => Refusal::NotAllowed(Sentence::new("not_allowed")),
        })
    }
}

/// A fault at `pointer`.
fn fault(pointer: &str, sentence: Sentence) -> AccountError {
    Refusal::Faults(vec![Fault::new(pointer, sentence)]).into()
}

/// The account that acts. The command line is nobody's.
fn own(by: &Actor) -> Result<i64, AccountError> {
    by.account.ok_or(AccountError::Refused(Refusal::NotSignedIn))
}

/// A fresh secret, 256 bits, as it is shown.
fn secret(app: &App) -> String {
    BASE64_URL_SAFE_NO_PAD.encode(app.keys.bytes())
}

/// A secret as it is stored. It is random: no salt and no slow hash are needed.
fn hashed(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// An address as it is compared.
fn fold(email: &str) -> String {
    crate::rules::people::fold_name(email.trim())
}

/// A span of whole days.
fn days(n: u32) -> jiff::SignedDuration {
    jiff::SignedDuration::from_hours(24 * i64::from(n))
}
