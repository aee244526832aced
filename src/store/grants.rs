//! What accounts may be: one row a role and where it holds.

use super::db::{AsEx, Tx};
use super::{Store, StoreError, accounts, micros, number};
use crate::rules::access::{Grant, Role};
use jiff::Timestamp;
use std::collections::BTreeSet;

/// A grant as it stands in the table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Granted {
    /// Number, to take it away by.
    pub id: i64,
    /// Whose.
    pub account: i64,
    /// The account's address.
    pub email: String,
    /// What.
    pub grant: Grant,
}

type Row = (i64, i64, String, String, Option<String>, Option<String>, Option<i64>, Option<String>);

pub(super) fn role_of(word: &str) -> Result<Role, StoreError> {
    serde_json::from_value(serde_json::Value::from(word)).map_err(|e| StoreError::unreadable("grants", e))
}

fn word(role: Role) -> &'static str {
    match role {
        Role::Organiser => "organiser",
        Role::Referee => "referee",
        Role::Staff => "staff",
        Role::Judge => "judge",
        Role::Athlete => "athlete",
    }
}

fn granted((id, account, email, role, competition, gym, bib, judge): Row) -> Result<Granted, StoreError> {
    let bib = bib.map(|b| number("grants", b)).transpose()?;
    Ok(Granted { id, account, email, grant: Grant { role: role_of(&role)?, competition, gym, bib, judge } })
}

/// What one account alone organises.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Alone {
    /// The service itself.
    Service,
    /// This competition.
    Competition(String),
}

/// What nobody but this account organises.
pub(super) async fn alone(tx: &mut Tx, account: i64) -> Result<Vec<Alone>, StoreError> {
    let found = db!(&mut *tx, vals Option<String>:
        "SELECT g.competition FROM grants g WHERE g.account = $1 AND g.role = 'organiser' AND NOT EXISTS (SELECT 1 FROM grants o WHERE o.account <> g.account AND o.role = 'organiser' AND COALESCE(o.competition, '') = COALESCE(g.competition, '')) ORDER BY g.id",
        account)?;
    Ok(found.into_iter().map(|competition| competition.map_or(Alone::Service, Alone::Competition)).collect())
}

/// All grants of an account.
pub(super) async fn of(on: &mut impl AsEx, account: i64) -> Result<Vec<Granted>, StoreError> {
    db!(on, all Row:
        "SELECT g.id, g.account, a.email, g.role, g.competition, g.gym, g.bib, g.judge FROM grants g JOIN accounts a ON a.id = g.account WHERE g.account = $1 ORDER BY g.id",
        account)?
    .into_iter()
    .map(granted)
    .collect()
}

/// Adds a grant that is not there already; its number. That it was ended before is forgotten.
pub(super) async fn add(tx: &mut Tx, account: i64, grant: &Grant, now: Timestamp) -> Result<i64, StoreError> {
    let bib = grant.bib.map(i64::from);
    let (competition, gym, judge) = (grant.competition.as_deref(), grant.gym.as_deref(), grant.judge.as_deref());
    if let (Role::Staff, Some(competition), Some(gym)) = (grant.role, competition, gym) {
        db!(&mut *tx, exec: "DELETE FROM staff_ended WHERE account = $1 AND competition = $2 AND gym = $3", account, competition, gym)?;
    }
    let known = db!(&mut *tx, optval i64:
        "SELECT id FROM grants WHERE account = $1 AND role = $2 AND COALESCE(competition, '') = COALESCE(CAST($3 AS TEXT), '') AND COALESCE(gym, '') = COALESCE(CAST($4 AS TEXT), '') AND COALESCE(bib, 0) = COALESCE(CAST($5 AS BIGINT), 0) AND COALESCE(judge, '') = COALESCE(CAST($6 AS TEXT), '')",
        account, word(grant.role), competition, gym, bib, judge)?;
    Ok(match known {
        Some(id) => id,
        None => db!(&mut *tx, val i64:
            "INSERT INTO grants (account, role, competition, gym, bib, judge, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7) RETURNING id",
            account, word(grant.role), competition, gym, bib, judge, micros(now))?,
    })
}

/// Remembers of the staff's roles that are about to go whose they were: of one account those with this
/// number, or all.
pub(super) async fn remember_staff(tx: &mut Tx, account: i64, grant: Option<i64>) -> Result<(), StoreError> {
    db!(&mut *tx, exec:
        "INSERT INTO staff_ended (account, competition, gym) SELECT account, competition, gym FROM grants WHERE account = $1 AND (CAST($2 AS BIGINT) IS NULL OR id = $2) AND role = 'staff' AND competition IS NOT NULL AND gym IS NOT NULL ON CONFLICT (account, competition, gym) DO NOTHING",
        account, grant)?;
    Ok(())
}

impl Store {
    /// Whether whoever has this folded address was staff of a gym, and is no more.
    pub async fn was_staff(&self, folded_email: &str, competition: &str, gym: &str) -> Result<bool, StoreError> {
        let mut conn = self.read().await?;
        let n = db!(&mut conn, val i64:
            "SELECT COUNT(*) FROM staff_ended s JOIN accounts a ON a.id = s.account WHERE a.folded_email = $1 AND s.competition = $2 AND s.gym = $3",
            folded_email, competition, gym)?;
        Ok(n > 0)
    }

    /// All grants of an account.
    pub async fn list_grants_of(&self, account: i64) -> Result<Vec<Granted>, StoreError> {
        of(&mut self.read().await?, account).await
    }

    /// All grants that name a competition.
    pub async fn list_grants_in(&self, competition: &str) -> Result<Vec<Granted>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT g.id, g.account, a.email, g.role, g.competition, g.gym, g.bib, g.judge FROM grants g JOIN accounts a ON a.id = g.account WHERE g.competition = $1 ORDER BY g.id",
            competition)?
        .into_iter()
        .map(granted)
        .collect()
    }

    /// Bibs of the athletes of a competition whose account judges there by this code.
    pub async fn list_bibs_of_judge(&self, competition: &str, judge: &str) -> Result<BTreeSet<u32>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals i64:
            "SELECT a.bib FROM grants j JOIN grants a ON a.account = j.account
             WHERE j.competition = $1 AND j.judge = $2 AND j.role = 'judge' AND a.competition = $1 AND a.role = 'athlete' AND a.bib IS NOT NULL",
            competition, judge)?
        .into_iter()
        .map(|bib| number("grants", bib))
        .collect()
    }

    /// All grants that hold in every competition.
    pub async fn list_grants_everywhere(&self) -> Result<Vec<Granted>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT g.id, g.account, a.email, g.role, g.competition, g.gym, g.bib, g.judge FROM grants g JOIN accounts a ON a.id = g.account WHERE g.competition IS NULL ORDER BY g.id",
        )?
        .into_iter()
        .map(granted)
        .collect()
    }

    /// The grant with this number.
    pub async fn find_grant(&self, id: i64) -> Result<Option<Granted>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row:
            "SELECT g.id, g.account, a.email, g.role, g.competition, g.gym, g.bib, g.judge FROM grants g JOIN accounts a ON a.id = g.account WHERE g.id = $1",
            id)?
        .map(granted)
        .transpose()
    }

    /// Adds grants to an account; those it has already are left as they are. The numbers, in turn.
    pub async fn add_grants(&self, account: i64, grants: &[Grant], now: Timestamp) -> Result<Vec<i64>, StoreError> {
        let mut tx = self.begin().await?;
        let mut ids = Vec::with_capacity(grants.len());
        for grant in grants {
            ids.push(add(&mut tx, account, grant, now).await?);
        }
        tx.commit().await?;
        Ok(ids)
    }

    /// Takes a grant away; false: there was none. `keep_one`: not the last one by which something is
    /// organised; then what that is.
    pub async fn remove_grant(&self, id: i64, keep_one: bool) -> Result<Result<bool, Alone>, StoreError> {
        let mut tx = self.begin().await?;
        let found = db!(&mut tx, opt (i64, String, Option<String>): "SELECT account, role, competition FROM grants WHERE id = $1", id)?;
        if let Some((account, role, competition)) = found {
            if keep_one && role == word(Role::Organiser) {
                let held = competition.map_or(Alone::Service, Alone::Competition);
                if alone(&mut tx, account).await?.contains(&held) {
                    tx.rollback().await?;
                    return Ok(Err(held));
                }
            }
            remember_staff(&mut tx, account, Some(id)).await?;
        }
        let n = db!(&mut tx, exec: "DELETE FROM grants WHERE id = $1", id)?;
        tx.commit().await?;
        Ok(Ok(n > 0))
    }

    /// Takes a grant away, and with it the account that has no other. True: the account is erased.
    pub async fn end_grant(&self, id: i64, account: i64) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "DELETE FROM grants WHERE id = $1 AND account = $2", id, account)?;
        let erased = accounts::erase_without_grants(&mut tx, account).await?;
        tx.commit().await?;
        Ok(erased)
    }

    /// Takes all away by which an account organises anything; none, where nobody else organises
    /// something of it: then what.
    pub async fn give_up_organising(&self, account: i64) -> Result<Result<(), Alone>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(alone) = alone(&mut tx, account).await?.into_iter().next() {
            tx.rollback().await?;
            return Ok(Err(alone));
        }
        db!(&mut tx, exec: "DELETE FROM grants WHERE account = $1 AND role = 'organiser'", account)?;
        tx.commit().await?;
        Ok(Ok(()))
    }
}
