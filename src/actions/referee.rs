//! A referee's doubts and decisions: flag, withhold, rule.

use super::views::Written;
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::ledger::Change;
use crate::rules::life::{Decision, FlagReason, Move};

/// Doubts a score; it keeps its place.
pub async fn flag(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    reason: FlagReason,
    note: String,
) -> Result<Written, Failure> {
    let what = Move::Flag { reason, note, withhold: false };
    super::score::make_move(app, actor, score, request, what).await
}

/// Doubts a score and takes it off the places until a ruling.
pub async fn withhold(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    reason: FlagReason,
    note: String,
) -> Result<Written, Failure> {
    let what = Move::Flag { reason, note, withhold: true };
    super::score::make_move(app, actor, score, request, what).await
}

/// Decides: on a flag, of its own accord, or (`on_appeal`) on an appeal.
pub async fn rule(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    decision: Decision,
    reason: String,
    on_appeal: bool,
) -> Result<Written, Failure> {
    let what = Move::Rule { decision, reason, on_appeal };
    super::score::make_move(app, actor, score, request, what).await
}

/// Whether the same ruling would be taken now. Nothing is stored.
///
/// # Errors
/// As there.
pub async fn try_rule(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    decision: Decision,
    reason: String,
    on_appeal: bool,
) -> Result<(), Failure> {
    let what = Move::Rule { decision, reason, on_appeal };
    let change = Change::Score { workout: score.workout.clone(), bib: score.bib, what };
    request.try_out(app, actor, &score.competition, change).await.map(|_| ())
}
