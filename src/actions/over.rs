//! Whether a competition is over: for everybody, for a gym, for an entry.

use super::Failure;
use super::reader::Reader;
use crate::app::App;
use crate::rules::event::Extension;
use crate::rules::window::{self, Over};

/// How far the workouts that this reader sees are, for everybody or for one gym and region. `None`:
/// one has not closed, or none is known.
///
/// # Errors
/// The database cannot be read.
pub async fn over(app: &App, reader: &Reader, whose: Option<(Option<&str>, &str)>) -> Result<Option<Over>, Failure> {
    if !closed(reader) {
        return Ok(None);
    }
    let extensions = app.store.list_extensions(reader.id).await?;
    Ok(how_far(reader, &extensions, whose))
}

/// The same of many competitions for everybody, in their order.
///
/// # Errors
/// The database cannot be read.
pub async fn all(app: &App, readers: &[Reader]) -> Result<Vec<Option<Over>>, Failure> {
    let closed = readers.iter().filter(|reader| closed(reader)).map(|reader| reader.id);
    let extensions = app.store.list_extensions_of(&closed.collect::<Vec<_>>()).await?;
    let of = |reader: &Reader| extensions.get(&reader.id).map_or(&[][..], Vec::as_slice);
    Ok(readers.iter().map(|reader| how_far(reader, of(reader), None)).collect())
}

/// Whether everybody's windows have closed; nobody's closes before them.
fn closed(reader: &Reader) -> bool {
    reader.workouts().all(|x| x.window.closed(reader.now))
}

fn how_far(reader: &Reader, extensions: &[Extension], whose: Option<(Option<&str>, &str)>) -> Option<Over> {
    let workouts: Vec<_> = reader.workouts().collect();
    window::over(&workouts, extensions, whose, reader.now)
}
