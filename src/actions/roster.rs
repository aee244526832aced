//! Adding or changing one gym, entry or judge. Many at once: [`super::import`]; reading them:
//! [`super::lists`].

use super::views::RosterWritten;
use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::roster::{RawEntry, RawGym, RawJudge};

/// Adds or changes a gym.
pub async fn set_gym(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    gym: RawGym,
) -> Result<RosterWritten, Failure> {
    let _ = (app, actor, competition, request, gym);
    todo!()
}

/// Adds or changes an entry.
pub async fn set_entry(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    entry: RawEntry,
) -> Result<RosterWritten, Failure> {
    let _ = (app, actor, competition, request, entry);
    todo!()
}

/// Adds or changes a judge.
pub async fn set_judge(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    judge: RawJudge,
) -> Result<RosterWritten, Failure> {
    let _ = (app, actor, competition, request, judge);
    todo!()
}
