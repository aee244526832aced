//! Erasing somebody: their personal facts and all notes about their entry, and the account that
//! was theirs alone.
//!
//! The log keeps what was done under a number, and its commitments, which nobody can open any
//! more. Each step may be repeated: what is gone already is passed over, and what is found by their
//! facts goes before these do. What is begun is not left half done by a connection that ends.

use super::accounts::only_one;
use super::score::WAIT;
use super::views::{EntryView, GymView, JudgeView};
use super::{Failure, Request, lists, roster, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Grant, Role, permit};
use crate::rules::ledger::{Change, Outcome, Whose};
use crate::rules::people::{Person, fold_name};
use crate::store::StoreError;
use crate::store::grants::Granted;
use crate::words::Sentence;
use jiff::Timestamp;

/// Who would be erased: to be looked at first, as nothing brings them back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Meant {
    /// An athlete.
    Athlete {
        /// The entry.
        entry: EntryView,
        /// How many results of theirs are stored.
        scores: u64,
        /// Whether name and facts are still kept: who was erased has none any more.
        kept: bool,
    },
    /// A judge: with a sign-in or, mostly, without.
    Judge {
        /// Code, gym and days; the name, while it is kept.
        judge: JudgeView,
        /// The address that was given; empty: none.
        email: String,
        /// Whether name and address are still kept.
        kept: bool,
    },
    /// The contact of a gym, if it has one.
    Contact(GymView),
}

impl Meant {
    /// Whether anything is kept of them. Where nothing is, to erase again takes away what was left beside it.
    #[must_use]
    pub fn is_kept(&self) -> bool {
        match self {
            Self::Athlete { kept, .. } | Self::Judge { kept, .. } => *kept,
            Self::Contact(gym) => gym.contact.is_some(),
        }
    }
}

/// Who a bib, a judge's code or a gym stands for; for the organiser.
///
/// # Errors
/// Not found, or not allowed.
pub async fn meant(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    whose: &Whose,
) -> Result<Meant, Failure> {
    let reader = roster::may(app, actor, competition, &Request::at(now)).await?;
    match whose {
        Whose::Entry(bib) => {
            let entry = lists::entry(app, actor, now, competition, *bib).await?;
            let scores = app.store.list_attempts_of(reader.id, *bib).await?.len();
            let kept = person(app, actor, competition, whose).await?.is_some();
            Ok(Meant::Athlete { entry, scores: u64::try_from(scores).unwrap_or(u64::MAX), kept })
        }
        Whose::Judge(code) => {
            let none = || Failure::not_found(Sentence::new("no_judge").with("code", code));
            let judge = app.store.find_judge(reader.id, code).await?.ok_or_else(none)?;
            let person = person(app, actor, competition, whose).await?.map(|(_, person)| person);
            let (kept, email) = (person.is_some(), person.as_ref().map_or(String::new(), |p| p.email.clone()));
            Ok(Meant::Judge { judge: lists::judge_view(judge, person.map(|p| p.name)), email, kept })
        }
        Whose::Contact(gym) | Whose::ContactToo(gym, _) => {
            let one = lists::Find { gym: Some(gym.clone()), ..lists::Find::default() };
            let found = lists::gyms(app, actor, now, competition, &one).await?.into_iter().next();
            found.map(Meant::Contact).ok_or_else(|| Failure::not_found(Sentence::new("no_gym").with("gym", gym)))
        }
    }
}

/// Erases an athlete, a judge or a gym's contact of a competition; for themselves and for the organiser.
pub async fn erase(app: &App, actor: &Actor, now: Timestamp, competition: &str, whose: Whose) -> Result<(), Failure> {
    let (app, actor, competition) = (app.clone(), actor.clone(), competition.to_owned());
    to_its_end(async move { erase_one(&app, &actor, now, &competition, whose).await }).await
}

/// Goes on where whoever asked has hung up, or has waited for too long.
async fn to_its_end<T: Send + 'static>(
    work: impl Future<Output = Result<T, Failure>> + Send + 'static,
) -> Result<T, Failure> {
    tokio::spawn(work).await.unwrap_or_else(|broken| Err(Failure::Broken(broken.into())))
}

async fn erase_one(app: &App, actor: &Actor, now: Timestamp, competition: &str, whose: Whose) -> Result<(), Failure> {
    signed_in(actor)?;
    let mut begun = false;
    let facts = erase_facts(app, actor, now, competition, &whose, &mut begun).await;
    let email = after(begun, facts, || in_part(competition))?;
    // From here on it is done, whatever else goes wrong.
    let rest = take_along(app, competition, &whose, &email).await.map_err(Failure::from);
    settle(app).await;
    after(true, rest, || Sentence::new("erased_not_all"))
}

/// What is found by their facts, and then these; their address, folded. `begun`: something is gone for good.
async fn erase_facts(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    whose: &Whose,
    begun: &mut bool,
) -> Result<String, Failure> {
    let mut email = String::new();
    if let Some((id, person)) = person(app, actor, competition, whose).await? {
        *begun |= app.store.erase_proposals(id, &person, now).await? > 0;
        email = fold_name(&person.email);
        *begun |= app.store.forget_letters(Some(competition), &email).await? > 0;
        let staff = app.store.list_grants_in(competition).await?;
        for gym in contacts(app, id, &person, &staff).await? {
            let too = Change::Erase(Whose::ContactToo(gym, Box::new(whose.clone())));
            match Request::at(now).ask(app, actor, competition, too).await {
                Ok(answered) => *begun |= answered.outcome == Outcome::Stated,
                // Of another name: whose address it is nobody can tell.
                Err(Failure::Refused(_)) => {}
                Err(other) => return Err(other),
            }
        }
    }
    let erased = Request::at(now).ask(app, actor, competition, Change::Erase(whose.clone())).await?;
    if let Some(id) = app.board.find(competition) {
        app.logs.at_least(id, erased.seq, WAIT).await;
    }
    Ok(email)
}

/// What is kept beside the log for somebody who is erased: answers that name them, their code, their
/// roles, and the account that was for nothing else; and what became of letters that were handed over to
/// their address meanwhile.
async fn take_along(app: &App, competition: &str, whose: &Whose, email: &str) -> Result<(), StoreError> {
    let theirs = |grant: &Grant| match whose {
        Whose::Entry(bib) => grant.role == Role::Athlete && grant.bib == Some(*bib),
        Whose::Judge(code) => grant.role == Role::Judge && grant.judge.as_ref() == Some(code),
        Whose::Contact(_) | Whose::ContactToo(..) => false,
    };
    app.store.forget_answers(competition).await?;
    app.store.forget_letters(Some(competition), email).await?;
    if let (Some(known), Whose::Entry(bib)) = (app.store.find_competition(competition).await?, whose) {
        app.store.end_claim(known.id, *bib).await?;
    }
    for granted in app.store.list_grants_in(competition).await?.iter().filter(|g| theirs(&g.grant)) {
        app.store.end_grant(granted.id, granted.account).await?;
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

/// Says of what goes wrong after a part was done for good (`begun`) that it was.
fn after<T>(begun: bool, rest: Result<T, Failure>, said: impl FnOnce() -> Sentence) -> Result<T, Failure> {
    rest.map_err(|failure| match failure {
        told @ Failure::InPart(..) => told,
        nothing if !begun => nothing,
        other => Failure::InPart(said(), other.into()),
    })
}

fn in_part(competition: &str) -> Sentence {
    Sentence::new("erased_in_part").with("competition", competition)
}

/// Somebody's facts, as far as they are still there, to find what else is kept about them; with the
/// number of the competition.
async fn person(app: &App, actor: &Actor, competition: &str, whose: &Whose) -> Result<Option<(i64, Person)>, Failure> {
    let act = match whose {
        Whose::Entry(bib) => Act::Erase { competition, bib: Some(*bib), judge: None, contact_of: None },
        Whose::Judge(code) => Act::Erase { competition, bib: None, judge: Some(code), contact_of: None },
        Whose::Contact(_) | Whose::ContactToo(..) => {
            Act::Erase { competition, bib: None, judge: None, contact_of: None }
        }
    };
    // Who may not is refused by the change itself.
    let Ok(permit) = permit(actor, act) else { return Ok(None) };
    let Some(known) = app.store.find_competition(competition).await? else { return Ok(None) };
    let id = match whose {
        Whose::Entry(bib) => app.store.find_entry(known.id, *bib).await?.map(|named| named.entry.person.id),
        Whose::Judge(code) => app.store.find_judge(known.id, code).await?.map(|judge| judge.person.id),
        Whose::Contact(gym) | Whose::ContactToo(gym, _) => {
            app.store.find_gym(known.id, gym).await?.and_then(|gym| gym.contact).map(|contact| contact.id)
        }
    };
    let Some(id) = id else { return Ok(None) };
    Ok(app.store.find_person(&permit, known.id, id).await?.map(|person| (known.id, person)))
}

/// The gyms of this competition whose contact has the address of somebody who is erased. Who is still
/// staff of a gym stays its contact.
async fn contacts(app: &App, competition: i64, person: &Person, roles: &[Granted]) -> Result<Vec<String>, StoreError> {
    let email = fold_name(&person.email);
    let mut gyms = app.store.list_contacts_under(competition, &email).await?;
    let stays = |gym: &String, g: &Granted| {
        g.grant.role == Role::Staff && g.grant.gym.as_ref() == Some(gym) && fold_name(&g.email) == email
    };
    gyms.retain(|gym| !roles.iter().any(|g| stays(gym, g)));
    Ok(gyms)
}

/// Erases whoever asks as the contact of every gym that has their address, where they are its staff, or
/// organise the competition: who else organises something may have made the account.
async fn erase_own_contacts(app: &App, actor: &Actor, now: Timestamp, begun: &mut bool) -> Result<(), Failure> {
    for (id, slug) in app.store.list_competitions_with(&actor.email).await? {
        for gym in app.store.list_contacts_under(id, &actor.email).await? {
            if !actor.is_staff_of(&slug, &gym) && !actor.has(&slug, Role::Organiser) {
                continue;
            }
            Request::at(now).ask(app, actor, &slug, Change::Erase(Whose::Contact(gym))).await?;
            *begun = true;
            app.store.forget_answers(&slug).await?;
        }
    }
    Ok(())
}

/// Forgets what gyms proposed about whoever asks, in competitions whose organiser gave them a role.
async fn erase_own_proposals(app: &App, actor: &Actor, now: Timestamp, begun: &mut bool) -> Result<(), Failure> {
    for (id, slug) in app.store.list_competitions_proposing(&actor.email).await? {
        let Ok(permit) = permit(actor, Act::OwnProposals { competition: &slug }) else { continue };
        *begun |= app.store.erase_proposals_to(&permit, id, &actor.email, now).await? > 0;
    }
    Ok(())
}

/// Erases whoever asks as [`erase_me`] does, gives every other role back and closes the account. Who
/// is the only organiser of a competition, or alone administers the service, is refused: nobody could
/// decide there any more.
pub async fn close_me(app: &App, actor: &Actor, now: Timestamp) -> Result<(), Failure> {
    let account = actor.account.ok_or(Denied::NotSignedIn)?;
    let (app, actor) = (app.clone(), actor.clone());
    to_its_end(async move {
        // Decided and done at once: of two who are the last ones together one stays.
        app.store.give_up_organising(account).await?.map_err(|alone| only_one(&alone))?;
        let organises = actor.grants.iter().any(|grant| grant.role == Role::Organiser);
        let rest = async {
            if !erase_all(&app, &actor, now, true).await? {
                app.store.erase_account(account).await?.map_err(|alone| only_one(&alone))?;
                settle(&app).await;
            }
            Ok(())
        };
        after(organises, rest.await, || Sentence::new("organising_given_back"))
    })
    .await
}

/// Erases whoever asks, in every competition they are an athlete or a judge of. True: their account
/// is closed, as it was for nothing else.
pub async fn erase_me(app: &App, actor: &Actor, now: Timestamp) -> Result<bool, Failure> {
    let (app, actor) = (app.clone(), actor.clone());
    to_its_end(async move { erase_all(&app, &actor, now, false).await }).await
}

/// `with_account`: the account goes too, and with it the contact of gyms.
async fn erase_all(app: &App, actor: &Actor, now: Timestamp, with_account: bool) -> Result<bool, Failure> {
    let account = actor.account.ok_or(Denied::NotSignedIn)?;
    let mut begun = false;
    if app.store.find_account(account).await?.is_some_and(|account| account.confirmed) {
        let mut beside = erase_own_proposals(app, actor, now, &mut begun).await;
        if beside.is_ok() && with_account {
            beside = erase_own_contacts(app, actor, now, &mut begun).await;
        }
        // An address that nobody has shown to be theirs may be another's, and so may the letters to it.
        if beside.is_ok() {
            let forgotten = app.store.forget_letters(None, &actor.email).await;
            beside = forgotten.map(|n| begun |= n > 0).map_err(Failure::from);
        }
        after(begun, beside, || Sentence::new("erased_some"))?;
    }
    for grant in &actor.grants {
        let whose = match (grant.role, grant.bib, &grant.judge) {
            (Role::Athlete, Some(bib), _) => Whose::Entry(bib),
            (Role::Judge, _, Some(code)) => Whose::Judge(code.clone()),
            _ => continue,
        };
        if let Some(competition) = &grant.competition {
            let erased = erase_one(app, actor, now, competition, whose).await;
            after(begun, erased, || in_part(competition))?;
            begun = true;
        }
    }
    let closed = app.store.erase_account_without_grants(account).await.map_err(Failure::from);
    settle(app).await;
    after(begun, closed, || Sentence::new("erased_not_all"))
}
