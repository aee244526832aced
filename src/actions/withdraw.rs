//! Taking a score back; stating that an entry takes no part in a workout, and taking that back.

use super::reader::Reader;
use super::views::{StatedView, Written};
use super::{Failure, Request, ScorePath, signed_in};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::ledger::Change;
use crate::rules::life::Move;

/// Takes a score back.
pub async fn withdraw(app: &App, actor: &Actor, score: &ScorePath, request: Request) -> Result<Written, Failure> {
    super::score::make_move(app, actor, score, request, Move::Withdraw).await
}

/// States that an entry takes no part in a workout (`true`), or takes that back.
pub async fn state_not_taking_part(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    not_taking_part: bool,
) -> Result<StatedView, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, request.received, &score.competition).await?;
    reader.workout(&score.workout)?;
    let what = if not_taking_part { Move::NotTakingPart } else { Move::TakingPart };
    let change = Change::Score { workout: score.workout.clone(), bib: score.bib, what };
    let answered = request.ask(app, actor, &score.competition, change).await?;
    Ok(StatedView { workout: score.workout.clone(), bib: score.bib, not_taking_part, log_seq: answered.seq })
}
