//! Letting in what came late: a score, a correction or an attestation; or refusing it.

use super::views::Written;
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::life::Move;

/// Admits (`admit`) or refuses what came late, with a reason.
pub async fn admit(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    admit: bool,
    reason: String,
) -> Result<Written, Failure> {
    super::score::make_move(app, actor, score, request, Move::Admit { admit, reason }).await
}
