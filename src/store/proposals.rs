//! Whom gyms' staff proposes to the organiser. Outside the log.
//!
//! Personal facts are kept while a proposal waits, and no longer; what became of it is kept for some
//! weeks, for the staff to see. A number is never given out twice while a page may still name it.

use super::{Store, StoreError, instant, micros, number};
use crate::rules::access::Permit;
use crate::rules::people::{Person, fold_name};
use crate::rules::proposal::{Kind, Proposed};
use jiff::{SignedDuration, Timestamp};

/// How long what became of a proposal is kept.
const KEPT: SignedDuration = SignedDuration::from_hours(60 * 24);

/// A proposal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    /// Number.
    pub id: i64,
    /// Gym slug.
    pub gym: String,
    /// What the person is to be.
    pub kind: Kind,
    /// The address of the account that proposed; empty: the command line.
    pub by: String,
    /// When.
    pub created_at: Timestamp,
    /// The facts; `None`: decided.
    pub proposed: Option<Proposed>,
    /// What became of it.
    pub decided: Option<Decided>,
}

/// What became of a proposal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decided {
    /// When.
    pub at: Timestamp,
    /// How.
    pub outcome: Outcome,
    /// The bib, or the judge's code.
    pub result: String,
    /// The organiser's reason.
    pub reason: String,
}

/// How a proposal was decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The person is in the roster, or has the role.
    Confirmed,
    /// Not taken.
    Refused,
    /// Taken back by the gym.
    Withdrawn,
    /// The person was erased meanwhile.
    Erased,
}

impl Outcome {
    /// As it is kept and told.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Confirmed => "confirmed",
            Self::Refused => "refused",
            Self::Withdrawn => "withdrawn",
            Self::Erased => "erased",
        }
    }
}

type Row = (
    i64,
    String,
    String,
    Option<String>,
    i64,
    Option<String>,
    Option<i64>,
    Option<String>,
    Option<String>,
    Option<String>,
);

fn proposal((id, gym, kind, by, created_at, body, at, outcome, result, reason): Row) -> Result<Proposal, StoreError> {
    let unreadable = |text: &str| StoreError::unreadable("proposals", format!("\"{text}\" is none"));
    let decided = match (at, outcome) {
        (Some(at), Some(text)) => {
            let all = [Outcome::Confirmed, Outcome::Refused, Outcome::Withdrawn, Outcome::Erased];
            let outcome = all.into_iter().find(|o| o.as_str() == text).ok_or_else(|| unreadable(&text))?;
            let (result, reason) = (result.unwrap_or_default(), reason.unwrap_or_default());
            Some(Decided { at: instant("proposals", at)?, outcome, result, reason })
        }
        _ => None,
    };
    Ok(Proposal {
        id,
        gym,
        kind: Kind::parse(&kind).ok_or_else(|| unreadable(&kind))?,
        by: by.unwrap_or_default(),
        created_at: instant("proposals", created_at)?,
        proposed: body.map(|body| super::parse("proposals", &body)).transpose()?,
        decided,
    })
}

impl Store {
    /// Keeps a proposal; its number. The same of the same gym that waits already keeps its number.
    /// `None`: `most` of the gym wait.
    pub async fn add_proposal(
        &self,
        permit: &Permit,
        competition: i64,
        gym: &str,
        proposed: &Proposed,
        most: u64,
        now: Timestamp,
    ) -> Result<Option<i64>, StoreError> {
        let body = super::json(proposed);
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "DELETE FROM proposals WHERE decided_at < $1", micros(now - KEPT))?;
        let same = db!(&mut tx, optval i64:
            "SELECT id FROM proposals WHERE competition = $1 AND gym = $2 AND body = $3 AND decided_at IS NULL ORDER BY id LIMIT 1",
            competition, gym, &body)?;
        if same.is_some() {
            tx.commit().await?;
            return Ok(same);
        }
        let waiting = db!(&mut tx, val i64:
            "SELECT COUNT(*) FROM proposals WHERE competition = $1 AND gym = $2 AND decided_at IS NULL", competition, gym)?;
        if number::<u64>("proposals", waiting)? >= most {
            tx.commit().await?;
            return Ok(None);
        }
        let id = db!(&mut tx, val i64:
            "INSERT INTO proposals (competition, gym, kind, account, created_at, body, folded_name, folded_email) VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING id",
            competition, gym, proposed.kind.as_str(), permit.actor().account, micros(now), body, fold_name(&proposed.name), fold_name(&proposed.email))?;
        tx.commit().await?;
        Ok(Some(id))
    }

    /// The latest proposals of a gym, decided or not, newest first.
    pub async fn list_proposals_of(
        &self,
        _permit: &Permit,
        competition: i64,
        gym: &str,
        limit: u32,
    ) -> Result<Vec<Proposal>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT p.id, p.gym, p.kind, a.email, p.created_at, p.body, p.decided_at, p.outcome, p.result, p.reason
             FROM proposals p LEFT JOIN accounts a ON a.id = p.account
             WHERE p.competition = $1 AND p.gym = $2 ORDER BY p.id DESC LIMIT $3",
            competition, gym, i64::from(limit))?
        .into_iter()
        .map(proposal)
        .collect()
    }

    /// The proposals of a competition that wait, oldest first.
    pub async fn list_waiting_proposals(
        &self,
        _permit: &Permit,
        competition: i64,
        limit: u32,
    ) -> Result<Vec<Proposal>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT p.id, p.gym, p.kind, a.email, p.created_at, p.body, p.decided_at, p.outcome, p.result, p.reason
             FROM proposals p LEFT JOIN accounts a ON a.id = p.account
             WHERE p.competition = $1 AND p.decided_at IS NULL ORDER BY p.id LIMIT $2",
            competition, i64::from(limit))?
        .into_iter()
        .map(proposal)
        .collect()
    }

    /// How many of a competition wait.
    pub async fn count_waiting_proposals(&self, _permit: &Permit, competition: i64) -> Result<u64, StoreError> {
        let mut conn = self.read().await?;
        let n = db!(&mut conn, val i64: "SELECT COUNT(*) FROM proposals WHERE competition = $1 AND decided_at IS NULL", competition)?;
        number("proposals", n)
    }

    /// A proposal that waits.
    pub async fn find_waiting_proposal(
        &self,
        _permit: &Permit,
        competition: i64,
        id: i64,
    ) -> Result<Option<Proposal>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row:
            "SELECT p.id, p.gym, p.kind, a.email, p.created_at, p.body, p.decided_at, p.outcome, p.result, p.reason
             FROM proposals p LEFT JOIN accounts a ON a.id = p.account
             WHERE p.competition = $1 AND p.id = $2 AND p.decided_at IS NULL",
            competition, id)?
        .map(proposal)
        .transpose()
    }

    /// Notes what became of a proposal, and forgets whom it was about. False: it does not wait.
    pub async fn decide_proposal(
        &self,
        _permit: &Permit,
        competition: i64,
        id: i64,
        decided: &Decided,
    ) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        let n = db!(&mut tx, exec:
            "UPDATE proposals SET body = NULL, folded_name = '', folded_email = '', decided_at = $3, outcome = $4, result = $5, reason = $6 WHERE competition = $1 AND id = $2 AND decided_at IS NULL",
            competition, id, micros(decided.at), decided.outcome.as_str(), &decided.result, &decided.reason)?;
        tx.commit().await?;
        Ok(n > 0)
    }

    /// Forgets the waiting proposals of a competition about this person, who is erased: of the same
    /// name, and of the same address or birth date. How many these were.
    pub async fn erase_proposals(&self, competition: i64, person: &Person, now: Timestamp) -> Result<u64, StoreError> {
        let (name, email) = (fold_name(&person.name), fold_name(&person.email));
        let born = person.born.map(|day| day.to_string()).unwrap_or_default();
        let mut tx = self.begin().await?;
        let found = db!(&mut tx, all (i64, String, String):
            "SELECT id, body, folded_email FROM proposals WHERE competition = $1 AND decided_at IS NULL AND (folded_name = $2 OR folded_email = $3)",
            competition, &name, &email)?;
        let mut erased = 0;
        for (id, body, theirs) in found {
            let proposed: Proposed = super::parse("proposals", &body)?;
            // An address alone may be a whole gym's.
            let same_address = !email.is_empty() && theirs == email;
            if fold_name(&proposed.name) == name && (same_address || (!born.is_empty() && proposed.born == born)) {
                erased += db!(&mut tx, exec:
                    "UPDATE proposals SET body = NULL, folded_name = '', folded_email = '', decided_at = $2, outcome = 'erased' WHERE id = $1",
                    id, micros(now))?;
            }
        }
        tx.commit().await?;
        Ok(erased)
    }

    /// Number and slug of every competition with a waiting proposal about whoever has this address.
    pub async fn list_competitions_proposing(&self, email: &str) -> Result<Vec<(i64, String)>, StoreError> {
        let mut conn = self.read().await?;
        let found = db!(&mut conn, all (i64, String):
            "SELECT DISTINCT c.id, c.slug FROM proposals p JOIN competitions c ON c.id = p.competition WHERE p.decided_at IS NULL AND p.folded_email = $1 AND p.folded_email <> '' ORDER BY c.id",
            email)?;
        Ok(found)
    }

    /// Forgets those of a competition about whoever has this address; how many.
    pub async fn erase_proposals_to(
        &self,
        _permit: &Permit,
        competition: i64,
        email: &str,
        now: Timestamp,
    ) -> Result<u64, StoreError> {
        let mut tx = self.begin().await?;
        let erased = db!(&mut tx, exec:
            "UPDATE proposals SET body = NULL, folded_name = '', folded_email = '', decided_at = $3, outcome = 'erased' WHERE competition = $1 AND decided_at IS NULL AND folded_email = $2 AND folded_email <> ''",
            competition, email, micros(now))?;
        tx.commit().await?;
        Ok(erased)
    }

    /// The waiting proposals of a competition about whoever has this address.
    pub async fn list_proposals_about(
        &self,
        _permit: &Permit,
        competition: i64,
        email: &str,
    ) -> Result<Vec<Proposed>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals String:
            "SELECT body FROM proposals WHERE competition = $1 AND decided_at IS NULL AND folded_email = $2 AND folded_email <> '' ORDER BY id",
            competition, email)?
        .iter()
        .map(|body| super::parse("proposals", body))
        .collect()
    }
}
