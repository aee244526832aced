//! Reading competitions: the list, and one with its divisions and announced workouts.

use super::Failure;
use super::views::{CompetitionView, SummaryView};
use crate::app::App;
use crate::rules::access::Actor;
use jiff::Timestamp;

/// Competitions the reader may see, by slug.
pub async fn list(app: &App, actor: &Actor, now: Timestamp) -> Result<Vec<SummaryView>, Failure> {
    let _ = (app, actor, now);
    todo!()
}

/// One competition.
pub async fn read(app: &App, actor: &Actor, now: Timestamp, slug: &str) -> Result<CompetitionView, Failure> {
    let _ = (app, actor, now, slug);
    todo!()
}
