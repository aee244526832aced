//! Taking a score back; stating that an entry takes no part in a workout, and taking that back.

use super::views::{StatedView, Written};
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
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
    let _ = (app, actor, score, request, not_taking_part);
    todo!()
}
