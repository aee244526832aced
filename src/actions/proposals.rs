//! Whom a gym's staff proposes, and what the organiser makes of it: many at once, each confirmed by
//! the very action with which the organiser would have entered them.
//!
//! What is refused by the roster stays, with its reasons, and waits on. Of a proposal that is decided
//! only its outcome is kept. What it does not do: tell anybody by mail but the staff that is confirmed.

use super::accounts::{self, AccountError, NewAccount};
use super::letters::{self, Link};
use super::reader::{Reader, shown};
use super::score::remarks;
use super::views::{RemarkView, RosterWritten};
use super::{Failure, Request, roster, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Grant, Permit, Role, permit};
use crate::rules::ledger::Refusal;
use crate::rules::people::check_line;
use crate::rules::proposal::{Kind, Proposed};
use crate::rules::table::dates::{self, DateOrder};
use crate::store::proposals::{Decided, Outcome, Proposal};
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::BTreeSet;

/// Proposals of one gym that may wait at once.
pub const MOST_WAITING: u64 = 500;
/// Proposals that are listed, and decided, at once.
pub const MOST: u32 = 200;
/// Most characters of a reason.
const REASON: usize = 500;

/// A gym's proposals, for its staff and the organiser.
#[derive(Clone, Debug)]
pub struct OfGym {
    /// Who reads, and what.
    pub reader: Reader,
    /// The gym's name.
    pub gym: String,
    /// The newest first; at most [`MOST`].
    pub proposals: Vec<Proposal>,
    permit: Permit,
}

/// The proposals that wait for the organiser.
#[derive(Clone, Debug)]
pub struct Waiting {
    /// Who reads, and what.
    pub reader: Reader,
    /// How many wait.
    pub all: u64,
    /// The oldest first; at most [`MOST`].
    pub proposals: Vec<Proposal>,
}

/// What to do with proposals.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Enter them.
    Confirm,
    /// Do not, for this reason (may be empty), which the gym reads.
    Refuse(String),
}

/// What became of one.
#[derive(Clone, Debug)]
pub struct Became {
    /// Its number.
    pub id: i64,
    /// Of what kind; `None`: it does not wait (any more).
    pub of: Option<Proposal>,
    /// How.
    pub how: How,
}

/// How it was decided, or why not.
#[derive(Clone, Debug)]
pub enum How {
    /// Entered, or there already: the bib or the judge's code, and what is odd about it.
    Confirmed(RosterWritten),
    /// Has the role of the gym's staff; a link where they cannot sign in yet, and, where a letter with it
    /// was handed over to be sent, whether the list of letters has it for certain.
    Staff(Option<Link>, Option<bool>),
    /// Not taken.
    Refused,
    /// What is wrong with it: it waits on.
    Faults(Vec<Sentence>),
    /// It was decided or taken back.
    Gone,
}

/// 401, 404 or 403 for those who may not propose for a gym, before what they send is read.
///
/// # Errors
/// As [`of_gym`].
pub async fn may(app: &App, actor: &Actor, now: Timestamp, competition: &str, gym: &str) -> Result<(), Failure> {
    of_gym(app, actor, now, competition, gym).await.map(drop)
}

/// A gym's proposals.
///
/// # Errors
/// 401 and 403; not found: the competition, the gym.
pub async fn of_gym(app: &App, actor: &Actor, now: Timestamp, competition: &str, gym: &str) -> Result<OfGym, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let permit = permit(actor, Act::Propose { competition: &reader.slug, gym })?;
    let Some(known) = app.store.find_gym(reader.id, gym).await? else {
        return Err(Failure::not_found(Sentence::new("no_gym").with("gym", shown(gym))));
    };
    let proposals = app.store.list_proposals_of(&permit, reader.id, gym, MOST).await?;
    Ok(OfGym { reader, gym: known.name, proposals, permit })
}

/// Proposes somebody for a gym; the number, and what is odd about it. The same once more changes
/// nothing.
///
/// # Errors
/// As [`of_gym`]; everything that is wrong; too many wait.
pub async fn propose(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    gym: &str,
    mut proposed: Proposed,
) -> Result<(i64, Vec<RemarkView>), Failure> {
    let OfGym { reader, permit, .. } = of_gym(app, actor, now, competition, gym).await?;
    let warnings = proposed.check(&reader.competition, gym).map_err(Failure::faults)?;
    if proposed.kind == Kind::Judge {
        proposed.code = proposed.code.trim().to_owned();
        if app.store.find_judge(reader.id, &proposed.code).await?.is_some() {
            return Err(Failure::fault("/code", Sentence::new("judge_code_taken").with("code", shown(&proposed.code))));
        }
    }
    for day in [&mut proposed.born, &mut proposed.valid_from, &mut proposed.valid_to] {
        // In one form, to be compared by.
        if let Ok(read) = dates::read(day.trim(), DateOrder::Ask) {
            *day = read.to_string();
        }
    }
    let kept = app.store.add_proposal(&permit, reader.id, gym, &proposed, MOST_WAITING, now).await?;
    let full = || Refusal::Conflict(Sentence::new("proposals_full").with("most", MOST_WAITING), Vec::new());
    Ok((kept.ok_or_else(full)?, remarks(&warnings)))
}

/// Takes a waiting proposal of the gym back.
///
/// # Errors
/// As [`of_gym`]; not found: it does not wait.
pub async fn withdraw(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    gym: &str,
    id: i64,
) -> Result<(), Failure> {
    let OfGym { reader, permit, .. } = of_gym(app, actor, now, competition, gym).await?;
    let waits = app.store.find_waiting_proposal(&permit, reader.id, id).await?.is_some_and(|p| p.gym == gym);
    let decided = Decided { at: now, outcome: Outcome::Withdrawn, result: String::new(), reason: String::new() };
    if waits && app.store.decide_proposal(&permit, reader.id, id, &decided).await? {
        return Ok(app.store.settle().await?);
    }
    Err(Failure::not_found(Sentence::new("proposal_gone")))
}

/// What waits for the organiser.
///
/// # Errors
/// 401, 403, 404.
pub async fn waiting(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<Waiting, Failure> {
    let reader = roster::may(app, actor, competition, &Request::at(now)).await?;
    let permit = permit(actor, Act::Organise { competition })?;
    let all = app.store.count_waiting_proposals(&permit, reader.id).await?;
    let proposals = app.store.list_waiting_proposals(&permit, reader.id, MOST).await?;
    Ok(Waiting { reader, all, proposals })
}

/// Decides proposals, one after the other in the order of their numbers: what became of each. What
/// is wrong with one stops none of the others.
///
/// # Errors
/// 401, 403, 404; a reason that is too long; too many at once; a database that is not there: what was
/// decided before stays decided, and the same may be asked again.
pub async fn decide(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    ids: &BTreeSet<i64>,
    decision: &Decision,
) -> Result<Vec<Became>, Failure> {
    let reader = roster::may(app, actor, competition, &Request::at(now)).await?;
    let permit = permit(actor, Act::Organise { competition })?;
    if ids.len() > MOST as usize {
        return Err(Failure::fault("/ids", Sentence::new("proposals_many").with("most", MOST)));
    }
    let reason = match decision {
        Decision::Confirm => String::new(),
        Decision::Refuse(reason) => check_line(reason, REASON).map_err(|why| Failure::fault("/reason", why))?,
    };
    let mut became = Vec::with_capacity(ids.len());
    let mut stopped = None;
    for &id in ids {
        if let Some(why) = &stopped {
            became.push(Became { id, of: None, how: How::Faults(vec![Sentence::clone(why)]) });
            continue;
        }
        match decide_one(app, actor, now, &reader, &permit, id, decision, &reason).await {
            Ok(one) => became.push(one),
            Err(failure) if became.is_empty() => return Err(failure),
            Err(failure) => {
                // What became of those before is told: a link that was made stands nowhere else.
                tracing::error!("the rest of the proposals wait on: {failure:?}");
                let why = stopped.insert(Sentence::new("proposal_waits_on")).clone();
                became.push(Became { id, of: None, how: How::Faults(vec![why]) });
            }
        }
    }
    // The facts are not left in the files beside the database either, or not for long.
    if let Err(error) = app.store.settle().await {
        tracing::warn!("what was decided stands beside the database for a while: {error}");
    }
    Ok(became)
}

/// Decides one proposal.
#[expect(clippy::too_many_arguments, reason = "all that a decision is made of")]
async fn decide_one(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    reader: &Reader,
    permit: &Permit,
    id: i64,
    decision: &Decision,
    reason: &str,
) -> Result<Became, Failure> {
    let Some(proposal) = app.store.find_waiting_proposal(permit, reader.id, id).await? else {
        return Ok(Became { id, of: None, how: How::Gone });
    };
    let how = match decision {
        Decision::Refuse(_) => How::Refused,
        Decision::Confirm => confirm(app, actor, now, reader, &proposal).await?,
    };
    let (outcome, result) = match &how {
        How::Confirmed(written) => (Outcome::Confirmed, written.id.clone()),
        How::Staff(..) => (Outcome::Confirmed, String::new()),
        How::Refused => (Outcome::Refused, String::new()),
        How::Faults(_) | How::Gone => return Ok(Became { id, of: Some(proposal), how }),
    };
    let decided = Decided { at: now, outcome, result, reason: reason.to_owned() };
    let how = match app.store.decide_proposal(permit, reader.id, id, &decided).await {
        // Somebody else was faster. A link that was made all the same is shown: nobody else has it.
        Ok(false) if !matches!(how, How::Staff(Some(_), _)) => How::Gone,
        Ok(_) => how,
        Err(error) if outcome == Outcome::Refused => return Err(error.into()),
        // They are entered, and it stands in the list still: confirming it once more finds them.
        Err(error) => {
            tracing::error!("a proposal that was confirmed waits on: {error}");
            how
        }
    };
    Ok(Became { id, of: Some(proposal), how })
}

/// Enters somebody as the organiser would.
async fn confirm(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    reader: &Reader,
    proposal: &Proposal,
) -> Result<How, Failure> {
    let (Some(proposed), gym) = (&proposal.proposed, proposal.gym.as_str()) else { return Ok(How::Gone) };
    let done = match proposed.kind {
        Kind::Entry => {
            let entry = proposed.entry(gym);
            roster::set_entry(app, actor, &reader.slug, Request::at(now), entry).await.map(How::Confirmed)
        }
        Kind::Judge => {
            let known = app.store.find_judge(reader.id, &proposed.code).await?;
            if known.is_some_and(|judge| judge.gym.as_deref() != Some(gym)) {
                // Somebody else has got the code meanwhile, and keeps it.
                let code = shown(&proposed.code);
                return Ok(How::Faults(vec![Sentence::new("judge_code_taken").with("code", code)]));
            }
            let judge = proposed.judge(gym);
            roster::set_judge(app, actor, &reader.slug, Request::at(now), judge).await.map(How::Confirmed)
        }
        Kind::Staff => staff(app, actor, reader, gym, proposed).await,
    };
    match done {
        Err(Failure::Refused(refusal)) => Ok(How::Faults(sentences(refusal))),
        done => done,
    }
}

/// Gives somebody the role of the gym's staff, and a link where they cannot sign in yet: by mail
/// where letters are sent.
async fn staff(app: &App, actor: &Actor, reader: &Reader, gym: &str, proposed: &Proposed) -> Result<How, Failure> {
    let slug = &reader.slug;
    let grant =
        Grant { role: Role::Staff, competition: Some(slug.clone()), gym: Some(gym.to_owned()), bib: None, judge: None };
    let new = NewAccount { email: proposed.email.clone(), password: None, grants: vec![grant] };
    let added = match accounts::add_account(app, actor, new).await {
        Ok(added) => added,
        Err(AccountError::Refused(refusal)) => return Err(refusal.into()),
        Err(AccountError::Store(error)) => return Err(error.into()),
        Err(other) => return Err(Failure::Broken(other.into())),
    };
    let Some(secret) = added.link else { return Ok(How::Staff(None, None)) };
    let link = Link::new(app, &secret, app.clock.now() + accounts::link_span());
    let known = app.store.find_gym(reader.id, gym).await.ok().flatten();
    let name = known.map_or_else(|| gym.to_owned(), |gym| gym.name);
    let letter = letters::gym(&reader.competition, &name, &proposed.name, added.email, &link);
    let mailed = app.post.send(letter).await;
    Ok(How::Staff(Some(link), mailed.map(|handed| handed.is_listed())))
}

/// What a refusal says.
fn sentences(refusal: Refusal) -> Vec<Sentence> {
    match refusal {
        Refusal::Faults(faults) => faults.into_iter().map(|fault| fault.sentence).collect(),
        Refusal::Ask(questions) => questions.into_iter().map(|question| question.sentence).collect(),
        Refusal::NotAllowed(sentence)
        | Refusal::NotFound(sentence)
        | Refusal::Conflict(sentence, _)
        | Refusal::PreconditionRequired(sentence, _) => vec![sentence],
        Refusal::PreconditionFailed(_) => vec![Sentence::new("precondition_failed")],
        Refusal::NotSignedIn => vec![Sentence::new("not_signed_in")],
    }
}
