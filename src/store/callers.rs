//! Who calls: the account behind the hash of a secret, with all that it may be, in one question, for
//! every request of somebody signed in asks it; in one for all who ask at the same time.

use super::db::{Bulk, Val};
use super::grants::role_of;
use super::together::{Found, Together};
use super::{Store, StoreError, instant, micros, number};
use crate::rules::access::{Actor, Grant};
use jiff::Timestamp;
use std::collections::HashMap;
use std::sync::Arc;

/// Somebody with a session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InSession {
    /// For the rules.
    pub actor: Actor,
    /// Number of the session.
    pub session: i64,
    /// When it began.
    pub created_at: Timestamp,
    /// When it was last used, as far as that was written down.
    pub seen_at: Timestamp,
}

/// Account, folded e-mail; a role and where it holds, none of it where there is no grant.
type Row = (i64, String, Option<String>, Option<String>, Option<String>, Option<i64>, Option<String>);

/// SHA-256 of a secret.
type Hash = [u8; 32];

/// Who asks who somebody is.
#[derive(Default)]
pub(crate) struct Callers {
    tokens: Arc<Together<Hash, Token>>,
    sessions: Arc<Together<Hash, Session>>,
}

/// The account behind a token, and when it ends.
#[derive(Clone)]
struct Token {
    actor: Actor,
    expires_at: i64,
}

/// The same of a session.
#[derive(Clone)]
struct Session {
    found: InSession,
    expires_at: i64,
}

/// Hash, when it ends; then as in [`Row`].
type TokenRow =
    (Vec<u8>, i64, i64, String, Option<String>, Option<String>, Option<String>, Option<i64>, Option<String>);

/// Hash; number, when it ends, when it began, when it was last used; then as in [`Row`].
type SessionRow = (
    Vec<u8>,
    i64,
    i64,
    i64,
    i64,
    i64,
    String,
    Option<String>,
    Option<String>,
    Option<String>,
    Option<i64>,
    Option<String>,
);

bulk!(
    TOKENS = Bulk::list(
        "SELECT t.hash, t.expires_at, a.id, a.folded_email, g.role, g.competition, g.gym, g.bib, g.judge
         FROM tokens t JOIN accounts a ON a.id = t.account LEFT JOIN grants g ON g.account = a.id
         WHERE t.revoked_at IS NULL AND t.hash IN (",
        0,
        ") ORDER BY g.id"
    )
);
bulk!(
    SESSIONS = Bulk::list(
        "SELECT s.hash, s.id, s.expires_at, s.created_at, s.seen_at, a.id, a.folded_email, g.role, g.competition, g.gym, g.bib, g.judge
         FROM sessions s JOIN accounts a ON a.id = s.account LEFT JOIN grants g ON g.account = a.id
         WHERE s.hash IN (",
        0,
        ") ORDER BY g.id"
    )
);

impl Store {
    /// Who has the token with this hash, if it holds at `now`.
    pub async fn find_by_token(&self, hash: &Hash, now: Timestamp) -> Result<Option<Actor>, StoreError> {
        let store = self.clone();
        let all = move |hashes| Self::list_by_token(store.clone(), hashes);
        let found = self.inner.callers.tokens.ask(*hash, all).await?;
        Ok(found.filter(|token| token.expires_at > micros(now)).map(|token| token.actor))
    }

    async fn list_by_token(self, hashes: Vec<Hash>) -> Found<Hash, Token> {
        let mut conn = self.read().await?;
        let members = hashes.into_iter().map(|hash| Val::Bytes(hash.to_vec())).collect();
        let rows: Vec<TokenRow> = TOKENS.read(&mut conn, &[], members).await?;
        let mut by_hash: HashMap<Hash, (i64, Vec<Row>)> = HashMap::new();
        for (of, expires_at, account, email, role, competition, gym, bib, judge) in rows {
            let row = (account, email, role, competition, gym, bib, judge);
            by_hash.entry(hash("tokens", of)?).or_insert((expires_at, Vec::new())).1.push(row);
        }
        let token = |(expires_at, rows)| Ok(Token { actor: actor(rows)?, expires_at });
        Ok(by_hash.into_iter().map(|(hash, facts)| (hash, token(facts))).collect())
    }

    /// Who has the session with this hash, if it has not ended by `now`.
    pub async fn find_by_session(&self, hash: &Hash, now: Timestamp) -> Result<Option<InSession>, StoreError> {
        let store = self.clone();
        let all = move |hashes| Self::list_by_session(store.clone(), hashes);
        let found = self.inner.callers.sessions.ask(*hash, all).await?;
        Ok(found.filter(|session| session.expires_at > micros(now)).map(|session| session.found))
    }

    async fn list_by_session(self, hashes: Vec<Hash>) -> Found<Hash, Session> {
        let mut conn = self.read().await?;
        let members = hashes.into_iter().map(|hash| Val::Bytes(hash.to_vec())).collect();
        let rows: Vec<SessionRow> = SESSIONS.read(&mut conn, &[], members).await?;
        let mut by_hash: HashMap<Hash, (SessionFacts, Vec<Row>)> = HashMap::new();
        for (of, session, expires, created, seen, account, email, role, competition, gym, bib, judge) in rows {
            let row = (account, email, role, competition, gym, bib, judge);
            by_hash.entry(hash("sessions", of)?).or_insert(((session, expires, created, seen), Vec::new())).1.push(row);
        }
        let session = |((session, expires_at, created_at, seen_at), rows)| {
            let (created_at, seen_at) = (instant("sessions", created_at)?, instant("sessions", seen_at)?);
            Ok(Session { found: InSession { actor: actor(rows)?, session, created_at, seen_at }, expires_at })
        };
        Ok(by_hash.into_iter().map(|(hash, facts)| (hash, session(facts))).collect())
    }
}

/// Number, when it ends, when it began, when it was last used.
type SessionFacts = (i64, i64, i64, i64);

fn hash(table: &'static str, bytes: Vec<u8>) -> Result<Hash, StoreError> {
    bytes.try_into().map_err(|_| StoreError::unreadable(table, "a hash is not 32 bytes"))
}

/// Of the rows of one account, of which there is one at least.
fn actor(rows: Vec<Row>) -> Result<Actor, StoreError> {
    let mut actor = Actor::default();
    for (account, email, role, competition, gym, bib, judge) in rows {
        (actor.account, actor.email) = (Some(account), email);
        let Some(role) = role else { continue };
        let bib = bib.map(|bib| number("grants", bib)).transpose()?;
        actor.grants.push(Grant { role: role_of(&role)?, competition, gym, bib, judge });
    }
    Ok(actor)
}
