//! Taking a score back; stating that an entry takes no part in a workout, and taking that back.

use super::reader::Reader;
use super::views::{ScoreView, StatedView, Written};
use super::{Failure, Request, ScorePath, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::{Change, withdrawal_ends};
use crate::rules::life::Move;
use crate::rules::window;

/// Takes a score back.
pub async fn withdraw(app: &App, actor: &Actor, score: &ScorePath, request: Request) -> Result<Written, Failure> {
    super::score::make_move(app, actor, score, request, Move::Withdraw).await
}

/// Whether this reader may take a score back now, as the ledger will decide.
pub async fn may(app: &App, reader: &Reader, score: &ScoreView) -> Result<bool, Failure> {
    let appealed = score.appeal.as_ref().is_some_and(|a| !a.decided);
    let free = matches!(score.state, "entered" | "attested" | "late") && !score.locked && !appealed;
    if !free || reader.actor.grants.is_empty() {
        return Ok(false);
    }
    let entry = super::score::find_entry(app, reader, score.bib).await?.entry;
    let act = Act::Withdraw { competition: &reader.slug, entry: &entry, at: score.gym.as_deref() };
    let Ok(permit) = permit(&reader.actor, act) else { return Ok(false) };
    let (workout, extensions) = (reader.workout(&score.workout)?, app.store.list_extensions(reader.id).await?);
    let window = window::for_entry(workout, &extensions, entry.gym.as_deref(), &entry.region);
    Ok(score.state == "late" || reader.now < withdrawal_ends(permit.role(), &window))
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
