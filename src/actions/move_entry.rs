//! Moving an entry to another division or gym, or changing how it takes part.

use super::request::stored;
use super::score::{WAIT, find_entry, remarks};
use super::views::MovedView;
use super::{Failure, Request};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::ledger::{Change, Outcome};
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
    let reader = super::roster::may(app, actor, competition, &request).await?;
    let change = Change::MoveEntry { bib, change, dry_run };
    let answered = if dry_run {
        request.try_out(app, actor, competition, change).await?
    } else {
        request.ask(app, actor, competition, change).await?
    };
    app.logs.at_least(reader.id, answered.seq, WAIT).await;
    let named = find_entry(app, &reader, bib).await;
    let named = if dry_run { named? } else { stored(named)? };
    let name = reader.name(app, named.clone()).await;
    let name = if dry_run { name? } else { stored(name)? };
    let (changed, reworked) = match answered.outcome {
        Outcome::Moved { reworked } => (true, reworked),
        _ => (false, Vec::new()),
    };
    Ok(MovedView {
        entry: super::lists::entry_view(&named, name),
        dry_run,
        changed,
        scores: reworked.iter().map(super::apply::reworked).collect(),
        warnings: remarks(&answered.warnings),
        log_seq: answered.seq,
    })
}
