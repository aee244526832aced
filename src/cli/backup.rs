//! `backup`: a consistent copy of the database, verified.

use super::log::say_verified;
use super::open;
use super::talk::{Done, Stop, say, tell};
use crate::actions::open::{is_served, shown};
use crate::actions::upkeep;
use crate::words::Sentence;
use clap::Args;
use std::path::PathBuf;

/// A copy.
#[derive(Debug, Args)]
pub(super) struct Backup {
    /// The new file; it must not exist.
    file: PathBuf,
    /// Print what was verified as one JSON array.
    #[arg(long)]
    json: bool,
}

impl Backup {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        let file = self.file.display().to_string();
        if self.file.exists() {
            return Err(Stop::because(&Sentence::new("cli_backup_exists").with("file", file)));
        }
        let url = database.unwrap_or(open::DATABASE);
        if is_served(url) {
            open::must_be_there(url).await?;
            let how = Sentence::new("cli_backup_server").with("database", shown(url));
            return Err(Stop::because(&how.with("file", file)));
        }
        open::on_existing(database, async |app| {
            let found = upkeep::backup(app, &self.file).await?;
            say_verified(&found, self.json)?;
            tell(&say(&Sentence::new("cli_backup_done").with("file", &file)));
            Ok(())
        })
        .await
    }
}
