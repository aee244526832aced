//! Moving an entry to another division or gym, or changing how it takes part.

use super::views::MovedView;
use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::roster::EntryChange;

/// Moves an entry; with `dry_run` only says what would happen to each of its scores.
pub async fn move_entry(
    app: &App,
    actor: &Actor,
    competition: &str,
    bib: u32,
    request: Request,
    change: EntryChange,
    dry_run: bool,
) -> Result<MovedView, Failure> {
    let _ = (app, actor, competition, bib, request, change, dry_run);
    todo!()
}
