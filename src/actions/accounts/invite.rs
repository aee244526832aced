//! Inviting the gyms of a competition: each gym's contact gets the role of its staff and a
//! one-time link, to be put into a letter by a mail merge.
//!
//! An organiser of one competition gets links only for accounts that have no password and no role
//! elsewhere: with any other link they could become somebody else.

use super::roles::{add_account, reaches};
use super::sign_in::link_span;
use super::{AccountError, NewAccount, fold, hashed, secret};
use crate::actions::letters::{self, Link};
use crate::actions::mail::Outcome;
use crate::actions::reader::Reader;
use crate::app::App;
use crate::rules::access::{Act, Actor, Grant, Role, permit};
use crate::rules::ledger::Refusal;
use crate::store::accounts::Account;
use crate::words::Sentence;
use jiff::Timestamp;

/// Gyms read at a time.
const PAGE: u32 = 1_000;

/// A gym that was invited, or could not be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invited {
    /// Slug.
    pub gym: String,
    /// For people.
    pub name: String,
    /// The contact's name.
    pub contact: String,
    /// The contact's address; empty: none is known.
    pub email: String,
    /// What became of it.
    pub outcome: Invitation,
}

/// What became of an invitation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Invitation {
    /// The secret of a link, and until when it holds.
    Link(String, Timestamp),
    /// They can sign in already.
    Known,
    /// The gym has no address.
    NoAddress,
    /// The address is none.
    Refused,
    /// They had the role, and it was taken away, or they gave it up: it is given again on purpose only.
    Ended,
}

/// Gives every gym's contact the role of its staff, but for whom it was taken away from, and those who cannot
/// sign in yet a fresh link.
/// Links given out before keep to their seven days.
pub async fn invite_gyms(
    app: &App,
    by: &Actor,
    now: Timestamp,
    competition: &str,
) -> Result<Vec<Invited>, AccountError> {
    let read = permit(by, Act::ReadPersons { competition, gym: None })?;
    permit(by, Act::Organise { competition })?;
    let unknown = || Refusal::NotFound(Sentence::new("role_nowhere"));
    let known = app.store.find_competition(competition).await?.ok_or_else(unknown)?;
    let reader = Reader::new(known, by, now);
    let mut invited: Vec<Invited> = Vec::new();
    loop {
        let after = invited.last().map_or("", |i| &i.gym);
        let gyms = app.store.list_gyms(reader.id, after, PAGE).await?;
        let ids: Vec<u64> = gyms.iter().filter_map(|g| Some(g.contact.as_ref()?.id)).collect();
        let persons = app.store.list_persons(&read, reader.id, &ids).await?;
        let full = gyms.len() >= PAGE as usize;
        for gym in gyms {
            let person = gym.contact.as_ref().and_then(|c| persons.get(&c.id)).cloned().unwrap_or_default();
            let outcome = invite(app, by, competition, &gym.slug, &person.email).await?;
            let (contact, email) = (person.name, person.email);
            invited.push(Invited { gym: gym.slug, name: gym.name, contact, email, outcome });
        }
        if !full {
            return Ok(invited);
        }
    }
}

/// Mails a link to an account with these roles, and says what became of the letter as far as a
/// moment shows; `None`: there is no mail server. It speaks of a competition where all roles are
/// in that one, and its name can be read: the link holds whatever becomes of the letter.
pub async fn mail_link(app: &App, roles: &[Grant], email: &str, link: &Link) -> Option<Outcome> {
    if !app.post.is_there() {
        return None;
    }
    let slug = roles.first().and_then(|first| first.competition.as_deref());
    let known = match slug.filter(|slug| roles.iter().all(|role| role.competition.as_deref() == Some(slug))) {
        Some(slug) => app.store.find_competition(slug).await.unwrap_or_else(|error| {
            tracing::warn!("a letter does not name its competition: {error}");
            None
        }),
        None => None,
    };
    let competition = known.as_ref().map(|known| &*known.definition.competition);
    Some(letters::send(app, letters::sign_in(app, competition, email, link)).await?.outcome)
}

async fn invite(app: &App, by: &Actor, competition: &str, gym: &str, email: &str) -> Result<Invitation, AccountError> {
    if email.is_empty() {
        return Ok(Invitation::NoAddress);
    }
    if app.store.was_staff(&fold(email), competition, gym).await? {
        return Ok(Invitation::Ended);
    }
    let grant = Grant {
        role: Role::Staff,
        competition: Some(competition.to_owned()),
        gym: Some(gym.to_owned()),
        bib: None,
        judge: None,
    };
    let new = NewAccount { email: email.to_owned(), password: None, grants: vec![grant] };
    let until = app.clock.now() + link_span();
    match add_account(app, by, new).await {
        Ok(added) => match added.link {
            Some(link) => Ok(Invitation::Link(link, until)),
            None => match relink(app, by, added.account).await {
                Ok(link) => Ok(Invitation::Link(link, until)),
                Err(AccountError::Refused(_)) => Ok(Invitation::Known),
                Err(other) => Err(other),
            },
        },
        Err(AccountError::Refused(Refusal::Faults(_))) => Ok(Invitation::Refused),
        Err(other) => Err(other),
    }
}

/// A fresh link for an account: any, by who administers the service (for a forgotten password);
/// else one that has no password and no role but in competitions that `by` organises.
pub async fn relink(app: &App, by: &Actor, account: i64) -> Result<String, AccountError> {
    let (secret, _) = link_within_reach(app, by, account, |account, any| {
        let is_anothers = !any && account.password_hash.is_some();
        if is_anothers { Err(Refusal::Conflict(Sentence::new("has_a_password"), Vec::new())) } else { Ok(()) }
    })
    .await?;
    Ok(secret)
}

/// A fresh link for an account with a password too, which only its owner must get to see: it is to
/// be mailed to the address that comes with it, and shown to nobody.
pub async fn relink_by_mail(app: &App, by: &Actor, account: i64) -> Result<(String, String), AccountError> {
    let (secret, account) = link_within_reach(app, by, account, |_, _| Ok(())).await?;
    Ok((account.email, secret))
}

/// A link for the account, if it has no role but in competitions that `by` organises, or `by` administers
/// the service; and the account, as it was when the link was made. `may`: what else is asked of it, with
/// whether any would do.
async fn link_within_reach(
    app: &App,
    by: &Actor,
    account: i64,
    may: impl Fn(&Account, bool) -> Result<(), Refusal> + Sync,
) -> Result<(String, Account), AccountError> {
    let unknown = || Refusal::NotFound(Sentence::new("unknown_account"));
    let any = permit(by, Act::Administer).is_ok();
    let ask = |account: &Account, held: &[Grant]| {
        if !any && (held.is_empty() || !reaches(by, held)) {
            return Err(unknown());
        }
        may(account, any)
    };
    let (secret, now) = (secret(app), app.clock.now());
    match app.store.relink(account, &hashed(&secret), now, now + link_span(), ask).await? {
        Some(Ok(account)) => Ok((secret, account)),
        Some(Err(refusal)) => Err(refusal.into()),
        None => Err(unknown().into()),
    }
}
