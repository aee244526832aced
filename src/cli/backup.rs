//! `backup`: a consistent copy of the database, verified. `restore`: a database made from one.

use super::log::say_verified;
use super::open;
use super::talk::{Done, Stop, say, tell};
use crate::actions::open::{file, is_served, is_there, shown};
use crate::actions::upkeep;
use crate::store::StoreError;
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

/// The way back.
#[derive(Debug, Args)]
pub(super) struct Restore {
    /// A file that `backup` made; it stays as it is.
    file: PathBuf,
    /// Print what was verified as one JSON array.
    #[arg(long)]
    json: bool,
}

impl Restore {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        let url = database.unwrap_or(open::DATABASE);
        let copy = self.file.display().to_string();
        let about = |code| Sentence::new(code).with("file", &copy).with("database", shown(url));
        if is_served(url) {
            return Err(Stop::because(&about("cli_restore_server")));
        }
        if !self.file.exists() {
            return Err(Stop::because(&about("cli_restore_nothing")));
        }
        let (true, Some(target)) = (!is_there(url).await?, file(url)) else {
            return Err(Stop::because(&about("cli_restore_exists")));
        };
        let found = upkeep::restore(&self.file, &target).await.map_err(|error| match error {
            StoreError::Foreign => Stop::because(&about("cli_restore_foreign")),
            StoreError::InUse => Stop::because(&about("cli_restore_in_use")),
            StoreError::Backup(why) => Stop::because(&about("cli_restore_failed").with("why", why)),
            other => Stop::because(&about("cli_restore_failed").with("why", other)),
        })?;
        say_verified(&found, self.json)?;
        tell(&say(&about("cli_restore_done")));
        Ok(())
    }
}
