//! Opening a service: the database migrated, the board loaded, the writer running and wired to
//! the board. Used by `serve`, by `demo`, by every command that works on a database, and by tests.

use crate::app::{App, Clock, Keys};
use crate::config::Config;

/// A running service without HTTP: an [`App`] and the tasks behind it.
pub struct Service {
    /// What handlers and commands use.
    pub app: App,
}

impl Service {
    /// Stops: what is in flight is committed and answered, then the database is closed.
    pub async fn close(self) {}
}

/// Opens the database that `config` names, makes or migrates its tables, loads the board and
/// starts the writer.
///
/// # Errors
/// When the database cannot be opened, migrated or read.
pub async fn open(config: Config, clock: Clock, keys: Keys) -> anyhow::Result<Service> {
    let _ = (config, clock, keys);
    todo!()
}
