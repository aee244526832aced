//! Later windows of a workout for one gym or region: a power cut, a storm.

use super::views::ExtensionView;
use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::event::Extension;
use crate::rules::ledger::Change;

/// Moves a workout's windows for a gym or a region, with a reason.
pub async fn extend(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    extension: Extension,
    reason: String,
) -> Result<ExtensionView, Failure> {
    let reader = super::roster::may(app, actor, competition, &request).await?;
    reader.workout(&extension.workout)?;
    let change = Change::Extend { extension: extension.clone(), reason };
    let answered = request.ask(app, actor, competition, change).await?;
    Ok(ExtensionView {
        workout: extension.workout,
        gym: extension.gym,
        region: extension.region,
        closes: extension.closes,
        attest_by: extension.attest_by,
        log_seq: answered.seq,
    })
}
