//! Later windows of a workout for one gym or region: a power cut, a storm.

use super::views::ExtensionView;
use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::event::Extension;

/// Moves a workout's windows for a gym or a region, with a reason.
pub async fn extend(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    extension: Extension,
    reason: String,
) -> Result<ExtensionView, Failure> {
    let _ = (app, actor, competition, request, extension, reason);
    todo!()
}
