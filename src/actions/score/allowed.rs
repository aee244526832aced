//! What a reader may do with a score, asked before a form for it is offered. Nothing is stored; what
//! is sent is decided anew.

use super::find_entry;
use crate::actions::reader::Reader;
use crate::actions::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::{Change, Precondition, Refusal};
use crate::rules::life::{Decision, FlagReason, Move};
use crate::words::Sentence;
use jiff::Timestamp;

/// What a gym's staff, or the athlete, may do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Allowed {
    /// Enter or correct the figures.
    pub enter: bool,
    /// Say that the entry takes no part, or take that back.
    pub not_taking_part: bool,
}

/// What this reader may do with an entry's scores, performed `at` a gym.
pub async fn allowed(app: &App, reader: &Reader, bib: u32, at: Option<&str>) -> Result<Allowed, Failure> {
    if reader.actor.grants.is_empty() {
        return Ok(Allowed::default());
    }
    let (competition, entry) = (reader.slug.as_str(), find_entry(app, reader, bib).await?.entry);
    let may = |act| permit(&reader.actor, act).is_ok();
    Ok(Allowed {
        enter: may(Act::Enter { competition, entry: &entry, at }),
        not_taking_part: may(Act::NotTakingPart { competition, entry: &entry }),
    })
}

/// What a referee may do, and why not.
#[derive(Clone, Debug, Default)]
pub struct Officiating {
    /// Doubt it.
    pub flag: bool,
    /// Rule on it, or on its appeal.
    pub rule: bool,
    /// Why this reader may do neither, whatever state the score is in.
    pub barred: Option<Sentence>,
}

/// Whether this reader could doubt a score, and rule on it, as it is now: the rules are asked.
pub async fn officiating(
    app: &App,
    actor: &Actor,
    received: Timestamp,
    score: &ScorePath,
    seen: Precondition,
    on_appeal: bool,
) -> Result<Officiating, Failure> {
    let would = async |what: Move| {
        let change = Change::Score { workout: score.workout.clone(), bib: score.bib, what };
        let request = Request::at(received).having_seen(seen.clone());
        let asked = request.asked(app, actor, &score.competition, change);
        app.store.preview(&asked, app.clock.now()).await.map(|decided| decided.map(|_| ()))
    };
    let flag = would(Move::Flag { reason: FlagReason::Count, note: String::new(), withhold: false }).await?;
    let rule = would(Move::Rule { decision: Decision::Strike, reason: "?".to_owned(), on_appeal }).await?;
    // What is wrong with the figures of a trial is nothing against the reader.
    let can = |decided: &Result<(), Refusal>| matches!(decided, Ok(()) | Err(Refusal::Faults(_) | Refusal::Ask(_)));
    let barred = [&rule, &flag].into_iter().find_map(|decided| match decided {
        Err(Refusal::NotAllowed(why)) => Some(why.clone()),
        _ => None,
    });
    Ok(Officiating { flag: can(&flag), rule: can(&rule), barred })
}
