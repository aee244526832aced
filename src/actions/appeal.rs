//! Appealing a ruling: once, within 48 hours of its record.

use super::views::Written;
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::life::Move;

/// Appeals the last ruling on a score.
pub async fn appeal(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    reason: String,
) -> Result<Written, Failure> {
    super::score::make_move(app, actor, score, request, Move::Appeal { reason }).await
}
