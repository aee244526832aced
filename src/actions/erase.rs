//! Erasing somebody: their personal facts and all notes about their entry, and the account that
//! was theirs alone.
//!
//! The log keeps what was done under a number, and its commitments, which nobody can open any
//! more. Each step may be repeated: what is gone already is passed over, and what is found by their
//! facts goes before these do.

use super::accounts::only_one;
use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Grant, Permit, Role, permit};
use crate::rules::ledger::{Change, Whose};
use crate::rules::people::{Person, fold_name};
use crate::store::StoreError;
use crate::store::grants::Granted;
use crate::words::Sentence;
use jiff::Timestamp;

/// Erases an athlete, a judge or a gym's contact of a competition; for themselves and for the organiser.
pub async fn erase(app: &App, actor: &Actor, now: Timestamp, competition: &str, whose: Whose) -> Result<(), Failure> {
    signed_in(actor)?;
    let found = person(app, actor, competition, &whose).await?;
    if let Some(found) = &found {
        app.store.erase_proposals(found.competition, &found.person, now).await?;
        app.post.forget(&found.person.email);
        erase_as_contact(app, actor, now, competition, found).await?;
    }
    Request::at(now).ask(app, actor, competition, Change::Erase(whose.clone())).await?;
    // From here on it is done, whatever else goes wrong.
    let rest = take_along(app, competition, &whose).await.map_err(Failure::from);
    settle(app).await;
    after(rest, || Sentence::new("erased_not_all"))
}

/// What is kept beside the log for somebody who is erased: answers that name them, their code, their
/// roles, and the account that was for nothing else.
async fn take_along(app: &App, competition: &str, whose: &Whose) -> Result<(), StoreError> {
    let theirs = |grant: &Grant| match whose {
        Whose::Entry(bib) => grant.role == Role::Athlete && grant.bib == Some(*bib),
        Whose::Judge(code) => grant.role == Role::Judge && grant.judge.as_ref() == Some(code),
        Whose::Contact(_) => false,
    };
    app.store.forget_answers(competition).await?;
    if let (Some(known), Whose::Entry(bib)) = (app.store.find_competition(competition).await?, whose) {
        app.store.end_claim(known.id, *bib).await?;
    }
    for granted in app.store.list_grants_in(competition).await?.iter().filter(|g| theirs(&g.grant)) {
        let confirmed = app.store.find_account(granted.account).await?.is_some_and(|account| account.confirmed);
        if app.store.end_grant(granted.id, granted.account).await? && confirmed {
            app.post.forget(&granted.email);
        }
    }
    Ok(())
}

/// Leaves nothing of them in the files beside the database; what keeps it from that now does so for a
/// while, and it happens by itself later.
async fn settle(app: &App) {
    if let Err(error) = app.store.settle().await {
        tracing::warn!("what was erased stands beside the database for a while: {error}");
    }
}

/// Says of what goes wrong after a part was done for good that it was.
fn after<T>(rest: Result<T, Failure>, said: impl FnOnce() -> Sentence) -> Result<T, Failure> {
    rest.map_err(|failure| match failure {
        told @ Failure::InPart(..) => told,
        other => Failure::InPart(said(), other.into()),
    })
}

/// Somebody who is to be erased.
struct Found {
    competition: i64,
    person: Person,
    permit: Permit,
}

/// Their facts, as far as they are still there, to find what else is kept about them.
async fn person(app: &App, actor: &Actor, competition: &str, whose: &Whose) -> Result<Option<Found>, Failure> {
    let act = match whose {
        Whose::Entry(bib) => Act::Erase { competition, bib: Some(*bib), judge: None, own: false },
        Whose::Judge(code) => Act::Erase { competition, bib: None, judge: Some(code), own: false },
        Whose::Contact(_) => Act::Erase { competition, bib: None, judge: None, own: false },
    };
    // Who may not is refused by the change itself.
    let Ok(permit) = permit(actor, act) else { return Ok(None) };
    let Some(known) = app.store.find_competition(competition).await? else { return Ok(None) };
    let id = match whose {
        Whose::Entry(bib) => app.store.find_entry(known.id, *bib).await?.map(|named| named.entry.person.id),
        Whose::Judge(code) => app.store.find_judge(known.id, code).await?.map(|judge| judge.person.id),
        Whose::Contact(gym) => contact(app, known.id, gym).await?,
    };
    let Some(id) = id else { return Ok(None) };
    let found = app.store.find_person(&permit, known.id, id).await?;
    Ok(found.map(|person| Found { competition: known.id, person, permit }))
}

/// The number of a gym's contact.
async fn contact(app: &App, competition: i64, gym: &str) -> Result<Option<u64>, StoreError> {
    Ok(app.store.find_gym(competition, gym).await?.and_then(|gym| gym.contact).map(|contact| contact.id))
}

/// Erases somebody as the contact of gyms of this competition too: of the same name and address. Who is
/// still staff of the gym stays its contact; and who may not decide about one whose name differs, for an
/// address may be a whole gym's, is nobody here.
async fn erase_as_contact(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    found: &Found,
) -> Result<(), Failure> {
    let email = fold_name(&found.person.email);
    for (slug, gym) in app.store.list_contacts_under(&email).await? {
        let stays = |g: &Granted| {
            g.grant.role == Role::Staff && g.grant.gym.as_ref() == Some(&gym) && fold_name(&g.email) == email
        };
        if slug != competition || app.store.list_grants_in(competition).await?.iter().any(stays) {
            continue;
        }
        let Some(id) = contact(app, found.competition, &gym).await? else { continue };
        let known = app.store.find_person(&found.permit, found.competition, id).await?;
        if known.is_none_or(|known| fold_name(&known.name) != fold_name(&found.person.name)) {
            continue;
        }
        match Request::at(now).ask(app, actor, competition, Change::Erase(Whose::Contact(gym))).await {
            Ok(_) | Err(Failure::Refused(_)) => {}
            Err(other) => return Err(other),
        }
    }
    Ok(())
}

/// Erases whoever asks as the contact of every gym that has their address.
async fn erase_own_contacts(app: &App, actor: &Actor, now: Timestamp) -> Result<(), Failure> {
    for (competition, gym) in app.store.list_contacts_under(&actor.email).await? {
        Request::at(now).ask(app, actor, &competition, Change::Erase(Whose::Contact(gym))).await?;
        app.store.forget_answers(&competition).await?;
    }
    Ok(())
}

/// Erases whoever asks as [`erase_me`] does, gives every other role back and closes the account. Who
/// is the only organiser of a competition, or alone administers the service, is refused: nobody could
/// decide there any more.
pub async fn close_me(app: &App, actor: &Actor, now: Timestamp) -> Result<(), Failure> {
    let account = actor.account.ok_or(Denied::NotSignedIn)?;
    // Decided and done at once: of two who are the last ones together one stays.
    app.store.give_up_organising(account).await?.map_err(|alone| only_one(&alone))?;
    let organises = actor.grants.iter().any(|grant| grant.role == Role::Organiser);
    let rest = async {
        if !erase_all(app, actor, now, true).await? {
            app.store.erase_account(account).await?.map_err(|alone| only_one(&alone))?;
            settle(app).await;
        }
        Ok(())
    };
    let closed = rest.await;
    if organises { after(closed, || Sentence::new("organising_given_back")) } else { closed }
}

/// Erases whoever asks, in every competition they are an athlete or a judge of. True: their account
/// is closed, as it was for nothing else; then they are no gym's contact any more either.
pub async fn erase_me(app: &App, actor: &Actor, now: Timestamp) -> Result<bool, Failure> {
    let goes = |grant: &Grant| match grant.role {
        Role::Athlete => grant.bib.is_some(),
        Role::Judge => grant.judge.is_some(),
        _ => false,
    };
    let closes = actor.grants.iter().all(goes);
    erase_all(app, actor, now, closes).await
}

/// `with_account`: the account goes too.
async fn erase_all(app: &App, actor: &Actor, now: Timestamp, with_account: bool) -> Result<bool, Failure> {
    let account = actor.account.ok_or(Denied::NotSignedIn)?;
    if app.store.find_account(account).await?.is_some_and(|account| account.confirmed) {
        app.store.erase_proposals_to(&actor.email, now).await?;
        if with_account {
            erase_own_contacts(app, actor, now).await?;
        }
        // An address that nobody has shown to be theirs may be another's, and so may the letters to it.
        app.post.forget(&actor.email);
    }
    let mut begun = false;
    for grant in &actor.grants {
        let whose = match (grant.role, grant.bib, &grant.judge) {
            (Role::Athlete, Some(bib), _) => Whose::Entry(bib),
            (Role::Judge, _, Some(code)) => Whose::Judge(code.clone()),
            _ => continue,
        };
        if let Some(competition) = &grant.competition {
            let erased = erase(app, actor, now, competition, whose).await;
            let said = || Sentence::new("erased_in_part").with("competition", competition);
            if begun {
                after(erased, said)?;
            } else {
                erased?;
            }
            begun = true;
        }
    }
    let closed = app.store.erase_account_without_grants(account).await.map_err(Failure::from);
    settle(app).await;
    if begun { after(closed, || Sentence::new("erased_not_all")) } else { closed }
}
