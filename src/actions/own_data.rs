//! Everything that is kept about whoever asks, to be taken along.

use super::amend::Amendment;
use super::reader::Reader;
use super::views::{EntryView, HistoryView, JudgeView, ScoreWithAttempts};
use super::{Failure, ScorePath, amend, judging, lists, score};
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Grant, Role, permit};
use crate::rules::people::{Person, fold_name};
use crate::rules::proposal::Proposed;
use crate::store::letters::Outcome;
use jiff::Timestamp;
use serde::Serialize;

/// Everything that is kept about an account and the persons it stands for.
#[derive(Clone, Debug, Serialize)]
pub struct OwnData {
    /// The account.
    pub account: OwnAccount,
    /// What it may be.
    pub roles: Vec<Grant>,
    /// Where it is signed in.
    pub sessions: Vec<OwnSession>,
    /// Its tokens for programs.
    pub tokens: Vec<OwnToken>,
    /// Its entries, with their persons, scores and history.
    pub entries: Vec<OwnEntry>,
    /// What it is as a judge.
    pub judges: Vec<OwnJudge>,
    /// Gyms whose contact has the address of this account, with what is kept of the contact.
    pub contacts: Vec<OwnContact>,
    /// As what a gym has proposed the owner of its address, and nobody has decided yet; of competitions
    /// whose organiser has given the account a role.
    pub proposals: Vec<OwnProposal>,
    /// What is kept of letters to its address; of the same competitions, and of those where its own entry has
    /// that address.
    pub letters: Vec<OwnLetter>,
}

/// A letter. What it said is not kept.
#[derive(Clone, Debug, Serialize)]
pub struct OwnLetter {
    /// Which competition it was about.
    pub competition: String,
    /// The address, as it is kept.
    pub to: String,
    /// When it was handed over to be sent.
    pub at: Timestamp,
    /// `sent` (the mail server took it), `waiting`, `failed`, or `unknown`.
    pub outcome: &'static str,
}

/// A gym's contact.
#[derive(Clone, Debug, Serialize)]
pub struct OwnContact {
    /// Which competition.
    pub competition: String,
    /// Which gym.
    pub gym: String,
    /// Name, e-mail, phone.
    pub person: Person,
}

/// A proposal.
#[derive(Clone, Debug, Serialize)]
pub struct OwnProposal {
    /// Which competition.
    pub competition: String,
    /// What was sent.
    pub proposed: Proposed,
}

/// An account.
#[derive(Clone, Debug, Serialize)]
pub struct OwnAccount {
    /// Number, as the logs name it.
    pub id: i64,
    /// Address.
    pub email: String,
    /// When it was made.
    pub created_at: Timestamp,
}

/// A session.
#[derive(Clone, Debug, Serialize)]
pub struct OwnSession {
    /// What the browser called itself.
    pub device: String,
    /// When it began.
    pub created_at: Timestamp,
    /// When it was last used, to within minutes.
    pub seen_at: Timestamp,
}

/// A token.
#[derive(Clone, Debug, Serialize)]
pub struct OwnToken {
    /// What it is for.
    pub name: String,
    /// When it was issued.
    pub created_at: Timestamp,
    /// When it ends.
    pub expires_at: Timestamp,
}

/// An entry.
#[derive(Clone, Debug, Serialize)]
pub struct OwnEntry {
    /// Which competition.
    pub competition: String,
    /// Its public facts.
    pub entry: EntryView,
    /// Its personal facts; null: erased.
    pub person: Option<Person>,
    /// Its scores, all attempts.
    pub scores: Vec<ScoreWithAttempts>,
    /// All that happened to each.
    pub history: Vec<HistoryView>,
    /// What was put right about who it is, oldest first.
    pub amended: Vec<Amendment>,
}

/// A judge.
#[derive(Clone, Debug, Serialize)]
pub struct OwnJudge {
    /// Which competition.
    pub competition: String,
    /// Code, gym and days.
    pub judge: JudgeView,
    /// Name and e-mail; null: erased.
    pub person: Option<Person>,
    /// Where it counts, in the heats of its gym and of others.
    pub lanes: Vec<OwnLane>,
    /// What it vouched for.
    pub vouched: Vec<OwnWord>,
}

/// A lane in which a judge counts. Whom is another's to take along: a bib is what both are kept by.
#[derive(Clone, Debug, Serialize)]
pub struct OwnLane {
    /// Which workout.
    pub workout: String,
    /// The gym whose heats they are.
    pub gym: String,
    /// Which heat, from 1.
    pub heat: u32,
    /// Which lane, from 1.
    pub lane: u32,
    /// When the heat starts.
    pub starts: Timestamp,
    /// Whom it counts.
    pub bib: u32,
}

/// A score that a judge vouches for.
#[derive(Clone, Debug, Serialize)]
pub struct OwnWord {
    /// Which workout.
    pub workout: String,
    /// Whose.
    pub bib: u32,
    /// The figures, written.
    pub text: String,
    /// The score's state.
    pub state: &'static str,
    /// How the word was given.
    pub how: &'static str,
    /// When it was recorded.
    pub at: Timestamp,
    /// It came too late, and waits for the organiser.
    pub waiting: bool,
}

/// Everything that is kept about whoever asks.
pub async fn own_data(app: &App, actor: &Actor, now: Timestamp) -> Result<OwnData, Failure> {
    let id = actor.account.ok_or(Denied::NotSignedIn)?;
    let account = app.store.find_account(id).await?.ok_or(Denied::NotSignedIn)?;
    let sessions = app.store.list_sessions(id, now).await?.into_iter();
    let tokens = app.store.list_tokens(id).await?.into_iter();
    let mut data = OwnData {
        account: OwnAccount { id, email: account.email.clone(), created_at: account.created_at },
        roles: actor.grants.clone(),
        sessions: sessions
            .map(|s| OwnSession { device: s.device, created_at: s.created_at, seen_at: s.seen_at })
            .collect(),
        tokens: tokens.map(|t| OwnToken { name: t.name, created_at: t.created_at, expires_at: t.expires_at }).collect(),
        entries: Vec::new(),
        judges: Vec::new(),
        contacts: Vec::new(),
        proposals: Vec::new(),
        letters: Vec::new(),
    };
    if account.confirmed {
        // Whoever took another person's address with a code reads nothing about its owner.
        for (id, competition) in app.store.list_competitions_proposing(&account.folded_email).await? {
            let Ok(permit) = permit(actor, Act::OwnProposals { competition: &competition }) else { continue };
            let about = app.store.list_proposals_about(&permit, id, &account.folded_email).await?.into_iter();
            let of = |proposed| OwnProposal { competition: competition.clone(), proposed };
            data.proposals.extend(about.map(of));
        }
    }
    for grant in &actor.grants {
        let Some(competition) = &grant.competition else { continue };
        let reader = match Reader::find(app, actor, now, competition).await {
            Ok(reader) => reader,
            Err(Failure::Refused(_)) => continue,
            Err(other) => return Err(other),
        };
        if let (Role::Athlete, Some(bib)) = (grant.role, grant.bib) {
            data.entries.extend(own_entry(app, &reader, bib).await?);
        }
        if let (Role::Staff, Some(gym), true) = (grant.role, &grant.gym, account.confirmed) {
            data.contacts.extend(own_contact(app, &reader, gym, &account.folded_email).await?);
        }
        if let (Role::Judge, Some(code)) = (grant.role, &grant.judge) {
            data.judges.extend(own_judge(app, &reader, code).await?);
        }
    }
    if account.confirmed {
        data.letters = own_letters(app, actor, now, &account.folded_email, &data.entries).await?;
    }
    Ok(data)
}

/// What is kept of letters to an address that is the account's own.
async fn own_letters(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    email: &str,
    entries: &[OwnEntry],
) -> Result<Vec<OwnLetter>, Failure> {
    let mut letters = Vec::new();
    for competition in app.store.list_competitions_writing_to(email).await? {
        let has_it = |own: &&OwnEntry| {
            own.competition == competition
                && own.person.as_ref().is_some_and(|person| fold_name(&person.email) == email)
        };
        let bib = entries.iter().find(has_it).map(|own| own.entry.bib);
        let Ok(permit) = permit(actor, Act::OwnLetters { competition: &competition, bib }) else { continue };
        let kept = app.store.list_letters_to(&permit, &competition, email, now).await?.into_iter();
        letters.extend(kept.map(|letter| OwnLetter {
            competition: competition.clone(),
            to: letter.to,
            at: letter.at,
            outcome: letter.outcome.as_ref().map_or("unknown", Outcome::as_str),
        }));
    }
    Ok(letters)
}

/// The contact of a gym, if it has this address.
async fn own_contact(app: &App, reader: &Reader, gym: &str, email: &str) -> Result<Option<OwnContact>, Failure> {
    let competition = reader.slug.as_str();
    let permit = permit(&reader.actor, Act::ReadPersons { competition, gym: Some(gym) })?;
    let known = app.store.find_gym(reader.id, gym).await?;
    let Some(contact) = known.as_ref().and_then(|g| g.contact.as_ref()) else { return Ok(None) };
    let person = app.store.find_person(&permit, reader.id, contact.id).await?;
    let own = person.filter(|person| fold_name(&person.email) == email);
    Ok(own.map(|person| OwnContact { competition: competition.to_owned(), gym: gym.to_owned(), person }))
}

async fn own_entry(app: &App, reader: &Reader, bib: u32) -> Result<Option<OwnEntry>, Failure> {
    let (actor, now, slug) = (&reader.actor, reader.now, &reader.slug);
    let Some(named) = app.store.find_entry(reader.id, bib).await? else { return Ok(None) };
    let permit = permit(actor, Act::Enter { competition: slug, entry: &named.entry, at: None })?;
    let person = app.store.find_person(&permit, reader.id, named.entry.person.id).await?;
    let mut own = OwnEntry {
        competition: slug.clone(),
        entry: lists::entry(app, actor, now, slug, bib).await?,
        person,
        scores: Vec::new(),
        history: Vec::new(),
        amended: amend::whole_history(app, reader, bib).await?,
    };
    for workout in reader.workouts() {
        let path = ScorePath { competition: slug.clone(), workout: workout.slug.clone(), bib };
        own.scores.extend(there(score::read(app, actor, now, &path).await)?);
        own.history.extend(there(score::history(app, actor, now, &path).await)?);
    }
    Ok(Some(own))
}

async fn own_judge(app: &App, reader: &Reader, code: &str) -> Result<Option<OwnJudge>, Failure> {
    let Some(own) = judging::credential(app, &reader.actor, reader, code).await? else { return Ok(None) };
    let lanes = own.shares.iter().flat_map(|share| {
        share.lanes.iter().map(|l| OwnLane {
            workout: share.workout.clone(),
            gym: l.gym.slug.clone(),
            heat: l.heat,
            lane: l.lane,
            starts: l.starts,
            bib: l.bib,
        })
    });
    let vouched = own.shares.iter().flat_map(|share| {
        share.vouched.iter().map(|v| OwnWord {
            workout: share.workout.clone(),
            bib: v.bib,
            text: v.text.clone(),
            state: v.state,
            how: v.how,
            at: v.at,
            waiting: v.waiting,
        })
    });
    Ok(Some(OwnJudge {
        competition: reader.slug.clone(),
        lanes: lanes.collect(),
        vouched: vouched.collect(),
        judge: JudgeView {
            name: own.person.as_ref().map(|p| p.name.clone()),
            code: own.judge.code,
            gym: own.judge.gym,
            valid_from: own.judge.valid_from,
            valid_to: own.judge.valid_to,
        },
        person: own.person,
    }))
}

/// What is there; what is not is no failure here.
fn there<T>(found: Result<T, Failure>) -> Result<Option<T>, Failure> {
    match found {
        Ok(found) => Ok(Some(found)),
        Err(Failure::Refused(_)) => Ok(None),
        Err(other) => Err(other),
    }
}
