//! Vouching for a performance.

use super::views::Written;
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::life::{Attest, Move};

/// Records a judge's statement that exactly this performance was counted to the standard.
pub async fn attest(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    sent: Attest,
) -> Result<Written, Failure> {
    super::score::make_move(app, actor, score, request, Move::Attest(sent)).await
}
