//! Ways in, and sessions.
//!
//! A session ends 24 hours after its last use (longer than the 20 hours from which WCAG 2.2.1 asks
//! for no warning), and 14 days after its start at the latest (ASVS 7.3.1, 7.3.2).

use super::gate::pass;
use super::password::{check, hash_aside, verify_aside};
use super::{AccountError, days, fault, fold, hashed, own, secret};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::ledger::Refusal;
use crate::store::sessions::Session;
use crate::store::ways_in::NewSession;
use crate::words::Sentence;
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use jiff::{SignedDuration, Timestamp};
use sha2::{Digest, Sha256};
use std::net::IpAddr;

/// A session ends this long after its last use …
pub const IDLE: SignedDuration = SignedDuration::from_hours(24);
/// … and this long after its start at the latest.
pub const ABSOLUTE: SignedDuration = SignedDuration::from_hours(14 * 24);
/// A password is set without the old one this long after signing in by a link: whoever has the
/// link of a forgotten password comes straight from it.
pub const FRESH: SignedDuration = SignedDuration::from_mins(15);
/// An answer to a link that was lost on its way is given again this long, to the browser that sent it.
const AGAIN: SignedDuration = SignedDuration::from_mins(2);
/// Use is written down no more often than this.
const SEEN: SignedDuration = SignedDuration::from_mins(5);
/// Longest name of a device kept.
const DEVICE: usize = 160;

/// Where a sign-in comes from.
#[derive(Clone, Debug, Default)]
pub struct Origin {
    /// The peer's address, if known.
    pub address: Option<IpAddr>,
    /// What the browser calls itself, for the owner to recognise the session.
    pub device: String,
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

/// Signs in with a password.
pub async fn sign_in(app: &App, email: &str, password: &str, from: &Origin) -> Result<SignedIn, AccountError> {
    let folded = fold(email);
    pass(app, Some(&folded), from.address).await?;
    let account = app.store.find_account_by_email(&folded).await?;
    let phc = account.as_ref().and_then(|a| a.password_hash.as_deref());
    let (right, old) = verify_aside(app, password, phc).await?;
    let Some(account) = account.filter(|_| right) else {
        tracing::info!(target: "sign_in", outcome = "wrong", by = "password");
        return Err(AccountError::WrongSignIn);
    };
    let anew = if old { Some(hash_aside(app, password).await?) } else { None };
    let new = Begun::new(app, from);
    let verified = account.password_hash.as_deref().unwrap_or_default();
    let begun = app.store.sign_in_by_password(account.id, verified, anew.as_deref(), new.session(), new.now).await?;
    // It took a while to look at: its owner may have changed it meanwhile.
    if begun { Ok(new.of(account.id)) } else { Err(AccountError::WrongSignIn) }
}

/// Signs in with the secret of a one-time link, which is used up. `browser`: what only the browser knows
/// that was shown the link's page ([`for_browser`]). With it the session's secret follows from both, so that
/// whoever lost the answer and sends the same again within two minutes gets the same session, and nobody
/// else does; once that session has ended, the link is used.
pub async fn sign_in_by_link(
    app: &App,
    secret: &str,
    browser: Option<&str>,
    from: &Origin,
) -> Result<SignedIn, AccountError> {
    pass(app, None, from.address).await?;
    // A link comes by mail or from an organiser: whoever made the account with a code, under an
    // address that was not theirs, does not share it with its owner.
    let new = match browser {
        Some(browser) => Begun::with(app, from, of_both(secret, browser)),
        None => Begun::new(app, from),
    };
    let again = new.now.checked_sub(AGAIN).unwrap_or(new.now);
    let Some(account) = app.store.sign_in_by_link(&hashed(secret), new.session(), new.now, again).await? else {
        tracing::info!(target: "sign_in", outcome = "wrong", by = "link");
        return Err(AccountError::WrongSignIn);
    };
    Ok(new.of(account))
}

/// A session that is to begin, with its secret.
pub(super) struct Begun {
    secret: String,
    hash: [u8; 32],
    device: String,
    now: Timestamp,
}

/// What a browser is to know before it uses a link: 256 random bits.
#[must_use]
pub fn for_browser(app: &App) -> String {
    secret(app)
}

/// The secret of the session that a link begins in one browser: who lacks either cannot tell it.
fn of_both(link: &str, browser: &str) -> String {
    let mut hash = Sha256::new();
    for part in ["session of a link", link, browser] {
        hash.update(Sha256::digest(part));
    }
    BASE64_URL_SAFE_NO_PAD.encode(hash.finalize())
}

impl Begun {
    /// With a new secret.
    pub(super) fn new(app: &App, from: &Origin) -> Self {
        Self::with(app, from, secret(app))
    }

    fn with(app: &App, from: &Origin, secret: String) -> Self {
        let device = from.device.chars().filter(|c| !c.is_control()).take(DEVICE).collect();
        Self { hash: hashed(&secret), secret, device, now: app.clock.now() }
    }

    /// When it begins.
    pub(super) const fn now(&self) -> Timestamp {
        self.now
    }

    /// As it is kept.
    pub(super) fn session(&self) -> NewSession<'_> {
        NewSession { hash: &self.hash, device: &self.device, expires: self.now + IDLE }
    }

    /// It has begun.
    pub(super) fn of(self, account: i64) -> SignedIn {
        tracing::info!(target: "sign_in", outcome = "in", account);
        SignedIn { account, secret: self.secret, expires: self.now + ABSOLUTE }
    }
}

/// Who has this cookie; `None`: nobody, or it has ended.
pub async fn find_by_cookie(app: &App, secret: &str, now: Timestamp) -> Result<Option<Known>, AccountError> {
    let Some(found) = app.store.find_by_session(&hashed(secret), now).await? else { return Ok(None) };
    if now.duration_since(found.created_at) >= ABSOLUTE {
        return Ok(None);
    }
    if now.duration_since(found.seen_at) >= SEEN {
        let until = (now + IDLE).min(found.created_at + ABSOLUTE);
        // Aside: who only reads waits for nobody who writes.
        let (store, session) = (app.store.clone(), found.session);
        tokio::spawn(async move {
            if let Err(error) = store.touch_session(session, now, until).await {
                tracing::warn!(target: "sign_in", %error, "use of a session was not written down");
            }
        });
    }
    Ok(Some(Known { actor: found.actor, session: Some(found.session) }))
}

/// Who has this bearer token; `None`: nobody, or it has ended.
pub async fn find_by_token(app: &App, secret: &str, now: Timestamp) -> Result<Option<Known>, AccountError> {
    let found = app.store.find_by_token(&hashed(secret), now).await?;
    Ok(found.map(|actor| Known { actor, session: None }))
}

/// Own sessions, last used first.
pub async fn list_sessions(app: &App, by: &Actor) -> Result<Vec<Session>, AccountError> {
    Ok(app.store.list_sessions(own(by)?, app.clock.now()).await?)
}

/// Ends an own session; signing out is ending the session one is in.
pub async fn end_session(app: &App, by: &Actor, id: i64) -> Result<(), AccountError> {
    if app.store.end_session(own(by)?, id).await? {
        return Ok(());
    }
    Err(Refusal::NotFound(Sentence::new("unknown_session")).into())
}

/// Ends all own sessions but `keep`; how many.
pub async fn end_other_sessions(app: &App, by: &Actor, keep: Option<i64>) -> Result<u64, AccountError> {
    Ok(app.store.end_sessions_of(own(by)?, keep).await?)
}

/// Whether the current password is needed to set another one: not where there is none, and not in
/// the minutes after this session was begun by a one-time link, once.
pub async fn needs_current(app: &App, by: &Actor, session: Option<i64>) -> Result<bool, AccountError> {
    let id = own(by)?;
    let account = app.store.find_account(id).await?;
    if account.is_none_or(|a| a.password_hash.is_none()) {
        return Ok(false);
    }
    let Some(session) = session else { return Ok(true) };
    let session = app.store.find_own_session(id, session).await?;
    Ok(!session.is_some_and(|s| s.by_link && app.clock.now().duration_since(s.created_at) < FRESH))
}

/// Sets the own password; the current one is needed as [`needs_current`] says. Open links, and
/// other sessions than `keep`, end (ASVS 7.4.3).
pub async fn set_password(
    app: &App,
    by: &Actor,
    current: Option<&str>,
    new: &str,
    keep: Option<i64>,
) -> Result<(), AccountError> {
    let unknown = || AccountError::Refused(Refusal::NotSignedIn);
    let account = app.store.find_account(own(by)?).await?.ok_or_else(unknown)?;
    if let Some(phc) = &account.password_hash
        && needs_current(app, by, keep).await?
    {
        pass(app, Some(&account.folded_email), None).await?;
        let (right, _) = verify_aside(app, current.unwrap_or_default(), Some(phc)).await?;
        if !right {
            return Err(fault("/current", Sentence::new("password_wrong")));
        }
    }
    check(new, &account.email).map_err(|sentence| fault("/new", sentence))?;
    let phc = hash_aside(app, new).await?;
    Ok(app.store.change_password(account.id, Some(&phc), keep).await?)
}

/// How long a one-time link holds.
#[must_use]
pub fn link_span() -> SignedDuration {
    days(7)
}
