//! What the operator of a machine does to a database as a whole: work its log out again, hand the
//! records out, copy it, move it to another place. Only for the command line on the machine itself.

use super::Failure;
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::store::log::StoredRecord;
use crate::store::transfer::{TransferError, Transferred};
use crate::store::verify::Verified;
use crate::store::{Store, StoreError};
use crate::words::Sentence;
use std::path::Path;

/// Records read at once when a log is handed out.
const PAGE: u32 = 1_000;

/// Recomputes the log of one competition, or of all, and from it the competition's tables; says
/// the first difference of each.
///
/// # Errors
/// Not found, when a competition is named that is not there.
pub async fn verify(app: &App, competition: Option<&str>) -> Result<Vec<Verified>, Failure> {
    let found = app.store.verify(competition).await.map_err(broken)?;
    match (competition, found.is_empty()) {
        (Some(slug), true) => Err(unknown(slug)),
        _ => Ok(found),
    }
}

/// The next records of a competition's log after position `after`, oldest first; none: the end.
///
/// # Errors
/// Not found; not allowed.
pub async fn records(app: &App, actor: &Actor, competition: &str, after: u64) -> Result<Vec<StoredRecord>, Failure> {
    let permit = permit(actor, Act::ReadLog { competition })?;
    let known = app.store.find_competition(competition).await.map_err(broken)?.ok_or_else(|| unknown(competition))?;
    app.store.list_records(&permit, known.id, after, PAGE).await.map_err(broken)
}

/// Writes a consistent copy to `file`, which must not exist, and verifies the copy.
///
/// # Errors
/// When the copy cannot be made or does not hold together.
pub async fn backup(app: &App, file: &Path) -> Result<Vec<Verified>, StoreError> {
    app.store.backup(file).await
}

/// Makes the database `target`, which must not exist, from a copy that [`backup`] made; the copy stays
/// as it is.
///
/// # Errors
/// When the file is no such copy, `target` is there, or what came of it does not hold together.
pub async fn restore(file: &Path, target: &Path) -> Result<Vec<Verified>, StoreError> {
    crate::store::backup::restore(file, target).await
}

/// Copies the whole database at `from` into the empty one at `to`, verifies it there, and leaves
/// `from` as it is. `progress` is told how many of how many rows are through.
///
/// # Errors
/// When a database cannot be opened, `to` is not empty, or the copy is not what was sent; then
/// nothing of it is left.
pub async fn transfer(from: &str, to: &str, progress: impl FnMut(u64, u64)) -> Result<Transferred, TransferError> {
    if !crate::store::transfer::is_vacant(to).await? {
        return Err(TransferError::Refused(Sentence::new("move_not_vacant")));
    }
    let source = Store::open(from).await?;
    let target = Store::open(to).await?;
    let moved = source.transfer_to(&target, progress).await;
    source.close().await;
    target.close().await;
    moved
}

fn unknown(slug: &str) -> Failure {
    Failure::not_found(Sentence::new("cli_no_competition").with("competition", slug))
}

fn broken(error: StoreError) -> Failure {
    error.into()
}
