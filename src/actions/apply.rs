//! Applying a competition file: it creates, or changes what differs, and says what it changed.

use super::views::AppliedView;
use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::competition::RawCompetition;

/// How a file is to be applied.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct How {
    /// Only say what would change.
    pub dry_run: bool,
    /// Work stored scores out again where their meaning changes.
    pub rescore: bool,
}

/// Applies a file, all or nothing. `slug`: the competition it is sent to, which must be the
/// file's own; `None`: whichever the file names.
pub async fn apply(
    app: &App,
    actor: &Actor,
    slug: Option<&str>,
    request: Request,
    raw: RawCompetition,
    how: How,
) -> Result<AppliedView, Failure> {
    let _ = (app, actor, slug, request, raw, how);
    todo!()
}
