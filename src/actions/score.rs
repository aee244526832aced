//! What all moves on a score share, and reading one: now, and its history.

use super::views::{DeskView, HistoryView, RulingsView, ScoreWithAttempts, Written};
use super::{Failure, Request, ScorePath};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::life::Move;
use jiff::Timestamp;

/// Makes one move on a score and answers with it and its places afterwards.
pub async fn make_move(
    app: &App,
    actor: &Actor,
    score: &ScorePath,
    request: Request,
    what: Move,
) -> Result<Written, Failure> {
    let _ = (app, actor, score, request, what);
    todo!()
}

/// The attempt that counts, else the latest, with all attempts.
pub async fn read(app: &App, actor: &Actor, now: Timestamp, score: &ScorePath) -> Result<ScoreWithAttempts, Failure> {
    let _ = (app, actor, now, score);
    todo!()
}

/// All that happened to a score, oldest first.
pub async fn history(app: &App, actor: &Actor, now: Timestamp, score: &ScorePath) -> Result<HistoryView, Failure> {
    let _ = (app, actor, now, score);
    todo!()
}

/// All rulings of a competition that the reader may see, newest first.
pub async fn rulings(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<RulingsView, Failure> {
    let _ = (app, actor, now, competition);
    todo!()
}

/// Which lines of a working list are asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeskQuery {
    /// Entries of this gym; `None`: all.
    pub gym: Option<String>,
    /// Only this state: a score's, `missing` or `not_taking_part`.
    pub state: Option<String>,
}

/// The working list of a workout: the desk's (own gym) and the referees' (all gyms).
pub async fn desk(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    workout: &str,
    query: DeskQuery,
) -> Result<DeskView, Failure> {
    let _ = (app, actor, now, competition, workout, query);
    todo!()
}
