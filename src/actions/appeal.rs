//! Appealing a ruling: once, within 48 hours of its record.

use super::reader::Reader;
use super::views::{ScoreView, Written};
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::APPEAL_WITHIN;
use crate::rules::life::Move;
use jiff::Timestamp;

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

/// Until when the ruling on an attempt can be appealed; `None`: it cannot, or not any more because
/// it was. Whether the time is over is left to the reader.
#[must_use]
pub fn ends(score: &ScoreView) -> Option<Timestamp> {
    let ruling = score.ruling.as_ref().filter(|r| !r.on_appeal)?;
    let open = score.appeal.is_none() && !matches!(score.state, "withdrawn" | "late");
    Some(ruling.at + APPEAL_WITHIN).filter(|_| open)
}

/// Whether this reader is among those who may appeal for an entry's score performed at `at`: the
/// athlete, and the staff of its gym or of the gym it was performed in.
pub async fn may(app: &App, reader: &Reader, bib: u32, at: Option<&str>) -> Result<bool, Failure> {
    if reader.actor.grants.is_empty() {
        return Ok(false);
    }
    let entry = super::score::find_entry(app, reader, bib).await?.entry;
    Ok(permit(&reader.actor, Act::Appeal { competition: &reader.slug, entry: &entry, at }).is_ok())
}
