//! Who calls: the account behind the hash of a secret, with all that it may be, in one question, for
//! every request of somebody signed in asks it.

use super::grants::role_of;
use super::{Store, StoreError, instant, micros, number};
use crate::rules::access::{Actor, Grant};
use jiff::Timestamp;

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

/// Session, when it began, when it was last used; of each row.
type SessionRow =
    (i64, i64, i64, i64, String, Option<String>, Option<String>, Option<String>, Option<i64>, Option<String>);

impl Store {
    /// Who has the token with this hash, if it holds at `now`.
    pub async fn find_by_token(&self, hash: &[u8; 32], now: Timestamp) -> Result<Option<Actor>, StoreError> {
        let mut conn = self.read().await?;
        actor(db!(&mut conn, all Row:
            "SELECT a.id, a.folded_email, g.role, g.competition, g.gym, g.bib, g.judge
             FROM tokens t JOIN accounts a ON a.id = t.account LEFT JOIN grants g ON g.account = a.id
             WHERE t.hash = $1 AND t.expires_at > $2 AND t.revoked_at IS NULL ORDER BY g.id",
            hash.as_slice(), micros(now))?)
    }

    /// Who has the session with this hash, if it has not ended by `now`.
    pub async fn find_by_session(&self, hash: &[u8; 32], now: Timestamp) -> Result<Option<InSession>, StoreError> {
        let mut conn = self.read().await?;
        let rows = db!(&mut conn, all SessionRow:
            "SELECT s.id, s.created_at, s.seen_at, a.id, a.folded_email, g.role, g.competition, g.gym, g.bib, g.judge
             FROM sessions s JOIN accounts a ON a.id = s.account LEFT JOIN grants g ON g.account = a.id
             WHERE s.hash = $1 AND s.expires_at > $2 ORDER BY g.id",
            hash.as_slice(), micros(now))?;
        let Some(&(session, created_at, seen_at, ..)) = rows.first() else { return Ok(None) };
        let rows = rows.into_iter().map(|(_, _, _, id, email, role, competition, gym, bib, judge)| {
            (id, email, role, competition, gym, bib, judge)
        });
        let Some(actor) = actor(rows.collect())? else { return Ok(None) };
        let (created_at, seen_at) = (instant("sessions", created_at)?, instant("sessions", seen_at)?);
        Ok(Some(InSession { actor, session, created_at, seen_at }))
    }
}

fn actor(rows: Vec<Row>) -> Result<Option<Actor>, StoreError> {
    let Some((account, email, ..)) = rows.first() else { return Ok(None) };
    let mut actor = Actor { account: Some(*account), email: email.clone(), ..Actor::default() };
    for (_, _, role, competition, gym, bib, judge) in rows {
        let Some(role) = role else { continue };
        let bib = bib.map(|bib| number("grants", bib)).transpose()?;
        actor.grants.push(Grant { role: role_of(&role)?, competition, gym, bib, judge });
    }
    Ok(Some(actor))
}
