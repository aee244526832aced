//! Who may be what: accounts and their roles.
//!
//! Who organises a competition gives roles in it; who organises all of them also makes accounts
//! without a role, gives roles everywhere, and makes links for accounts that exist. Somebody who
//! organises one competition gets a link only for an account that they have just made: else they
//! could become anybody.

use super::sign_in::link_span;
use super::{AccountError, fault, fold, hashed, password, secret};
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Grant, Role, permit};
use crate::rules::fault::Fault;
use crate::rules::ledger::Refusal;
use crate::store::accounts::{self, Account};
use crate::store::grants::{Alone, Granted};
use crate::words::Sentence;
use jiff::SignedDuration;

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
    /// Its address.
    pub email: String,
    /// False: there was one with this e-mail already, which got the roles.
    pub created: bool,
    /// The secret of a one-time sign-in link (7 days), for a new account without a password, and for
    /// one whose address nobody had vouched for before:
    /// `{public_url}/signin/link?code={secret}`.
    pub link: Option<String>,
}

/// 401 or 403 for those who may give no role anywhere, before what they send is read.
pub fn may_invite(by: &Actor) -> Result<(), AccountError> {
    if by.operator || by.grants.iter().any(|grant| grant.role == Role::Organiser) {
        return Ok(());
    }
    Err(if by.account.is_none() { Denied::NotSignedIn } else { Denied::NotAllowed }.into())
}

/// Adds an account, or gives an existing one more roles (its password stays).
pub async fn add_account(app: &App, by: &Actor, new: NewAccount) -> Result<Added, AccountError> {
    may_give(by, &new.grants)?;
    let mut faults = Vec::new();
    let email = crate::rules::people::check_email(&new.email).unwrap_or_else(|sentence| {
        faults.push(Fault::new("/email", sentence));
        String::new()
    });
    if let Some(Err(sentence)) = new.password.as_deref().map(|p| password::check(p, &new.email)) {
        faults.push(Fault::new("/password", sentence));
    }
    faults.extend(check_roles(app, &new.grants, "/roles").await?);
    if !faults.is_empty() {
        return Err(Refusal::Faults(faults).into());
    }
    let phc = match &new.password {
        Some(password) => Some(password::hash_aside(app, password).await?),
        None => None,
    };
    let (folded, now) = (fold(&email), app.clock.now());
    // Somebody may have made it with an athlete's code under another person's address: what is given
    // here is meant for the address's owner.
    let secret = secret(app);
    let new = accounts::NewAccount {
        email: &email,
        folded_email: &folded,
        password_hash: phc.as_deref(),
        grants: &new.grants,
        link: Some((&hashed(&secret), now + link_span())),
    };
    match app.store.add_account(new, now, |held| reaches(by, held)).await? {
        accounts::Added::Done { account, created, linked } => {
            Ok(Added { account, email, created, link: linked.then_some(secret) })
        }
        accounts::Added::OutOfReach => Err(fault("/email", Sentence::new("account_unproven"))),
    }
}

/// Whether all that an account may be is in the hands of whoever asks. Who comes into one as its owner
/// would else come into what it has elsewhere.
pub(super) fn reaches(by: &Actor, held: &[Grant]) -> bool {
    let mine = |competition: &str| permit(by, Act::Organise { competition }).is_ok();
    permit(by, Act::Administer).is_ok() || held.iter().all(|grant| grant.competition.as_deref().is_some_and(mine))
}

/// Everything that is wrong with an account to be added without a password; nothing is stored.
pub async fn check_account(app: &App, by: &Actor, email: &str, grants: &[Grant]) -> Result<(), AccountError> {
    may_give(by, grants)?;
    let address = crate::rules::people::check_email(email).err().map(|sentence| Fault::new("/email", sentence));
    let faults: Vec<Fault> = address.into_iter().chain(check_roles(app, grants, "/roles").await?).collect();
    if faults.is_empty() { Ok(()) } else { Err(Refusal::Faults(faults).into()) }
}

/// Accounts in order of their numbers, after `after`; for who administers the service.
pub async fn list_accounts(app: &App, by: &Actor, after: i64, limit: u32) -> Result<Vec<Account>, AccountError> {
    permit(by, Act::Administer)?;
    Ok(app.store.list_accounts(after, limit).await?)
}

/// An account by its number, for itself and for who administers the service.
pub async fn find_account(app: &App, by: &Actor, id: i64) -> Result<Account, AccountError> {
    if by.account != Some(id) {
        permit(by, Act::Administer)?;
    }
    known(app.store.find_account(id).await?)
}

/// Roles: all of a competition (for its organiser), or all of an account (for who administers the
/// service, and for itself).
pub async fn list_roles(app: &App, by: &Actor, of: RolesOf<'_>) -> Result<Vec<Granted>, AccountError> {
    match of {
        RolesOf::Competition(competition) => {
            permit(by, Act::Organise { competition })?;
            Ok(app.store.list_grants_in(competition).await?)
        }
        RolesOf::Everywhere(competition) => {
            permit(by, Act::Organise { competition })?;
            Ok(app.store.list_grants_everywhere().await?)
        }
        RolesOf::Account(id) => {
            find_account(app, by, id).await?;
            Ok(app.store.list_grants_of(id).await?)
        }
    }
}

/// Whose roles to list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RolesOf<'a> {
    /// By slug.
    Competition(&'a str),
    /// Those that hold in all competitions, and so in this one: by its slug.
    Everywhere(&'a str),
    /// By number.
    Account(i64),
}

/// Gives an account roles; the numbers of the grants, in turn.
pub async fn add_roles(app: &App, by: &Actor, account: i64, grants: &[Grant]) -> Result<Vec<i64>, AccountError> {
    may_give(by, grants)?;
    let faults = check_roles(app, grants, "/roles").await?;
    if !faults.is_empty() {
        return Err(Refusal::Faults(faults).into());
    }
    let account = known(app.store.find_account(account).await?)?;
    if !account.confirmed {
        // A link for its owner comes of an invitation, not of this.
        return Err(Refusal::Conflict(Sentence::new("address_unconfirmed"), Vec::new()).into());
    }
    Ok(app.store.add_grants(account.id, grants, app.clock.now()).await?)
}

/// Takes a role away.
pub async fn remove_role(app: &App, by: &Actor, id: i64) -> Result<(), AccountError> {
    let unknown = || AccountError::Refused(Refusal::NotFound(Sentence::new("unknown_role")));
    if by.account.is_none() && !by.operator {
        return Err(Refusal::NotSignedIn.into());
    }
    let granted = app.store.find_grant(id).await?.ok_or_else(unknown)?;
    // Roles elsewhere do not exist for who may not give them.
    may_give(by, std::slice::from_ref(&granted.grant)).map_err(|_| unknown())?;
    // Whoever administers the service organises every competition, and whoever is at the machine gives any role.
    let stays = !by.operator && (granted.grant.competition.is_none() || permit(by, Act::Administer).is_err());
    match app.store.remove_grant(id, stays).await? {
        Ok(true) => Ok(()),
        Ok(false) => Err(unknown()),
        Err(alone) => Err(only_one(&alone).into()),
    }
}

/// Somebody else has to organise it first.
#[must_use]
pub fn only_one(alone: &Alone) -> Refusal {
    let sentence = match alone {
        Alone::Service => Sentence::new("only_administrator"),
        Alone::Competition(slug) => Sentence::new("only_organiser").with("competition", slug),
    };
    Refusal::Conflict(sentence, Vec::new())
}

/// A new one-time link for an account that exists; for who administers the service.
pub async fn new_link(app: &App, by: &Actor, account: i64) -> Result<String, AccountError> {
    permit(by, Act::Administer)?;
    let account = known(app.store.find_account(account).await?)?;
    make_link(app, account.id, link_span()).await
}

/// Closes an account: no role, no password, no link, no session, no token is left (ASVS 7.4.2). Its number
/// stays, as the log names it.
pub async fn close_account(app: &App, by: &Actor, id: i64) -> Result<(), AccountError> {
    permit(by, Act::Administer)?;
    let account = known(app.store.find_account(id).await?)?;
    let closed = app.store.close_account(account.id, !by.operator, app.clock.now()).await?;
    if closed { Ok(()) } else { Err(only_one(&Alone::Service).into()) }
}

/// A one-time link that holds for `span`; its secret.
pub(super) async fn make_link(app: &App, account: i64, span: SignedDuration) -> Result<String, AccountError> {
    let (secret, now) = (secret(app), app.clock.now());
    app.store.add_link(&hashed(&secret), account, now, now + span).await?;
    Ok(secret)
}

fn known(account: Option<Account>) -> Result<Account, AccountError> {
    account.ok_or_else(|| Refusal::NotFound(Sentence::new("unknown_account")).into())
}

/// Whether `by` may give all of these roles; none at all is for who administers the service.
fn may_give(by: &Actor, grants: &[Grant]) -> Result<(), AccountError> {
    if grants.is_empty() {
        permit(by, Act::Administer)?;
    }
    for grant in grants {
        match &grant.competition {
            Some(competition) => permit(by, Act::Organise { competition })?,
            None => permit(by, Act::Administer)?,
        };
    }
    Ok(())
}

/// What is wrong with the roles themselves: each needs what it holds for, and nothing else.
async fn check_roles(app: &App, grants: &[Grant], at: &str) -> Result<Vec<Fault>, AccountError> {
    let mut faults = Vec::new();
    for (i, grant) in grants.iter().enumerate() {
        let mut wrong = |member: &str, code| faults.push(Fault::new(format!("{at}/{i}/{member}"), Sentence::new(code)));
        let everywhere = matches!(grant.role, Role::Organiser | Role::Referee);
        if grant.competition.is_none() && !everywhere {
            wrong("competition", "role_needs_competition");
        }
        match (grant.role == Role::Staff, &grant.gym) {
            (true, None) => wrong("gym", "role_needs_gym"),
            (false, Some(_)) => wrong("gym", "role_takes_no_gym"),
            _ => {}
        }
        match (grant.role == Role::Athlete, grant.bib) {
            (true, None) => wrong("bib", "role_needs_bib"),
            (false, Some(_)) => wrong("bib", "role_takes_no_bib"),
            _ => {}
        }
        match (grant.role == Role::Judge, &grant.judge) {
            (true, None) => wrong("judge", "role_needs_judge"),
            (false, Some(_)) => wrong("judge", "role_takes_no_judge"),
            _ => {}
        }
        if let Some(competition) = &grant.competition {
            match app.store.find_competition(competition).await? {
                None => wrong("competition", "role_nowhere"),
                Some(known) => check_whose(app, known.id, grant, &mut wrong).await?,
            }
        }
    }
    Ok(faults)
}

/// Whether the gym, the bib and the judge that a role names are there.
async fn check_whose(
    app: &App,
    competition: i64,
    grant: &Grant,
    wrong: &mut impl FnMut(&str, &'static str),
) -> Result<(), AccountError> {
    if let Some(gym) = &grant.gym
        && app.store.find_gym(competition, gym).await?.is_none()
    {
        wrong("gym", "role_no_such_gym");
    }
    if let Some(bib) = grant.bib
        && app.store.find_entry(competition, bib).await?.is_none()
    {
        wrong("bib", "role_no_such_bib");
    }
    if let Some(code) = &grant.judge
        && app.store.find_judge(competition, code).await?.is_none()
    {
        wrong("judge", "role_no_such_judge");
    }
    Ok(())
}
