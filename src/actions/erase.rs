//! Erasing somebody: their personal facts and all notes about their entry, and the account that
//! was theirs alone.
//!
//! The log keeps what was done under a number, and its commitments, which nobody can open any
//! more. Each step may be repeated: what is gone already is passed over.

use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Actor, Denied, Grant, Role};
use crate::rules::ledger::{Change, Whose};
use jiff::Timestamp;

/// Erases an athlete or a judge of a competition; for themselves and for the organiser.
pub async fn erase(app: &App, actor: &Actor, now: Timestamp, competition: &str, whose: Whose) -> Result<(), Failure> {
    signed_in(actor)?;
    let theirs = |grant: &Grant| match &whose {
        Whose::Entry(bib) => grant.role == Role::Athlete && grant.bib == Some(*bib),
        Whose::Judge(code) => grant.role == Role::Judge && grant.judge.as_ref() == Some(code),
    };
    Request::at(now).ask(app, actor, competition, Change::Erase(whose.clone())).await?;
    if let (Whose::Entry(bib), Some(known)) = (&whose, app.store.find_competition(competition).await?) {
        app.store.end_claim(known.id, *bib).await?;
    }
    for granted in app.store.list_grants_in(competition).await?.iter().filter(|g| theirs(&g.grant)) {
        app.store.remove_grant(granted.id).await?;
        if app.store.list_grants_of(granted.account).await?.is_empty() {
            app.store.erase_account(granted.account).await?;
        }
    }
    Ok(app.store.settle().await?)
}

/// Erases whoever asks, in every competition they are an athlete or a judge of. True: their account
/// is closed, as it was for nothing else.
pub async fn erase_me(app: &App, actor: &Actor, now: Timestamp) -> Result<bool, Failure> {
    let account = actor.account.ok_or(Denied::NotSignedIn)?;
    for grant in &actor.grants {
        let whose = match (grant.role, grant.bib, &grant.judge) {
            (Role::Athlete, Some(bib), _) => Whose::Entry(bib),
            (Role::Judge, _, Some(code)) => Whose::Judge(code.clone()),
            _ => continue,
        };
        if let Some(competition) = &grant.competition {
            erase(app, actor, now, competition, whose).await?;
        }
    }
    let closed = app.store.list_grants_of(account).await?.is_empty();
    if closed {
        app.store.erase_account(account).await?;
        app.store.settle().await?;
    }
    Ok(closed)
}
