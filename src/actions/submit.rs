//! Storing a performance: a first score, a new attempt, new figures, or only new details.

use super::views::Written;
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::life::{Move, Submit};

/// Stores a performance, attested in the same breath where an attestation came along.
pub async fn submit(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    sent: Submit,
) -> Result<Written, Failure> {
    super::score::make_move(app, actor, score, request, Move::Submit(sent)).await
}
