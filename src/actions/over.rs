//! Whether a competition is over: for everybody, for a gym, for an entry.

use super::Failure;
use super::reader::Reader;
use crate::app::App;
use crate::rules::window::{self, Over};

/// How far the workouts that this reader sees are, for everybody or for one gym and region. `None`:
/// one has not closed, or none is known.
///
/// # Errors
/// The database cannot be read.
pub async fn over(app: &App, reader: &Reader, whose: Option<(Option<&str>, &str)>) -> Result<Option<Over>, Failure> {
    // Nobody's window closes before everybody's.
    if reader.workouts().any(|x| !x.window.closed(reader.now)) {
        return Ok(None);
    }
    let extensions = app.store.list_extensions(reader.id).await?;
    let workouts: Vec<_> = reader.workouts().collect();
    Ok(window::over(&workouts, &extensions, whose, reader.now))
}
