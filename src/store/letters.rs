//! Letters about a competition that were handed over, and what became of them, for all processes on one
//! database. Outside the logs.
//!
//! Of a letter its competition, its address, folded, and its outcome are kept, for some weeks: nothing of
//! what it says, and no link. Whoever has one on its way says so again and again ([`Store::hold_letters`]);
//! of one that nobody has said so of for a while, nobody knows what became. A number belongs to one letter
//! for ever, so that what becomes of one that was erased is written nowhere.

use super::db::{Bulk, Tx, Val, rows};
use super::{Store, StoreError, instant, json, micros, parse};
use crate::rules::access::Permit;
use crate::words::Sentence;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};

/// How many days a letter is listed: longer than any link in one holds.
pub const KEPT: i64 = 30;
/// Letters listed of one competition at most, the newest: as many as may wait to be sent.
const MOST: i64 = 2_000;
/// So long after somebody said that it is on its way a letter is held to be.
pub const HELD: SignedDuration = SignedDuration::from_secs(120);

/// What became of a letter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// On its way.
    Waiting,
    /// The mail server took it.
    Sent,
    /// Why not.
    Failed(Sentence),
}

impl Outcome {
    /// As it is kept and told.
    #[must_use]
    pub fn as_str(&self) -> &'static str {
        match self {
            Self::Waiting => WAITING,
            Self::Sent => "sent",
            Self::Failed(_) => "failed",
        }
    }
}

const WAITING: &str = "waiting";

/// A letter that is handed over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewLetter {
    /// Number, that no letter has had.
    pub id: i64,
    /// Competition slug.
    pub competition: String,
    /// To whom.
    pub folded_email: String,
}

/// A letter as it is listed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// To whom: the address, folded.
    pub to: String,
    /// When it was handed over.
    pub at: Timestamp,
    /// What became of it; `None`: nobody knows.
    pub outcome: Option<Outcome>,
}

bulk!(
    ADD =
        Bulk::rows("INSERT INTO letters (id, competition, folded_email, handed_at, held_until, state) VALUES ", 6, "")
);
bulk!(SETTLE = Bulk::list("UPDATE letters SET state = $1, why = $2 WHERE id IN (", 2, ") RETURNING id"));
bulk!(HOLD = Bulk::list("UPDATE letters SET held_until = $1 WHERE state = 'waiting' AND id IN (", 1, ") RETURNING id"));

type Row = (String, i64, i64, String, Option<String>);

fn listed((to, at, held_until, state, why): Row, now: Timestamp) -> Result<Listed, StoreError> {
    let outcome = match (state.as_str(), why) {
        (WAITING, _) => (held_until > micros(now)).then_some(Outcome::Waiting),
        ("sent", _) => Some(Outcome::Sent),
        ("failed", Some(why)) => Some(Outcome::Failed(parse("letters", &why)?)),
        _ => return Err(StoreError::unreadable("letters", format!("\"{state}\" is no outcome"))),
    };
    Ok(Listed { to, at: instant("letters", at)?, outcome })
}

/// Until when letters handed over then are not listed any more.
fn oldest(now: Timestamp) -> i64 {
    let kept = SignedDuration::from_hours(24 * KEPT);
    now.checked_sub(kept).unwrap_or(Timestamp::MIN).as_microsecond()
}

/// Forgets the letters to the address of an account, where it is known to be its owner's: another person's
/// letters are not for whoever made an account under their address.
pub(super) async fn forget_of(tx: &mut Tx, account: i64) -> Result<(), StoreError> {
    db!(&mut *tx, exec: "DELETE FROM letters WHERE folded_email = (SELECT folded_email FROM accounts WHERE id = $1 AND confirmed = 1)", account)?;
    Ok(())
}

impl Store {
    /// Lists letters that are handed over now, and no more than so many, of so many days.
    pub async fn add_letters(&self, letters: Vec<NewLetter>, now: Timestamp) -> Result<(), StoreError> {
        let of: BTreeSet<String> = letters.iter().map(|letter| letter.competition.clone()).collect();
        let (at, held_until) = (micros(now), micros(now + HELD));
        let row = |letter: NewLetter| -> Vec<Val> {
            let texts = [letter.competition, letter.folded_email].map(Val::Text);
            let numbers = [at, held_until].map(Val::Int);
            let state = Val::Text(WAITING.to_owned());
            [Val::Int(letter.id)].into_iter().chain(texts).chain(numbers).chain([state]).collect()
        };
        let mut tx = self.begin().await?;
        db!(&mut tx, exec: "DELETE FROM letters WHERE handed_at < $1", oldest(now))?;
        ADD.write(&mut tx, rows(letters.into_iter().map(row))).await?;
        for competition in of {
            db!(&mut tx, exec:
                "DELETE FROM letters WHERE competition = $1 AND (handed_at, id) < (SELECT handed_at, id FROM letters WHERE competition = $1 ORDER BY handed_at DESC, id DESC LIMIT 1 OFFSET $2)",
                competition, MOST - 1)?;
        }
        tx.commit().await
    }

    /// Writes down what became of letters. Of one that was erased meanwhile nothing is.
    pub async fn settle_letters(&self, known: Vec<(i64, Outcome)>) -> Result<(), StoreError> {
        let mut alike: BTreeMap<(&str, Option<String>), Vec<Val>> = BTreeMap::new();
        for (id, outcome) in known {
            let why = if let Outcome::Failed(why) = &outcome { Some(json(why)) } else { None };
            alike.entry((outcome.as_str(), why)).or_default().push(Val::Int(id));
        }
        if alike.is_empty() {
            return Ok(());
        }
        let mut tx = self.begin().await?;
        for ((state, why), ids) in alike {
            let outcome = [Val::Text(state.to_owned()), Val::MaybeText(why)];
            SETTLE.read::<(i64,)>(&mut tx, &outcome, ids).await?;
        }
        tx.commit().await
    }

    /// Letters are on their way still: until then that is to be believed.
    pub async fn hold_letters(&self, ids: &[i64], until: Timestamp) -> Result<(), StoreError> {
        if ids.is_empty() {
            return Ok(());
        }
        let mut tx = self.begin_for_now().await?;
        let ids = ids.iter().map(|id| Val::Int(*id)).collect();
        HOLD.read::<(i64,)>(&mut tx, &[Val::Int(micros(until))], ids).await?;
        tx.commit().await
    }

    /// The letters of a competition, newest first.
    pub async fn list_letters(
        &self,
        _permit: &Permit,
        competition: &str,
        now: Timestamp,
    ) -> Result<Vec<Listed>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT folded_email, handed_at, held_until, state, why FROM letters WHERE competition = $1 AND handed_at >= $2 ORDER BY handed_at DESC, id DESC",
            competition, oldest(now))?
        .into_iter()
        .map(|row| listed(row, now))
        .collect()
    }

    /// The slug of every competition of which a letter to this folded address is kept.
    pub async fn list_competitions_writing_to(&self, folded_email: &str) -> Result<Vec<String>, StoreError> {
        let mut conn = self.read().await?;
        let found = db!(&mut conn, vals String: "SELECT DISTINCT competition FROM letters WHERE folded_email = $1 ORDER BY competition", folded_email)?;
        Ok(found)
    }

    /// All that is kept of a competition's letters to this folded address, newest first.
    pub async fn list_letters_to(
        &self,
        _permit: &Permit,
        competition: &str,
        folded_email: &str,
        now: Timestamp,
    ) -> Result<Vec<Listed>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT folded_email, handed_at, held_until, state, why FROM letters WHERE folded_email = $1 AND competition = $2 ORDER BY handed_at DESC, id DESC",
            folded_email, competition)?
        .into_iter()
        .map(|row| listed(row, now))
        .collect()
    }

    /// Forgets the letters to this folded address, of one competition or of all; how many these were.
    pub async fn forget_letters(&self, competition: Option<&str>, folded_email: &str) -> Result<u64, StoreError> {
        if folded_email.is_empty() {
            return Ok(0);
        }
        let mut tx = self.begin().await?;
        let forgotten = db!(&mut tx, exec:
            "DELETE FROM letters WHERE folded_email = $1 AND (CAST($2 AS TEXT) IS NULL OR competition = $2)",
            folded_email, competition)?;
        tx.commit().await?;
        Ok(forgotten)
    }
}
