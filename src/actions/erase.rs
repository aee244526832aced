//! Erasing somebody: their personal facts and all notes about their entry, and the account that
//! was theirs alone.
//!
//! The log keeps what was done under a number, and its commitments, which nobody can open any
//! more. Each step may be repeated: what is gone already is passed over, and what is found by their
//! facts goes before these do.

use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Grant, Role, permit};
use crate::rules::ledger::{Change, Refusal, Whose};
use crate::rules::people::Person;
use crate::store::grants::Granted;
use crate::words::Sentence;
use jiff::Timestamp;

/// Erases an athlete or a judge of a competition; for themselves and for the organiser.
pub async fn erase(app: &App, actor: &Actor, now: Timestamp, competition: &str, whose: Whose) -> Result<(), Failure> {
    signed_in(actor)?;
    let theirs = |grant: &Grant| match &whose {
        Whose::Entry(bib) => grant.role == Role::Athlete && grant.bib == Some(*bib),
        Whose::Judge(code) => grant.role == Role::Judge && grant.judge.as_ref() == Some(code),
    };
    if let Some((known, person)) = person(app, actor, competition, &whose).await? {
        app.store.erase_proposals(known, &person, now).await?;
        app.post.forget(&person.email);
    }
    Request::at(now).ask(app, actor, competition, Change::Erase(whose.clone())).await?;
    app.store.forget_answers(competition).await?;
    if let (Some(known), Whose::Entry(bib)) = (app.store.find_competition(competition).await?, &whose) {
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

/// The competition's number and their facts, as far as they are still there, to find what else is kept
/// about them.
async fn person(app: &App, actor: &Actor, competition: &str, whose: &Whose) -> Result<Option<(i64, Person)>, Failure> {
    let act = match whose {
        Whose::Entry(bib) => Act::Erase { competition, bib: Some(*bib), judge: None },
        Whose::Judge(code) => Act::Erase { competition, bib: None, judge: Some(code) },
    };
    // Who may not is refused by the change itself.
    let Ok(permit) = permit(actor, act) else { return Ok(None) };
    let Some(known) = app.store.find_competition(competition).await? else { return Ok(None) };
    let id = match whose {
        Whose::Entry(bib) => app.store.find_entry(known.id, *bib).await?.map(|named| named.entry.person.id),
        Whose::Judge(code) => app.store.find_judge(known.id, code).await?.map(|judge| judge.person.id),
    };
    match id {
        Some(id) => Ok(app.store.find_person(&permit, known.id, id).await?.map(|person| (known.id, person))),
        None => Ok(None),
    }
}

/// Erases whoever asks as [`erase_me`] does, gives every other role back and closes the account. Who
/// is the only organiser of a competition is refused: nobody could decide there any more.
pub async fn close_me(app: &App, actor: &Actor, now: Timestamp) -> Result<(), Failure> {
    let account = actor.account.ok_or(Denied::NotSignedIn)?;
    for competition in actor.grants.iter().filter(|g| g.role == Role::Organiser).filter_map(|g| g.competition.as_ref())
    {
        let organises = |g: &Granted| g.grant.role == Role::Organiser && g.account != account;
        if !app.store.list_grants_in(competition).await?.iter().any(organises) {
            let sentence = Sentence::new("only_organiser").with("competition", competition);
            return Err(Refusal::Conflict(sentence, Vec::new()).into());
        }
    }
    if !erase_me(app, actor, now).await? {
        app.post.forget(&actor.email);
        app.store.erase_account(account).await?;
        app.store.settle().await?;
    }
    Ok(())
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
    if app.store.find_account(account).await?.is_some_and(|account| account.confirmed) {
        app.store.erase_proposals_to(&actor.email, now).await?;
    }
    let closed = app.store.list_grants_of(account).await?.is_empty();
    if closed {
        app.post.forget(&actor.email);
        app.store.erase_account(account).await?;
        app.store.settle().await?;
    }
    Ok(closed)
}
